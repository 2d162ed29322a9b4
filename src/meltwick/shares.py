"""How much of a piece stays white, how much is pale, mid or deep, and how alike its sides are."""

from __future__ import annotations

import numpy as np

from meltwick.types import Cloth, Flags, Floats, Ints, Look, Shares

WHITE, PALE, MID = 4.3, 16.9, 34.1
"""Upper limits [Delta E*ab to the undyed cloth] of white, pale and mid; deep is beyond.

Grades 4, 2 and 1 of the grey scale for assessing staining, ISO 105-A03.
"""

CLASSES = ("white", "pale", "mid", "deep")

WHITE_AT = (WHITE / 2, WHITE, 2 * WHITE)
"""Thresholds at which the white share is given, to show how much hangs on the choice."""


def measure_shares(cloth: Cloth, look: Look) -> Shares:
    """Measure the shares of a piece by area.

    Parameters
    ----------
    cloth : Cloth
        N cells. Those that take no dye (thread, label) are left out.
    look : Look
        Their colours.

    Returns
    -------
    Shares
        The four classes add to 1 over the whole, in every panel and in every zone that has any
        dyeable cloth. For the likenesses see `likeness`; a piece without a back has none to it.

    Raises
    ------
    ValueError
        The look belongs to another cloth.
    """
    if look.delta.shape != (cloth.size,):
        raise ValueError(f"the look has {len(look.delta)} cells, the cloth {cloth.size}")
    counted = cloth.dyeable
    grade = np.searchsorted(np.array([WHITE, PALE, MID]), look.delta, side="left")
    delta = look.delta[counted]
    return Shares(
        whole=_split(grade[counted]),
        white_at={f"{limit:g}": _portion(delta <= limit) for limit in WHITE_AT},
        panels={
            panel.name: _split(grade[counted & (cloth.panel == number)])
            for number, panel in enumerate(cloth.panels)
        },
        zones={
            name: _split(grade[here])
            for number, name in enumerate(cloth.zones)
            if (here := counted & (cloth.zone == number)).any()
        },
        front_back_likeness=_front_to_back(cloth, look),
        left_right_likeness=_left_to_right(cloth, look),
    )


def likeness(one: Floats, two: Floats) -> float:
    """Tell how alike two faces are, place by place, from their lightness.

    1 - mean |L1 - L2| / mean |L - L'|, at least 0, where L and L' are any two places of both
    faces: 1 when every place is matched exactly, 0 when matching places are no more alike than
    places picked at random. Two faces of one even lightness are alike.

    Parameters
    ----------
    one, two : ndarray of shape (n,)
        L* of matching places.

    Returns
    -------
    float
        0 to 1.
    """
    if not len(one):
        return 1.0
    gap = float(np.mean(np.abs(one - two)))
    both = np.sort(np.concatenate([one, two]))
    count = len(both)
    # Gini's mean difference of all places, exactly, from the sorted values
    rank = 2.0 * np.arange(count, dtype=np.float64) + 1.0 - count
    chance = 2.0 * float(np.dot(rank, both)) / count**2
    if chance <= 1e-9:
        return 1.0
    return max(0.0, 1.0 - gap / chance)


def dyed_to_white(white: float) -> str:
    """Write the proportion of dyed to white cloth as makers do.

    Parameters
    ----------
    white : float
        White share, 0 to 1.

    Returns
    -------
    str
        Such as ``"62 : 38"``; whole numbers that add to 100, dyed first.

    Raises
    ------
    ValueError
        The share is not between 0 and 1.
    """
    if not 0.0 <= white <= 1.0:
        raise ValueError(f"a share lies between 0 and 1, not at {white}")
    part = int(100.0 * white + 0.5)
    return f"{100 - part} : {part}"


def _portion(flags: Flags) -> float:
    """Share of cells that are flagged; they are all of one size."""
    return float(np.count_nonzero(flags)) / max(1, flags.size)


def _split(grade: np.ndarray[tuple[int], np.dtype[np.intp]]) -> dict[str, float]:
    """Share of each class among some cells."""
    counts = np.bincount(grade, minlength=len(CLASSES))
    total = max(1, len(grade))
    return {name: int(n) / total for name, n in zip(CLASSES, counts, strict=True)}


def _front_to_back(cloth: Cloth, look: Look) -> float | None:
    """Compare what lies on each other in the flat garment."""
    named = {panel.name: panel.index for panel in cloth.panels}
    if "front" not in named or "back" not in named:
        return None
    return _match(cloth, look, named["front"].ravel(), named["back"].ravel())


def _left_to_right(cloth: Cloth, look: Look) -> float:
    """Compare each place with the one across the spine; every raster is centred on it."""
    left, right = [], []
    for panel in cloth.panels:
        half = panel.index.shape[1] // 2
        left.append(panel.index[:, :half].ravel())
        right.append(panel.index[:, ::-1][:, :half].ravel())
    return _match(cloth, look, np.concatenate(left), np.concatenate(right))


def _match(
    cloth: Cloth,
    look: Look,
    one: Ints,
    two: Ints,
) -> float:
    """Likeness over the pairs whose cells both take dye; -1 marks no cell."""
    pairs = (one >= 0) & (two >= 0)
    one, two = one[pairs], two[pairs]
    counted = cloth.dyeable[one] & cloth.dyeable[two]
    lightness = look.lab[:, 0]
    return likeness(lightness[one[counted]], lightness[two[counted]])
