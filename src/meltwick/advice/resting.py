"""What the trade would warn of where a bundle rests and where its powder goes."""

from __future__ import annotations

from collections.abc import Iterator
from math import cos, pi, sqrt

from meltwick.advice.sizes import Garment, bundle_length
from meltwick.types import PoleWrap, Round, Sector, TubeWrap
from meltwick.units import show_length

_ROOM = 1.03  # a bundle gives so much when it is pressed into a tub; chosen


def rest_warnings(turn: Round, garment: Garment, number: int) -> Iterator[tuple[str, str]]:
    """Yield (key, what is wrong) for a tub too narrow and for slices of what has none."""
    where = f"round.{number}"
    if turn.tub:
        wide = sqrt(4.0 * turn.tub / pi)
        long = bundle_length(turn, garment, number)
        if long * cos(turn.incline) > _ROOM * wide:
            yield (
                f"{where}.rest.across",
                f"The bundle is {show_length(long)} long and the {turn.rest_on} "
                f"{show_length(wide)} wide: it does not lie in it. Take a wider one, or lean it.",
            )
    last = turn.folds[-1] if turn.folds else None
    if isinstance(last, PoleWrap | TubeWrap) and any(
        isinstance(x.place, Sector) for x in turn.powder
    ):
        yield (
            f"{where}.dye",
            "Seen from above a bundle on a pole is long and narrow: slices round its middle are "
            "its ends. Say how far up it the dye goes, such as high or [0.65, 1.0].",
        )
