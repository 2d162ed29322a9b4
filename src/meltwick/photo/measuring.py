"""Measure a dyed piece from photographs: the shares that the simulation gives, with a margin."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from meltwick.cloth.build import build_cloth
from meltwick.colour.look import ground_lab, ground_srgb
from meltwick.colour.standard import from_linear, to_linear, to_srgb
from meltwick.errors import FileError
from meltwick.photo.bands import Bands, bands
from meltwick.photo.calming import calm
from meltwick.photo.finding import Found, find
from meltwick.photo.laying import (
    cells_of,
    colours_at,
    off_raster,
    on_raster,
    pixels_of,
    well_inside,
)
from meltwick.photo.light import Light, Reference, even_light
from meltwick.photo.palette import Patch, palette
from meltwick.photo.reading import Photo
from meltwick.shares import PALE, WHITE, measure_shares
from meltwick.types import Blank, Cloth, Fabric, Flags, Floats, Look, Shares

COARSE = 8e-3  # [m] raster on which the blank is found
FINEST, COARSEST = 1e-3, 4e-3  # [m] raster on which it is measured
MOST = 12_000_000  # pixels of a photograph that are kept
SPECK = 9  # [px] over which a point of the photograph is averaged
GREY_CARD = 0.18  # [-] reflectance of the usual grey card; common practice


@dataclass(frozen=True)
class Given:
    """What the maker says of one photograph."""

    corners: Floats | None = None  # (4, 2) of the piece, in shares of the picture
    white: Floats | None = None  # (2,) a place of undyed cloth, or of an undyed twin
    grey: Floats | None = None  # (2,) a place of a grey card


@dataclass(frozen=True)
class Side:
    """One side of a piece, measured."""

    name: str  # front or back
    photo: Photo
    found: Found
    light: Light
    counted: Flags  # (n,) cells of the panel that count
    lab: Floats  # (n, 3) colour of undyed cloth and all else as in daylight


@dataclass(frozen=True)
class Measured:
    """A piece as photographs show it."""

    blank: Blank
    cloth: Cloth
    look: Look  # of every cell; those that no photograph shows are undyed
    seen: Flags  # (N,) cells that count
    sides: tuple[Side, ...]
    shares: Shares
    margin: float  # of the white share: how far it may be off
    palette: tuple[Patch, ...]
    bands: Mapping[str, Bands]  # by panel, where there are any
    notes: tuple[str, ...]

    @property
    def white_share(self) -> float:
        """Area share of undyed cloth."""
        return self.shares.whole["white"]


def measure(
    photos: Mapping[str, Photo],
    blanks: Sequence[tuple[Blank, Fabric]],
    given: Mapping[str, Given] | None = None,
) -> Measured:
    """Measure a piece.

    Parameters
    ----------
    photos : mapping of str to Photo
        By side: "front", and "back" where it was photographed.
    blanks : sequence of (Blank, Fabric)
        What it may be; the one that fits the first photograph best is taken.
    given : mapping of str to Given, optional
        What the maker says, by side.

    Returns
    -------
    Measured

    Raises
    ------
    FileError
        No garment is found in a photograph, or hardly any of it can be measured.
    """
    blank, sides = view(photos, blanks, given)
    return _measured(blank, sides[0].found.cloth, sides)


def view(
    photos: Mapping[str, Photo],
    blanks: Sequence[tuple[Blank, Fabric]],
    given: Mapping[str, Given] | None = None,
) -> tuple[Blank, tuple[Side, ...]]:
    """Find a piece in its photographs, lay them on its raster and even out their light.

    Parameters
    ----------
    photos, blanks, given
        See `measure`.

    Returns
    -------
    blank : Blank
        What it is.
    sides : tuple of Side
        In the order of the photographs.
    """
    told = {name: (given or {}).get(name, Given()) for name in photos}
    cloths = [build_cloth(blank, fabric, COARSE) for blank, fabric in blanks]
    found: dict[str, Found] = {}
    for name, photo in photos.items():
        said = told[name]
        one = next((each.cloth for each in found.values()), None)
        found[name] = find(
            photo,
            cloths if one is None else [one],
            name,
            None if said.corners is None else _pixels(photo, said.corners),
            None if said.white is None else _pixels(photo, said.white),
        )
    first = next(iter(found.values())).cloth
    blank, fabric = blanks[next(n for n, cloth in enumerate(cloths) if cloth is first)]
    scale = min(each.scale for each in found.values())
    cloth = build_cloth(blank, fabric, float(np.clip(1e-3 / scale, FINEST, COARSEST)))
    sides = tuple(
        _side(name, photo, replace(found[name], cloth=cloth), told[name])
        for name, photo in photos.items()
    )
    return blank, sides


def _pixels(photo: Photo, shares: Floats) -> Floats:
    """Places given as shares of the picture's width and height, as pixels."""
    height, width = photo.linear.shape[:2]
    out: Floats = np.asarray(shares, dtype=np.float64) * np.array([width, height])
    return out


