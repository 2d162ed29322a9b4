"""The pages of folds and ties: none is missing, and their plans are plans."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from meltwick.errors import PlanError
from meltwick.plan import plan_from_text, resolve, words
from meltwick.stock import load_stock

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
PAGES = sorted([*(DOCS / "folds").glob("*.md"), *(DOCS / "ties").glob("*.md")])
STOCK = load_stock(ROOT / "no such folder")
HEADINGS = ["At the bench", "What the trade expects", "In the plan", "Watch out"]
MADE_OF = {
    "fan": ["halve", "accordion"],
    "diamond": ["halve", "halve", "accordion"],
    "brick": ["halve", "accordion", "accordion"],
}
"""Pages of folds that are several folds."""


def text_of(page: Path) -> str:
    return page.read_text("utf-8")


def plans_in(page: Path) -> list[str]:
    return re.findall(r"^```toml\n(.*?)^```", text_of(page), re.DOTALL | re.MULTILINE)


@pytest.mark.parametrize("fold", words.FOLDS)
def test_every_fold_has_its_page(fold: str) -> None:
    assert (DOCS / "folds" / f"{fold}.md").is_file()


@pytest.mark.parametrize("tie", words.TIES)
def test_every_tie_has_its_page(tie: str) -> None:
    assert (DOCS / "ties" / f"{tie}.md").is_file()


def test_the_index_names_every_page() -> None:
    index = text_of(DOCS / "techniques.md")
    named = set(re.findall(r"\(((?:folds|ties)/[a-z]+\.md)\)", index))
    assert named == {str(page.relative_to(DOCS)) for page in PAGES}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_a_page_says_what_all_say(page: Path) -> None:
    assert re.findall(r"^## (.*)$", text_of(page), re.MULTILINE) == HEADINGS
    assert "(Common practice, no source.)" in text_of(page)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_a_page_shows_the_bundle_and_the_cloth(page: Path) -> None:
    shown = re.findall(r"!\[[^]]*\]\(\.\./\.\./gallery/([a-z0-9-]+)\.png\)", text_of(page))
    assert len(shown) == 2
    bundle, cloth = shown
    assert bundle == f"{cloth}-bundle"
    assert f"(../../gallery/{cloth}.toml)" in text_of(page)
    for name in shown:
        assert (ROOT / "gallery" / f"{name}.png").is_file()


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_a_pages_plan_is_one_and_of_its_kind(page: Path) -> None:
    (text,) = plans_in(page)
    plan = plan_from_text(text, page.name)
    resolve(plan, STOCK)
    (turn,) = plan.round
    if page.parent.name == "ties":
        last = turn.fold[-1].kind if turn.fold else ""
        assert turn.tie.kind_after(last) == page.stem
    else:
        assert [fold.kind for fold in turn.fold] == MADE_OF.get(page.stem, [page.stem])


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_the_names_that_a_page_gives_are_understood(page: Path) -> None:
    """A traditional name is accepted; another word for it is told what is meant."""
    for said in re.findall(r"((?:`[a-z ]+`[^`.]*)+)(?:is|are) (understood|known)", text_of(page)):
        for name in re.findall(r"`([a-z ]+)`", said[0]):
            assert meant(name, page.parent.name) == MADE_OF.get(page.stem, [page.stem])[-1]


def meant(name: str, table: str) -> str:
    """The fold or tie that a plan's word turns into, or that its refusal offers."""
    turn = (
        f'fold = [{{ kind = "{name}" }}]'
        if table == "folds"
        else (f'fold = []\ntie = {{ kind = "{name}" }}')
    )
    try:
        (made,) = plan_from_text(f"[[round]]\n{turn}\n", "w.toml").round
    except PlanError as error:
        found = re.findall(r"did you mean '?([a-z]+)", str(error))
        return found[0] if found else ""
    return made.fold[-1].kind if table == "folds" else made.tie.kind


@pytest.mark.parametrize(("name", "fold"), sorted(words.TRADITIONAL.items()))
def test_traditional_names_of_folds_are_accepted(name: str, fold: str) -> None:
    for written in (name, name.title()):
        plan = plan_from_text(f'[[round]]\nfold = [{{ kind = "{written}" }}]\n', "w.toml")
        assert plan.round[0].fold[-1].kind == fold
    if name == "bomaki":
        assert plan.round[0].fold[-1].sewn


@pytest.mark.parametrize(("name", "tie"), sorted(words.TRADITIONAL_TIES.items()))
def test_traditional_names_of_ties_are_accepted(name: str, tie: str) -> None:
    turn = "fold = []" if tie != "clamps" else 'fold = [{ kind = "accordion" }]'
    plan = plan_from_text(f'[[round]]\n{turn}\ntie = {{ kind = "{name}" }}\n', "w.toml")
    assert plan.round[0].tie.kind == tie
