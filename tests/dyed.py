"""Dyed pieces to be photographed: plans of the gallery, simulated once and kept."""

from __future__ import annotations

import pickle
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from tests.camera import D65, MATRIX, colour
from tests.grounds import Floats
from tests.lying import Shown, within_cells

from meltwick.colour.look import ground_lab
from meltwick.constants import Constants
from meltwick.plan import digest, plan_from_text, resolve
from meltwick.simulate import simulate
from meltwick.stock import load_stock
from meltwick.types import Result

LIMITS = (4.3, 16.9, 34.1)
"""Delta E*ab at grades 4, 2 and 1 of the grey scale for staining (ISO 105-A03)."""

GALLERY = Path(__file__).parents[1] / "gallery"


@dataclass(frozen=True)
class Piece:
    """A plan and what it gave."""

    name: str
    blank: str
    size: str
    result: Result

    def shares(self, side: str) -> dict[str, float]:
        """White, pale, mid and deep of one side, 0 to 1, by the area of what is drawn.

        Colours run from one cell's middle to the next, so these are shares of that field, not of
        the cells; the limits are those of ISO 105-A03.
        """
        lab = colour.XYZ_to_Lab(within_cells(self.shown(side), 4) @ np.linalg.inv(MATRIX).T, D65)
        far = np.linalg.norm(lab - ground_lab(self.result.cloth.fabric), axis=1)
        ends = [0.0, *np.cumsum(np.bincount(np.searchsorted(LIMITS, far), minlength=4)) / len(far)]
        return dict(zip(("white", "pale", "mid", "deep"), np.diff(ends).tolist(), strict=True))

    def white(self, side: str) -> float:
        """White share of one side, 0 to 1, of what is drawn."""
        return self.shares(side)["white"]

    def shown(self, side: str) -> Shown:
        """Show its front or its back."""
        cloth = self.result.cloth
        named = {panel.name: panel for panel in cloth.panels}
        other = named.get({"front": "back", "back": "front"}[side])
        return Shown(cloth, named[side], other, linear(self.result.look.lab), side == "back")


def linear(lab: Floats) -> Floats:
    """Turn CIELAB (D65) into linear sRGB by the colour-science library, nothing cut off but < 0."""
    xyz = colour.Lab_to_XYZ(np.asarray(lab), D65)
    return np.maximum(xyz @ MATRIX.T, 0.0).astype(np.float32)


@dataclass(frozen=True)
class Source:
    """A plan of the gallery, with other words in some places."""

    name: str
    path: str
    words: tuple[tuple[str, str], ...] = ()


_LESS = (
    ('"2 g"', '"0.7 g"'),
    ('radius = "8 cm"', 'radius = "5 cm"'),
    ('radius = "7 cm"', 'radius = "4 cm"'),
)
SOURCES = (
    Source("kerchief", "first-frost/kerchief.toml"),
    Source("spiral", "spiral.toml"),
    Source("brick sweatshirt", "brick.toml", (('"tee"', '"sweatshirt"'),)),
    Source("rime-long", "first-frost/rime-long.toml"),
    Source("pole-bias-35", "pole-bias-35.toml"),
    Source("pole-bias-90", "pole-bias-90.toml"),
    Source("halved tank", "halved.toml", (('"tee"', '"tank"'),)),
    Source("halved", "halved.toml"),
    Source("halved, little powder", "halved.toml", _LESS),
)
"""From about 10 to 80 per cent of white; tees, a tank, a sweatshirt, long sleeves, a bandana."""


def pieces(
    pitch: float = 4e-3, folder: Path | None = None, names: tuple[str, ...] = ()
) -> dict[str, Piece]:
    """Simulate the source pieces, or those named.

    Parameters
    ----------
    pitch : float
        Size of a cell of cloth [m].
    folder : Path, optional
        Where they are kept from one run to the next, by their digest.
    names : tuple of str
        Of `SOURCES`; all when empty.
    """
    chosen = [source for source in SOURCES if not names or source.name in names]
    return {source.name: _piece(source, pitch, folder) for source in chosen}


_KEPT: dict[tuple[str, float], Piece] = {}


def _piece(source: Source, pitch: float, folder: Path | None) -> Piece:
    if found := _KEPT.get((source.name, pitch)):
        return found
    text = (GALLERY / source.path).read_text(encoding="utf-8")
    for old, new in source.words:
        text = text.replace(old, new)
    plan = plan_from_text(text, source.path)
    recipe = resolve(plan, load_stock())
    kept = None
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
        name = digest(recipe, Constants())[:16]
        kept = folder / f"{name}-{pitch * 1e3:g}mm.pickle"
    if kept is not None and kept.exists():
        result = pickle.loads(kept.read_bytes())
    else:
        result = simulate(plan, pitch=pitch)
        if kept is not None:
            kept.write_bytes(pickle.dumps(result))
    blank = recipe.blank
    piece = Piece(source.name, blank.name, blank.size, result)
    _KEPT[source.name, pitch] = piece
    return piece
