"""A photographed card of swatches: where its patches are and what colour each has."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy import ndimage

from meltwick.colour.adaptation import cones_to_xyz, to_cones, white_in_cones
from meltwick.colour.spectra import undyed
from meltwick.colour.standard import to_lab, to_xyz
from meltwick.errors import FileError
from meltwick.photo.ground import Shading, Whole, fit_shading, grounds, log_light, lying_on, some_of
from meltwick.photo.lattice import Index, Lattice, find_lattice, lattice_from_corners, span
from meltwick.photo.reading import Photo
from meltwick.types import Fabric, Flags, Floats

UNDYED = "undyed"

_LOOK = 160_000  # pixels in which patches are looked for
_INNER = 0.45  # of a patch's depth from its edge, from which it is measured; chosen
_WITHIN = 0.55  # of a patch's half width that is measured where its edge was not seen; chosen
_TRIM = 0.05  # of the pixels at each end of lightness that are left out
_ORDER = 3  # of the polynomial that light falls off by
_FEW = 40  # pixels; fewer of a patch are too few
_UNEVEN = 4.0  # [Delta E*ab] between parts of a patch and its mean; chosen
_CLIPPED = 0.03  # share of a patch's pixels; chosen
_WHITE_CLIPPED = 0.2  # of the undyed patch's pixels: its colour is not known; chosen
_LIGHTER = 1.06  # times the undyed patch: cannot be dyed; chosen
_FALL = 0.5  # share of light lost across the card that is worth a word; chosen


@dataclass(frozen=True)
class Patch:
    """One patch of a card, as in daylight on the maker's cloth."""

    name: str
    row: int
    column: int
    lab: Floats  # (3,) L*, a*, b*
    spread: float  # [Delta E*ab] unevenness over the patch
    clipped: float  # share of its pixels at the top of their range
    pixels: int


@dataclass(frozen=True)
class Card:
    """What was read from a card."""

    patches: tuple[Patch, ...]  # the undyed ones too, in reading order
    columns: int
    lattice: Lattice  # in pixels of the photograph as read
    masks: Floats  # (H, W) number of the patch measured there, from 1; 0 elsewhere
    fall: float  # share of light lost from the lightest to the darkest patch's place
    notes: tuple[str, ...]


def read_card(
    photo: Photo,
    names: Sequence[Sequence[str]],
    fabric: Fabric,
    corners: Floats | None = None,
) -> Card:
    """Measure every patch of a photographed card.

    Slow shading is taken from the ground between the patches. The colour of the light comes from
    the patch named "undyed", which must have the fabric's own ground.

    Parameters
    ----------
    photo : Photo
    names : sequence of rows of str
        The name of each patch, at least 2 x 2; an empty one is passed over.
    fabric : Fabric
        What the swatches are cut from.
    corners : ndarray of shape (4, 2), optional
        Middles of the corner patches, in pixels of the upright file: upper left, upper right,
        lower right, lower left. Left out, the patches are looked for.

    Returns
    -------
    Card

    Raises
    ------
    FileError
        No such card is in the photograph, or its white cannot be known.
    """
    rows, columns = len(names), len(names[0])
    if corners is None:
        lattice, ground = _find(photo, rows, columns)
    else:
        lattice, ground = _given(photo, rows, columns, corners)
    shading = _shading(photo, ground)
    masks = _masks(photo, lattice, rows, columns)
    measured = _flattened(photo, shading, masks)
    patches, notes = [], []
    white = _white(photo, measured, names)
    scale = white_in_cones(to_xyz(undyed(fabric))) / white
    for number, (row, column) in enumerate(product(range(rows), range(columns)), start=1):
        name = names[row][column]
        if name:
            patches.append(_patch(measured.of(number), scale, name, (row, column)))
    _check_lightest(photo, patches)
    fall = _fall(shading, lattice, rows, columns)
    if fall > _FALL:
        notes.append(
            f"The light falls off by {100 * fall:.0f} % across the card; open shade is more even."
        )
    notes += [note for patch in patches for note in _doubts(patch)]
    return Card(tuple(patches), columns, lattice, masks, fall, tuple(notes))


