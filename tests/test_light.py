"""Evening out the light, white balance against a colour chart, and calming grain."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from meltwick.colour.difference import delta_e00
from meltwick.colour.standard import FROM_XYZ, to_lab
from meltwick.photo.calming import ALIKE, REACH, calm
from meltwick.photo.light import Light, Reference, even_light
from meltwick.photo.parting import polynomial

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns when plotting libraries are missing
    import colour

SHAPE = (600, 800)
TO_XYZ = np.linalg.inv(FROM_XYZ)
WHITE = np.array([0.86, 0.85, 0.83])
CASTS = {3000: (1.0, 0.55, 0.22), 5000: (1.0, 0.83, 0.66), 7500: (0.8, 0.86, 1.0)}
SHADES = {
    "none": (0.0, 0.0, 0.0, 0.0, 0.0),
    "even fall": (0.15, -0.06, 0.0, 0.0, 0.0),
    "bent": (0.05, 0.08, -0.12, 0.05, -0.08),
}


def field(shade: str, places: np.ndarray) -> np.ndarray:
    """Light at some pixels over that at the middle of the picture, (n,)."""
    terms = np.array([0.0, *SHADES[shade]])
    return np.asarray(np.exp(polynomial(places[:, 1], places[:, 0], SHAPE) @ terms))


def scene(
    shade: str, cast: tuple[float, float, float], undyed: float, seed: int = 0
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Cloth of which a share is undyed and the rest lies under drops of dye, and its ground."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[150:450:4, 200:600:4]
    places = np.column_stack([x.ravel(), y.ravel()]) + 0.5
    # dye in patches of 25 by 25 px; deeper dye takes more of some channels than of others
    patch = (places // 25).astype(int)
    number = patch[:, 0] + 100 * patch[:, 1]
    kinds = np.unique(number)
    dyed = rng.random(len(kinds)) >= undyed
    taken = rng.uniform(0.25, 2.0, (len(kinds), 1)) * rng.uniform(0.2, 1.0, (len(kinds), 3))
    keep = np.where(dyed[:, None], np.exp(-taken), 1.0)[np.searchsorted(kinds, number)]
    light = field(shade, places)[:, None] * np.array(cast)
    cells = WHITE * keep * light * np.exp(rng.normal(0.0, 0.01, (len(places), 3)))
    y, x = np.mgrid[4:600:8, 4:800:8]
    around = np.column_stack([x.ravel(), y.ravel()]) + 0.5
    around = around[(np.abs(around - (400, 300)) > (220, 170)).any(axis=1)]
    wood = np.array([0.35, 0.25, 0.15]) * np.exp(rng.normal(0.0, 0.08, (len(around), 1)))
    return cells, places, wood * field(shade, around)[:, None] * np.array(cast), around


def swing(found: Light, shade: str) -> float:
    """Most by which the light found over the cloth is off its true course."""
    y, x = np.mgrid[150:450:20, 200:600:20]
    at = np.column_stack([x.ravel(), y.ravel()]) + 0.5
    ratio = found.at(at) / field(shade, at)
    return float(np.ptp(ratio) / ratio.mean())


# ------------------------------------------------------------------------------ white and shade


@pytest.mark.parametrize("undyed", [0.15, 0.5, 0.8])
@pytest.mark.parametrize("kelvin", sorted(CASTS))
@pytest.mark.parametrize("shade", sorted(SHADES))
def test_white_is_found_under_shade_and_cast(shade: str, kelvin: int, undyed: float) -> None:
    cells, places, ground, around = scene(shade, CASTS[kelvin], undyed)
    found = even_light(cells, places, ground, around, SHAPE)
    # one grade step of the grey scale is 4.3; a hundredth of light is about 0.4 of lightness
    assert found.white == pytest.approx(WHITE * CASTS[kelvin], rel=0.03)
    assert found.clear
    assert swing(found, shade) < 0.06


def test_the_undyed_share_is_the_crowd() -> None:
    cells, places, ground, around = scene("even fall", CASTS[5000], 0.5)
    found = even_light(cells, places, ground, around, SHAPE)
    truth = np.mean(np.abs(cells / (WHITE * CASTS[5000]) / field("even fall", places)[:, None] - 1)
                    < 0.05)  # fmt: skip
    assert found.crowd == pytest.approx(truth, abs=0.08)
    assert found.uneven < 0.02


def test_a_piece_without_undyed_cloth_says_so() -> None:
    cells, places, ground, around = scene("none", CASTS[5000], 0.0)
    spread = np.random.default_rng(2).uniform(0.3, 0.95, (len(cells), 3))
    assert not even_light(cells * spread, places, ground, around, SHAPE).clear


def test_a_point_of_white_settles_it_where_the_cloth_cannot() -> None:
    cells, places, ground, around = scene("even fall", CASTS[3000], 0.0)
    at = np.array([90.0, 80.0])
    there = WHITE * CASTS[3000] * field("even fall", at[None])
    found = even_light(cells, places, ground, around, SHAPE, Reference(there, at))
    # carried from the corner to the middle by the shade of the ground alone
    assert found.white == pytest.approx(WHITE * CASTS[3000], rel=0.06)
    assert found.clear


def test_a_point_of_white_is_taken_as_it_is_under_even_light() -> None:
    cells, places, ground, around = scene("none", CASTS[7500], 0.5)
    point = Reference(WHITE * CASTS[7500], np.array([400.0, 300.0]))
    found = even_light(cells, places, ground, around, SHAPE, point)
    assert found.white == pytest.approx(point.linear, rel=5e-3)


def test_cloth_alone_tells_the_shade_where_no_ground_does() -> None:
    cells, places, _, _ = scene("even fall", CASTS[5000], 0.6)
    found = even_light(cells, places, np.zeros((0, 3)), np.zeros((0, 2)), SHAPE)
    assert swing(found, "even fall") < 0.06


def test_swing_is_darkest_over_brightest() -> None:
    terms = np.array([0.0, 0.2, 0.0, 0.0, 0.0, 0.0])
    light = Light(np.ones(3), terms, SHAPE, 0.0, 1.0, True)
    assert light.at(np.array([[400.0, 300.0]])) == pytest.approx(1.0)
    assert light.swing == pytest.approx(np.exp(-0.4), rel=0.01)  # x runs from -1 to 1


# ------------------------------------------------------------------- the colour chart, sources 6.13

CHART = colour.SDS_COLOURCHECKERS["ISO 17321-1"]
NAMES = list(CHART)
NEUTRAL = NAMES[18:]
PUBLISHED = {
    18: (95.465, -0.360, 0.791),
    21: (52.181, 0.057, -0.080),
    23: (21.413, -0.034, -0.945),
    14: (40.938, 52.846, 25.609),
    12: (29.986, 24.609, -50.857),
    15: (81.641, -1.579, 79.478),
}
"""CIELAB, D65, of white, neutral 5, black, red, blue and yellow, by place on the chart."""


def under(illuminant: colour.SpectralDistribution) -> np.ndarray:
    """Linear sRGB of the patches, with no balance, (24, 3): perfect white has luminance 1."""
    shape = colour.SpectralShape(380, 780, 5)
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    illuminant = illuminant.copy().align(shape)
    xyz = [colour.sd_to_XYZ(sd, cmfs, illuminant, method="Integration") for sd in CHART.values()]
    return np.asarray(np.array(xyz) / 100.0 @ FROM_XYZ.T)


def lamp(kelvin: float) -> colour.SpectralDistribution:
    """Daylight from 4000 K up, a black body below."""
    shape = colour.SpectralShape(380, 780, 5)
    if kelvin < 4000:
        return colour.sd_blackbody(kelvin, shape)
    xy = colour.temperature.CCT_to_xy_CIE_D(kelvin * 1.4388 / 1.4380)
    return colour.sd_CIE_illuminant_D_series(xy).align(shape)


@pytest.fixture(scope="module")
def daylight() -> np.ndarray:
    """CIELAB under D65, (24, 3)."""
    return np.asarray(to_lab(100.0 * under(colour.SDS_ILLUMINANTS["D65"]) @ TO_XYZ.T))


def test_the_chart_in_daylight_is_as_published(daylight: np.ndarray) -> None:
    for place, lab in PUBLISHED.items():
        assert daylight[place] == pytest.approx(lab, abs=0.15), NAMES[place]


def balanced(kelvin: float) -> np.ndarray:
    """CIELAB of the patches after our white balance by the white patch, (24, 3)."""
    seen = np.maximum(under(lamp(kelvin)), 0.0)
    seen *= 0.8 / seen.max()  # exposed
    cells = np.repeat(seen, 60, axis=0)
    y, x = np.divmod(np.arange(len(cells)), 40)
    places = np.column_stack([300.0 + 5 * x, 200.0 + 5 * y])
    nothing = np.zeros((0, 3)), np.zeros((0, 2))
    white = Reference(seen[18], np.array([400.0, 300.0]))
    light = even_light(cells, places, *nothing, SHAPE, white)
    truth = under(colour.SDS_ILLUMINANTS["D65"])[18]
    return np.asarray(to_lab(100.0 * seen / light.white * truth @ TO_XYZ.T))


# Scaling the channels of sRGB (von Kries' rule on other primaries than cones) is exact for greys.
# Saturated colours stay off, and the more the further the light is from daylight; the bounds are
# as measured, a tenth to spare: mean over the 18 chromatic patches, and the worst of them. The
# worst is cyan, which lies outside sRGB: even in daylight it is cut, by 2.4.
@pytest.mark.parametrize(
    ("kelvin", "mean", "worst"),
    [(3000, 4.8, 12.2), (4000, 2.3, 6.4), (5000, 1.2, 3.8), (6500, 0.15, 2.7), (7500, 0.6, 2.45)],
)
def test_white_balance_of_the_chart(
    daylight: np.ndarray, kelvin: float, mean: float, worst: float
) -> None:
    off = delta_e00(balanced(kelvin), daylight)
    assert off[18:].max() < 1.0  # greys: less than the eye tells
    assert off[:18].mean() < mean
    assert off[:18].max() < worst
    # and without any balance the chart is further off
    if abs(kelvin - 6500) > 100:
        bare = to_lab(100.0 * np.maximum(under(lamp(kelvin)), 0.0) @ TO_XYZ.T)
        assert off.mean() < 0.4 * delta_e00(bare, daylight).mean()


# --------------------------------------------------------------------------------------- calming


def plain(lab: tuple[float, float, float] = (60.0, 10.0, -20.0), side: int = 48) -> np.ndarray:
    return np.tile(np.array(lab), (side, side, 1))


ALL = np.ones((48, 48), dtype=bool)


def test_one_colour_stays_as_it_is() -> None:
    assert calm(plain(), ALL) == pytest.approx(plain(), abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(
    lab=arrays(np.float64, (9, 11, 3), elements=st.floats(-100.0, 100.0)),
    there=arrays(np.bool_, (9, 11)),
)
def test_calming_stays_within_what_was_there(lab: np.ndarray, there: np.ndarray) -> None:
    found = calm(lab, there)
    assert np.array_equal(found[~there], lab[~there])
    if there.any():
        low, high = lab[there].min(axis=0), lab[there].max(axis=0)
        assert (found[there] >= low - 1e-9).all()
        assert (found[there] <= high + 1e-9).all()


@settings(max_examples=20, deadline=None)
@given(lab=arrays(np.float64, (7, 8, 3), elements=st.floats(0.0, 60.0)))
def test_calming_knows_no_left_or_right(lab: np.ndarray) -> None:
    there = np.ones((7, 8), dtype=bool)
    assert calm(lab[:, ::-1], there) == pytest.approx(calm(lab, there)[:, ::-1], abs=1e-9)


def test_a_hard_edge_keeps_its_place_and_its_height() -> None:
    lab = plain()
    lab[:, 20:, 0] += 6.0 * ALIKE
    found = calm(lab, ALL)
    # over six standard deviations of likeness nothing crosses
    assert found == pytest.approx(lab, abs=1e-3)
    noisy = lab + np.random.default_rng(1).normal(0.0, 1.0, lab.shape)
    steps = np.diff(calm(noisy, ALL)[..., 0], axis=1)
    assert (np.argmax(steps, axis=1) == 19).all()


def test_noise_falls_by_what_the_reach_allows() -> None:
    noise = np.random.default_rng(3).normal(0.0, 0.2 * ALIKE, (96, 96, 3))
    found = calm(plain(side=96) + noise, np.ones((96, 96), dtype=bool))
    left = float((found - plain(side=96))[8:-8, 8:-8].std() / noise.std())
    # A Gaussian mean of this reach leaves 1 / (2 sqrt(pi) REACH) of white noise; two in a row
    # leave 1/sqrt(2) of that. Likeness makes it average less, never more.
    gauss = 1.0 / (2.0 * np.sqrt(np.pi) * REACH)
    assert gauss / np.sqrt(2.0) * 0.9 < left < 1.6 * gauss


def test_cells_without_cloth_say_nothing() -> None:
    lab, there = plain(), ALL.copy()
    there[:, :20] = False
    lab[:, :20] = (61.0, 10.0, -20.0)  # alike enough to be mixed in
    assert calm(lab, there)[there] == pytest.approx(plain()[there], abs=1e-9)
