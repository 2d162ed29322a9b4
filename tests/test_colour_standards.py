"""Colour arithmetic against published tables and the colour-science library."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meltwick.colour.difference import delta_e00, delta_e76
from meltwick.colour.kubelka import absorption, reflectance
from meltwick.colour.observer import WAVELENGTHS, WEIGHTS, WHITE
from meltwick.colour.standard import (
    FROM_XYZ,
    TO_XYZ,
    decode,
    encode,
    from_lab,
    to_lab,
    to_srgb,
    to_xyz,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns when plotting libraries are missing
    import colour

D65_XY = (0.3127, 0.3290)

# ---------------------------------------------------------------------------------- Kubelka-Munk


@pytest.mark.parametrize(
    ("r", "ratio"),
    [(0.9, 0.005556), (0.5, 0.25), (0.1, 4.05), (0.05, 9.025), (0.02, 24.01)],
)
def test_absorption(r: float, ratio: float) -> None:
    # (1 - R)^2 / 2R worked by hand; Kubelka and Munk 1931
    assert absorption(np.array(r)) == pytest.approx(ratio, abs=5e-7)


@pytest.mark.parametrize(
    ("ratio", "r"),
    [(0.01, 0.86823), (0.1, 0.64174), (1, 0.26795), (5, 0.083920), (10, 0.045549), (20, 0.023823)],
)
def test_reflectance(ratio: float, r: float) -> None:
    # 1 + a - sqrt(a^2 + 2a) worked by hand; Kubelka and Munk 1931
    assert reflectance(np.array(ratio, dtype=float)) == pytest.approx(r, abs=5e-6)


@given(st.floats(1e-6, 1.0))
def test_kubelka_munk_goes_there_and_back(r: float) -> None:
    assert reflectance(absorption(np.array(r))) == pytest.approx(r, rel=1e-7)


@given(st.floats(0.0, 1e6))
def test_reflectance_agrees_with_its_textbook_form(a: float) -> None:
    textbook = 1 + a - np.sqrt(a * a + 2 * a)  # loses digits as a grows
    assert reflectance(np.array(a)) == pytest.approx(textbook, abs=1e-9 * (1 + a))


@pytest.mark.parametrize("bad", [0.0, -0.1, 1.01, np.nan])
def test_absorption_refuses_what_is_no_reflectance(bad: float) -> None:
    with pytest.raises(ValueError, match="reflectance"):
        absorption(np.array([0.5, bad]))


# ---------------------------------------------------------------------------------- spectrum -> XYZ


def test_observer_and_daylight() -> None:
    # ISO/CIE 11664-1 and 11664-2: (nm, xbar, ybar, zbar, D65)
    rows = [
        (450, 0.3362, 0.0380, 1.77211, 117.008),
        (500, 0.0049, 0.3230, 0.2720, 109.354),
        (560, 0.5945, 0.9950, 0.0039, 100.0),
        (600, 1.0622, 0.6310, 0.0008, 90.0062),
    ]
    weight = {nm: WEIGHTS[nm == WAVELENGTHS][0] for nm, *_ in rows}
    base = rows[2]
    for nm, *observer, daylight in rows:
        got = weight[nm] / weight[560]
        expected = np.array(observer) * daylight / (np.array(base[1:4]) * base[4])
        np.testing.assert_allclose(got, expected, rtol=1e-4)


def test_white() -> None:
    white = to_xyz(np.ones(31))
    # D65, 1 nm, 2 degrees: 95.0469, 100, 108.8830 (colour-science); x 0.3127, y 0.3290
    np.testing.assert_allclose(white, [95.0469, 100.0, 108.8830], atol=1e-3)
    np.testing.assert_allclose(white[:2] / white.sum(), D65_XY, atol=5e-5)
    np.testing.assert_allclose(to_lab(white), [100, 0, 0], atol=1e-9)


PATCHES = [
    (chart, name)
    for chart in ("ISO 17321-1", "BabelColor Average", "cc_ohta")
    for name in colour.SDS_COLOURCHECKERS[chart]
]


@pytest.fixture(scope="module")
def one_nm() -> np.ndarray:
    """Weights at 1 nm from 360 to 780 nm, from colour-science's own tables."""
    shape = colour.SpectralShape(360, 780, 1)
    eye = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values
    weights = eye * light[:, None]
    return weights * 100 / weights[:, 1].sum()


