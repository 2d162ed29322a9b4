"""Write docs/commands.md from the commands themselves and their help.

Run it as ``python docs/make_commands.py`` after a command changes; a test compares the two.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from meltwick.cli import main
from meltwick.cli.app import build

PAGE = Path(__file__).with_name("commands.md")
WIDTH = 100
EVERYWHERE = {"--debug"}
"""Options that every command takes: told once."""

MORE = {
    "preview": ("first-preview.md",),
    "new": ("first-preview.md", "plan-file.md"),
    "check": ("first-preview.md",),
    "compare": ("choosing.md", "cluster.md"),
    "aim": ("choosing.md", "cluster.md"),
    "explore": ("choosing.md", "cluster.md"),
    "learn": ("learning.md",),
    "resize": ("first-preview.md",),
    "redye": ("second-round.md",),
    "film": ("first-preview.md",),
    "guide": ("first-preview.md",),
    "sheet": ("first-preview.md",),
    "collection": ("collection.md",),
    "palette": ("choosing.md",),
    "measure": ("measuring.md",),
    "record": ("journal.md",),
    "cache": ("choosing.md",),
    "journal": ("journal.md",),
    "swatch": ("swatches.md",),
}
"""Pages that tell more of a command."""

TOP = """# The commands

Every command and every word that it takes. `meltwick --help` lists the commands, `meltwick preview
--help` says of one what this page says, and `meltwick --version` says which program it is. Where a
plan may be left out, the built-in example serves. What you asked for goes to standard output, and
what is said on the way to standard error.

Every command also takes `--help`, or `-h`, and `--debug`, which shows the whole error if the
program fails.

This page is made from the program by `docs/make_commands.py`, and a test compares them.
"""


def each(
    command: Any = None, path: tuple[str, ...] = ("meltwick",)
) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Give every command with its path, a group before what belongs to it."""
    command = build() if command is None else command
    for name, found in command.commands.items():
        yield (*path, name), found
        if hasattr(found, "commands"):
            yield from each(found, (*path, name))


def is_argument(word: Any) -> bool:
    """Whether a word stands alone, without an option before it."""
    return not word.opts[0].startswith("-")


def shown(word: Any) -> str:
    """Return a word as it is typed, in a plan's or a file's place its name in capitals."""
    if is_argument(word):
        return word.metavar + ("..." if word.nargs == -1 else "")
    return " ".join([", ".join(word.opts), *([word.metavar] if word.metavar else [])])


def usage(path: tuple[str, ...], command: Any) -> str:
    """Return the line that says in which order words are written."""
    needed, spare = [], []
    for word in command.params:
        if is_argument(word):
            (needed if word.required else spare).append(shown(word))
    needed += [shown(w) for w in command.params if w.required and not is_argument(w)]
    if hasattr(command, "commands"):
        needed.append("COMMAND")
    return " ".join([*path, *needed, *(f"[{each}]" for each in spare), "[OPTIONS]"])


def as_code(text: str) -> str:
    """Mark the options in a text as code, with a value in capitals or in per cent after them."""
    option = r"(?<![\w`-])--[a-z][a-z0-9-]*(?: [A-Z]+\b| [0-9]+%)?"
    return re.sub(option, lambda found: f"`{found[0]}`", text)


def parts(text: str) -> tuple[list[str], str]:
    """Part a help text into its paragraphs and its example."""
    said = [" ".join(each.split()) for each in text.split("\n\n")]
    examples = [each for each in said if each.startswith("Example: ")]
    return [each for each in said if each not in examples], "".join(examples)[len("Example: ") :]


def told(word: Any) -> tuple[str, str]:
    """Part the help of a word into what it is and what holds where it is left out."""
    found = re.fullmatch(r"(.*); (.+) (?:by default|if left out|if none)\.", word.help)
    said, default = (f"{found[1]}.", found[2]) if found else (word.help, "–")
    if word.required:
        default = "must be given"
    elif word.default not in (None, False):
        default = f"`{word.default}`"
    if getattr(word, "multiple", False) and "repeated" not in said:
        said += " May be repeated."
    return as_code(said), default


def row(word: Any) -> str:
    """Return a word's line of the table."""
    cells = (f"`{shown(word)}`", *told(word))
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def exit_codes() -> list[str]:
    """Return the table of exit codes, in the words of the command's own reference."""
    said = " ".join((main.__doc__ or "").split("-------")[-1].split())
    found = re.findall(r"(\d+) ([^;]+?)[;.]", said)
    return ["| exit code | means |", "|---|---|", *(f"| {code} | {text} |" for code, text in found)]


def section(path: tuple[str, ...], command: Any) -> list[str]:
    """Tell one command."""
    said, example = parts(command.help)
    lines = [f"{'#' * len(path)} {' '.join(path)}", "", f"`{usage(path, command)}`"]
    for paragraph in said:
        lines += ["", textwrap.fill(as_code(paragraph), WIDTH, break_on_hyphens=False)]
    if example:
        lines += ["", "```sh", example, "```"]
    if words := [word for word in command.params if word.opts[0] not in EVERYWHERE]:
        lines += ["", "| word | what it is | if left out |", "|---|---|---|"]
        lines += [row(word) for word in words]
    if len(path) == 2:
        pages = MORE[path[-1]]
        lines += ["", f"More in {' and '.join(f'[{page}]({page})' for page in pages)}."]
    return [*lines, ""]


def contents() -> list[str]:
    """List the commands, each with its line of the general help."""
    lines = ["| command | what it does |", "|---|---|"]
    for path, command in each():
        link = f"[{' '.join(path)}](#{'-'.join(path)})"
        lines.append(f"| {link} | {command.short_help or parts(command.help)[0][0]} |")
    return lines


def page() -> str:
    """Return the whole page."""
    lines = [TOP, *contents(), "", "## Exit codes", "", *exit_codes(), ""]
    for path, command in each():
        lines += section(path, command)
    return "\n".join(lines).rstrip() + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
