"""Pages that tell what the program does are compared with the program."""

import ast
import csv
import inspect
import json
import os
import re
import runpy
import shlex
import subprocess
from pathlib import Path

import pytest
from tests.pages import PAGES, ROOT, commands

from meltwick.plan import example_plan, folds, models
from meltwick.plan.table import Table

README = (ROOT / "README.md").read_text("utf-8")
MAKER = runpy.run_path(str(ROOT / "docs" / "make_plan_file.py"))
COMMANDS = runpy.run_path(str(ROOT / "docs" / "make_commands.py"))
STUDIES = runpy.run_path(str(ROOT / "docs" / "make_studies.py"))
SPEED = runpy.run_path(str(ROOT / "docs" / "make_speed.py"))
WALK = runpy.run_path(str(ROOT / "docs" / "make_walk.py"))


def test_plan_file_page_is_what_the_program_says():
    page = (ROOT / "docs" / "plan-file.md").read_text("utf-8")
    assert page == MAKER["page"](), "run python docs/make_plan_file.py"


def test_plan_file_page_has_every_record_and_key():
    records = {
        each
        for module in (models, folds)
        for _, each in inspect.getmembers(module, inspect.isclass)
        if issubclass(each, Table) and each.model_fields
    }
    assert {record for _, record, _ in MAKER["TABLES"]} == records
    page = (ROOT / "docs" / "plan-file.md").read_text("utf-8")
    for record in records:
        for key, field in record.model_fields.items():
            assert f"| `{key}` | {field.description} |" in page


def test_plan_file_page_names_every_place_and_shows_every_start():
    from meltwick.plan import words
    from meltwick.stock import load_stock

    page = (ROOT / "docs" / "plan-file.md").read_text("utf-8")
    for line in load_stock(ROOT / "no such folder").blanks.values():
        (places,) = re.findall(rf"^- places of .*\b{line.name}\b.*?: (.*)$", page, re.MULTILINE)
        assert tuple(places.split(", ")) == words.PLACES[line.cut]
    for fold in words.STARTS[1:]:
        assert f"`meltwick new NAME --fold {fold}`" in page
    assert "Spot(" not in page


def test_commands_page_is_what_the_program_says():
    page = (ROOT / "docs" / "commands.md").read_text("utf-8")
    assert page == COMMANDS["page"](), "run python docs/make_commands.py"


def test_commands_page_has_every_command_and_word():
    """Looked for in the page itself, command by command."""
    from meltwick.cli.app import build

    page = (ROOT / "docs" / "commands.md").read_text("utf-8")
    sections = dict(re.findall(r"^##+ (meltwick .*)\n((?:(?!##).*\n?)*)", page, re.MULTILINE))
    waiting, seen, escaped = [("meltwick", build())], set(), "\\|"
    while waiting:
        path, group = waiting.pop()
        for name, command in group.commands.items():
            seen.add(f"{path} {name}")
            for word in command.params:
                shown = word.opts[0] if word.opts[0].startswith("-") else word.metavar
                if shown != "--debug":  # told once, at the top
                    assert f"\n| `{shown.replace('|', escaped)}" in sections[f"{path} {name}"]
            if hasattr(command, "commands"):
                waiting.append((f"{path} {name}", command))
    assert set(sections) == seen
    assert set(COMMANDS["MORE"]) == {path.split()[1] for path in seen}


def test_commands_page_has_every_exit_code():
    from meltwick import errors
    from meltwick.cli.failing import INTERRUPTED

    page = (ROOT / "docs" / "commands.md").read_text("utf-8")
    told = {int(code) for code in re.findall(r"^\| ([0-9]+) \|", page, re.MULTILINE)}
    found = {each.exit_code for _, each in inspect.getmembers(errors, inspect.isclass)}
    assert told == {0, 1, *found, INTERRUPTED}


def test_example_in_the_readme_is_the_built_in_one():
    assert f"`{example_plan().name}/preview.png`" in README


def test_readme_has_two_commands_of_one_line_each():
    blocks = re.findall(r"^```sh\n(.*?)^```", README, re.DOTALL | re.MULTILINE)
    assert len(blocks) == 2
    for block in blocks:
        assert block.count("\n") == 1
        assert block.startswith("python3 -m venv .venv && ")
    assert "meltwick preview" in blocks[0]
    assert "pytest" in blocks[1]


def test_commands_in_the_readme_exist():
    from meltwick.cli.app import build

    known = set(build().commands)
    named = set(re.findall(r"`meltwick ([a-z]+)", README))
    assert named
    assert named <= known
    options = {o for c in build().commands.values() for p in c.params for o in p.opts}
    assert set(re.findall(r"`(--[a-z0-9-]+)", README)) <= options


def fenced() -> list[str]:
    """Every line of the docs, in a block of its own, that a maker would type."""
    return sorted({line for page in PAGES for line, block in commands(page) if block})