@pytest.mark.parametrize(("chart", "name"), PATCHES, ids=lambda v: str(v))
def test_spectra_of_a_colour_chart(chart: str, name: str, one_nm: np.ndarray) -> None:
    """All 72 patches, by our 10 nm and by 1 nm, the same reflectance in both.

    The chart's spectra reach 380 to 780 nm, ours 400 to 700: beyond, both take the end values,
    so that only the integration is compared.
    """
    fine = colour.SDS_COLOURCHECKERS[chart][name].copy()
    fine = fine.interpolate(colour.SpectralShape(400, 700, 1)).values
    known = np.interp(np.arange(360, 781), np.arange(400, 701), fine) @ one_nm
    expected = colour.XYZ_to_Lab(known / 100, D65_XY)
    got = to_lab(to_xyz(fine[::10]))
    # the widest gap is 0.10 (a cyan); 1 is about what an eye can tell
    assert np.linalg.norm(got - expected) == pytest.approx(0.0, abs=0.15)


@pytest.mark.parametrize(
    ("name", "lab"),
    [
        ("white 9.5 (.05 D)", (95.465, -0.360, 0.791)),
        ("neutral 5 (.70 D)", (52.181, 0.057, -0.080)),
        ("black 2 (1.5 D)", (21.413, -0.034, -0.945)),
        ("red", (40.938, 52.846, 25.609)),
        ("blue", (29.986, 24.609, -50.857)),
        ("yellow", (81.641, -1.579, 79.478)),
    ],
)
def test_chart_patches_with_their_ends_cut_off(name: str, lab: tuple[float, ...]) -> None:
    # CIELAB (D65, 2 degrees) of ISO 17321-1's patches over 380 to 780 nm, by colour-science
    sd = colour.SDS_COLOURCHECKERS["ISO 17321-1"][name]
    got = to_lab(to_xyz(np.array([sd[nm] for nm in range(400, 701, 10)])))
    assert np.linalg.norm(got - lab) == pytest.approx(0.0, abs=0.25)


# ---------------------------------------------------------------------------------- CIELAB, sRGB


def test_srgb_constants() -> None:
    # IEC 61966-2-1:1999
    np.testing.assert_allclose(
        FROM_XYZ,
        [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]],
        atol=7e-5,
    )
    np.testing.assert_allclose(TO_XYZ[1], [0.2126, 0.7152, 0.0722])
    assert decode(np.array(0.5)) == pytest.approx(0.214041, abs=5e-7)
    assert encode(np.array(0.18)) == pytest.approx(0.461356, abs=5e-7)
    assert encode(np.array(0.0031308)) == pytest.approx(0.04045, abs=5e-7)


@pytest.mark.parametrize(
    ("srgb", "lab"),
    [
        ((1, 0, 0), (53.233, 80.111, 67.224)),
        ((0, 0, 1), (32.303, 79.198, -107.850)),
        ((0.5, 0.5, 0.5), (53.389, 0, 0)),
    ],
)
def test_srgb_and_lab(srgb: tuple[float, ...], lab: tuple[float, ...]) -> None:
    # by colour-science, D65, 2 degrees
    xyz = 100 * TO_XYZ @ decode(np.array(srgb, dtype=float))
    np.testing.assert_allclose(to_lab(xyz), lab, atol=0.03)
    np.testing.assert_allclose(to_srgb(np.array([lab]))[0], srgb, atol=2e-3)


@given(st.lists(st.floats(0, 1), min_size=3, max_size=3))
def test_srgb_of_any_screen_colour_comes_back(srgb: list[float]) -> None:
    lab = to_lab(100 * TO_XYZ @ decode(np.array(srgb)))
    np.testing.assert_allclose(to_srgb(lab[None])[0], srgb, atol=2e-3)
    np.testing.assert_allclose(
        lab, colour.XYZ_to_Lab(colour.sRGB_to_XYZ(np.array(srgb)), D65_XY), atol=0.05
    )


LAB = st.tuples(st.floats(0, 100), st.floats(-128, 128), st.floats(-128, 128))


@given(LAB)
def test_lab_goes_there_and_back(lab: tuple[float, float, float]) -> None:
    np.testing.assert_allclose(to_lab(from_lab(np.array(lab))), lab, atol=1e-9)


@settings(max_examples=200)
@given(LAB)
def test_what_no_screen_can_show_keeps_hue_and_lightness(lab: tuple[float, float, float]) -> None:
    srgb = to_srgb(np.array([lab]))[0]
    assert np.all((srgb >= 0) & (srgb <= 1))
    # measured with another library's transforms
    back = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(srgb), D65_XY)
    # near black and white the curves are steep and the matrix has four decimals only
    assert back[0] == pytest.approx(lab[0], abs=0.7)
    chroma, wanted = np.hypot(*back[1:]), np.hypot(*lab[1:])
    assert chroma < wanted + 1.0
    if min(chroma, wanted) > 10:
        turn = np.angle(complex(*back[1:]) / complex(*lab[1:]))
        assert abs(turn) * chroma < 1.0


