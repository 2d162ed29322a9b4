"""Move every constant of the model to both ends of its range, one at a time, on six plans.

Run from the top of the repository, with the ``docs`` extra installed; it takes about a
quarter of an hour on two cores. It writes docs/sensitivity.csv (the data), sensitivity.md and
sensitivity.png (table and plot), and the doubt that every preview shows,
src/meltwick/study/doubt.toml.
``--from-data`` makes the other three again from the data.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from meltwick.constants import MODEL, Constants
from meltwick.journal.factors import FACTORS
from meltwick.plan import example_plan, read_plan, resolve
from meltwick.simulate import run
from meltwick.stock import load_stock
from meltwick.types import Recipe

HERE = Path(__file__).parent
GALLERY = HERE.parent / "gallery"
DATA = HERE / "sensitivity.csv"
DOUBT = HERE.parent / "src" / "meltwick" / "study" / "doubt.toml"
DRAFT = 4e-3  # [m]
HANDS = 2
PLANS = ("pole", "accordion", "spiral", "scrunch", "halve", "rope")
"""By the last fold of each."""
FILES = {"halve": "halved"}
"""Plans of the gallery that are not called by their last fold."""
LEARNED = [name for factor in FACTORS for name in factor.constants]
HEADER = ("constant", "value", "plan", "hand", "white")


def recipe(plan: str) -> Recipe:
    """Return one of the plans: the built-in example, and five of the gallery's."""
    file = GALLERY / f"{FILES.get(plan, plan)}.toml"
    found = example_plan() if plan == "pole" else read_plan(file)
    return resolve(found, load_stock())


def white(job: tuple[str, float | None, str, int]) -> tuple[str, float | None, str, int, float]:
    """White share of one hand with one constant changed, or none."""
    name, value, plan, hand = job
    asked = recipe(plan)
    constants = Constants() if value is None else replace(Constants(), **{name: value})
    result = run(
        replace(asked, seed=asked.seed + hand),
        "sensitivity",
        pitch=DRAFT,
        start=None,
        constants=constants,
        observer=lambda stage, done, total: None,
        threads=1,
    )
    return name, value, plan, hand, result.white_share


def jobs() -> Iterator[tuple[str, float | None, str, int]]:
    """Every constant at both ends, on every plan, by every hand; first of all none changed."""
    ends = [("", None)] + [
        (row["name"], row[end]) for row in Constants.table() for end in ("low", "high")
    ]
    for name, value in ends:
        for plan in PLANS:
            for hand in range(HANDS):
                yield name, value, plan, hand


def measure() -> None:
    """Run everything and write the data, line by line as they come."""
    with (
        ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool,
        DATA.open("w", newline="", encoding="utf-8") as file,
    ):
        out = csv.writer(file, lineterminator="\n")
        out.writerow(HEADER)
        for name, value, plan, hand, share in pool.map(white, jobs(), chunksize=2):
            out.writerow((name, "" if value is None else f"{value:g}", plan, hand, f"{share:.5f}"))
            file.flush()


def moved() -> dict[str, dict[str, tuple[float, float]]]:
    """Points of white that each constant moves, at its low and its high end, by plan.

    Differences are taken hand by hand, so that the hands' own spread drops out.
    """
    with DATA.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    usual = {(r["plan"], r["hand"]): float(r["white"]) for r in rows if not r["constant"]}
    found: dict[str, dict[str, tuple[float, float]]] = {}
    for line in Constants.table():
        found[line["name"]] = {}
        for plan in PLANS:
            ends = []
            for end in (line["low"], line["high"]):
                gaps = [
                    float(r["white"]) - usual[r["plan"], r["hand"]]
                    for r in rows
                    if (r["constant"], r["plan"]) == (line["name"], plan)
                    and r["value"] == f"{end:g}"
                ]
                ends.append(100.0 * float(np.mean(gaps)))
            found[line["name"]][plan] = (ends[0], ends[1])
    return found


