"""Predict three plans at 4, 2 and 1 mm by the same hands, and write model-pitch.csv.

Run it as ``python docs/make_pitch.py`` from the top of the repository when the model's number is
raised, then ``docs/make_model.py``; it takes about a quarter of an hour.
"""

from __future__ import annotations

import csv
from pathlib import Path

from meltwick.constants import MODEL
from meltwick.plan import example_plan, read_plan
from meltwick.simulate import simulate

HERE = Path(__file__).parent
GALLERY = HERE.parent / "gallery"
DATA = HERE / "model-pitch.csv"
PLANS = ("pole", "accordion", "spiral")
PITCHES = (4e-3, 2e-3, 1e-3)  # [m]
HANDS = 5


def main() -> None:
    """Run every plan, pitch and hand; the file is written when all are made."""
    rows = []
    for pitch in PITCHES:
        for name in PLANS:
            plan = example_plan() if name == "pole" else read_plan(GALLERY / f"{name}.toml")
            for hand in range(HANDS):
                made = simulate(plan, pitch=pitch, seed=plan.seed + hand)
                error = max(turn.balance.relative_error for turn in made.rounds)
                white = f"{made.white_share:.4f}"
                rows.append((name, 1e3 * pitch, hand, white, f"{error:.1e}", MODEL))
    with DATA.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(("plan", "pitch_mm", "hand", "white", "balance_error", "model"))
        out.writerows(rows)


if __name__ == "__main__":
    main()