# --------------------------------------------------------------------------- where


def _reduced(photo: Photo) -> tuple[Floats, int]:
    """Average the photograph down to what patches are looked for in; the step between pixels."""
    height, width = photo.linear.shape[:2]
    step = max(1, int(np.ceil(np.sqrt(height * width / _LOOK))))
    high, wide = height // step * step, width // step * step
    cut = photo.linear[:high, :wide].astype(np.float64)
    return cut.reshape(high // step, step, wide // step, step, 3).mean(axis=(1, 3)), step


def _find(photo: Photo, rows: int, columns: int) -> tuple[Lattice, Flags]:
    """Look for the patches; the lattice in the photograph's own pixels, and its ground."""
    small, step = _reduced(photo)
    best: tuple[int, Lattice, Flags] | None = None
    seen = (0, 0)
    for ground in _grounds(small):
        things, hull = lying_on(ground)
        lattice = find_lattice(things, rows, columns)
        if lattice is None or span(lattice.found) != (rows, columns):
            most = max(rows, columns)
            other = find_lattice(things, most, most)
            seen = max(seen, span(other.found) if other else (0, 0), key=lambda s: s[0] * s[1])
        if lattice is None:
            continue
        full = span(lattice.found) == (rows, columns)
        if full and (best is None or len(lattice.found) > best[0]):
            best = len(lattice.found), lattice, ground & hull
            if best[0] >= rows * columns - 1:
                break
    if best is None or best[0] < max(3, round(0.6 * rows * columns)):
        raise FileError(_not_found(photo.name, rows, columns, seen))
    _, lattice, ground = best
    scale = np.diag([float(step), float(step), 1.0])
    shape = photo.clipped.shape
    enlarged = Lattice(
        scale @ lattice.warp, lattice.found, _enlarged(lattice.labels, step, shape), lattice.size
    )
    return enlarged, _enlarged(ground, step, shape).astype(bool)


def _grounds(small: Floats) -> Iterator[Flags]:
    """Yield likely grounds; then again with noise smoothed off, which hides fine edges."""
    yield from grounds(log_light(small))
    for sigma, dark in ((0.8, 0.01), (1.6, 0.02)):
        yield from grounds(log_light(ndimage.gaussian_filter(small, (sigma, sigma, 0.0)), dark))


def _not_found(name: str, rows: int, columns: int, seen: tuple[int, int]) -> str:
    asked = f"a card of {rows} x {columns} patches"
    if seen == (columns, rows) and rows != columns:
        return (
            f"{name}: {asked} was asked for, but {seen[0]} rows of {seen[1]} are seen; turn the "
            f"photograph upright, or write --grid {seen[0]}x{seen[1]}"
        )
    found = f", only {seen[0]} x {seen[1]}" if min(seen) > 1 else ""
    return (
        f"{name}: {asked} was not found on a plain ground{found}; photograph it from above with "
        "ground between the patches, or give the middles of its corner patches with --corners"
    )


def _enlarged(small: Floats | Flags, step: int, shape: tuple[int, ...]) -> Floats:
    """Repeat each value step x step times, and continue the last ones to the full shape."""
    large = np.repeat(np.repeat(small, step, axis=0), step, axis=1)
    pad = [(0, max(0, want - have)) for want, have in zip(shape, large.shape, strict=True)]
    out = np.pad(large, pad, mode="edge")[: shape[0], : shape[1]]
    return np.asarray(out, dtype=np.float64)


def _given(photo: Photo, rows: int, columns: int, corners: Floats) -> tuple[Lattice, Flags]:
    """Lay the rows and columns between corners; the ground is what the gaps look like."""
    height, width = photo.clipped.shape
    full = np.array([photo.full[1] / width, photo.full[0] / height])
    lattice = lattice_from_corners(corners / full, rows, columns, (height, width))
    middles = np.mgrid[0 : rows - 1, 0 : columns - 1].reshape(2, -1) + 0.5
    gaps = lattice.at(middles[1], middles[0])
    x, y = np.floor(gaps[:, 0]).astype(int), np.floor(gaps[:, 1]).astype(int)
    if x.min() < 1 or y.min() < 1 or x.max() >= width - 1 or y.max() >= height - 1:
        raise FileError(f"{photo.name}: --corners lie outside the photograph, or not in turn")
    values = log_light(photo.linear.astype(np.float64))
    start = np.median(values[y, x], axis=0)
    ground = np.abs(values - start).max(axis=-1) < 0.35
    inside = _box(lattice, rows, columns, (height, width))
    return lattice, ground & inside


def _box(lattice: Lattice, rows: int, columns: int, shape: Index) -> Flags:
    """Return the part of a photograph that the card takes, (H, W)."""
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float64) + 0.5
    full = np.stack([x, y, np.ones_like(x)], axis=-1) @ np.linalg.inv(lattice.warp).T
    column, row = full[..., 0] / full[..., 2], full[..., 1] / full[..., 2]
    out: Flags = (np.abs(row - (rows - 1) / 2) < rows / 2) & (
        np.abs(column - (columns - 1) / 2) < columns / 2
    )
    return out


