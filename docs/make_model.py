"""Write the tables of docs/model.md: constants, other numbers, stock, and the evidence.

Run it as ``python docs/make_model.py`` after a number changes; a test compares page and program.
What each number is stands in model-numbers.toml, what each check is in model-evidence.toml, what
the checks reached in model-evidence.csv, which ``docs/make_evidence.py`` measures, and white at
three pitches in model-pitch.csv, which ``docs/make_pitch.py`` measures. The text of the page
between the tables is written by hand.
"""

from __future__ import annotations

import ast
import csv
import importlib
import runpy
import tomllib
from collections.abc import Iterable, Mapping
from itertools import pairwise
from pathlib import Path

import numpy as np

from meltwick.constants import MODEL, STANDINGS, Constants
from meltwick.stock import load_stock

HERE = Path(__file__).parent
PAGE = HERE / "model.md"
CHECKS = HERE / "model-evidence.toml"
REACHED = HERE / "model-evidence.csv"
PITCHES = HERE / "model-pitch.csv"
SOURCE = HERE.parent / "src" / "meltwick"

NUMBERS = runpy.run_path(str(HERE / "model_numbers.py"))
shown, numbers, modules, told_of = (
    NUMBERS[name] for name in ("shown", "numbers", "modules", "told_of")
)

