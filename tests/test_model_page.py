"""docs/model.md is compared with the program, with its numbers and with its checks."""

from __future__ import annotations

import ast
import copy
import csv
import re
import runpy
from dataclasses import fields
from pathlib import Path
from types import FunctionType
from typing import Any

import pytest

from meltwick.constants import STANDINGS, Constants
from meltwick.types import Component, Dye, Fabric

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
MAKER = runpy.run_path(str(DOCS / "make_model.py"))
EVIDENCE = runpy.run_path(str(DOCS / "make_evidence.py"))
NUMBERS = MAKER["NUMBERS"]
PAGE = (DOCS / "model.md").read_text("utf-8")


def test_the_page_is_what_the_program_says() -> None:
    assert MAKER["page"]() == PAGE, "run python docs/make_model.py"


def test_every_number_with_physics_has_a_standing() -> None:
    assert NUMBERS["faults"]() == [], "give it a row in docs/model-numbers.toml"


def test_every_constant_has_a_standing_and_stands_on_the_page() -> None:
    rows = {row["name"]: row for row in Constants.table()}
    assert rows.keys() == set(Constants.__dataclass_fields__)
    for name, row in rows.items():
        assert row["standing"] in STANDINGS, name
        assert row["source"].strip(), name
        (line,) = re.findall(rf"^\| `{name}` \|.*$", PAGE, re.MULTILINE)
        assert f"| {row['unit']} | {row['standing']} | {row['source']} |" in line


@pytest.mark.parametrize(
    ("at", "value", "said"),
    [
        (("seep/pool.py", "STIR"), None, "STIR: no row"),
        (("seep/wash.py", "spots()"), None, "spots(): no row"),
        (("seep/wash.py", "spots()", 4), [0.6], "holds [0.6, 0.8, 1.4], not [0.6]"),
        (("seep/wash.py", "SPOT_DEPTH", 1), "guessed", "standing 'guessed' is not one of"),
        (("constants.py", "GAS", 3), "a book", "names neither a year nor a standard"),
        (("stock", "pole", 2), "pipes", "names neither a year nor a standard"),
        (("folding/pole.py", "GONE"), "was here", "GONE: a row and no such number"),
        (("seep/gone.py",), {}, "seep/gone.py: no such module"),
    ],
)
def test_a_number_without_standing_is_found(at: tuple[Any, ...], value: Any, said: str) -> None:
    told = copy.deepcopy(NUMBERS["told_of"]())
    place = told
    for key in at[:-1]:
        place = place[key]
    if value is None:
        del place[at[-1]]
    else:
        place[at[-1]] = value
    find: FunctionType = NUMBERS["faults"]
    mended = FunctionType(
        find.__code__, {**find.__globals__, "told_of": lambda: copy.deepcopy(told)}
    )
    (fault,) = mended()
    assert said in fault


def test_every_kind_of_number_in_the_stock_is_told() -> None:
    told = NUMBERS["told_of"]()["stock"]
    own = {"name", "note", "scoured", "ground", "ground_name", "ground_colour", "splitting_known"}
    kinds = {
        f"{kind}.{'spoon_g' if field.name == 'spoon' else field.name}"
        for kind, record in (("fabric", Fabric), ("component", Component), ("dye", Dye))
        for field in fields(record)
        if field.name not in own
    }
    assert kinds == {name for name in told if name.split(".")[0] in ("fabric", "component", "dye")}


def test_every_check_names_a_test_that_exists_and_was_measured() -> None:
    with (DOCS / "model-evidence.csv").open(newline="", encoding="utf-8") as file:
        measured = [row["test"] for row in csv.DictReader(file)]
    named = [check["test"] for check in MAKER["checks"]()]
    assert measured == named, "run python docs/make_evidence.py"
    assert len(set(named)) == len(named)
    for check in MAKER["checks"]():
        assert check["standing"] in ("read", "memory", "formula"), check["what"]
        module, name = check["test"].split("::")
        tree = ast.parse((ROOT / "tests" / module).read_text("utf-8"))
        assert name in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_what_a_check_reached_is_the_worst_that_it_compared() -> None:
    plugin = EVIDENCE["Noting"]()
    plugin.now = "test_any"
    noted = EVIDENCE["Noted"]
    assert noted(plugin, 2.0, 1e-2, None, False) == 2.01
    assert plugin.worst["test_any"][1:] == ("0.01 of it", "0.005")
    assert noted(plugin, [1.0, 0.0], None, 0.1, False) == [1.09, 0.0]
    assert plugin.worst["test_any"][1:] == ("0.1", "0.09")
    assert noted(plugin, 5.0, 1e-12, None, False) == 5.0 + 4e-12  # round-off counts last
    assert plugin.worst["test_any"][1:] == ("0.1", "0.09")
    assert noted(plugin, 1.0, 0.1, None, False) != 1.2
