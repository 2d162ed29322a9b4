"""The pages that tell of the program, and what stands in them."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGES = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    ROOT / "gallery" / "README.md",
    *sorted((ROOT / "docs").rglob("*.md")),
]
_BLOCK = re.compile(r"^ *```.*\n((?:.*\n)*?) *```$", re.MULTILINE)
_SPAN = re.compile(r"`([^`]+)`")


def name_of(page: Path) -> str:
    """Name a page from the repository's root."""
    return page.relative_to(ROOT).as_posix()


def text_of(page: Path) -> str:
    """Read a page."""
    return page.read_text("utf-8")


def block_lines(page: Path) -> list[str]:
    """Give every line of the page's fenced blocks."""
    return [line for block in _BLOCK.findall(text_of(page)) for line in block.splitlines()]


def prose(page: Path) -> str:
    """Give a page without its fenced blocks, and with a word for each span of code."""
    return _SPAN.sub("code", _BLOCK.sub("", text_of(page)))


def commands(page: Path) -> list[tuple[str, bool]]:
    """Give what a maker would type, in the page's order, and whether it stands in a block.

    Of a line of several commands those of the program are given. Lines of usage, which name
    ``[OPTIONS]``, are none.
    """
    held: list[tuple[int, str, bool]] = []

    def take(found: re.Match[str]) -> str:
        lines = found[1].splitlines(keepends=True)
        starts = [found.start(1) + sum(map(len, lines[:n])) for n in range(len(lines))]
        held.extend((at, line.strip(), True) for at, line in zip(starts, lines, strict=True))
        return re.sub(r"[^\n]", " ", found[0])

    rest = _BLOCK.sub(take, text_of(page))
    held += [(each.start(1), " ".join(each[1].split()), False) for each in _SPAN.finditer(rest)]
    parts = [
        (part.strip().removeprefix(".venv/bin/"), block)
        for _, line, block in sorted(held)
        for part in line.split("&&")
    ]
    return [
        (part, block)
        for part, block in parts
        if part.startswith("meltwick ") and "[OPTIONS]" not in part
    ]


def anchors(page: Path) -> set[str]:
    """Give the places in a page that a link may name, as its headings make them."""
    found: set[str] = set()
    for heading in re.findall(r"^#+ (.*)$", _BLOCK.sub("", text_of(page)), re.MULTILINE):
        plain = re.sub(r"[^\w\- ]", "", heading.strip().lower()).replace(" ", "-")
        again = sum(1 for each in found if re.fullmatch(rf"{re.escape(plain)}(-\d+)?", each))
        found.add(f"{plain}-{again}" if plain in found else plain)
    return found


def links(page: Path) -> list[tuple[str, Path, str]]:
    """Give what a page links to or shows: as written, the file, and the place in it."""
    found = []
    for target in re.findall(r"\]\(([^)\s]+)\)", prose(page)):
        if "://" not in target:
            name, _, place = target.partition("#")
            found.append((target, (page.parent / name).resolve() if name else page, place))
    return found
