"""The tube: lengths kept, rings round the body, gathers along it, seams joined."""

from __future__ import annotations

import numpy as np
import pytest
from tests.whole import check_bundle

from meltwick.bundle import build_bundle, fold
from meltwick.cloth import build_cloth
from meltwick.constants import Constants
from meltwick.folding import Stack, girth, lay_flat
from meltwick.plan import plan_from_text, resolve
from meltwick.stock import load_stock
from meltwick.types import Cloth, Round

STOCK = load_stock()
PITCH = 8e-3


def cloth_of(blank: str, pitch: float = PITCH) -> Cloth:
    return build_cloth(STOCK.blank(blank), STOCK.usual_fabric(blank), pitch)


def turn_of(keys: str = "") -> Round:
    text = f'[[round]]\nfold = [{{ kind = "tube"{keys} }}]'
    return resolve(plan_from_text(text, "t.toml"), STOCK).rounds[0]


def made(cloth: Cloth, keys: str = "", neatness: float = 0.0, seed: int = 3) -> Stack:
    return fold(cloth, turn_of(keys), neatness, seed, 1)


TEE, BANDANA = cloth_of("tee"), cloth_of("bandana")
BOTH = pytest.mark.parametrize("cloth", [TEE, BANDANA], ids=["tee", "bandana"])


def test_girth_is_the_sizes_chest() -> None:
    """A tee is twice its half chest round; a bandana is as wide as it is."""
    half = STOCK.blank("tee").measures["half_chest"]
    assert girth(lay_flat(TEE, 1).rim, 2) == pytest.approx(2.0 * half, rel=0.02)
    wide = STOCK.blank("bandana").measures["width"]
    assert girth(lay_flat(BANDANA, 1).rim, 1) == pytest.approx(wide, rel=0.02)


@BOTH
@pytest.mark.parametrize("sewn", ["", ", sewn = true"])
def test_a_tidy_hand_keeps_every_length(cloth: Cloth, sewn: str) -> None:
    """Gathers and pleats are reflections, and cloth bends round a pole without stretch."""
    for size in ("4 cm", "11 cm", "25 cm"):
        assert made(cloth, f', diameter = "{size}"{sewn}').strain99 == pytest.approx(0.0, abs=1e-6)


@BOTH
def test_a_loose_hand_stretches_cloth_no_further_than_it_gives(cloth: Cloth) -> None:
    for seed in range(3):
        for keys in ("", ", sewn = true", ", squeeze = 4", ', diameter = "2 cm"'):
            assert 0.0 < made(cloth, keys, 1.0, seed).strain99 <= 0.1


def test_one_height_of_the_body_is_one_ring() -> None:
    """A straight pole in a straight tube: every ring goes round at one height of the garment."""
    flat, stack = lay_flat(TEE, 3), made(TEE)
    rows = np.floor(flat.q / 2e-3).astype(int)
    for row in np.unique(rows)[20:-5:12]:
        assert np.ptp(stack.p[rows == row]) < 6e-3  # a row's own height, and the crease's layers


@pytest.mark.parametrize("size", [0.06, 0.114])
def test_gathers_lie_as_deep_as_the_girth_is_longer_than_the_way_round(size: float) -> None:
    """Area is kept: layers on the body's pushed part are girth over circumference, squeezed."""
    cloth = TEE
    keys = f', diameter = "{1000 * size} mm", squeeze = 1, even = true'
    flat, stack = lay_flat(cloth, 3), made(cloth, keys)
    body = flat.q > np.quantile(flat.q, 0.6)  # below the sleeves
    strip = np.ptp(stack.p[body])
    area = np.count_nonzero(body) * PITCH**2 / 4.0
    layers = area / (2.0 * np.pi * stack.radius * strip)
    assert layers == pytest.approx(girth(flat.rim, 2) / (np.pi * size), rel=0.05)


def test_front_and_back_meet_at_the_sides() -> None:
    """Side seams are seams of the tube: what they join lies together on the pole."""
    flat, stack = lay_flat(TEE, 3), made(TEE)
    x = np.zeros(TEE.size)
    y, where = x.copy(), np.zeros(TEE.size, complex)
    for total, value in ((x, flat.p), (y, flat.q)):
        total += np.bincount(flat.cell, value, TEE.size) / 4.0
    where += np.bincount(flat.cell, np.cos(stack.q), TEE.size) / 4.0
    where += 1j * np.bincount(flat.cell, np.sin(stack.q), TEE.size) / 4.0
    low = y[TEE.seams[:, 0]] > np.quantile(y, 0.6)
    a, b = TEE.seams[low].T
    apart = np.abs(np.angle(where[a] / where[b])) * stack.radius
    assert np.median(apart) < 2.0 * PITCH


@BOTH
@pytest.mark.parametrize("keys", ["", ", sewn = true", ', diameter = "30 cm"'])
def test_a_tube_is_one_whole_bundle(cloth: Cloth, keys: str) -> None:
    bundle = build_bundle(cloth, turn_of(keys), neatness=1.0, seed=4, constants=Constants())
    check_bundle(cloth, bundle)


def test_the_same_tube_at_every_pitch() -> None:
    found = []
    for pitch in (8e-3, 4e-3):
        cloth = cloth_of("tee", pitch)
        bundle = build_bundle(
            cloth, turn_of(', diameter = "11 cm"'), neatness=0.65, seed=4, constants=Constants()
        )
        found.append((bundle.layers.mean(), bundle.exposed.mean(), bundle.length))
    (layers, shown, long), fine = found
    assert layers == pytest.approx(fine[0], rel=0.12)
    assert shown == pytest.approx(fine[1], abs=0.03)
    assert long == pytest.approx(fine[2], abs=0.01)


def test_a_pole_that_is_too_thick_is_told() -> None:
    from meltwick.advice import advise

    text = '[garment]\nblank = "scarf"\nsize = "8 x 54 in"\n[[round]]\nfold = [{ kind = "tube"'
    said = {
        size: " ".join(
            item.text
            for item in advise(
                resolve(plan_from_text(f'{text}, diameter = "{size}" }}]', "t.toml"), STOCK)
            )
        )
        for size in ("4 cm", "12 cm")
    }
    assert "will not go over" in said["12 cm"]
    assert "will not go over" not in said["4 cm"]
