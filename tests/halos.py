"""Made photographs of split tests: shares no code with what reads them.

Each component fills a disc about the powder and ends in a soft edge (an error function, as of
dispersion about a front); spectra are bands written out again here.
"""

import io

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter
from scipy.special import erfc
from tests import cards


def bands(*each) -> np.ndarray:
    """K/S per % of bands (peak, half width, height): Gaussian in wavenumber, wider to the blue."""
    out = np.zeros(31)
    for peak, half, height in each:
        offset = 1 / cards.LAMBDA - 1 / peak
        red, blue = 1 / peak - 1 / (peak + half), 1 / (peak - 1.3 * half) - 1 / peak
        width = np.where(offset > 0, blue, red)
        out += height * (0.5 ** ((offset / width) ** 2) + 0.004)
    return out


def halo(
    parts, places, size=(900, 900), kelvin=None, fall=0.0, noise=0.0, exposure=0.85, seed=0,
    cotton=cards.COTTON, wobble=0.0,
):  # fmt: skip
    """A photograph, encoded sRGB in 0..1.

    parts: (K/S per % (31,), % in the disc's middle, radius [px], width of the edge [px]).
    places: x, y of each pinch of powder [px].
    """
    width, height = size
    x, y = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    rng = np.random.default_rng(seed)
    ks = np.zeros((height, width, 31), dtype=np.float32)
    ks += ((1 - cotton) ** 2 / (2 * cotton)).astype(np.float32)
    for px, py in places:
        turn = np.arctan2(y - py, x - px)
        far = np.hypot(x - px, y - py) / (1 + wobble * np.cos(3 * turn))
        for spectrum, amount, radius, edge in parts:
            ks += (amount * 0.5 * erfc((far - radius) / edge))[..., None] * spectrum
    reflectance = 1 + ks - np.sqrt(ks * ks + 2 * ks)
    linear = cards.xyz(reflectance, cards.light(kelvin)) @ cards.TO_SRGB.T
    shade = 1 - fall * (x / width + 0.4 * y / height) / 1.4
    scene = gaussian_filter(exposure * linear * shade[..., None], (0.8, 0.8, 0))
    shot = cards.colour.models.eotf_inverse_sRGB(np.clip(scene, 0, 1))
    return np.clip(shot + noise * rng.standard_normal(shot.shape), 0, 1)


def photograph(*args, quality=92, **kwargs) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.round(255 * halo(*args, **kwargs)).astype(np.uint8)).save(
        out, "JPEG", quality=quality
    )
    return out.getvalue()
