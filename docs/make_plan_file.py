"""Write docs/plan-file.md from the plan's own records and the reader's own words.

Run it as ``python docs/make_plan_file.py`` after a key changes; a test compares the two.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from meltwick.errors import MeltwickError
from meltwick.plan import folds, models, plan_from_text, template, words
from meltwick.plan.reader import built_in
from meltwick.stock import Stock, load_stock
from meltwick.stock.reading import listed
from meltwick.types import Spot
from meltwick.units import (
    show_angle,
    show_force,
    show_length,
    show_mass,
    show_temperature,
    show_time,
    show_volume,
)

PAGE = Path(__file__).with_name("plan-file.md")

# Heading, record, and a plan in which {} stands for one of its keys and a value.
TABLES: tuple[tuple[str, type[models.Table], str], ...] = (
    ("The plan", models.Plan, "{}"),
    ("`[garment]`", models.Garment, "[garment]\n{}"),
    ("`start`", models.StartTable, "start = {{ {} }}"),
    ("`[[round]]`", models.RoundTable, "[[round]]\n{}"),
    ("`fold`, a pole", folds.PoleFold, '[[round]]\nfold = [{{ kind = "pole", {} }}]'),
    ("`fold`, a tube", folds.TubeFold, '[[round]]\nfold = [{{ kind = "tube", {} }}]'),
    ("`fold`, in half", folds.HalveFold, '[[round]]\nfold = [{{ kind = "halve", {} }}]'),
    (
        "`fold`, an accordion",
        folds.AccordionFold,
        '[[round]]\nfold = [{{ kind = "accordion", {} }}]',
    ),
    ("`fold`, a spiral", folds.SpiralFold, '[[round]]\nfold = [{{ kind = "spiral", {} }}]'),
    ("`fold`, rosettes", folds.RosettesFold, '[[round]]\nfold = [{{ kind = "rosettes", {} }}]'),
    ("`fold`, a rope", folds.RopeFold, '[[round]]\nfold = [{{ kind = "rope", {} }}]'),
    ("`fold`, a scrunch", folds.ScrunchFold, '[[round]]\nfold = [{{ kind = "scrunch", {} }}]'),
    ("`tie`", models.TieTable, "[[round]]\ntie = {{ {} }}"),
    ("`soda`", models.SodaTable, "[[round]]\nsoda = {{ {} }}"),
    ("`rest`", models.RestTable, "[[round]]\nrest = {{ {} }}"),
    ("`batch`", models.BatchTable, "[[round]]\nbatch = {{ {} }}"),
    ("`[[round.ice]]`", models.IceTable, "[[round]]\n[[round.ice]]\n{}"),
    ("`[[round.dye]]`", models.DyeTable, "[[round]]\n[[round.dye]]\n{}"),
    ("`[[round.beside]]`", models.BesideTable, "[[round]]\n[[round.beside]]\n{}"),
    ("`[round.liquor]`", models.LiquorTable, "[[round]]\n[round.liquor]\n{}"),
)

# A quantity of each dimension that no key allows, to have the reader name the bounds.
_TOO_MUCH = {
    "length": "900 m",
    "angle": "9000 deg",
    "weight": "9000 kg",
    "volume": "90000 L",
    "time": "9000 days",
    "temperature": "900 degC",
    "force": "90000 N",
}
_KIND = re.compile('kind = "(.*?)"')
_SHOW = {
    "length": show_length,
    "angle": show_angle,
    "mass": show_mass,
    "volume": show_volume,
    "time": show_time,
    "temperature": show_temperature,
    "force": show_force,
}
IN_STOCK = {
    "blank": "blanks",
    "size": "sizes",
    "fabric": "fabrics",
    "ground": "grounds",
    "pole": "poles",
    "dye": "dyes",
}
_BACK = {
    ("Plan", "neatness"): words.NEATNESS,
    ("Garment", "damp"): words.DAMP,
    ("DyeTable", "at"): words.ZONES,
    ("AccordionFold", "creases"): words.CREASES,
    ("TieTable", "force"): words.CLAMPED,
    ("StartTable", "dyes"): {"none": ()},
    ("TieTable", "at"): {"middle": (0.5, 0.5)},
}


def complaint(pattern: str, key: str, value: str) -> str:
    """Return what the reader says about a value, or nothing if it takes it."""
    try:
        plan_from_text(pattern.format(f"{key} = {value}"), "plan")
    except MeltwickError as error:
        return str(error)
    return ""


def allowed(pattern: str, key: str) -> str:
    """What a key takes, in the reader's words."""
    said = complaint(pattern, key, '"?"')
    text = said.split("; ", 1)[1] if "; " in said else ""
    text = re.sub(r"^(it may be|write|use) ", "", text)
    if "true nor false" in said:
        return "true or false"
    if "whole number" in said:
        low, high = re.findall(r"[0-9]+", text)
        return (
            f"a whole number, {low} or more" if int(high) > 10**6 else f"a whole number {text[4:]}"
        )
    if "is not a number" in said:
        return f"a number {text[4:]}"
    if ", or how far from one" in text:
        return "a place of the blank, listed below" + text[text.index(", or how far from one") :]
    for dimension, much in _TOO_MUCH.items():
        if f"{dimension} such as" in text:
            bounds = complaint(pattern, key, f'"{much}"')
            if found := re.search(r"must lie (from .*)$", bounds):
                text += f", {found[1]}"
            break
    if key == "kind" and "fold = " in pattern:
        return _KIND.findall(pattern)[0]
    if key in IN_STOCK and not said:
        return f"a name in stock ({IN_STOCK[key]})"
    if not text and not said:
        text = "any text"
    return text or "see below"


