"""Who may import whom: data moves one way, so imports do too."""

import ast
from pathlib import Path

import pytest

import meltwick

ROOT = Path(meltwick.__file__).parent
ROWS = (
    {"units", "types", "errors", "homes", "constants", "chance", "stock", "plan"},
    set(
        PHYSICS := ("cloth", "folding", "binding", "stacking", "bundle", "seep", "colour", "shares")
    ),
    {"simulate"},
    {"advice", "picture", "photo", "study", "journal", "worksheet", "workshop", "collection"},
    {"cli", "__main__"},
)
# The physics row takes its numbers as arguments: it never reads a plan or the stock.
OPEN_TO_PHYSICS = {"units", "types", "errors", "homes", "constants", "chance"}
ALL = sorted(ROOT.rglob("*.py"))


def room(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def row(name: str) -> int:
    for number, names in enumerate(ROWS):
        if name in names:
            return number
    raise AssertionError(f"{name} has no row: add it to the corridor in the developers' guide")


def imported(path: Path, source: str) -> set[str]:
    """Rooms that a module's source imports, wherever in the file."""
    package = path.relative_to(ROOT.parent).with_suffix("").parts[:-1]
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                base = ".".join((*package[: len(package) - node.level + 1], base)).strip(".")
            names = [base, *(f"{base}.{alias.name}" for alias in node.names)]
        else:
            continue
        found |= {n.split(".")[1] for n in names if n.startswith("meltwick.")}
    return found & set().union(*ROWS)


@pytest.mark.parametrize("path", ALL, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_only_what_lies_before(path):
    own = room(path)
    if own == "__init__":
        return
    for other in imported(path, path.read_text("utf-8")) - {own}:
        assert row(other) <= row(own), f"{own} imports {other}, which comes later"
        if own in PHYSICS and other in PHYSICS:
            earlier = PHYSICS.index(other) < PHYSICS.index(own)
            assert earlier, f"{own} imports {other}, a later room of its row"
        if own in ROWS[1] and other in ROWS[0]:
            assert other in OPEN_TO_PHYSICS, f"{own} imports {other}: pass it in as an argument"


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("def f():\n    from meltwick.simulate import simulate\n", {"simulate"}),
        ("from meltwick import plan\n", {"plan"}),
        ("import meltwick.stock.loader\n", {"stock"}),
        ("from .build import build_cloth\n", {"cloth"}),
        ("from ..plan import Plan\n", {"plan"}),
        ("import numpy\n", set()),
    ],
)
def test_the_check_sees_imports(source, found):
    """The check itself: an import is found in any form, and inside a function."""
    assert imported(ROOT / "cloth" / "made_up.py", source) == found


def test_every_room_has_a_row():
    for path in ALL:
        if room(path) != "__init__":
            row(room(path))


OPEN_TO_WORKSHOP = {"units", "types", "errors", "chance"}


@pytest.mark.parametrize("path", sorted((ROOT / "workshop").glob("*.py")), ids=lambda p: p.name)
def test_the_workshop_knows_nothing_of_plans_and_runs(path):
    others = imported(path, path.read_text("utf-8")) - {"workshop"}
    assert others <= OPEN_TO_WORKSHOP, f"{path.name} imports {others - OPEN_TO_WORKSHOP}"


@pytest.mark.parametrize("path", ALL, ids=lambda p: str(p.relative_to(ROOT)))
def test_modules_stay_small(path):
    assert len(path.read_text("utf-8").splitlines()) <= 420


def test_the_march_imports_no_picture_library():
    for path in ALL:
        if room(path) in ROWS[1] | {"simulate"}:
            assert "PIL" not in path.read_text("utf-8"), path
