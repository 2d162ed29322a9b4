"""Every command of the pages is run, page by page, in a shed that has what the pages assume."""

from __future__ import annotations

import re
import shlex
import shutil
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from tests.furnishing import furnish, remember_photographs, run, settle
from tests.pages import PAGES, commands, name_of

from meltwick.cli import given
from meltwick.cli.app import build
from meltwick.cli.preview import read_detail, read_hands

PLACES = {
    "PLAN": "salt-marsh.toml",
    "PHOTO": "front.jpg",
    "FOLDER": "first-frost",
    "NAME": "dune",
    "/media/stick/": "stick/",
    "/media/stick/journal.db": "stick/journal.db",
}
"""What stands in the shed for a name in capitals and for a place of the reader's machine."""

INSTEAD = {
    "meltwick learn": (
        "meltwick learn --dry-run",
        "it makes some hundred runs; tests/test_learn.py learns",
    ),
    "meltwick learn --as winter-dyes": (
        "meltwick learn --as winter-dyes --dry-run",
        "the same",
    ),
    "meltwick compare harbour-tee.toml --vary spacing=10mm..50mm/9 --hands 25 --cluster "
    "tcp://192.168.1.20:8786": (
        "meltwick compare harbour-tee.toml --vary spacing=10mm..50mm/9 --hands 25 --dry-run",
        "there is no cluster; tests/test_cluster.py starts one",
    ),
    "meltwick redye PHOTO --white 30%": (
        'meltwick redye front.jpg --back back.jpg --white 30% --dyes "plum, tide"',
        "it would try every dye in stock; this one docs/commands.md has too, and runs are kept",
    ),
    "meltwick journal forget 3": (
        "meltwick journal forget 3 --yes",
        "it asks first, and nobody answers; tests/test_record.py answers",
    ),
    "meltwick new harbour-tee --fold spiral": (
        "meltwick new dune --fold spiral",
        "the examples of docs/commands.md are no sequence: their harbour-tee.toml has a pole",
    ),
    "meltwick swatch add card.jpg --grid 3x4 --names names.csv --depth 2%": (
        "meltwick swatch add large-card.jpg --grid 3x4 --names large-names.csv --depth 2%",
        "the card of the other page has two rows of three",
    ),
}
"""Lines for which another is run, and why."""

ALONE = {"journal", "cache", "palette", "swatch"}
"""Commands that a text tells to run by their name alone; of others such a span is only the name,
and their help is run."""

COARSE = {"--detail": "10 mm", "--hands": "1", "--n": "1", "--seconds": "4"}
"""What every command is told that takes these words, so that it is quick."""
FEW = "2"
"""Hands, where the page asks for several or one is not enough."""


@cache
def program() -> Any:
    return build()


def parted(words: list[str]) -> tuple[list[str], Any]:
    """Part the names of the command off the words, and give the command."""
    command, names = program(), []
    while words and words[0] in getattr(command, "commands", {}):
        names.append(words.pop(0))
        command = command.commands[names[-1]]
    return names, command


def quick(line: str, block: bool) -> list[str]:
    """Give the words that are run for a line of a page."""
    words = [PLACES.get(word, word) for word in shlex.split(INSTEAD.get(line, (line,))[0])[1:]]
    names, command = parted(words)
    if names and not words and not block and names[-1] not in ALONE:
        return [*names, "--help"]
    if not names or "--help" in words:
        return [*names, *words]
    for option in {opt for word in command.params for opt in word.opts} & set(COARSE):
        value = COARSE[option]
        if option in words:
            at = words.index(option) + 1
            if option == "--detail":
                read_detail(words[at])
            elif option == "--hands" and read_hands(words[at]) > 1:
                value = FEW
            words[at] = value
        else:
            words += [option, FEW if names == ["learn"] and option == "--hands" else value]
    return [*names, *words]


def lines_of(page: Path) -> list[tuple[str, bool]]:
    return list(dict.fromkeys(commands(page)))


TYPED = [page for page in PAGES if commands(page)]


class Late(date):
    """A day after all that the pages name."""

    @classmethod
    def today(cls) -> date:
        return cls(2027, 6, 1)


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory):
    """The shed and a home, furnished once; each page gets a copy of both."""
    place = tmp_path_factory.mktemp("docs")
    (place / "shed").mkdir()
    with pytest.MonkeyPatch.context() as patch:
        settle(patch, place / "home", place / "runs")
        remember_photographs(patch)
        patch.setattr(given, "date", Late)
        patch.chdir(place / "shed")
        furnish(place / "shed", place / "home")
        yield place


@pytest.mark.slow
@pytest.mark.parametrize("page", TYPED, ids=name_of)
def test_every_command_of_the_page_runs(page: Path, shed: Path, tmp_path: Path, monkeypatch):
    here, home = tmp_path / "shed", tmp_path / "home"
    shutil.copytree(shed / "shed", here)
    shutil.copytree(shed / "home", home)
    monkeypatch.chdir(here)
    for line, block in lines_of(page):
        words = quick(line, block)
        assert "--open" not in words
        if words[:1] == ["new"]:
            Path(f"{words[1]}.toml").unlink(missing_ok=True)
        clearing = words[:2] == ["cache", "--clear"]
        settle(monkeypatch, home, home / "runs" if clearing else shed / "runs")
        code, out, err = run(*words)
        assert code == 0, f"{line}\n  run as {shlex.join(words)}\n{err}"
        assert out, line


def test_nothing_stands_for_what_is_in_no_page() -> None:
    typed = {line for page in TYPED for line, _ in lines_of(page)}
    assert set(INSTEAD) <= typed
    words = {word for line in typed for word in shlex.split(line)}
    assert set(PLACES) <= words
    named = {shlex.split(line)[-1] for line in typed}
    assert named >= ALONE
    assert all(reason for _, reason in INSTEAD.values())


def test_every_name_in_capitals_stands_for_something() -> None:
    typed = [line for page in TYPED for line, _ in lines_of(page)]
    capitals = {w for line in typed for w in shlex.split(line) if re.fullmatch(r"[A-Z]{3,}", w)}
    assert capitals <= set(PLACES)


def test_pages_are_read_for_what_they_tell_to_type() -> None:
    """A page may hide nothing: every line that begins with the command is found."""
    for page in PAGES:
        text = page.read_text("utf-8")
        written = re.findall(r"^(?:\.venv/bin/)?meltwick [a-z].*$", text, re.MULTILINE)
        found = {line for line, _ in commands(page)}
        for line in written:
            shown = line.removeprefix(".venv/bin/")
            assert shown in found or "`" in line or line.endswith("."), line
    assert len(TYPED) > 20
