"""Pictures without a garment to measure: real ones that libraries carry, and made ones.

The real ones lie in the wheels of scikit-image and matplotlib; their licences are as those
libraries tell them, or "from memory". Nothing is fetched.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFilter
from tests.camera import Conditions, aim_camera, draw_conditions, expose, light_field, scale_at
from tests.dyed import Piece
from tests.grounds import Patch, rough
from tests.lying import Laid, lay_down, slacken
from tests.photographs import lay_on, photograph, spread_ground

SKIMAGE: Mapping[str, str] = {
    "astronaut.png": "NASA, public domain",
    "brick.png": "CC0Textures, CC0",
    "camera.png": "Lav Varshney, CC0",
    "cell.png": "CC0",
    "chelsea.png": "Stefan van der Walt, CC0; a cat",
    "clock_motion.png": "Stefan van der Walt, public domain",
    "coffee.png": "Rachel Michetti, CC0",
    "coins.png": "Brooklyn Museum, no known copyright restrictions",
    "grass.png": "CC0Textures, CC0",
    "gravel.png": "CC0Textures, CC0",
    "horse.png": "Andreas Preuss, CC0; a black shape on white",
    "hubble_deep_field.jpg": "NASA, public domain",
    "ihc.png": "no known copyright restrictions; stained tissue",
    "moon.png": "NASA, public domain, from memory",
    "motorcycle_left.png": "D. Scharstein and others, Middlebury 2014, CC0, from memory",
    "page.png": "public domain, from memory; a printed page",
    "retina.jpg": "Haggstrom 2014, CC0; a bright disk on black",
    "rocket.jpg": "SpaceX, public domain",
}
MATPLOTLIB: Mapping[str, str] = {
    "grace_hopper.jpg": "US Navy, public domain, from memory",
    "Minduka_Present_Blue_Pack.png": "public domain, from memory; a drawn parcel",
}


def real() -> list[tuple[str, Image.Image]]:
    """Open the photographs that scikit-image and matplotlib carry, as they are in their files."""
    import matplotlib
    import skimage

    shelves = (
        (Path(skimage.__file__).parent / "data", SKIMAGE),
        (Path(matplotlib.get_data_path()) / "sample_data", MATPLOTLIB),
    )
    out = []
    for shelf, names in shelves:
        for name in names:
            with Image.open(shelf / name) as picture:
                picture.load()
                out.append((name, picture))
    return out


PLAIN = Conditions(
    seed=21, long_side=800, fill=0.6, tilt=9.0, toward=200.0, turn=6.0, shading=0.2, kelvin=5200.0
)
Paint = Callable[[ImageDraw.ImageDraw, float], None]


def bare_ground(ground: str, seed: int = 21) -> Image.Image:
    """A ground with nothing on it."""
    return _thing(None, ground, seed)


def noise(seed: int = 21) -> Image.Image:
    """Nothing but noise."""
    field = np.random.default_rng(seed).integers(0, 256, (600, 800, 3), dtype=np.uint8)
    return Image.fromarray(field)


def one_colour(value: tuple[int, int, int] = (128, 128, 128)) -> Image.Image:
    """One colour all over."""
    return Image.new("RGB", (640, 480), value)


def mug(ground: str = "wood", seed: int = 22) -> Image.Image:
    """A white mug from above: a round rim, coffee in it, a handle."""

    def paint(pen: ImageDraw.ImageDraw, fine: float) -> None:
        def disk(radius: float, ink: tuple[int, int, int]) -> None:
            box = [(300 + way * radius) * fine for way in (-1, -1, 1, 1)]
            pen.ellipse(box, fill=ink)

        pen.rounded_rectangle([v * fine for v in (440, 265, 590, 335)], 30 * fine, (235, 235, 232))
        pen.rounded_rectangle([v * fine for v in (470, 285, 560, 315)], 14 * fine, (120, 90, 70))
        disk(190, (238, 238, 235))
        disk(172, (205, 205, 202))
        disk(160, (52, 28, 16))

    return _thing(paint, ground, seed)


def towel(ground: str = "wood", seed: int = 23) -> Image.Image:
    """A striped towel: a rectangle, much longer than wide."""

    def paint(pen: ImageDraw.ImageDraw, fine: float) -> None:
        pen.rectangle([v * fine for v in (120, 10, 480, 590)], fill=(236, 235, 230))
        for top in (60, 90, 500, 530):
            pen.rectangle([v * fine for v in (120, top, 480, top + 16)], fill=(40, 70, 140))

    return _thing(paint, ground, seed)


def _thing(paint: Paint | None, ground: str, seed: int) -> Image.Image:
    """Photograph what is painted on a square of 600 mm; its places not painted are the ground."""
    c = replace(PLAIN, seed=seed, ground=ground)
    rng = np.random.default_rng([seed, 2])
    square = np.array([(0.0, 0.0), (600.0, 0.0), (600.0, 600.0), (0.0, 600.0)])
    homography, size = aim_camera(c, square)
    scale = scale_at(homography, np.array([300.0, 300.0]))
    scene = spread_ground(c, homography, size, 0.8 * scale, np.ones((1, 3)), rng)
    if paint is not None:
        fine = 2 * scale
        side = int(600 * fine)
        plate = Image.new("RGB", (side, side))
        paint(ImageDraw.Draw(plate), fine)
        shape = np.asarray(plate).any(axis=-1)
        stencil = Image.fromarray(np.where(shape, 255, 0).astype(np.uint8))
        cover = np.asarray(stencil.filter(ImageFilter.GaussianBlur(1)), dtype=np.float32) / 255
        wide = stencil.filter(ImageFilter.GaussianBlur(6 * fine))
        paper = (np.asarray(plate, dtype=np.float32) / 255) ** 2.2
        pile = 1 + 0.015 * rough(Patch(side, side, fine), rng, 2.0)
        shadow = 0.5 * np.asarray(wide, dtype=np.float32) / 255
        nowhere = np.full((side, side), -1, dtype=np.int32)
        laid = Laid(
            (0.0, 0.0), fine, paper * pile[..., None], cover, cover, shadow, nowhere, square
        )
        scene, _ = lay_on(scene, laid, homography, size)
    everywhere = np.ones(scene.shape[:2], dtype=bool)
    picture, _, _ = expose(scene, light_field(c, size), everywhere, np.full(3, 0.85), c)
    return picture


def busy(piece: Piece, seed: int = 24) -> Image.Image:
    """A dyed piece on a patterned carpet of its own colours."""
    c = replace(draw_conditions(seed, "carpet"), long_side=1000, kelvin=5600.0, fill=0.7)
    return photograph(piece, "front", c).image


def on_sheet(piece: Piece, seed: int = 25) -> Image.Image:
    """A dyed piece on a white sheet, which no one could tell from its white."""
    c = replace(draw_conditions(seed, "sheet"), long_side=1000, kelvin=5600.0, fill=0.7)
    return photograph(piece, "front", c).image


def two(one: Piece, other: Piece, ground: str = "wood", seed: int = 26) -> Image.Image:
    """Two pieces side by side."""
    c = replace(PLAIN, seed=seed, ground=ground, fill=0.8)
    rng = np.random.default_rng([seed, 2])
    views = [one.shown("front"), other.shown("front")]
    slacks = [slacken(view, 0.01, rng) for view in views]
    gap = 40.0 + views[0].bounds[2] - views[1].bounds[0]
    shifts = [np.zeros(2), np.array([gap, 25.0])]
    outlines = [
        slack.laid(view.seen(np.asarray(view.panel.outline.exterior.coords))) + shift
        for view, slack, shift in zip(views, slacks, shifts, strict=True)
    ]
    whole = np.concatenate(outlines)
    homography, size = aim_camera(c, whole)
    scale = scale_at(homography, whole.mean(axis=0))
    scene = spread_ground(c, homography, size, 0.8 * scale, views[0].light, rng)
    covered = np.zeros(scene.shape[:2], dtype=bool)
    lamp = math.radians(c.lamp)
    for view, slack, shift in zip(views, slacks, shifts, strict=True):
        laid = lay_down(view, slack, fine=1.25 * scale, wrinkles=c.wrinkles, lamp=lamp, rng=rng)
        moved = (laid.corner[0] + float(shift[0]), laid.corner[1] + float(shift[1]))
        scene, planes = lay_on(scene, replace(laid, corner=moved), homography, size)
        covered |= planes["mask"] > 0.5
    picture, _, _ = expose(scene, light_field(c, size), covered, np.full(3, 0.85), c)
    return picture


def half_out(piece: Piece, seed: int = 27) -> Image.Image:
    """A dyed piece of which the frame cuts off a good part."""
    c = replace(draw_conditions(seed, "wood"), long_side=1000, kelvin=5600.0, turn=4.0)
    whole = photograph(piece, "front", c)
    left = int(np.quantile(np.nonzero(whole.truth.mask)[1], 0.35))
    return whole.image.crop((left, 0, whole.image.width, whole.image.height))


def made(one: Piece, other: Piece) -> list[tuple[str, Image.Image]]:
    """Make pictures on which there is nothing to measure, or not surely one thing.

    Parameters
    ----------
    one, other : Piece
        Shown where a piece is wanted.
    """
    bare = [(f"bare {name}", bare_ground(name)) for name in ("wood", "paper", "grass", "sheet")]
    return [
        *bare,
        ("noise", noise()),
        ("one colour", one_colour()),
        ("mug", mug()),
        ("towel", towel()),
        ("busy", busy(one)),
        ("on a sheet", on_sheet(one)),
        ("two", two(one, other)),
        ("half out", half_out(one)),
    ]


def negatives(one: Piece, other: Piece) -> list[tuple[str, Image.Image]]:
    """Give all of them, real and made, by name."""
    return real() + made(one, other)