@pytest.mark.parametrize("line", fenced())
def test_commands_in_the_docs_take_these_words(line):
    """Each is parsed, by the parser that would run it, and not run."""
    from meltwick.cli.app import build

    command, words = build(), shlex.split(line)[1:]
    while subcommands := getattr(command, "commands", None):
        if not words and command.invoke_without_command:
            return
        assert words[0] in subcommands, line
        command = subcommands[words.pop(0)]
    context = command.make_context(command.name, words)
    assert context.params or not words


def test_the_walk_s_page_is_that_of_its_script():
    """Its commands and its words stand in the page; what they print is not made anew here."""
    steps = WALK["STEPS"]
    page = (ROOT / "docs" / "first-piece.md").read_text("utf-8")
    assert page.startswith(WALK["HEAD"].strip())
    assert re.findall(r"^```sh\n(.*)\n```", page, re.MULTILINE) == [step.line for step in steps]
    words = [word for step in steps for word in (step.before, step.after) if word]
    assert [word for word in words if word not in page] == []
    shown = set(re.findall(r"\]\((\S+\.(?:png|jpg))\)", page))
    assert {step.kept for step in steps if step.kept} | {"walk-photographs.jpg"} == shown
    for name in shown:
        assert (ROOT / "docs" / name).stat().st_size <= WALK["SMALL"]


def test_sheets_of_the_readme_are_of_its_commands_and_of_this_model():
    from PIL import Image

    from meltwick.constants import MODEL

    assert f"`{STUDIES['BEGIN']}`" in README
    for name, line in STUDIES["SHEETS"].items():
        assert f"```\n{line}\n```" in README
        assert f"](docs/{name})" in README
        picture = ROOT / "docs" / name
        assert picture.stat().st_size <= STUDIES["SMALL"]
        with Image.open(picture) as opened:
            assert opened.text["meltwick-model"] == str(MODEL), "run python docs/make_studies.py"


def test_the_speed_page_shows_what_was_measured():
    measured = json.loads(SPEED["DATA"].read_text(encoding="utf-8"))
    assert SPEED["page"](measured) == SPEED["PAGE"].read_text(encoding="utf-8")


def test_glossary_says_each_term_once_and_in_order():
    page = (ROOT / "docs" / "glossary.md").read_text("utf-8")
    terms = re.findall(r"^\| ([^|]+?) \|", page, re.MULTILINE)[1:]
    terms = [term for term in terms if set(term) != {"-"}]
    assert len(terms) > 30
    assert terms == sorted(terms, key=lambda t: t.replace("-", " "))
    words = [word.strip() for term in terms for word in term.split(",")]
    assert len(words) == len(set(words))


def test_ci_reads_its_commands_from_the_readme():
    script = ROOT / ".ci" / "run"
    assert os.access(script, os.X_OK)
    text = script.read_text("utf-8")
    assert "README.md" in text
    assert "pytest" not in text  # taken from there, so that the two cannot drift apart
    assert subprocess.run(["bash", "-n", str(script)], check=False).returncode == 0


@pytest.mark.parametrize("folder", ["src", "tests", "docs"])
def test_every_python_file_parses_and_names_no_folder_of_a_machine(folder):
    for path in sorted((ROOT / folder).rglob("*.py")):
        text = path.read_text("utf-8")
        ast.parse(text)
        assert not re.search(r"/(root|work|home)/\w", text) or path == Path(__file__), path


GALLERY = ROOT / "gallery"


@pytest.mark.parametrize("picture", sorted(GALLERY.glob("*.png")), ids=lambda path: path.stem)
def test_gallery_plans_still_run_and_made_their_pictures(picture):
    from PIL import Image

    from meltwick.constants import Constants
    from meltwick.plan import digest, read_plan, resolve
    from meltwick.stock import load_stock

    stem = re.sub("-(plain|by-round|bundle|bundle-[12]|beside)$", "", picture.stem)
    stem = {"tray-beside": "tray-socks"}.get(picture.stem, stem)
    plan = read_plan(GALLERY / f"{stem}.toml")
    wanted = digest(resolve(plan, load_stock()), Constants())
    with Image.open(picture) as opened:
        assert opened.text["meltwick-digest"] == wanted, "make the gallery's pictures anew"


def test_the_gallery_s_collection_was_made_by_its_plans():
    from meltwick.constants import Constants
    from meltwick.plan import digest, read_plan, resolve
    from meltwick.stock import load_stock

    folder = GALLERY / "first-frost"
    with (folder / "pieces.csv").open(newline="", encoding="utf-8") as file:
        made = {row["piece"]: row["digest"] for row in csv.DictReader(file)}
    assert len(made) == 8
    for name, kept in made.items():
        plan = read_plan(folder / f"{name}.toml")
        wanted = digest(resolve(plan, load_stock()), Constants())
        assert kept == wanted, "run python docs/make_gallery.py first-frost"
    for name in ("board.png", "board.html", "calendar.png", "calendar.ics", "shopping.csv"):
        assert (folder / name).stat().st_size > 1000


def test_every_gallery_plan_has_its_picture_and_its_line():
    page = (GALLERY / "README.md").read_text("utf-8")
    for plan in set(GALLERY.glob("*.toml")) - {GALLERY / "tray-socks.toml"}:
        assert plan.with_suffix(".png").is_file(), plan
        assert f"]({plan.name})" in page
