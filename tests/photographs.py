"""Made photographs of dyed pieces, with known truth.

``photograph(piece, side, conditions)`` gives a picture as a telephone would take it, and all that
is true of it. ``draw_conditions(seed)`` draws the light, the camera and the ground at random;
``pieces()`` simulates a few plans to be shown; ``random_case(number, made)`` does both. Nothing
here uses what measures photographs, so that the two cannot share a mistake.

Pixels: x to the right, y down, and the centre of the first pixel is at (0.5, 0.5). The table's
frame is the garment's, in millimetres, as seen from above.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from io import BytesIO

import numpy as np
from PIL import Image
from tests.camera import (
    Conditions,
    aim_camera,
    colour,
    draw_conditions,
    expose,
    light_field,
    project,
    scale_at,
)
from tests.dyed import Piece, pieces
from tests.grounds import GROUNDS, Floats, Patch, carpet, sheet
from tests.lying import Laid, lay_down, slacken

__all__ = [
    "Conditions",
    "Photograph",
    "Piece",
    "Truth",
    "draw_conditions",
    "photograph",
    "pieces",
    "random_case",
]


@dataclass(frozen=True)
class Truth:
    """What is so in a photograph of one piece."""

    piece: str
    blank: str
    size: str
    side: str
    white: float  # share of the side shown, 0 to 1
    shares: Mapping[str, float]  # white, pale, mid, deep of that side
    mask: Floats  # (H, W) bool: the side shown
    inside: Floats  # (H, W) bool: the other side, seen through neck or armhole
    cell: Floats  # (H, W) number of the cell shown, or -1
    light: Floats  # (H, W) of shading and vignette, at most 1
    tint: Floats  # (3,) linear RGB that a perfect white gives, of mean luminance 1
    gain: float  # linear value = gain * light * tint * reflectance, while nothing is clipped
    homography: Floats  # (3, 3) table [mm] to pixels
    corners: Floats  # (4, 2) of the flat garment's box on the table [mm]: tl, tr, br, bl
    corner_pixels: Floats  # (4, 2) the same in the picture
    outline: Floats  # (n, 2) of the garment as it lies, in the picture [px]
    conditions: Conditions


@dataclass(frozen=True)
class Photograph:
    """A photograph, as it was made and as the file that a telephone writes."""

    image: Image.Image
    jpeg: bytes
    truth: Truth


def _warped(plane: Floats, matrix: Floats, size: tuple[int, int], nearest: bool = False) -> Floats:
    """Resample a plane into the picture; ``matrix`` takes pixels to the plane's samples."""
    way = Image.Resampling.NEAREST if nearest else Image.Resampling.BICUBIC
    numbers = (matrix / matrix[2, 2]).ravel()[:8].tolist()
    source = Image.fromarray(np.ascontiguousarray(plane))
    return np.asarray(source.transform(size, Image.Transform.PERSPECTIVE, numbers, way))


def _into_window(homography: Floats, corner: tuple[float, float], fine: float) -> Floats:
    """Matrix from pixels to the samples of a window of the table."""
    window = np.array([[fine, 0, -corner[0] * fine], [0, fine, -corner[1] * fine], [0, 0, 1]])
    out: Floats = window @ np.linalg.inv(homography)
    return out


def photograph(piece: Piece, side: str, conditions: Conditions) -> Photograph:
    """Photograph one side of a piece.

    Parameters
    ----------
    piece : Piece
        From `pieces`.
    side : {"front", "back"}
        The side that lies up.
    conditions : Conditions
        From `draw_conditions`, or by hand.
    """
    c = conditions
    rng = np.random.default_rng([c.seed, 2])
    shown = piece.shown(side)
    slack = slacken(shown, c.slack, rng)
    x0, y0, x1, y1 = shown.bounds
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    around = slack.laid(shown.seen(np.asarray(shown.panel.outline.exterior.coords)))
    homography, size = aim_camera(c, around)
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    scale = scale_at(homography, middle)
    laid = lay_down(
        shown, slack, fine=1.25 * scale, wrinkles=c.wrinkles, lamp=math.radians(c.lamp), rng=rng
    )
    scene = spread_ground(c, homography, size, 0.8 * scale, shown.light, rng)
    scene, planes = lay_on(scene, laid, homography, size)
    light = light_field(c, size)
    image, gain, tint = expose(scene, light, planes["mask"] > 0.5, _white(piece), c)
    truth = Truth(
        piece=piece.name,
        blank=piece.blank,
        size=piece.size,
        side=side,
        white=(shares := piece.shares(side))["white"],
        shares=shares,
        mask=planes["mask"] >= 0.5,
        inside=(planes["cover"] >= 0.5) & (planes["mask"] < 0.5),
        cell=planes["cell"],
        light=light,
        tint=tint,
        gain=gain,
        homography=homography,
        corners=corners,
        corner_pixels=project(homography, corners),
        outline=project(homography, laid.outline),
        conditions=c,
    )
    return Photograph(image, as_jpeg(image, c.quality), truth)


