"""What a recorded piece says of the model: its plan, its hand and its measured shares.

Shares are compared in a form in which errors are about alike whatever the share: logarithms of
ratios, white to dyed, deep to the rest of the dyed, mid to pale. The three are independent ways to
split the cloth, and none can leave 0 to 1 when it is turned back (Aitchison 1986, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from meltwick.errors import MeltwickError
from meltwick.journal.book import pieces
from meltwick.journal.gathering import recipe_of
from meltwick.journal.records import Piece
from meltwick.shares import CLASSES

if TYPE_CHECKING:
    from meltwick.types import Recipe, Shares

Floats = NDArray[np.float64]

_OVER = "its plan starts from a dyed piece, and learning needs pieces that began undyed"

SOFT = 0.01
"""Share added to both sides of a ratio, so that none is infinite; chosen: about what the eye tells
apart on a whole piece."""
_NINE_IN_TEN = 1.7
"""Standard deviations in a margin, as in docs/sensitivity.md."""
_COARSER = 2.0
"""Margin of a class among the dyed over that of white; chosen: their limits lie where colour
changes fast, and a photograph's light moves them."""


@dataclass(frozen=True)
class Evidence:
    """One real piece, as far as it can teach."""

    name: str
    plan: Recipe
    seed: int  # of the first hand that it is compared with
    white: float  # measured share, 0 to 1
    margin: float  # of that share: nine times in ten it is right within so much
    shares: Mapping[str, float] | None = None  # white, pale, mid, deep where all were measured
    number: int = 0  # in the journal
    panel: str | None = None  # the one that was measured; None for all

    def part(self, found: Shares) -> Mapping[str, float]:
        """Of what a run gave, the share of each class where the piece was measured."""
        return found.whole if self.panel is None else found.panels[self.panel]


@dataclass(frozen=True)
class Passed:
    """A recorded piece that cannot teach, and why."""

    name: str
    reason: str


def recorded(path: Path | None) -> tuple[list[Evidence], list[Passed]]:
    """Read the journal: what it can teach, and what was passed over.

    Parameters
    ----------
    path : Path or None
        The journal's file; the maker's own by default.

    Raises
    ------
    MeltwickError
        If it is no journal, or cannot be read.
    """
    found: list[Evidence] = []
    passed: list[Passed] = []
    for piece in pieces(path):
        try:
            recipe = recipe_of(piece)
            if recipe.start is None:
                found.append(evidence_of(piece, recipe))
            else:
                passed.append(Passed(piece.name, _OVER))
        except MeltwickError as error:
            passed.append(Passed(piece.name, str(error)))
    return found, passed


def evidence_of(piece: Piece, recipe: Recipe) -> Evidence:
    """Turn a piece of the journal, and its plan resolved, into evidence."""
    outcome = piece.outcome
    whole = set(CLASSES) <= set(outcome.shares)
    return Evidence(
        name=piece.name,
        plan=recipe,
        seed=piece.seed,
        white=outcome.white_share,
        margin=outcome.white_margin,
        shares={name: outcome.shares[name] for name in CLASSES} if whole else None,
        number=piece.number,
        panel=piece.only_panel,
    )


# ------------------------------------------------------------------------- as observations


def observed(shares: Mapping[str, float]) -> Floats:
    """Return the three logarithms of ratios that a piece's shares make: (3,)."""
    white, pale, mid, deep = (shares[name] for name in CLASSES)
    return np.log(
        [
            (white + SOFT) / (1.0 - white + SOFT),
            (deep + SOFT) / (pale + mid + SOFT),
            (mid + SOFT) / (pale + SOFT),
        ]
    )


def white_of(ratio: Floats) -> Floats:
    """Return the white share whose logarithm of white to dyed it is, kept within 0 to 1."""
    part = 1.0 / (1.0 + np.exp(-np.asarray(ratio, dtype=np.float64)))
    return np.clip(part * (1.0 + 2.0 * SOFT) - SOFT, 0.0, 1.0)


def measured(piece: Evidence) -> tuple[Floats, Floats]:
    """Return what was seen of a piece, and its error of measurement: (1,) or (3,) each.

    The error of a logarithm of a ratio a to b is that of a share, over a and over b, added as
    squares where the two are told apart, and straight for white, which is the rest of the dyed.
    """
    sd = piece.margin / _NINE_IN_TEN
    white = piece.white
    slope = 1.0 / (white + SOFT) + 1.0 / (1.0 - white + SOFT)
    ratio = np.log((white + SOFT) / (1.0 - white + SOFT))
    if piece.shares is None:
        return np.array([ratio]), np.array([sd * slope])
    _, pale, mid, deep = (piece.shares[name] for name in CLASSES)
    wide = _COARSER * sd
    errors = [
        sd * slope,
        wide * float(np.hypot(1.0 / (deep + SOFT), 1.0 / (pale + mid + SOFT))),
        wide * float(np.hypot(1.0 / (mid + SOFT), 1.0 / (pale + SOFT))),
    ]
    return np.array([ratio, *observed(piece.shares)[1:]]), np.array(errors)
