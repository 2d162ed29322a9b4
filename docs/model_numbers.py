"""Find the numbers of the program that have to do with physics, and what is told of them.

``docs/make_model.py`` writes its tables from this; a test asks it for faults.
"""

from __future__ import annotations

import ast
import importlib
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from meltwick.constants import STANDINGS, Constants

HERE = Path(__file__).parent
NUMBERS = HERE / "model-numbers.toml"
SOURCE = HERE.parent / "src" / "meltwick"

ROOMS = (
    *("constants.py", "binding.py", "shares.py", "chance.py", "simulate.py"),
    *("plan/words.py", "plan/recipe.py"),
    *("cloth", "folding", "stacking", "bundle", "seep", "colour", "advice", "types"),
)
"""Where a number may have to do with physics, or with what the advice says of it."""

INSIDE = ("binding.py", "shares.py", "chance.py", "cloth", "folding", "stacking", "bundle", "seep")
"""Where the numbers inside functions are looked at too; and in the room of colour."""

PLAIN = {0.0, 0.5, 0.25, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 12.0, 100.0, 1000.0}
"""Numbers that a formula may have inside a function without a row of their own."""


@dataclass(frozen=True)
class Number:
    """One number of the program that has to do with physics."""

    module: str
    name: str  # of the number, or of the function that holds it
    value: str
    unit: str
    standing: str
    what: str
    source: str


def modules() -> Iterator[str]:
    """Name the modules of `ROOMS`, as a path below the package."""
    for room in ROOMS:
        for path in sorted((SOURCE / room).rglob("*.py")) or [SOURCE / room]:
            yield path.relative_to(SOURCE).as_posix()


def _is_number(node: ast.AST) -> bool:
    return (
        isinstance(node, ast.Constant)
        and isinstance(node.value, int | float)
        and not isinstance(node.value, bool)
    )


def _floats(node: ast.AST) -> set[float]:
    """Numbers with a point inside a function that no formula explains."""
    found = {n.value for n in ast.walk(node) if _is_number(n) and isinstance(n.value, float)}  # type: ignore[attr-defined]
    return {x for x in found if x not in PLAIN and 1e-5 < x < 1e6}


def found_in(module: str) -> dict[str, set[float]]:
    """Numbers of a module: names in capitals, and functions with what stands inside them."""
    tree = ast.parse((SOURCE / module).read_text("utf-8"))
    found: dict[str, set[float]] = {}
    for node in tree.body:
        targets: list[ast.expr] = []
        if isinstance(node, ast.Assign):
            targets = node.targets
        elif isinstance(node, ast.AnnAssign) and node.value is not None:
            targets = [node.target]
        if not targets or not any(_is_number(part) for part in ast.walk(node)):
            continue
        names = [n.id for t in targets for n in ast.walk(t) if isinstance(n, ast.Name)]
        found |= {name: set() for name in names if re.fullmatch(r"_?[A-Z][A-Z0-9_]*", name)}
    room = module.split("/")[0]
    if room in (*INSIDE, "colour") and module not in told_of()["inside"]:
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef) and (inside := _floats(node)):
                found[f"{node.name}()"] = inside
    return found


def told_of() -> dict[str, Any]:
    """Read model-numbers.toml."""
    return tomllib.loads(NUMBERS.read_text("utf-8"))


def faults() -> list[str]:
    """Say what is missing from model-numbers.toml, or wrong in it."""
    told, out = told_of(), []
    for module in modules():
        rows = told.pop(module, {})
        found = found_in(module)
        out += [f"{module} {name}: no row" for name in found if name not in rows]
        out += [f"{module} {name}: a row and no such number" for name in rows if name not in found]
        for name, row in rows.items():
            if isinstance(row, str):
                continue
            if name.endswith("()") and set(row[4]) != found.get(name):
                out.append(f"{module} {name}: holds {sorted(found.get(name, ()))}, not {row[4]}")
            out += _misread(f"{module} {name}", row[1], row[3])
    for name, (_, standing, source) in told.pop("stock").items():
        out += _misread(name, standing, source)
    told.pop("inside")
    out += [f"{module}: no such module" for module in told]
    for row in Constants.table():
        out += _misread(row["name"], row["standing"], row["source"])
    return out


def _misread(name: str, standing: str, source: str) -> list[str]:
    if standing not in STANDINGS:
        return [f"{name}: standing {standing!r} is not one of {', '.join(STANDINGS)}"]
    # a year, or the number of a standard
    named = re.search(r"\b(1[89]|20)\d\d\b|\b[A-Z]{2,}\S* [A-Z]?\d+", source)
    if standing == "published" and not named:
        return [f"{name}: published, and {source!r} names neither a year nor a standard"]
    return []


def shown(value: Any) -> str:
    """Write a value as the page shows it."""
    if isinstance(value, bool) or value is None:
        return "–"
    if isinstance(value, int | float | np.number):
        return f"{value:.10g}"
    if isinstance(value, str):
        return value
    if isinstance(value, np.ndarray):
        small = value.size <= 9
        return shown(tuple(value.ravel())) if small else f"table of {value.shape[0]} rows"
    if isinstance(value, dict):
        return ", ".join(f"{word} {shown(each)}" for word, each in value.items())
    if isinstance(value, tuple):
        return ", ".join(shown(each) for each in value)
    return shown(value.diffusivity)  # a component: the only record that is a constant


def numbers() -> Iterator[Number]:
    """Every number with physics, module after module."""
    told = told_of()
    for module in modules():
        dotted = "meltwick." + module.removesuffix(".py").replace("/", ".")
        for name, row in told.get(module, {}).items():
            if isinstance(row, str):
                continue
            inside = name.endswith("()")
            kept = row[4] if inside else getattr(importlib.import_module(dotted), name)
            value = shown(tuple(kept) if inside else kept)
            yield Number(module, name, value, row[0], row[1], row[2], row[3])
