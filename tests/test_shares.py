"""Shares of white and dyed cloth against the grey scale of ISO 105 and counting by hand."""

from __future__ import annotations

from dataclasses import replace
from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meltwick.cloth import build_cloth
from meltwick.shares import (
    CLASSES,
    MID,
    PALE,
    WHITE,
    dyed_to_white,
    likeness,
    measure_shares,
)
from meltwick.types import Blank, Cloth, Fabric, Look

JERSEY = Fabric("cotton jersey", 0.160, 0.55e-3, 1540.0)
# ISO 105-A03 (as GB/T 251-2008 gives it): staining grade and Delta E*ab
GREY_SCALE = {5: 0.0, 4.5: 2.2, 4: 4.3, 3.5: 6.0, 3: 8.5, 2.5: 12.0, 2: 16.9, 1.5: 24.0, 1: 34.1}


@pytest.fixture(scope="module")
def shirt() -> Cloth:
    measures = {"half_chest": 0.51, "length": 0.74, "sleeve": 0.21}
    return build_cloth(Blank("tee", "tee", "M", measures), JERSEY, 4e-3)


@pytest.fixture(scope="module")
def bandana() -> Cloth:
    return build_cloth(Blank("bandana", "square", "22 in", {"width": 0.56}), JERSEY, 4e-3)


def look_of(cloth: Cloth, delta: np.ndarray, lightness: np.ndarray | None = None) -> Look:
    lab = np.zeros((cloth.size, 3))
    lab[:, 0] = 90 - delta if lightness is None else lightness
    return Look(np.ones((cloth.size, 3)), lab, delta, (1.0, 1.0, 1.0))


# ---------------------------------------------------------------------------------- thresholds


def test_thresholds_are_grades_of_the_grey_scale() -> None:
    assert (GREY_SCALE[4], GREY_SCALE[2], GREY_SCALE[1]) == (WHITE, PALE, MID)


@pytest.mark.parametrize(("limit", "grade"), [(WHITE, 4), (PALE, 2), (MID, 1)])
def test_thresholds_by_the_instrumental_formula(limit: float, grade: float) -> None:
    # ISO 105-A04 (from memory): SSR = 6.1 - 1.45 ln(dE), grades 4 and below
    assert 6.1 - 1.45 * log(limit) == pytest.approx(grade, abs=0.03)


@pytest.mark.parametrize(
    ("grade", "name"),
    [(5, "white"), (4.5, "white"), (4, "white"), (3.5, "pale"), (3, "pale"), (2.5, "pale"),
     (2, "pale"), (1.5, "mid"), (1, "mid")],
)  # fmt: skip
def test_each_step_of_the_grey_scale_falls_in_its_class(
    bandana: Cloth, grade: float, name: str
) -> None:
    shares = measure_shares(bandana, look_of(bandana, np.full(bandana.size, GREY_SCALE[grade])))
    assert shares.whole == {each: float(each == name) for each in CLASSES}
    beyond = measure_shares(bandana, look_of(bandana, np.full(bandana.size, 34.2)))
    assert beyond.whole["deep"] == 1


# ---------------------------------------------------------------------------------- counting


def test_shares_are_counts_of_dyeable_cells(shirt: Cloth) -> None:
    rng = np.random.default_rng(1)
    delta = rng.exponential(15, shirt.size)
    shares = measure_shares(shirt, look_of(shirt, delta))
    counted = delta[shirt.dyeable]
    for limit, got in shares.white_at.items():
        assert got == np.mean(counted <= float(limit))
    assert list(shares.white_at) == ["2.15", "4.3", "8.6"]
    assert shares.whole["white"] == shares.white_at["4.3"]
    assert shares.whole["deep"] == pytest.approx(np.mean(counted > 34.1))
    for part in (shares.whole, *shares.panels.values(), *shares.zones.values()):
        assert sum(part.values()) == pytest.approx(1)
        assert tuple(part) == CLASSES
    assert set(shares.panels) == {"front", "back"}
    assert set(shares.zones) == set(shirt.zones)


def test_panels_and_zones_add_up_to_the_whole(shirt: Cloth) -> None:
    delta = np.abs(np.sin(40 * shirt.x) * np.cos(30 * shirt.y)) * 40 + 5.0 * shirt.panel
    shares = measure_shares(shirt, look_of(shirt, delta))
    for keys, names, parts in (
        (shirt.panel, [p.name for p in shirt.panels], shares.panels),
        (shirt.zone, shirt.zones, shares.zones),
    ):
        weight = np.bincount(keys[shirt.dyeable], minlength=len(names)) / shirt.dyeable.sum()
        for each in CLASSES:
            total = sum(w * parts[n][each] for w, n in zip(weight, names, strict=True))
            assert total == pytest.approx(shares.whole[each])
    assert shares.panels["front"]["white"] > shares.panels["back"]["white"]