_STORED = {
    3: Image.Transpose.ROTATE_180,
    6: Image.Transpose.ROTATE_90,
    8: Image.Transpose.ROTATE_270,
}


def as_jpeg(image: Image.Image, quality: int, orientation: int = 1) -> bytes:
    """Write a picture as the bytes of a JPEG file.

    Parameters
    ----------
    image : Image
        Upright.
    quality : int
        1 to 95.
    orientation : {1, 3, 6, 8}
        Exif tag 274: how the camera was held; the file's rows lie accordingly.
    """
    stream, exif = BytesIO(), Image.Exif()
    exif[274] = orientation
    stored = image.transpose(_STORED[orientation]) if orientation in _STORED else image
    stored.save(stream, "JPEG", quality=quality, exif=exif)
    return stream.getvalue()


def _white(piece: Piece) -> Floats:
    """Reflectance of the undyed cloth, linear sRGB."""
    return np.asarray(
        colour.cctf_decoding(np.array(piece.result.look.undyed_srgb), function="sRGB")
    )


def spread_ground(
    c: Conditions,
    homography: Floats,
    size: tuple[int, int],
    fine: float,
    colours: Floats,
    rng: np.random.Generator,
) -> Floats:
    """Draw the ground as the picture sees it, (H, W, 3) linear reflectance."""
    wide, high = size
    frame = project(
        np.linalg.inv(homography), np.array([(0, 0), (wide, 0), (wide, high), (0, high)])
    )
    low, top = frame.min(axis=0) - 20, frame.max(axis=0) + 20
    area = float(np.prod(top - low)) * fine**2
    fine *= min(1.0, math.sqrt(9e6 / area))
    patch = Patch(int((top[1] - low[1]) * fine) + 1, int((top[0] - low[0]) * fine) + 1, fine)
    if c.ground == "carpet":
        dyed = colours[colours.min(axis=1) < 0.5]
        dyed = np.concatenate([dyed[rng.integers(0, len(dyed), 9)], colours.max(axis=0)[None]])
        plane = carpet(patch, rng, dyed)
    elif c.ground == "sheet":
        plane = sheet(patch, rng)
    else:
        plane = GROUNDS[c.ground](patch, rng)
    matrix = _into_window(homography, (float(low[0]), float(low[1])), fine)
    planes = [_warped(plane[..., k], matrix, size) for k in range(3)]
    return np.clip(np.stack(planes, axis=-1), 0, 1)


def lay_on(
    scene: Floats, laid: Laid, homography: Floats, size: tuple[int, int]
) -> tuple[Floats, dict[str, Floats]]:
    """Lay a garment's window over the scene, its shadow first."""
    matrix = _into_window(homography, laid.corner, laid.fine)
    cover = np.clip(_warped(laid.cover, matrix, size), 0, 1)
    shadow = np.clip(_warped(laid.shadow, matrix, size), 0, 1)
    paint = np.stack([_warped(laid.colour[..., k], matrix, size) for k in range(3)], axis=-1)
    scene = scene * (1 - shadow)[..., None]
    scene = scene + cover[..., None] * (np.maximum(paint, 0) - scene)
    cell = _warped(laid.cell + 1, matrix, size, nearest=True).astype(np.int32) - 1
    mask = np.clip(_warped(laid.front, matrix, size), 0, 1)
    return scene, {"cover": cover, "mask": mask, "cell": cell}


def random_case(
    number: int, made: Mapping[str, Piece], seed: int = 0, **wishes: object
) -> Photograph:
    """Make the photograph of a number: a piece, a side and conditions, all drawn by it.

    Parameters
    ----------
    number, seed : int
        The same two give the same photograph.
    made : mapping of str to Piece
        To choose from.
    **wishes
        Fields of `Conditions` that are not left to chance.
    """
    rng = np.random.default_rng([seed, number, 5])
    piece = made[sorted(made)[rng.integers(len(made))]]
    sides = [panel.name for panel in piece.result.cloth.panels]
    side = sides[rng.integers(len(sides))]
    conditions = draw_conditions(100_003 * seed + number)
    return photograph(piece, side, replace(conditions, **wishes))
