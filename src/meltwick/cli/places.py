"""Places in a photograph, as a maker reads them off: x to the right and y down, in pixels."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meltwick.cli.options import shortened
from meltwick.errors import PlanError

if TYPE_CHECKING:
    from meltwick.types import Floats


def read_place(word: str, option: str, wanted: str = "one x,y in pixels") -> Floats:
    """Turn a word such as 120,80 into a place [px], (2,).

    Raises
    ------
    PlanError
        It is none, or lies outside every photograph.
    """
    import numpy as np

    try:
        x, y = (float(part) for part in word.split(","))
    except ValueError:
        raise PlanError(
            f"{option}: {shortened(word)} is no place; write {wanted}, such as 1200,800"
        ) from None
    if not (0 <= x < 1e6 and 0 <= y < 1e6):
        raise PlanError(f"{option}: {shortened(word)} lies outside every photograph")
    return np.array([x, y])


def read_corners(
    words: tuple[str, str, str, str] | None, what: str, option: str = "--corners"
) -> Floats | None:
    """Turn four words into places [px], (4, 2), in turn from the upper left.

    Raises
    ------
    PlanError
        One is no place, three lie on a line, or they do not go round.
    """
    import numpy as np

    from meltwick.photo.outline import on_a_line, turns

    if not words:
        return None
    wanted = (
        f"four of x,y in pixels: the upper left, upper right, lower right and lower left {what}"
    )
    found = np.array([read_place(word, option, wanted) for word in words])
    if on_a_line(found):
        raise PlanError(
            f"{option}: two of these lie in one place or three on a line; read the four corners "
            "off the picture again: upper left, upper right, lower right, lower left"
        )
    if not np.all(turns(found)[0] > 0):
        raise PlanError(
            f"{option}: these four do not go round in turn: upper left, upper right, lower "
            "right, lower left"
        )
    return found