def half(ends: tuple[float, float]) -> float:
    """Half of the way between the lowest and the highest that a constant brings [points]."""
    return 0.5 * (max(*ends, 0.0) - min(*ends, 0.0))


def doubts(found: dict[str, dict[str, tuple[float, float]]]) -> dict[str, float]:
    """Root of the sum of squares over all constants, by plan, and of plans' differences."""
    out = {
        plan: float(np.sqrt(sum(half(each[plan]) ** 2 for each in found.values())))
        for plan in PLANS
    }
    for n, one in enumerate(PLANS):
        for two in PLANS[n + 1 :]:
            gaps = [
                half((each[one][0] - each[two][0], each[one][1] - each[two][1]))
                for each in found.values()
            ]
            out[f"{one} less {two}"] = float(np.sqrt(np.sum(np.square(gaps))))
    return out


def parts(found: dict[str, dict[str, tuple[float, float]]]) -> dict[str, dict[str, float]]:
    """Half the way that each constant that a maker's pieces correct moves white, by plan [points].

    With the sign of the way from its low to its high end. The mean of squares stands for plans
    that end with another fold.
    """
    out = {
        plan: {
            name: half(found[name][plan]) * (1.0 if np.diff(found[name][plan])[0] > 0 else -1.0)
            for name in LEARNED
        }
        for plan in PLANS
    }
    out[""] = {
        name: float(
            np.sign(sum(out[plan][name] for plan in PLANS))
            * np.sqrt(np.mean([out[plan][name] ** 2 for plan in PLANS]))
        )
        for name in LEARNED
    }
    return out


def usual_white() -> dict[str, float]:
    """Mean white of each plan with nothing changed [%]."""
    with DATA.open(newline="", encoding="utf-8") as file:
        rows = [r for r in csv.DictReader(file) if not r["constant"]]
    return {
        plan: 100.0 * float(np.mean([float(r["white"]) for r in rows if r["plan"] == plan]))
        for plan in PLANS
    }


def write_page(found: dict[str, dict[str, tuple[float, float]]]) -> None:
    """Write the table."""
    table = {row["name"]: row for row in Constants.table()}
    rank = sorted(found, key=lambda name: -max(half(ends) for ends in found[name].values()))
    total, usual = doubts(found), usual_white()
    rest = list(enumerate(PLANS))[1:]
    lines = [
        "# What the model's own numbers do to the white",
        "",
        "Every constant of the model was moved to both ends of its range, one at a time, on six",
        "plans (the built-in example, a pole; the gallery's accordion, spiral, scrunch, halved",
        f"piece and rope), {HANDS} hands each, at draft detail (model {MODEL}). The table gives",
        "the points of white that it moves, at its low end and at its high end, against the same",
        "hand with nothing changed. It is made by `docs/make_sensitivity.py`, which also draws the",
        "plot; the data lie in [sensitivity.csv](sensitivity.csv). What each constant is and where",
        "its range comes from stands in `meltwick.constants`.",
        "",
        "![The constants that move the white most](sensitivity.png)",
        "",
        "| constant | low .. value .. high | " + " | ".join(PLANS) + " |",
        "|---|---|" + "---|" * len(PLANS),
    ]
    for name in rank:
        row = table[name]
        unit = "" if row["unit"] == "-" else f" {row['unit']}"
        span = f"{row['low']:g} .. {row['value']:g} .. {row['high']:g}{unit}"
        cells = " | ".join(f"{a:+.1f}, {b:+.1f}" for a, b in found[name].values())
        lines.append(f"| `{name}` | {span} | {cells} |")
    sums = " | ".join(f"± {total[plan]:.0f}" for plan in PLANS)
    whites = " | ".join(f"{usual[plan]:.0f} %" for plan in PLANS)
    lines += [
        f"| **white, nothing changed** | | {whites} |",
        f"| **all together** | root of the sum of squares of half ranges | {sums} |",
        "",
        "The last line takes the constants as independent. If each is as likely anywhere in its",
        "range, the sum is 1.7 standard deviations: nine times in ten the truth lies inside. It is",
        "the doubt that `meltwick preview` adds to the spread of hands for a plan that ends with",
        "that fold; other plans get the root mean square of the six. It overstates in one way:",
        "several constants were chosen together, so that a piece looked right, and if one is wrong",
        "another is wrong the other way. It understates in another: what the model leaves out has",
        "no constant.",
        "",
        "Two plans compared share the same errors, so where a constant moves both alike their",
        "difference is surer than either. In points of white:",
        "",
        "| | " + " | ".join(PLANS[1:]) + " |",
        "|---|" + "---|" * len(PLANS[1:]),
        *(
            f"| {one} | "
            + " | ".join(f"± {total[f'{one} less {two}']:.0f}" if n < m else "" for m, two in rest)
            + " |"
            for n, one in enumerate(PLANS[:-1])
        ),
        "",
    ]
    (HERE / "sensitivity.md").write_text("\n".join(lines), "utf-8")