def test_fading_takes_no_more_than_needed() -> None:
    lab = np.array([[60.0, -70.0, -30.0]])  # a turquoise beyond every screen
    shown = to_srgb(lab)[0]
    # it lies on the gamut's border ...
    assert min(shown.min(), 1 - shown.max()) < 0.01
    # ... and clipping each channel would have changed its lightness or hue
    clipped = encode(np.clip(FROM_XYZ @ from_lab(lab[0]) / 100, 0, 1))
    changed = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(clipped), D65_XY)
    hues = [np.angle(complex(*v[1:])) for v in (changed, lab[0])]
    assert abs(hues[0] - hues[1]) > 0.1 or abs(changed[0] - 60) > 2


def test_colours_on_screen_are_not_moved() -> None:
    lab = np.array([[50.0, 20.0, 30.0], [90.0, 0.0, 3.0]])
    np.testing.assert_allclose(
        to_srgb(lab),
        colour.XYZ_to_sRGB(colour.Lab_to_XYZ(lab, D65_XY)),
        atol=1e-3,
    )


# ---------------------------------------------------------------------------------- differences

SHARMA = """
50,2.6772,-79.7751,50,0,-82.7485,2.0425
50,3.1571,-77.2803,50,0,-82.7485,2.8615
50,2.8361,-74.0200,50,0,-82.7485,3.4412
50,-1.3802,-84.2814,50,0,-82.7485,1.0000
50,-1.1848,-84.8006,50,0,-82.7485,1.0000
50,-0.9009,-85.5211,50,0,-82.7485,1.0000
50,0,0,50,-1,2,2.3669
50,-1,2,50,0,0,2.3669
50,2.49,-0.001,50,-2.49,0.0009,7.1792
50,2.49,-0.001,50,-2.49,0.0010,7.1792
50,2.49,-0.001,50,-2.49,0.0011,7.2195
50,2.49,-0.001,50,-2.49,0.0012,7.2195
50,-0.001,2.49,50,0.0009,-2.49,4.8045
50,-0.001,2.49,50,0.0010,-2.49,4.8045
50,-0.001,2.49,50,0.0011,-2.49,4.7461
50,2.5,0,50,0,-2.5,4.3065
50,2.5,0,73,25,-18,27.1492
50,2.5,0,61,-5,29,22.8977
50,2.5,0,56,-27,-3,31.9030
50,2.5,0,58,24,15,19.4535
50,2.5,0,50,3.1736,0.5854,1.0000
50,2.5,0,50,3.2972,0,1.0000
50,2.5,0,50,1.8634,0.5757,1.0000
50,2.5,0,50,3.2592,0.3350,1.0000
60.2574,-34.0099,36.2677,60.4626,-34.1751,39.4387,1.2644
63.0109,-31.0961,-5.8663,62.8187,-29.7946,-4.0864,1.2630
61.2901,3.7196,-5.3901,61.4292,2.2480,-4.9620,1.8731
35.0831,-44.1164,3.7933,35.0232,-40.0716,1.5901,1.8645
22.7233,20.0904,-46.6940,23.0331,14.9730,-42.5619,2.0373
36.4612,47.8580,18.3852,36.2715,50.5065,21.2231,1.4146
90.8027,-2.0831,1.4410,91.1528,-1.6435,0.0447,1.4441
90.9257,-0.5406,-0.9208,88.6381,-0.8985,-0.7239,1.5381
6.7747,-0.2908,-2.4247,5.8714,-0.0985,-2.2286,0.6377
2.0776,0.0795,-1.1350,0.9033,-0.0636,-0.5514,0.9082
"""
PAIRS = np.array([[float(v) for v in line.split(",")] for line in SHARMA.split()])


def test_ciede2000_on_all_published_pairs() -> None:
    # Sharma, Wu and Dalal 2005, Color Res. Appl. 30(1), 21-30, table 1
    assert len(PAIRS) == 34
    got = delta_e00(PAIRS[:, :3], PAIRS[:, 3:6])
    # Pair 14 sits on the branch cut of an arctangent: the paper's 4.8045, or 4.7461 where the
    # last bit of the platform's arctan2 falls the other way.
    branch = np.arange(34) == 13
    np.testing.assert_allclose(got[~branch], PAIRS[~branch, 6], atol=1e-4)
    assert min(abs(got[13] - 4.8045), abs(got[13] - 4.7461)) < 1e-4
    np.testing.assert_allclose(delta_e00(PAIRS[:, 3:6], PAIRS[:, :3])[~branch], got[~branch],
                               atol=1e-9)  # fmt: skip


@given(LAB, LAB)
def test_delta_e76_is_a_distance(
    one: tuple[float, float, float], two: tuple[float, float, float]
) -> None:
    a, b = np.array(one), np.array(two)
    assert delta_e76(a, b) == pytest.approx(float(colour.delta_E(a, b, method="CIE 1976")))
    assert delta_e76(a, b) == delta_e76(b, a)
    assert delta_e76(a, a) == 0


def test_lab_white_is_the_tables_white() -> None:
    np.testing.assert_allclose(WEIGHTS.sum(axis=0), WHITE, rtol=1e-12)
