"""Every page is found from the index, and every link and picture is there."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.pages import PAGES, ROOT, anchors, links, name_of, prose

INDEX = ROOT / "docs" / "README.md"
PICTURES = (".png", ".jpg", ".gif", ".svg")


def reached(start: Path) -> set[Path]:
    """Follow links from page to page; the README leads everywhere, so it is no way through."""
    found, waiting = {start}, [start]
    while waiting:
        for _, target, _ in links(waiting.pop()):
            if target.suffix == ".md" and target not in found:
                found.add(target)
                if target != ROOT / "README.md":
                    waiting.append(target)
    return found


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_links_and_pictures_are_there(page: Path) -> None:
    for written, target, place in links(page):
        assert target.is_relative_to(ROOT), written
        assert target.exists(), written
        assert not place or place in anchors(target), written


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_links_are_written_as_the_test_reads_them(page: Path) -> None:
    """No page has links of a form that the test above would overlook."""
    text = prose(page)
    assert "`" not in text
    assert text.count("](") == len(links(page)) + text.count("](http")
    assert not [word for word in ("<a ", "<img ", "]: ", "][") if word in text]


def test_every_page_is_found_from_the_index() -> None:
    assert INDEX in {target for _, target, _ in links(ROOT / "README.md")}
    assert set(PAGES) - reached(INDEX) == set()


def test_every_picture_and_table_of_the_docs_is_shown_or_linked() -> None:
    used = {target for page in PAGES for _, target, _ in links(page)}
    kinds = (*PICTURES, ".csv", ".json")
    there = {each for each in (ROOT / "docs").rglob("*") if each.suffix in kinds}
    assert there
    assert there - used == set()


def test_every_picture_says_what_it_shows() -> None:
    for page in PAGES:
        assert "![](" not in prose(page), name_of(page)
