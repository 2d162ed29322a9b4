"""Made photographs of cards of swatches, from spectra: shares no code with what reads them.

Light and camera by colour-science: CIE 1931 2 degree observer, Planck's law, the sRGB matrix of
IEC 61966-2-1. The camera sees as the observer does and takes off only a share of the cast.
"""

import io
import warnings
from dataclasses import dataclass, field

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns when plotting libraries are missing
    import colour
    from colour.colorimetry import sd_blackbody

SHAPE = colour.SpectralShape(400, 700, 10)
LAMBDA = np.arange(400, 701, 10.0)
CMFS = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values
D65 = colour.SDS_ILLUMINANTS["D65"].copy().align(SHAPE).values
TO_SRGB = np.linalg.inv(colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ)
COTTON = 0.90 - 0.11 * np.exp(-(LAMBDA - 400.0) / 55.0)  # the undyed jersey, as the stock has it
CHART = {
    name: sd.copy().align(SHAPE).values
    for name, sd in colour.SDS_COLOURCHECKERS["ISO 17321-1"].items()
}


def light(kelvin: float | None) -> np.ndarray:
    """Spectrum of the light: a black body, or D65."""
    return D65 if kelvin is None else sd_blackbody(kelvin, SHAPE).values


def xyz(reflectance: np.ndarray, spectrum: np.ndarray = D65) -> np.ndarray:
    """XYZ, Y = 1 for the perfect white."""
    weights = CMFS * spectrum[:, None]
    return reflectance @ weights / weights[:, 1].sum()


def true_lab(reflectance: np.ndarray) -> np.ndarray:
    white = xyz(np.ones(31))
    return colour.XYZ_to_Lab(xyz(reflectance), colour.XYZ_to_xy(white))


@dataclass
class Made:
    """A card as it is photographed."""

    spectra: list  # rows of columns of reflectances, or None for no patch
    kelvin: float | None = None
    balanced: float = 0.0  # share of the cast that the camera takes off, in the logarithm
    tilt: float = 0.0  # [deg] of the card about its x axis
    swing: float = 0.0  # [deg] about its y axis
    roll: float = 0.0  # [deg] in the picture
    fall: float = 0.0  # share of light lost from one side to the other
    exposure: float = 0.8  # linear value of the perfect white
    noise: float = 0.0  # standard deviation, encoded, 0..1
    quality: int | None = None
    size: tuple = (640, 480)
    ground: np.ndarray = field(default_factory=lambda: np.full(31, 0.62))
    patch: float = 0.66  # of the pitch
    table: np.ndarray | None = None  # reflectance of a table that the card lies on
    weave: float = 0.0
    seed: int = 0


def corners(made: Made) -> np.ndarray:
    """Middles of the four corner patches in the picture, (4, 2)."""
    rows, columns = len(made.spectra), len(made.spectra[0])
    spots = np.array([(0, 0), (columns - 1, 0), (columns - 1, rows - 1), (0, rows - 1)], float)
    middle = np.array([(columns - 1) / 2, (rows - 1) / 2])
    flat = np.c_[(spots - middle), np.zeros(4)] @ _turn(made).T
    return _seen(made, flat)


def _turn(made: Made) -> np.ndarray:
    a, b, c = np.radians([made.tilt, made.swing, made.roll])
    about_x = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    about_y = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    about_z = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
    return about_z @ about_y @ about_x


def _away(made: Made) -> float:
    rows, columns = len(made.spectra), len(made.spectra[0])
    return 2.6 * max(rows, columns)


def _focal(made: Made) -> float:
    rows, columns = len(made.spectra), len(made.spectra[0])
    width, height = made.size
    share = 0.62 if made.table is None else 0.5
    return share * _away(made) * min(width / columns, height / rows)


def _seen(made: Made, points: np.ndarray) -> np.ndarray:
    width, height = made.size
    depth = points[:, 2] + _away(made)
    return np.c_[
        width / 2 + _focal(made) * points[:, 0] / depth,
        height / 2 + _focal(made) * points[:, 1] / depth,
    ]


def picture(made: Made) -> np.ndarray:
    """The photograph, encoded sRGB in 0..1, (H, W, 3)."""
    rows, columns = len(made.spectra), len(made.spectra[0])
    width, height = made.size
    rng = np.random.default_rng(made.seed)
    turn, focal, away = _turn(made), _focal(made), _away(made)
    x, y = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    ray = np.stack([(x - width / 2) / focal, (y - height / 2) / focal, np.ones_like(x)], -1)
    normal = turn[:, 2]
    far = away * normal[2] / (ray @ normal)  # where each ray meets the card's plane
    spot = (ray * far[..., None] - np.array([0, 0, away])) @ turn
    column = spot[..., 0] + (columns - 1) / 2
    row = spot[..., 1] + (rows - 1) / 2

    spectrum = light(made.kelvin)
    shown = [made.ground if made.table is None else made.table, made.ground]
    which = np.zeros((height, width), int)
    card = (np.abs(spot[..., 0]) < columns / 2 + 0.1) & (np.abs(spot[..., 1]) < rows / 2 + 0.1)
    which[card] = 1
    for i in range(rows):
        for j in range(columns):
            if made.spectra[i][j] is None:
                continue
            half = made.patch / 2
            inside = (np.abs(row - i) < half) & (np.abs(column - j) < half)
            which[inside] = len(shown)
            shown.append(made.spectra[i][j])
    linear = xyz(np.array(shown), spectrum) @ TO_SRGB.T
    cast = xyz(np.ones(31), spectrum) @ TO_SRGB.T
    linear = linear / cast**made.balanced
    scene = made.exposure * linear[which]
    across = (x / width + 0.6 * y / height) / 1.6
    scene = scene * (1 - made.fall * (0.7 * across + 0.3 * across**2))[..., None]
    if made.weave:
        thread = np.sin(2 * np.pi * column * 40) * np.sin(2 * np.pi * row * 40)
        scene = scene * (1 + made.weave * thread * (which > 1))[..., None]
    scene = gaussian_filter(scene, (0.8, 0.8, 0))
    shot = colour.models.eotf_inverse_sRGB(np.clip(scene, 0, 1))
    return np.clip(shot + made.noise * rng.standard_normal(shot.shape), 0, 1)


def photograph(made: Made, kind: str = "PNG") -> bytes:
    """The photograph as a file."""
    image = Image.fromarray(np.round(255 * picture(made)).astype(np.uint8))
    out = io.BytesIO()
    if made.quality is not None:
        image.save(out, "JPEG", quality=made.quality)
    else:
        image.save(out, kind)
    return out.getvalue()
