"""A telephone's camera over a table: where it stands, the light, and what its sensor makes of it.

Pixels: x to the right, y down, and the centre of the first pixel is at (0.5, 0.5). The table's
frame is the garment's, in millimetres, as seen from above.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter
from tests.grounds import GROUNDS, Floats

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns when plotting libraries are missing
    import colour

MATRIX = colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB
D65 = np.array([0.3127, 0.3290])
CODED = np.rint(255 * colour.cctf_encoding(np.arange(65536) / 65535, function="sRGB"))
CODED = CODED.astype(np.uint8)  # sRGB code of 16 bits of light
LENS = 26 / 36  # a telephone's main lens: 26 mm on a frame 36 mm wide, from memory


@dataclass(frozen=True)
class Conditions:
    """Everything about a photograph but the piece; angles in degrees."""

    seed: int
    ground: str = "paper"
    long_side: int = 1400  # [px]
    fill: float = 0.7  # of the frame's width or height, whichever is fuller
    tilt: float = 0.0  # of the camera from straight above
    toward: float = 0.0  # direction of the tilt in the table's plane
    turn: float = 0.0  # of the garment in the frame
    aside: tuple[float, float] = (0.0, 0.0)  # -1..1 of the room left in the frame
    slack: float = 0.01  # most by which the outline is out of shape, of the garment's size
    wrinkles: float = 0.02  # spread of their shading
    lamp: float = -120.0  # direction the light comes from
    shading: float = 0.15  # least light in the frame is 1 - shading of the most
    slow: bool = False  # shading bends instead of falling evenly
    vignette: float = 0.05  # light lost in the corners
    kelvin: float = 6500.0
    balance: float = 0.0  # 0: the cast stays; 1: white is made grey
    level: float = 0.85  # brightest channel of undyed cloth where the light is most, linear
    clipped: float = 0.0  # share of the garment that is too bright; takes the place of `level`
    blur: float = 0.7  # of the lens, standard deviation [px]
    shot: float = 0.008  # noise at white, linear
    read: float = 0.0015  # noise at black, linear
    quality: int = 60  # of the JPEG
    polish: float = 0.0  # 0: as the sensor saw it; 1: sharpened, and dark and light pulled apart


def draw_conditions(seed: int, ground: str | None = None) -> Conditions:
    """Draw conditions: as a maker's telephone would have it, now well, now badly.

    Without `Conditions.polish`: what a telephone's own retouching does is a harder trial, and
    asked for by name.
    """
    rng = np.random.default_rng([seed, 1])
    names = list(GROUNDS)
    drawn = names[rng.integers(len(names))]
    quarter = float(rng.choice([0.0, 90.0, 180.0, 270.0], p=[0.8, 0.07, 0.06, 0.07]))
    return Conditions(
        seed=seed,
        ground=ground or drawn,
        long_side=int(rng.integers(1600, 2800)),
        fill=float(rng.uniform(0.5, 0.85)),
        tilt=float(rng.uniform(0, 25)),
        toward=float(rng.uniform(0, 360)),
        turn=quarter + float(rng.uniform(-15, 15)),
        aside=(float(rng.uniform(-0.7, 0.7)), float(rng.uniform(-0.7, 0.7))),
        slack=float(rng.uniform(0.004, 0.02)),
        wrinkles=float(rng.uniform(0.008, 0.035)),
        lamp=float(rng.uniform(0, 360)),
        shading=float(rng.uniform(0, 0.30)),
        slow=bool(rng.random() < 0.5),
        vignette=float(rng.uniform(0, 0.12)),
        kelvin=float(rng.uniform(3000, 7500)),
        balance=float(rng.choice([0.0, rng.uniform(0, 1)])),
        level=float(rng.uniform(0.62, 0.95)),
        clipped=float(rng.choice([0.0, rng.uniform(0.001, 0.01)], p=[0.85, 0.15])),
        blur=float(rng.uniform(0.5, 1.2)),
        shot=float(rng.uniform(0.003, 0.018)),
        read=float(rng.uniform(0.0005, 0.003)),
        quality=60,
    )


def project(matrix: Floats, points: Floats) -> Floats:
    """Map points, (n, 2), by a homography."""
    points = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    mapped = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return mapped[:, :2] / mapped[:, 2:]


def aim_camera(conditions: Conditions, outline: Floats) -> tuple[Floats, tuple[int, int]]:
    """Place a camera so that an outline on the table fills the frame as wished.

    Returns
    -------
    homography : ndarray of shape (3, 3)
        Table [mm] to pixels.
    size : tuple of int
        Width and height [px].
    """
    c = conditions
    turn, tilt, way = (math.radians(angle) for angle in (c.turn, c.tilt, c.toward))
    middle = (outline.min(axis=0) + outline.max(axis=0)) / 2
    spin = np.array(
        [[math.cos(turn), -math.sin(turn), 0], [math.sin(turn), math.cos(turn), 0], [0, 0, 1]]
    )
    extent = np.ptp(outline @ spin[:2, :2].T, axis=0)
    long, short = c.long_side, round(0.75 * c.long_side)
    wide, high = (long, short) if extent[0] >= extent[1] else (short, long)
    focal = LENS * long
    # Rodrigues' formula: the table leans away by `tilt` about an axis in its plane
    axis = np.array([-math.sin(way), math.cos(way), 0.0])
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    lean = np.eye(3) + math.sin(tilt) * cross + (1 - math.cos(tilt)) * cross @ cross
    look = lean @ spin
    lens = np.array([[focal, 0, wide / 2], [0, focal, high / 2], [0, 0, 1]])
    room = np.array([wide, high], dtype=np.float64)
    stand = np.array([0.0, 0.0, focal * extent.max() / (c.fill * long)])
    for _ in range(60):
        matrix = lens @ np.column_stack([look[:, 0], look[:, 1], stand - look[:, :2] @ middle])
        seen = project(matrix, outline)
        box = np.ptp(seen, axis=0)
        stand[2] *= float((box / room).max()) / c.fill
        wish = room / 2 + np.array(c.aside) * 0.5 * (1 - 0.02 - (box / room)) * room
        miss = wish - (seen.min(axis=0) + seen.max(axis=0)) / 2
        stand[:2] += miss * stand[2] / focal
    return matrix / matrix[2, 2], (wide, high)


def scale_at(homography: Floats, point: Floats) -> float:
    """Pixels per millimetre about a point of the table."""
    near = project(homography, point + np.array([(0, 0), (1, 0), (0, 1)]))
    a, b = near[1] - near[0], near[2] - near[0]
    return float(np.sqrt(abs(a[0] * b[1] - a[1] * b[0])))


def white_point(kelvin: float) -> Floats:
    """Chromaticity xy of daylight from 4000 K up, of a black body below."""
    if kelvin >= 4000:
        return np.asarray(colour.temperature.CCT_to_xy_CIE_D(kelvin))
    return np.asarray(colour.temperature.CCT_to_xy_Kang2002(kelvin))


def cast(kelvin: float, balance: float) -> Floats:
    """Matrix that takes linear sRGB in daylight D65 to what the camera gives in another light.

    Bradford's adaptation carries surfaces to the light; the camera's balance then scales its
    channels part of the way back to grey.
    """
    there = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(D65), colour.xy_to_XYZ(white_point(kelvin)), transform="Bradford"
    )
    lit = MATRIX @ there @ np.linalg.inv(MATRIX)
    white = np.maximum(lit @ np.ones(3), 0.02)
    out = np.diag(white**-balance) @ lit
    luminance = np.linalg.inv(MATRIX)[1]
    scaled: Floats = out / float(luminance @ out @ np.ones(3))
    return scaled


def light_field(conditions: Conditions, size: tuple[int, int]) -> Floats:
    """Light over the frame, (H, W): shading between 1 - shading and 1, times the vignette."""
    wide, high = size
    rng = np.random.default_rng([conditions.seed, 3])
    y, x = np.mgrid[:high, :wide].astype(np.float32)
    x, y = (x + 0.5 - wide / 2) / max(size), (y + 0.5 - high / 2) / max(size)
    way = float(rng.uniform(0, 2 * np.pi))
    field = np.cos(way) * x + np.sin(way) * y
    if conditions.slow:
        bend = rng.normal(0, 1.3, 3)
        field = field + bend[0] * x * x + bend[1] * x * y + bend[2] * y * y
    field = (field - field.min()) / max(float(np.ptp(field)), 1e-9)
    far = (x * x + y * y) / float((x * x + y * y).max())
    return ((1 - conditions.shading * field) * (1 - conditions.vignette * far)).astype(np.float32)


def expose(
    scene: Floats, light: Floats, garment: Floats, white: Floats, c: Conditions
) -> tuple[Image.Image, float, Floats]:
    """Take the picture: light, cast, lens, exposure, noise, coding.

    Parameters
    ----------
    scene : ndarray of shape (H, W, 3)
        Linear reflectance, sRGB primaries, daylight D65.
    light : ndarray of shape (H, W)
        Of `light_field`.
    garment : ndarray of shape (H, W), bool
        For what it exposes.
    white : ndarray of shape (3,)
        Reflectance of undyed cloth.
    c : Conditions

    Returns
    -------
    image : Image
        Eight bits, sRGB coded.
    gain : float
        Exposure.
    tint : ndarray of shape (3,)
        What a perfect white gives at gain 1.
    """
    rng = np.random.default_rng([c.seed, 4])
    matrix = cast(c.kelvin, c.balance).astype(np.float32)
    lit = np.maximum(scene @ matrix.T, 0) * light[..., None]
    lit = gaussian_filter(lit, (c.blur, c.blur, 0))
    there = garment if garment.any() else np.ones_like(garment)
    if c.clipped > 0:
        gain = 1 / float(np.quantile(lit[there].max(axis=-1), 1 - c.clipped))
    else:
        gain = c.level / float((matrix @ white).max() * light[there].max())
    lit = gain * lit
    spread = np.sqrt(c.read**2 + c.shot**2 * np.clip(lit, 0, None))
    # the camera's own smoothing leaves noise a little coarser than a pixel
    noise = gaussian_filter(rng.standard_normal(lit.shape, dtype=np.float32), (0.6, 0.6, 0))
    lit = lit + spread * noise / float(noise.std())
    coded = CODED[np.rint(65535 * np.clip(lit, 0, 1)).astype(np.uint16)]
    picture = Image.fromarray(polished(coded, c.polish) if c.polish else coded)
    return picture, gain, np.asarray(matrix @ np.ones(3, dtype=np.float32), dtype=np.float64)


def polished(coded: Floats, much: float) -> Floats:
    """Retouch a picture as telephones do: an S-shaped curve, then an unsharp mask; chosen."""
    value = coded.astype(np.float32) / 255
    value = value - 0.035 * much * np.sin(2 * np.pi * value)
    soft = gaussian_filter(value, (1.3, 1.3, 0))
    value = value + 0.6 * much * (value - soft)
    return np.rint(255 * np.clip(value, 0, 1)).astype(np.uint8)