GROUPS = (
    ("Physical constants", ("constants.py",)),
    ("Cloth", ("cloth",)),
    ("Folds and the hand", ("folding",)),
    ("Ties and the bundle", ("binding.py", "stacking", "bundle")),
    ("Water and dye", ("seep",)),
    ("Colour and shares", ("colour", "shares.py")),
    ("Words of a plan", ("plan",)),
    ("Where the advice speaks up", ("advice",)),
)


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> list[str]:
    """Write a table."""
    names = list(head)
    lines = [names, ["---"] * len(names), *(list(row) for row in rows)]
    return ["| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in lines]


def constants_table() -> list[str]:
    """Write a row for every field of `Constants`."""
    head = ("constant", "value", "range", "unit", "standing", "what it is, source")
    return table(
        head,
        (
            (
                f"`{row['name']}`",
                shown(row["value"]),
                f"{shown(row['low'])} .. {shown(row['high'])}",
                row["unit"],
                row["standing"],
                row["source"],
            )
            for row in Constants.table()
        ),
    )


def numbers_tables() -> list[str]:
    """Write a table for every room."""
    lines, every = [], list(numbers())
    for heading, rooms in GROUPS:
        rows = [n for n in every if n.module in rooms or n.module.split("/")[0] in rooms]
        head = ("where", "number", "value", "unit", "standing", "what it is", "source")
        body = (
            (
                f"`{n.module}`",
                f"`{n.name}`",
                n.value,
                n.unit,
                n.standing,
                n.what,
                n.source or "–",
            )
            for n in rows
        )
        lines += [f"### {heading}", "", *table(head, body), ""]
    return lines[:-1]


def plain_table() -> list[str]:
    """Write what is no physics, and why."""
    told = told_of()
    rows = [
        (f"`{module}`", f"`{name}`", why)
        for module in modules()
        for name, why in told.get(module, {}).items()
        if isinstance(why, str)
    ]
    rows += [(f"`{module}`", "inside its functions", why) for module, why in told["inside"].items()]
    return table(("where", "number", "why it has no standing"), rows)


def _span(values: Iterable[float], scale: float = 1.0) -> str:
    some = [value * scale for value in values]
    low, high = f"{min(some):.4g}", f"{max(some):.4g}"
    return low if low == high else f"{low} .. {high}"


def stock_values() -> dict[str, str]:
    """Span of every kind of number in the program's own stock."""
    stock = load_stock(HERE / "no such folder")
    fabrics, dyes = stock.fabrics.values(), stock.dyes.values()
    parts = {part.name: part for dye in dyes for part, _ in dye.parts}.values()
    measures = [
        m for line in stock.blanks.values() for s in line.sizes.values() for m in s.values()
    ]
    return {
        "fabric.mass_per_area": _span((f.mass_per_area for f in fabrics), 1e3),
        "fabric.thickness": _span((f.thickness for f in fabrics), 1e3),
        "fabric.fibre_density": _span(f.fibre_density for f in fabrics),
        "fabric.dyeable_share": _span(f.dyeable_share for f in fabrics),
        "fabric.uptake": _span(f.uptake for f in fabrics),
        "fabric.wetting": _span(f.wetting for f in fabrics),
        "component.kd": _span((p.kd for p in parts), 1e3),
        "component.strike": _span(p.strike for p in parts),
        "component.diffusivity": _span((p.diffusivity for p in parts), 1e10),
        "component.bands": f"{len(parts)} components",
        "dye.parts": f"{len(dyes)} jars",
        "dye.solubility": _span(d.solubility for d in dyes),
        "dye.spoon_g": _span((d.spoon for d in dyes), 1e3),
        "dye.dark": _span(d.dark for d in dyes),
        "blank.measures": _span(measures, 1e2),
        "pole": _span(stock.poles.values(), 1e3),
        "tie": _span(stock.ties.values()),
        "ground": f"{len(stock.grounds)} colours",
    }


def stock_table() -> list[str]:
    """Write a row for every kind of number of the stock."""
    told, values = told_of()["stock"], stock_values()
    assert told.keys() == values.keys()
    rows = ((f"`{k}`", values[k], unit, standing, why) for k, (unit, standing, why) in told.items())
    return table(("kind", "values", "unit", "standing", "source"), rows)


def components_table() -> list[str]:
    """Write the components of the stock with the standing that their own notes give."""
    made = tomllib.loads((SOURCE / "stock" / "dyes.toml").read_text("utf-8"))["component"]
    rows = (
        (name, ", ".join(f"{peak:g}" for peak, _, _ in each["bands"]), each["kd"], each["note"])
        for name, each in made.items()
    )
    return table(("component", "peaks [nm]", "kd", "standing of its peaks"), rows)


def checks() -> list[dict[str, str]]:
    """List the checks of model-evidence.toml."""
    return list(tomllib.loads(CHECKS.read_text("utf-8"))["check"])


def evidence_table() -> list[str]:
    """Write the checks, what they allow and what they reached."""
    with REACHED.open(newline="", encoding="utf-8") as file:
        reached = {row["test"]: row for row in csv.DictReader(file)}
    models = sorted({row["model"] for row in reached.values()})
    rows = []
    for check in checks():
        found = reached[check["test"]]
        name = check["test"].replace("::", " ")
        rows.append(
            (
                check["what"],
                check["source"],
                check["standing"],
                found["allowed"],
                found["reached"],
                f"`{name}`",
            )
        )
    head = ("what", "against", "standing", "allowed", "reached", "test")
    return [f"Measured with model {', '.join(models)}.", "", *table(head, rows)]


def pitch_table() -> list[str]:
    """Write the white of three plans at three pitches, by the hands run at all of them."""
    with PITCHES.open(newline="", encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    pitches = list(dict.fromkeys(line["pitch_mm"] for line in lines))
    rows = []
    for plan in dict.fromkeys(line["plan"] for line in lines):
        white: dict[str, dict[str, float]] = {}  # by hand and pitch
        for line in (line for line in lines if line["plan"] == plan):
            white.setdefault(line["hand"], {})[line["pitch_mm"]] = 100 * float(line["white"])
        whole = [list(each.values()) for each in white.values() if len(each) == len(pitches)]
        hands = np.array(whole).T  # (pitches, hands)
        middle = np.median(hands, axis=1)
        cells = [
            f"{mid:.1f} ({each.min():.1f} .. {each.max():.1f})"
            for mid, each in zip(middle, hands, strict=True)
        ]
        rows.append((plan, str(len(whole)), *cells, f"{np.ptp(middle):.1f}"))
    worst = max(float(line["balance_error"]) for line in lines)
    head = ("plan", "hands", *(f"{float(pitch):g} mm" for pitch in pitches), "medians apart")
    models = ", ".join(sorted({line["model"] for line in lines}))
    return [
        *table(head, rows),
        "",
        f"Medians, least and most in brackets, with model {models}. The balance of the dye closed",
        f"to {worst:.1e} of what was laid or better in all of these runs.",
    ]


def effort_table() -> list[str]:
    """Write how finely the melt is cut, and what was measured when that was set."""
    module = "seep/levels.py"
    body = ast.parse((SOURCE / module).read_text("utf-8")).body
    told = {}
    for node, after in pairwise(body):
        if isinstance(node, ast.Assign) and isinstance(after, ast.Expr):
            told[ast.unparse(node.targets[0])] = " ".join(ast.literal_eval(after.value).split())
    levels = importlib.import_module("meltwick.seep.levels")
    rows = []
    for name, label in (("USUAL", "usual"), ("DRAFT", "draft")):
        each = getattr(levels, name)
        numbers = (each.steps, each.spread, each.batch)
        rows.append((label, shown(each.levels), *map(str, numbers), told.get(name, "–")))
    head = ("effort", "melt rates", "steps of flow", "of it to a step of spreading")
    return table((*head, "steps of batching", "measured when it was set"), rows)


def tally() -> list[str]:
    """Count standings."""
    kept = [row["standing"] for row in Constants.table()]
    others = [n.standing for n in numbers()]
    rows = ((s, str(kept.count(s)), str(others.count(s))) for s in STANDINGS)
    return table(("standing", "of `Constants`", "of the other numbers"), rows)


PARTS = {
    "model": lambda: [f"This is model {MODEL}."],
    "tally": tally,
    "constants": constants_table,
    "numbers": numbers_tables,
    "plain": plain_table,
    "stock": stock_table,
    "components": components_table,
    "evidence": evidence_table,
    "pitch": pitch_table,
    "effort": effort_table,
}


def filled(text: str, parts: Mapping[str, Iterable[str]]) -> str:
    """Put the lines of every part between its two marks."""
    for name, made in parts.items():
        start, end = f"<!-- made: {name} -->\n", f"<!-- end: {name} -->"
        before, rest = text.split(start)
        text = before + start + "\n".join(["", *made, "", ""]) + end + rest.split(end)[1]
    return text


def page() -> str:
    """Return the page with its parts made anew."""
    return filled(PAGE.read_text("utf-8"), {name: made() for name, made in PARTS.items()})


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
