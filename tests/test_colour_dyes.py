"""The dyes in stock, and the colours they give cloth."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from threadpoolctl import threadpool_limits

from meltwick.cloth import build_cloth
from meltwick.colour import colours, ground_lab, render, strengths, swatch, undyed
from meltwick.colour.observer import WAVELENGTHS
from meltwick.colour.spectra import band
from meltwick.stock import load_stock
from meltwick.types import Blank, Cloth, Component, Dye, Fabric, FixedDye

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns when plotting libraries are missing
    import colour

JERSEY = Fabric("cotton jersey", 0.160, 0.55e-3, 1540.0)
DYES: dict[str, Dye] = dict(load_stock().dyes)
COMPONENTS: dict[str, Component] = {c.name: c for dye in DYES.values() for c, _ in dye.parts}


def lab_of(dye: Dye, depths: np.ndarray) -> np.ndarray:
    species = [c for c, _ in dye.parts]
    shares = np.array([share for _, share in dye.parts])
    return colours(species, depths[:, None] / 100 * shares, JERSEY)


# ---------------------------------------------------------------------------------- bands


def test_a_band_is_half_as_high_at_its_half_width() -> None:
    shape = band(540.0, 40.0)
    assert shape.max() == 1.0
    assert WAVELENGTHS[shape.argmax()] == 540
    assert shape[WAVELENGTHS == 580] == pytest.approx(0.5)
    # the wider shoulder towards blue: 1.3 half widths
    assert np.interp(540 - 52, WAVELENGTHS, shape) == pytest.approx(0.5, abs=0.01)


def test_blue_19_peaks_where_it_was_measured() -> None:
    # 592 nm: Machado and Matheus 2006, Braz. J. Microbiol. 37, 468-473, in water; dye on
    # the fibre may stand 15 nm off
    spectrum = strengths([COMPONENTS["reactive blue 19"]])[0]
    assert abs(WAVELENGTHS[spectrum.argmax()] - 592) <= 15


def test_peaks_come_in_the_order_of_their_hues() -> None:
    names = ("reactive yellow 86", "reactive orange 16", "reactive red 2", "plain violet",
             "reactive blue 19", "reactive blue 21")  # fmt: skip
    peaks = strengths([COMPONENTS[name] for name in names]).argmax(axis=1)
    assert np.all(np.diff(peaks) > 0)


@pytest.mark.parametrize("name", COMPONENTS)
def test_two_per_cent_is_a_full_shade_of_every_component(name: str) -> None:
    # K/S of about 8 to 16 at the peak of a 2 % dyeing: common practice, no source
    spectrum = strengths([COMPONENTS[name]])[0]
    assert 8 <= 2 * spectrum.max() <= 18
    assert spectrum.min() > 0


@pytest.mark.parametrize("name", COMPONENTS)
def test_components_are_cold_reactive_dyes(name: str) -> None:
    component = COMPONENTS[name]
    # about 1 to 10 L/kg without salt: Shore (ed.), Cellulosics Dyeing, 1995, from memory
    assert 1e-3 <= component.kd <= 10e-3
    assert 0.3 <= component.strike <= 3.5
    # azo dyes 2.2e-10, estimates to 5e-10 m2/s; methylene blue, smaller, 8.3e-10
    assert 2e-10 <= component.diffusivity <= 5e-10
    assert any(word in component.note for word in ("read", "memory", "invented"))


# ---------------------------------------------------------------------------------- jars


def test_at_least_six_mixtures_split() -> None:
    split = 0
    for dye in DYES.values():
        pace = [c.kd * c.strike for c, _ in dye.parts]
        lab = colours([c for c, _ in dye.parts], 0.01 * np.eye(len(dye.parts)), JERSEY)
        hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))
        apart = np.abs((hue[:, None] - hue + 180) % 360 - 180).max()
        split += max(pace) > 3 * min(pace) and apart > 40
    assert split >= 6
    assert sum(len(dye.parts) == 1 for dye in DYES.values()) >= 3


@pytest.mark.parametrize("name", DYES)
def test_shares_of_a_jar_add_up(name: str) -> None:
    assert sum(share for _, share in DYES[name].parts) == pytest.approx(1, abs=1e-9)


@pytest.mark.parametrize("name", DYES)
def test_a_little_dye_is_pale_and_much_is_not(name: str) -> None:
    # depth classes by % of fibre mass: pale 0.1 to 0.5, dark 2 to 4 (trade, from memory)
    pale, full = lab_of(DYES[name], np.array([0.1, 3.0]))
    assert pale[0] > 70
    assert full[0] < pale[0] - 5
    gap = np.linalg.norm(pale - ground_lab(JERSEY))
    assert 4.3 < gap < np.linalg.norm(full - ground_lab(JERSEY))


@pytest.mark.parametrize("name", DYES)
@settings(max_examples=25, deadline=None)
@given(depths=st.tuples(st.floats(0, 12), st.floats(0, 12)))
def test_more_dye_is_never_lighter(name: str, depths: tuple[float, float]) -> None:
    less, more = lab_of(DYES[name], np.array(sorted(depths)))
    assert more[0] <= less[0] + 1e-9
    srgb = np.array(swatch(DYES[name], max(depths), JERSEY))
    assert np.all((srgb >= 0) & (srgb <= 1))


def test_dark_follows_the_look() -> None:
    lightness = {name: lab_of(dye, np.array([2.0]))[0, 0] for name, dye in DYES.items()}
    rank = np.corrcoef([DYES[n].dark for n in DYES], [-lightness[n] for n in DYES])[0, 1]
    assert rank > 0.9
    # the advice on what goes high and what low must never say the reverse of what is seen
    for one in DYES:
        for other in DYES:
            if lightness[one] > lightness[other] + 3:  # a step that anybody sees; chosen
                assert DYES[one].dark <= DYES[other].dark, (one, other)


def test_every_jar_looks_different() -> None:
    full = np.concatenate([lab_of(dye, np.array([1.0])) for dye in DYES.values()])
    gaps = np.linalg.norm(full[:, None] - full, axis=-1) + 1e3 * np.eye(len(full))
    assert gaps.min() > 5


# ---------------------------------------------------------------------------------- render


def piece(pitch: float = 8e-3, fabric: Fabric = JERSEY) -> Cloth:
    return build_cloth(Blank("bandana", "square", "22 in", {"width": 0.56}), fabric, pitch)


def test_render_against_colour_science() -> None:
    species = tuple(COMPONENTS.values())
    cloth = piece()
    rng = np.random.default_rng(3)
    amount = rng.exponential(size=(cloth.size, len(species))) ** 3 * 2e-3
    look = render(cloth, FixedDye(species, amount))
    assert look.srgb.min() >= 0
    assert look.srgb.max() <= 1
    white = undyed(JERSEY)
    for cell in rng.choice(cloth.size, 25, replace=False):
        k = (1 - white) ** 2 / (2 * white) + 100 * amount[cell] @ strengths(species)
        r = 1 + k - np.sqrt(k * k + 2 * k)
        # beyond 400 to 700 nm the end values go on
        sd = colour.SpectralDistribution(np.interp(np.arange(360, 781, 10), WAVELENGTHS, r),
                                         np.arange(360, 781, 10))  # fmt: skip
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # it tells that it brings tables to one shape
            xyz = colour.sd_to_XYZ(
                sd, illuminant=colour.SDS_ILLUMINANTS["D65"], method="Integration"
            )
        lab = colour.XYZ_to_Lab(xyz / 100, (0.3127, 0.3290))
        assert np.linalg.norm(look.lab[cell] - lab) == pytest.approx(0.0, abs=0.15)
        bare = look.lab[cell] - ground_lab(JERSEY)
        assert look.delta[cell] == pytest.approx(np.linalg.norm(bare))


def test_undyed_cloth_is_white() -> None:
    cloth = piece()
    species = (COMPONENTS["reactive red 2"],)
    look = render(cloth, FixedDye(species, np.zeros((cloth.size, 1))))
    np.testing.assert_allclose(look.delta, 0, atol=1e-10)
    np.testing.assert_allclose(look.srgb, np.tile(look.undyed_srgb, (cloth.size, 1)), atol=1e-10)
    # bleached cotton without brightener has a CIE whiteness of 70 to 90 (from memory)
    xyz = colour.Lab_to_XYZ(look.lab[0], (0.3127, 0.3290))
    xy = colour.XYZ_to_xy(xyz)
    whiteness, tint = colour.colorimetry.whiteness_CIE2004(xy, 100 * xyz[1], (0.3127, 0.3290))
    assert 70 <= whiteness <= 90
    assert abs(tint) < 3


def test_cells_do_not_depend_on_their_neighbours_or_their_number() -> None:
    species = tuple(COMPONENTS.values())[:4]
    rng = np.random.default_rng(5)
    amount = rng.exponential(size=(10_000, 4)) * 3e-3
    whole = colours(species, amount, JERSEY)
    alone = np.concatenate([colours(species, row[None], JERSEY) for row in amount[::997]])
    np.testing.assert_allclose(whole[::997], alone, atol=1e-9)
    np.testing.assert_array_equal(whole, colours(species, amount, JERSEY))


def test_threads_do_not_change_a_bit() -> None:
    species = tuple(COMPONENTS.values())
    amount = np.random.default_rng(8).exponential(size=(9000, len(species))) * 2e-3
    found = []
    for threads in (1, 2):
        with threadpool_limits(limits=threads, user_api="blas"):
            found.append(colours(species, amount, JERSEY))
    np.testing.assert_array_equal(*found)


def test_a_coloured_ground_is_what_undyed_means() -> None:
    grey = replace(JERSEY, ground=tuple(np.full(31, 0.4).tolist()), ground_name="grey")
    cloth = piece(fabric=grey)
    look = render(cloth, FixedDye((), np.zeros((cloth.size, 0))))
    np.testing.assert_allclose(look.delta, 0, atol=1e-10)
    # Y = 40: L* = 116 (0.4)^(1/3) - 16 = 69.47
    np.testing.assert_allclose(look.lab[0], [69.47, 0, 0], atol=0.01)
    with pytest.raises(ValueError, match="ground has 3 values"):
        undyed(replace(JERSEY, ground=(0.4, 0.4, 0.4)))


def test_dye_that_cannot_be_is_refused() -> None:
    cloth = piece()
    species = (COMPONENTS["reactive red 2"],)
    for wrong in (np.nan, -1e-6, np.inf):
        amount = np.zeros((cloth.size, 1))
        amount[7] = wrong
        with pytest.raises(ValueError, match="negative or not a number"):
            render(cloth, FixedDye(species, amount))
    with pytest.raises(ValueError, match="components were expected"):
        render(cloth, FixedDye(species, np.zeros((3, 1))))