def test_thread_and_label_are_left_out(shirt: Cloth) -> None:
    delta = np.where(shirt.dyeable, 50.0, 0.0)
    shares = measure_shares(shirt, look_of(shirt, delta))
    assert shares.whole["white"] == 0
    assert shares.whole["deep"] == 1


def test_a_higher_threshold_never_finds_less_white(shirt: Cloth) -> None:
    delta = np.random.default_rng(2).exponential(6, shirt.size)
    white = list(measure_shares(shirt, look_of(shirt, delta)).white_at.values())
    assert white == sorted(white)
    assert white[0] < white[-1]


def test_a_look_of_another_cloth_is_refused(shirt: Cloth, bandana: Cloth) -> None:
    with pytest.raises(ValueError, match="the cloth"):
        measure_shares(shirt, look_of(bandana, np.zeros(bandana.size)))


# ---------------------------------------------------------------------------------- likeness


def test_a_mirrored_shirt_is_alike_left_and_right_only(shirt: Cloth) -> None:
    delta = 30 * np.abs(np.sin(60 * np.abs(shirt.x) + 1.5 * shirt.panel))
    shares = measure_shares(shirt, look_of(shirt, delta))
    assert shares.left_right_likeness == pytest.approx(1)
    assert shares.front_back_likeness is not None
    assert shares.front_back_likeness < 0.5


def test_a_shirt_dyed_through_is_alike_front_and_back_only(shirt: Cloth) -> None:
    delta = 20 + 20 * np.sin(37 * shirt.x + 25 * shirt.y)
    shares = measure_shares(shirt, look_of(shirt, delta))
    assert shares.front_back_likeness == pytest.approx(1)
    assert shares.left_right_likeness < 0.5


def test_noise_is_no_likeness(shirt: Cloth) -> None:
    delta = np.random.default_rng(4).uniform(0, 40, shirt.size)
    shares = measure_shares(shirt, look_of(shirt, delta))
    assert shares.front_back_likeness == pytest.approx(0, abs=0.02)
    assert shares.left_right_likeness == pytest.approx(0, abs=0.02)


def test_one_side_dyed_is_no_likeness(shirt: Cloth) -> None:
    shares = measure_shares(shirt, look_of(shirt, 40.0 * shirt.panel))
    assert shares.front_back_likeness == 0
    assert shares.left_right_likeness == 1


def test_a_bandana_has_no_back_to_be_like(bandana: Cloth) -> None:
    shares = measure_shares(bandana, look_of(bandana, np.zeros(bandana.size)))
    assert shares.front_back_likeness is None
    assert shares.left_right_likeness == 1


def test_bare_cells_do_not_count_for_likeness(shirt: Cloth) -> None:
    noise = np.random.default_rng(6).uniform(0, 90, shirt.size)
    lightness = np.where(shirt.dyeable, 50 + 40 * np.sin(40 * shirt.y), noise)
    shares = measure_shares(shirt, look_of(shirt, np.zeros(shirt.size), lightness))
    assert shares.front_back_likeness == pytest.approx(1)
    # with the threads counted, both likenesses fall
    all_of_it = replace(shirt, dyeable=np.ones(shirt.size, dtype=np.bool_))
    less = measure_shares(all_of_it, look_of(shirt, np.zeros(shirt.size), lightness))
    assert less.front_back_likeness is not None
    assert less.front_back_likeness < 0.9999


@given(st.lists(st.tuples(st.floats(0, 100), st.floats(0, 100)), min_size=1, max_size=30))
def test_likeness_against_every_pair(pairs: list[tuple[float, float]]) -> None:
    one, two = np.array(pairs).T
    both = np.concatenate([one, two])
    chance = np.abs(both[:, None] - both).mean()
    got = likeness(one, two)
    assert 0 <= got <= 1
    if chance > 1e-6:  # below, rounding decides
        assert got == pytest.approx(max(0, 1 - np.abs(one - two).mean() / chance), abs=1e-6)
    assert likeness(two, one) == pytest.approx(got)
    assert likeness(one, one) == 1


# ---------------------------------------------------------------------------------- words


@pytest.mark.parametrize(
    ("white", "words"),
    [(0.38, "62 : 38"), (0.0, "100 : 0"), (1.0, "0 : 100"), (0.525, "47 : 53"), (0.004, "100 : 0")],
)
def test_dyed_to_white(white: float, words: str) -> None:
    assert dyed_to_white(white) == words


@given(st.floats(0, 1))
def test_dyed_to_white_adds_to_a_hundred(white: float) -> None:
    dyed, rest = (int(part) for part in dyed_to_white(white).split(" : "))
    assert dyed + rest == 100
    assert abs(rest - 100 * white) <= 0.5


@pytest.mark.parametrize("bad", [-0.01, 1.01, float("nan")])
def test_what_is_no_share_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        dyed_to_white(bad)