def draw(found: dict[str, dict[str, tuple[float, float]]]) -> None:
    """Draw the dozen constants that matter most."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt

    rank = sorted(found, key=lambda name: max(half(ends) for ends in found[name].values()))[-14:]
    figure, grid = plt.subplots(2, 3, figsize=(11, 9), sharey=True, sharex=True, dpi=110)
    figure.patch.set_facecolor("#f4efe6")
    axes = grid.ravel()
    for axis, plan in zip(axes, PLANS, strict=True):
        axis.set_facecolor("#f4efe6")
        for at, name in enumerate(rank):
            low, high = found[name][plan]
            axis.barh(at + 0.18, low, 0.34, color="#c98b5e", label="low end" if at == 0 else None)
            axis.barh(at - 0.18, high, 0.34, color="#4f6d7a", label="high end" if at == 0 else None)
        axis.axvline(0.0, color="#4a423a", lw=0.8)
        axis.set_title(plan)
        for side in ("top", "right", "left"):
            axis.spines[side].set_visible(False)
    for axis in grid[-1]:
        axis.set_xlabel("points of white")
    axes[0].set_yticks(range(len(rank)), [name.replace("_", " ") for name in rank])
    axes[-1].legend(frameon=False, loc="lower right")
    figure.tight_layout()
    figure.savefig(HERE / "sensitivity.png", metadata={"Software": "meltwick"})
    plt.close(figure)


def write_doubt(found: dict[str, dict[str, tuple[float, float]]]) -> None:
    """Write the doubt that previews show."""
    total = doubts(found)
    mean = float(np.sqrt(np.mean([total[plan] ** 2 for plan in PLANS]))) / 100.0
    share = parts(found)

    def line(plan: str) -> str:
        each = ", ".join(f"{name} = {value / 100.0:.4f}" for name, value in share[plan].items())
        return f"parts = {{ {each} }}"

    lines = [
        "# How far the model's own numbers may put the white share off: half the width of the",
        "# doubt, as a share of the dyeable cloth. For each plan the root of the sum of squares",
        "# over the model's constants, each taken to both ends of its range; the first is their",
        "# root mean square, for plans that end with another fold. Parts are those of the",
        "# constants that a maker's own pieces can correct, with the sign of what more of each",
        "# does to the white.",
        "# Written by docs/make_sensitivity.py, which docs/sensitivity.md explains.",
        "schema = 1",
        "",
        "[doubt]",
        f"white = {mean:.2f}",
        line(""),
    ]
    for plan in PLANS:
        lines += ["", f"[doubt.{plan}]", f"white = {total[plan] / 100.0:.3f}", line(plan)]
    DOUBT.write_text("\n".join(lines) + "\n", "utf-8")


def main() -> None:
    """Measure, unless told to take the data as they are; then write."""
    if "--from-data" not in sys.argv[1:]:
        measure()
    found = moved()
    write_page(found)
    draw(found)
    write_doubt(found)


if __name__ == "__main__":
    main()