def undyed_linear(fabric: Fabric) -> Floats:
    """Linear sRGB of undyed cloth, 1 for the perfect white, (3,)."""
    return to_linear(ground_lab(fabric))


def _side(name: str, photo: Photo, found: Found, given: Given) -> Side:
    """Lay one photograph on the cloth, even out its light and calm it."""
    pixels = pixels_of(found)
    linear = photo.linear
    colours = colours_at(linear, pixels)
    here = cells_of(found.cloth, found.panel)
    counted = found.cloth.dyeable[here] & well_inside(found) & _covered(photo, pixels)
    if np.count_nonzero(counted) < 500:
        raise FileError(
            f"{photo.name}: the piece is too small in the picture to be measured; come nearer"
        )
    light = even_light(
        colours[counted],
        pixels[counted],
        found.ground,
        found.ground_at,
        (linear.shape[0], linear.shape[1]),
        _reference(photo, given, found.cloth.fabric),
    )
    lit = light.at(pixels)[:, None] * light.white
    lab = from_linear(colours / lit * undyed_linear(found.cloth.fabric))
    panel = found.cloth.panels[found.panel]
    calmed = calm(on_raster(panel, lab), panel.index >= 0)
    return Side(name, photo, found, light, counted, off_raster(panel, calmed))


def _covered(photo: Photo, pixels: Floats) -> Flags:
    """Cells that lie on the picture, and not where it is transparent."""
    height, width = photo.linear.shape[:2]
    at = np.floor(pixels).astype(np.intp)
    on = (at >= 0).all(axis=1) & (at[:, 0] < width) & (at[:, 1] < height)
    if photo.transparent is not None:
        row, col = np.clip(at[:, 1], 0, height - 1), np.clip(at[:, 0], 0, width - 1)
        on &= ~photo.transparent[row, col]
    return np.asarray(on)


def _reference(photo: Photo, given: Given, fabric: Fabric) -> Reference | None:
    """Take what the maker says is undyed, or grey."""
    place = given.white if given.white is not None else given.grey
    if place is None:
        return None
    at = _pixels(photo, place)
    height, width = photo.linear.shape[:2]
    col, row = (int(np.clip(v, 0, top - 1)) for v, top in zip(at, (width, height), strict=True))
    reach = max(SPECK, round(0.004 * max(height, width))) // 2
    near = slice(max(0, row - reach), row + reach + 1), slice(max(0, col - reach), col + reach + 1)
    linear = np.median(photo.linear[near].reshape(-1, 3), axis=0).astype(np.float64)
    if photo.clipped[near].mean() > 0.1:
        raise FileError(
            f"{photo.name}: the place given for white or grey is over-exposed; give another, or "
            "take the picture darker"
        )
    if given.white is None:
        linear = linear / GREY_CARD * undyed_linear(fabric)
    return Reference(linear, at)