def _dimension(text: str) -> str | None:
    for dimension in _TOO_MUCH:
        if f"{dimension} such as" in text:
            return "mass" if dimension == "weight" else dimension
    return None


def default(record: type[models.Table], key: str, takes: str) -> str:
    """Return a key's default as a maker would write it."""
    value: Any = record.model_fields[key].default
    for word, meaning in _BACK.get((record.__name__, key), {}).items():
        if meaning == value:
            return word
    if isinstance(value, models.Amount):
        return _SHOW[value.dimension](value.value)
    if isinstance(value, bool):
        return str(value).lower()
    if value is None or value == "":
        return "the usual one" if key in ("size", "fabric", "amount", "chunk", "moves") else "–"
    if isinstance(value, float) and (dimension := _dimension(takes)):
        return _SHOW[dimension](value)
    if isinstance(value, Spot):
        return value.place
    if isinstance(value, models.Table | tuple):
        return "as below"
    return f"{value:g}" if isinstance(value, float) else str(value)


def stock_lines() -> list[str]:
    """Name what the program's own stock holds; a maker's own files may add to it."""
    stock = load_stock(PAGE.parent / "no such folder")
    sizes = [f"{line.name}: {', '.join(line.sizes)}" for line in stock.blanks.values()]
    return [
        f"- blanks: {', '.join(stock.blanks)}",
        f"- sizes: {'; '.join(sizes)}",
        f"- fabrics: {', '.join(stock.fabrics)}",
        f"- grounds: {', '.join(stock.grounds)}",
        f"- poles: {', '.join(stock.poles)}",
        f"- dyes: {', '.join(stock.dyes)}",
        *place_lines(stock),
    ]


def place_lines(stock: Stock) -> list[str]:
    """Name the places that each blank has; left and right are as seen from the front."""
    blanks: dict[tuple[str, ...], list[str]] = {}
    for line in stock.blanks.values():
        blanks.setdefault(words.PLACES[line.cut], []).append(line.name)
    blanks[words.PLACES["own"]] = ["an outline of your own"]
    return [f"- places of {listed(names)}: {', '.join(at)}" for at, names in blanks.items()]


def page() -> str:
    """Return the whole page."""
    lines = [
        "# The plan file",
        "",
        "A plan is a text file in TOML 1.0. Every key may be left out. Quantities carry their",
        'unit, metric or US: `"25 mm"`, `"1-1/2 in"`, `"3 g"`, `"1/2 cup"`, `"20 degC"`,',
        '`"24 h"`. A key that does not exist is an error that names the nearest one.',
        "`schema = 1` says which form of the file it is; a newer one than the program knows is",
        "refused. In messages `round.1.tie.spacing` means the spacing of the first round's tie.",
        "",
        "This page is made from the program by `docs/make_plan_file.py`, and a test compares them.",
    ]
    for heading, record, pattern in TABLES:
        lines += ["", f"## {heading}", "", (record.__doc__ or "").strip().splitlines()[0], ""]
        lines += ["| key | what it is | what it takes | if left out |", "|---|---|---|---|"]
        for key, field in record.model_fields.items():
            takes = allowed(pattern, key).replace("|", "\\|")
            row = (f"`{key}`", field.description or "", takes, default(record, key, takes))
            lines.append("| " + " | ".join(row) + " |")
    lines += ["", "## What is in stock", "", *stock_lines()]
    lines += ["", "## A plan to start from", "", "`meltwick new NAME` writes this:", ""]
    lines += ["```toml", template("NAME").rstrip(), "```"]
    for fold in words.STARTS[1:]:
        lines += ["", f"`meltwick new NAME --fold {fold}` folds and ties otherwise:", ""]
        lines += ["```toml", built_in(f"template-{fold}.toml").rstrip(), "```"]
    lines += [""]
    return "\n".join(lines)


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