def _masks(photo: Photo, lattice: Lattice, rows: int, columns: int) -> Floats:
    """Mark the inside of every patch by its number in reading order, from 1."""
    height, width = photo.linear.shape[:2]
    masks = np.zeros((height, width))
    reach = _WITHIN * lattice.size
    for number, (row, column) in enumerate(product(range(rows), range(columns)), start=1):
        ring = lattice.at(
            column + np.array([-1, 1, 1, -1]) * 2 * lattice.size,
            row + np.array([-1, -1, 1, 1]) * 2 * lattice.size,
        )
        left, top = np.clip(np.floor(ring.min(axis=0)), 0, (width, height)).astype(int)
        right, low = np.clip(np.ceil(ring.max(axis=0)), 0, (width, height)).astype(int)
        window = (slice(top, low), slice(left, right))
        if (row, column) in lattice.found:
            seen = lattice.labels[window] == lattice.found[row, column]
            deep = ndimage.distance_transform_edt(np.pad(seen, 1))[1:-1, 1:-1]
            inside = deep > _INNER * deep.max() if seen.any() else seen
        else:
            y, x = np.mgrid[top:low, left:right].astype(np.float64) + 0.5
            full = np.stack([x, y, np.ones_like(x)], axis=-1) @ np.linalg.inv(lattice.warp).T
            away = np.abs(full[..., :2] / full[..., 2:] - (column, row)).max(axis=-1)
            inside = away < reach
        if photo.transparent is not None:
            inside &= ~photo.transparent[window]
        if np.count_nonzero(inside) < _FEW:
            raise FileError(
                f"{photo.name}: the patch in row {row + 1}, column {column + 1} is too small or "
                "lies outside; photograph the card from nearer, all of it"
            )
        masks[window][inside] = number
    return masks


# --------------------------------------------------------------------------- colour


@dataclass(frozen=True)
class _Measured:
    """Every pixel that is measured, patch after patch. n of them."""

    number: Whole  # (n,) of the patch, rising
    x: Whole  # (n,)
    y: Whole  # (n,)
    cones: Floats  # (n, 3) over those of the ground there
    clipped: Flags  # (n,)

    def of(self, number: int) -> _Measured:
        """Return one patch's pixels."""
        first, last = np.searchsorted(self.number, [number, number + 1])
        part = slice(int(first), int(last))
        return _Measured(
            self.number[part], self.x[part], self.y[part], self.cones[part], self.clipped[part]
        )


def _shading(photo: Photo, ground: Flags) -> Shading:
    y, x = some_of(ground)
    height, width = photo.linear.shape[:2]
    values = log_light(to_cones(photo.linear[y, x].astype(np.float64)))
    return fit_shading(values, x, y, (height, width), _ORDER)


def _flattened(photo: Photo, shading: Shading, masks: Floats) -> _Measured:
    """Take the fall of light off every measured pixel."""
    y, x = np.nonzero(masks)
    number = masks[y, x].astype(np.int64)
    order = np.argsort(number, kind="stable")
    y, x, number = y[order].astype(np.int64), x[order].astype(np.int64), number[order]
    light = shading.at(x + 0.5, y + 0.5)
    cones = to_cones(photo.linear[y, x].astype(np.float64)) / np.exp(light)
    return _Measured(number, x, y, cones, photo.clipped[y, x])