def _measured(blank: Blank, cloth: Cloth, sides: tuple[Side, ...]) -> Measured:
    """Put the sides together."""
    bare = ground_lab(cloth.fabric)
    lab = np.tile(bare, (cloth.size, 1))
    delta = np.zeros(cloth.size)
    seen = np.zeros(cloth.size, dtype=bool)
    for side in sides:
        here = cells_of(cloth, side.found.panel)
        lab[here], seen[here] = side.lab, side.counted
        delta[here] = less_noise(side.lab - bare, side.counted)
    look = Look(to_srgb(lab), lab, delta, ground_srgb(cloth.fabric))
    shares = _seen_only(measure_shares(replace(cloth, dyeable=seen), look), sides)
    striped = {}
    for side in sides:
        panel = cloth.panels[side.found.panel]
        lightness = on_raster(panel, side.lab[:, 0])
        if (waves := bands(lightness, panel.index >= 0, cloth.pitch)) is not None:
            striped[side.name] = waves
    return Measured(
        blank=blank,
        cloth=cloth,
        look=look,
        seen=seen,
        sides=sides,
        shares=shares,
        margin=margin_of(delta[seen], sides),
        palette=palette(lab[seen], delta[seen], WHITE),
        bands=striped,
        notes=notes_of(sides),
    )


def less_noise(apart: Floats, counted: Flags) -> Floats:
    """Colour difference to undyed cloth, less what noise adds to it.

    Noise can only add to the length of a difference: its variance, as undyed cloth shows it
    in each of L*, a* and b*, is taken off the square.

    Parameters
    ----------
    apart : ndarray of shape (n, 3)
        Differences to undyed cloth.
    counted : ndarray of shape (n,), bool
        Cells from which the noise is told.

    Returns
    -------
    ndarray of shape (n,)
        [Delta E*ab]
    """
    bare = apart[counted & (np.abs(apart) < WHITE).all(axis=1)]
    spread = np.zeros(3)
    if len(bare) >= 50:
        middle = np.median(bare, axis=0)
        spread = 1.4826 * np.median(np.abs(bare - middle), axis=0)  # as of a normal distribution
    out: Floats = np.sqrt(np.maximum((apart**2 - spread**2).sum(axis=1), 0.0))
    return out


def _seen_only(shares: Shares, sides: tuple[Side, ...]) -> Shares:
    """Leave out what no photograph shows."""
    names = {side.name for side in sides}
    return replace(
        shares,
        panels={name: split for name, split in shares.panels.items() if name in names},
        front_back_likeness=shares.front_back_likeness if len(sides) > 1 else None,
    )


def margin_of(delta: Floats, sides: Sequence[Side]) -> float:
    """How far the white share may be off, 0 to 1.

    The share moves as the limit of white does; the limit is as doubtful as the level of the
    undyed cloth: by the tiles of it that differ, a lightness of about 0.4 for each hundredth of
    light at this brightness, and by what a colour cast leaves.
    """
    uneven = max(side.light.uneven for side in sides)
    doubt = float(np.hypot(0.8, 40.0 * uneven))
    low, high = (float(np.mean(delta <= limit)) for limit in (WHITE - doubt, WHITE + doubt))
    margin = 0.5 * (high - low) + 0.01
    if not all(side.light.clear for side in sides):
        margin += 0.5 * (float(np.mean(delta <= PALE)) - high) + 0.02
    return min(1.0, margin)


_POINT = (
    "hardly any cloth is surely undyed; say where it is with --white X,Y, or lay a washed undyed "
    "piece beside it and point at that"
)


def notes_of(sides: Sequence[Side], unclear: str = _POINT) -> tuple[str, ...]:
    """Say what the maker should know; ``unclear`` of a side without surely undyed cloth."""
    notes: list[str] = []
    for side in sides:
        name = side.photo.name
        notes += [f"{name}: {note[:1].lower()}{note[1:].rstrip('.')}" for note in side.photo.notes]
        if not side.light.clear:
            notes.append(f"{name}: {unclear}")
        if side.light.swing < 0.5:
            notes.append(
                f"{name}: the light falls off by more than half over the picture; open shade "
                "without direct sun measures better"
            )
        clipped = float(side.photo.clipped.mean())
        if clipped > 0.02:
            notes.append(
                f"{name}: {100 * clipped:.0f} % of it is over-exposed; undyed and pale cloth may "
                "look alike there"
            )
    return tuple(notes)
