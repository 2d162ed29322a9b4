"""Make the pictures of docs/swatches.md: photographs made as for the tests, read by the program.

Run from the repository's root: ``python docs/make_swatches.py``.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from tests import cards, halos  # noqa: E402

from meltwick.cli import main  # noqa: E402
from meltwick.stock import stock_components  # noqa: E402

NAMES = [["lemon", "tangerine", "rose"], ["undyed", "heather", "tide"]]
PART = {"lemon": "reactive yellow 86", "tangerine": "reactive orange 16", "rose": "reactive red 2"}
PART |= {"heather": "plain violet", "tide": "reactive blue 21"}


def run(*words: object) -> None:
    """Run the command; stop at a failure."""
    if code := main([str(word) for word in words]):
        sys.exit(code)


def make() -> None:
    """Make the three pictures beside this file."""
    known = {part.name: halos.bands(*part.bands) for part in stock_components()}
    bare = (1 - cards.COTTON) ** 2 / (2 * cards.COTTON)

    def cloth(name: str) -> np.ndarray:
        k = bare if name == "undyed" else bare + 1.4 * known[PART[name]]
        return 1 + k - np.sqrt(k * k + 2 * k)

    card = cards.Made(
        [[cloth(name) for name in row] for row in NAMES],
        kelvin=5000,
        tilt=14,
        swing=-9,
        roll=4,
        fall=0.25,
        table=np.linspace(0.12, 0.35, 31),
        ground=np.full(31, 0.45),
        quality=90,
    )
    halo = [
        (known["reactive orange 16"], 0.8, 130.0, 12.0),
        (known["reactive red 2"], 1.2, 80.0, 10.0),
    ]
    docs = ROOT / "docs"
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "card.jpg").write_bytes(cards.photograph(card))
        (folder / "names.csv").write_text("\n".join(map(",".join, NAMES)), "utf-8")
        (folder / "halo.jpg").write_bytes(halos.photograph(halo, ((240, 240),), (480, 480)))
        own = ("--stock", folder / "own.toml", "--out", folder)
        run(
            "swatch", "add", folder / "card.jpg", "--grid", "2x3", "--names",
            folder / "names.csv", *own,
        )  # fmt: skip
        run(
            "swatch", "split", folder / "halo.jpg", "--dye", "coral", "--across", "20 cm",
            "--dry-run", "--out", folder,
        )  # fmt: skip
        shades = "lemon,tangerine,coral,rose,heather,tide"
        run("swatch", "card", "--dyes", shades, "--pairs", "--out", folder)
        for name, kept in (
            ("card-read.png", "swatch-read.png"),
            ("split.png", "swatch-split.png"),
            ("swatches.png", "swatch-card.png"),
        ):
            (docs / kept).write_bytes((folder / name).read_bytes())


if __name__ == "__main__":
    make()