def _mean(values: Floats) -> Floats:
    """Mean of colours without the lightest and the darkest few, (3,)."""
    order = np.argsort(values.sum(axis=1))
    cut = int(_TRIM * len(order))
    out: Floats = values[order[cut : len(order) - cut]].mean(axis=0)
    return out


def _white(photo: Photo, measured: _Measured, names: Sequence[Sequence[str]]) -> Floats:
    """Cones of the undyed cloth as photographed, over the ground."""
    in_order = [name for row in names for name in row]
    numbers = [n for n, name in enumerate(in_order, start=1) if name == UNDYED]
    here = np.isin(measured.number, numbers)
    if not here.any():
        raise FileError(f"{photo.name}: no patch is named '{UNDYED}'; one must be, for white")
    share = float(measured.clipped[here].mean())
    if share > _WHITE_CLIPPED:
        raise FileError(
            f"{photo.name}: {100 * share:.0f} % of the undyed patch is overexposed, so white is "
            "not known; photograph it a little darker"
        )
    white = _mean(measured.cones[here])
    if not np.all(white > 1e-4):
        raise FileError(f"{photo.name}: the undyed patch is black; is it in another place?")
    return white


def _patch(measured: _Measured, scale: Floats, name: str, spot: Index) -> Patch:
    cones = measured.cones * scale
    lab = to_lab(cones_to_xyz(_mean(cones)))
    return Patch(
        name=name,
        row=spot[0],
        column=spot[1],
        lab=lab,
        spread=_unevenness(cones, measured, lab),
        clipped=float(measured.clipped.mean()),
        pixels=len(cones),
    )


def _unevenness(cones: Floats, measured: _Measured, lab: Floats) -> float:
    """Root mean square of Delta E*ab of sixteen parts of a patch to its mean."""
    part = 4 * _fourths(measured.y) + _fourths(measured.x)
    count = np.bincount(part, minlength=16)
    full = count > 8
    total = np.stack([np.bincount(part, cones[:, k], minlength=16) for k in range(3)], axis=-1)
    mean = total[full] / count[full, None]
    gap = to_lab(cones_to_xyz(mean)) - lab
    return float(np.sqrt((gap * gap).sum(axis=-1).mean()))


def _fourths(at: Whole) -> Whole:
    low, high = int(at.min()), int(at.max()) + 1
    out: Whole = np.minimum(4 * (at - low) // max(high - low, 1), 3)
    return out


def _check_lightest(photo: Photo, patches: Sequence[Patch]) -> None:
    """Refuse a card whose undyed patch is not the lightest: names and places do not go together."""
    y = {UNDYED: 0.0}
    for patch in patches:
        light = ((max(patch.lab[0], 8.0) + 16.0) / 116.0) ** 3
        y[patch.name] = max(y.get(patch.name, 0.0), light)
    name = max(y, key=lambda each: y[each])
    if y[name] > _LIGHTER * y[UNDYED]:
        raise FileError(
            f"{photo.name}: '{name}' is lighter than the patch named '{UNDYED}'; is the "
            "photograph upside down, or are the names in another order?"
        )


def _fall(shading: Shading, lattice: Lattice, rows: int, columns: int) -> float:
    row, column = np.mgrid[0:rows, 0:columns]
    at = lattice.at(column.astype(np.float64), row.astype(np.float64))
    light = shading.at(at[..., 0], at[..., 1])[..., 1]
    return float(1.0 - np.exp(light.min() - light.max()))


def _doubts(patch: Patch) -> list[str]:
    """Say what makes a patch's colour unsure."""
    said = []
    if patch.clipped > _CLIPPED:
        said.append(
            f"{patch.name}: {100 * patch.clipped:.0f} % of the patch is overexposed; its colour is "
            "paler here than on the cloth, so photograph it a little darker."
        )
    if patch.spread > _UNEVEN:
        said.append(
            f"{patch.name}: the patch is uneven (ΔE {patch.spread:.0f} from part to part); the "
            "mean was taken."
        )
    return said
