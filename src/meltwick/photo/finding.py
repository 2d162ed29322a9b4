"""Find a garment in a photograph, and lay its blank's outline on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely import affinity
from shapely.geometry import Polygon

from meltwick.errors import FileError
from meltwick.photo.outline import (
    SLANT,
    Fit,
    best_fit,
    corner_points,
    drawn,
    fit,
    on_a_line,
    project,
    slant,
    soften,
    strengths,
    through,
)
from meltwick.photo.parting import Split, odds_by, part
from meltwick.photo.reading import Light, Photo
from meltwick.types import Cloth, Flags, Floats

SMALL, FINE = 320, 900  # [px] longer side of the pictures that are parted and refined
LEAST = 0.94  # overlap of outline and shape below which there is no such garment
NEARER = 2.8
"""Most that a garment may be larger at one corner of its box than at another.

A telephone's lens (26 mm on a frame of 36 mm by 24 mm) sees half the diagonal of what fills 0.85 of
the picture under tan a = 0.71. Slanted by 25 degrees, its ends lie 1 + 0.71 sin 25 and
1 - 0.71 sin 25 away, 1.86 to 1; sizes, as roots of areas, go with the power 3/2 of that: 2.5. The
corners of a box beside long sleeves lie further out than the cloth.
"""
BUSY = 0.3  # share of the picture's border that is no ground, from which none is plain; chosen
LITTLE = 0.02  # share of the picture below which nothing is a garment
RIVAL = 0.5  # of the largest shape: from this size on another may be the piece as well; chosen
UNDYED = 0.35  # [-] of log light, within which a piece is all like its undyed place; chosen
NEARBY = 0.12  # of a piece's size: how far beyond given corners it may reach; chosen
SOFT = 0.012  # of the garment's size: how far its outline may give way


@dataclass(frozen=True)
class Found:
    """A garment in a photograph."""

    cloth: Cloth
    panel: int  # which panel is seen
    behind: bool  # it is seen from behind: x runs to the left
    fit: Fit  # to the pixels of the photograph as it was read
    ground: Floats  # (m, 3) linear light of the plain ground about it
    ground_at: Floats  # (m, 2) its pixels

    @property
    def scale(self) -> float:
        """Pixels along a millimetre, at the middle of the piece."""
        middle = np.array(self.cloth.panels[self.panel].outline.centroid.coords[0])
        if self.behind:
            middle[0] = -middle[0]
        corners = self.fit.place(middle + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
        across, down = corners[1:] - corners[0]
        return float(np.sqrt(abs(across[0] * down[1] - across[1] * down[0])))


def silhouette(cloth: Cloth, behind: bool) -> Polygon:
    """Outline of all panels that lie on each other [mm], as seen from the front or from behind."""
    whole = shapely.union_all([panel.outline for panel in cloth.panels])
    if behind:
        whole = affinity.scale(whole, -1.0, 1.0, origin=(0.0, 0.0))
    return Polygon(shapely.get_coordinates(whole.exterior))


def find(
    photo: Photo,
    cloths: Sequence[Cloth],
    panel: str,
    corners: Floats | None = None,
    undyed: Floats | None = None,
) -> Found:
    """Find which of some blanks lies in a photograph, and how.

    Parameters
    ----------
    photo : Photo
        Of one side, laid flat on a plain ground.
    cloths : sequence of Cloth
        Blanks that it may be.
    panel : str
        "front" or "back": the side that is seen.
    corners : ndarray of shape (4, 2), optional
        Pixels of the outline's corners, see `meltwick.photo.outline.corner_points`.
    undyed : ndarray of shape (2,), optional
        A pixel of undyed cloth: a piece all like it is a twin laid there to compare with.

    Returns
    -------
    Found
        The blank that fits best.

    Raises
    ------
    FileError
        No garment is found, or more than one, or it runs out of the picture, or none of the
        blanks fits, or the corners are none.
    """
    small, step = _smaller(photo.linear, SMALL)
    split = part(small)
    if corners is None and split.border > BUSY:
        raise FileError(
            f"{photo.name}: no piece can be told from its ground: the ground is busy, or like the "
            f"piece, or hardly to be seen; {_ADVICE}"
        )
    place = None if undyed is None else undyed / step
    blanks = [
        (cloth, number, silhouette(cloth, panel == "back"))
        for cloth in cloths
        for number, each in enumerate(cloth.panels)
        if each.name == panel
    ]
    if not blanks:
        raise FileError(f"{photo.name}: none of these blanks has a {panel}")
    outlines = [outline for _, _, outline in blanks]
    if corners is None:
        mask = _piece(split.mask, small, photo, place)
        which, best = best_fit(outlines, mask)
    else:
        try:
            masks = [_at(corners / step, each, small, split, photo) for each in outlines]
            fits = [
                fit(each, mask, corners / step) for each, mask in zip(outlines, masks, strict=True)
            ]
        except ValueError:
            raise FileError(_no_corners(photo, corners)) from None
        which = max(range(len(fits)), key=lambda n: fits[n].overlap)
        best, mask = fits[which], masks[which]
    cloth, number, outline = blanks[which]
    if best.overlap < LEAST or not _plausible(best, outline):
        raise FileError(_unlike(photo, best, split, corners is not None))
    scaled = replace(best, matrix=np.diag([step, step, 1.0]) @ best.matrix)
    clean = ~ndimage.binary_dilation(mask | split.mask, iterations=4)
    rows, cols = np.nonzero(clean)
    colours: Floats = small[rows, cols]
    at_ground = step * np.stack([cols + 0.5, rows + 0.5], axis=1)
    found = Found(cloth, number, panel == "back", scaled, colours, at_ground)
    return replace(found, fit=_refined(photo.linear, found, outline))


def _smaller(linear: Light, long: int) -> tuple[Floats, int]:
    """Shrink a picture to about so many pixels; also give the pixels in one of its own."""
    step = max(1, round(max(linear.shape) / long))
    rows, cols = linear.shape[0] // step, linear.shape[1] // step
    blocks = linear[: rows * step, : cols * step].reshape(rows, step, cols, step, 3)
    small: Floats = blocks.mean(axis=(1, 3), dtype=np.float64)
    return small, step


def _at(corners: Floats, outline: Polygon, small: Floats, split: Split, photo: Photo) -> Flags:
    """Take the shape where corners say that an outline lies, and a little about it, (H, W)."""
    matrix = through(corner_points(outline), corners)
    wider = outline.buffer(NEARBY * float(np.sqrt(outline.area)))
    near = drawn(project(matrix, shapely.get_coordinates(wider.exterior)), split.mask.shape)
    return _piece(split.mask & near, small, photo, None, alone=False)


def _piece(
    mask: Flags, small: Floats, photo: Photo, undyed: Floats | None, alone: bool = True
) -> Flags:
    """Take the one connected shape that is the piece, its holes filled, (H, W)."""
    labels, count = ndimage.label(ndimage.binary_fill_holes(mask))  # what lies within is of it
    sizes = np.bincount(labels.ravel(), minlength=max(count, 1) + 1)
    sizes[0] = 0
    if undyed is not None:
        sizes[_twin(small, labels, undyed)] = 0
    order = np.argsort(-sizes, kind="stable")
    largest: Flags = np.asarray(labels == order[0])
    share = float(largest.mean()) if sizes[order[0]] else 0.0
    if share < LITTLE:
        raise FileError(
            f"{photo.name}: nothing large enough to be a garment stands out from the ground; "
            f"{_ADVICE}"
            if alone
            else f"{photo.name}: no piece stands out from the ground at these corners; {_CORNERS}"
        )
    if share > 0.97:
        raise FileError(
            f"{photo.name}: no ground shows round the garment; step back until it shows on all "
            "sides"
        )
    if alone and sizes[order[1]] >= RIVAL * sizes[order[0]]:
        raise FileError(
            f"{photo.name}: two pieces, or two parts of one, stand out from the ground; photograph "
            "one piece alone on a plain ground of another colour, or say where it is with --corners"
        )
    return largest


def _twin(small: Floats, labels: NDArray[np.int32], undyed: Floats) -> int:
    """Find the shape that holds a place of undyed cloth and is all like it; its number, or 0."""
    col, row = np.minimum(undyed.astype(np.intp), np.array(labels.shape[::-1]) - 1)
    number = int(labels[row, col])
    if number == 0:
        return 0
    light = np.log(np.maximum(small[labels == number], 1e-4))
    here = np.log(np.maximum(small[row, col], 1e-4))
    # light may fall off over the piece, and its edge is mixed with ground
    alike = (np.abs(light - here) < UNDYED).all(axis=1)
    return number if float(alike.mean()) > 0.9 else 0


_ADVICE = (
    "lay the piece flat on a plain floor or sheet of another colour, in even light, and take "
    "the picture from above with ground on all sides"
)


_CORNERS = (
    "give --corners as the places of upper left, upper right, lower right and lower left of the "
    "piece itself"
)


def _plausible(found: Fit, outline: Polygon) -> bool:
    """Tell whether a camera above a flat piece can see it so."""
    left, top, right, low = outline.bounds
    corners = np.array([[left, top], [right, top], [right, low], [left, low]])
    places = [corners.mean(axis=0), *corners]
    sizes = [float(np.sqrt(np.prod(strengths(found, place)))) for place in places]
    return slant(found, outline) < SLANT and max(sizes) < NEARER * min(sizes)


def _no_corners(photo: Photo, corners: Floats | None) -> str:
    """Say why no map goes through four corners."""
    if corners is not None and on_a_line(corners):
        return f"{photo.name}: three of these corners lie on a line; {_CORNERS}"
    return f"{photo.name}: a piece of this outline has not four corners; leave --corners out"


def _unlike(photo: Photo, best: Fit, split: Split, given: bool) -> str:
    """Say why no garment was found."""
    if given:
        return f"{photo.name}: the outline does not fit at these corners; {_CORNERS}"
    if split.border > 0.1:
        return f"{photo.name}: what stands out runs over the picture's edge; {_ADVICE}"
    return (
        f"{photo.name}: no garment was found: what stands out from the ground has not the outline "
        f"of the piece (they overlap by {100 * best.overlap:.0f} %); {_ADVICE}, or say --blank"
    )


def _refined(linear: Light, found: Found, outline: Polygon) -> Fit:
    """Let the outline give way to the edge on a finer picture about the garment."""
    ring = shapely.get_coordinates(outline.exterior)
    pixels = project(found.fit.matrix, ring)
    margin = 0.12 * np.max(np.ptp(pixels, axis=0))
    low = np.maximum(np.floor(pixels.min(axis=0) - margin), 0).astype(int)
    high = np.minimum(np.ceil(pixels.max(axis=0) + margin), linear.shape[1::-1]).astype(int)
    fine, step = _smaller(linear[low[1] : high[1], low[0] : high[0]], FINE)
    down = np.array([[1 / step, 0, -low[0] / step], [0, 1 / step, -low[1] / step], [0, 0, 1]])
    local = replace(found.fit, matrix=down @ found.fit.matrix)
    mask = drawn(project(local.matrix, ring), fine.shape[:2])
    size = float(np.sqrt(np.count_nonzero(mask)))
    soft = soften(local, outline, odds_by(fine, mask), max(4.0, SOFT * size))
    soft = soften(
        soft,
        outline,
        odds_by(fine, drawn(soft.place(ring), fine.shape[:2])),
        max(3.0, 0.5 * SOFT * size),
    )
    return soft.moved(step, low.astype(np.float64))
