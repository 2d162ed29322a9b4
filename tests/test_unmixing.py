"""From colours back to dye: depths that are known, stains, and what three numbers cannot tell."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.optimize import nnls

from meltwick.colour import colours, delta_e00, ground_lab, strengths
from meltwick.colour.standard import FROM_XYZ, decode, from_lab
from meltwick.photo.unmixing import UNEXPLAINED, UNNAMED, lattice, nonnegative, unmix
from meltwick.plan import plan_from_text
from meltwick.seep.powder import species_of
from meltwick.simulate import simulate
from meltwick.stock import load_stock

STOCK = load_stock()
JERSEY = STOCK.fabric("cotton jersey")


def dyes_of(*names):
    return tuple(STOCK.dye(name) for name in names)


def linear_of(lab):
    """Linear sRGB of CIELAB, none of it clipped."""
    return from_lab(lab) @ (FROM_XYZ.T / 100.0)


def dyed(names, count=3000, seed=1, split=0.3):
    """Cloth dyed at random with jars whose components came apart: species, amounts, CIELAB."""
    rng = np.random.default_rng(seed)
    parts = {}
    for dye in dyes_of(*names):
        jar = 2.0 * rng.random(count) ** 3 * (rng.random(count) < 0.7)  # [%]
        for part, share in dye.parts:
            amount = jar * share * np.exp(rng.normal(0.0, split, count)) / 100.0
            parts[part] = parts.get(part, 0.0) + amount
    species, amount = tuple(parts), np.stack(list(parts.values()), axis=1)
    return species, amount, colours(species, amount, JERSEY)


def in_order(found, species):
    """Amounts found, in another order of species; nought for what was not found."""
    place = {part.name: k for k, part in enumerate(found.species)}
    none = np.zeros(len(found.amount))
    rows = [found.amount[:, place[part.name]] if part.name in place else none for part in species]
    return np.stack(rows, axis=1)


@pytest.mark.parametrize("names", [("coral",), ("ink",), ("rose", "lemon")])
def test_depths_of_up_to_three_components_come_back(names):
    """Three numbers for three unknowns: each depth within 5 % of its mean, on the mean."""
    species, amount, lab = dyed(names)
    assert len(species) <= 3
    found = unmix(linear_of(lab), dyes_of(*names), JERSEY)
    gap = np.abs(in_order(found.dye, species) - amount).mean(axis=0)
    assert np.all(gap < 0.05 * amount.mean(axis=0))
    assert not found.stained.any()


@pytest.mark.parametrize("names", [("coral", "moss"), ("ink", "rose", "moss"), ("plum", "ink")])
def test_more_components_show_the_same_colour_with_about_as_much_dye(names):
    """Several mixtures show one colour (metamers to three channels), so only colour and whole
    depth are held to, the depth no nearer than such mixtures differ: 15 %."""
    species, amount, lab = dyed(names)
    assert len(species) > 3
    found = unmix(linear_of(lab), dyes_of(*names), JERSEY)
    gap = delta_e00(lab, colours(found.dye.species, found.dye.amount, JERSEY))
    assert np.percentile(gap, 99) < 1.0
    assert float(found.dye.amount.sum()) == pytest.approx(float(amount.sum()), rel=0.15)
    seen = found.dye.amount @ strengths(found.dye.species).max(axis=1)
    true = amount @ strengths(species).max(axis=1)
    assert float(seen.sum()) == pytest.approx(float(true.sum()), rel=0.15)


def test_a_made_piece_comes_back_from_its_colours():
    """From the colours of a screen, 8 bits each.

    Up to 2 % of the fibre's mass each component is within 5 %. Above it more dye is hardly another
    colour (at K/S = 10, one step of 8 bits in linear light is 4 % of K/S), and colours leave the
    screen's gamut: there the whole depth is within 15 %.
    """
    text = '[garment]\nblank = "bandana"\n[[round]]\ndye = [{ dye = "coral" }]\n'
    plan = plan_from_text(text, "piece.toml")
    piece = simulate(plan, pitch=8e-3)
    eight = np.rint(255.0 * piece.look.srgb) / 255.0
    found = unmix(decode(eight), dyes_of("coral"), piece.cloth.fabric)
    true, got = piece.fixed.amount * piece.cloth.taking, in_order(found.dye, piece.fixed.species)
    pale = true.sum(axis=1) < 0.02
    assert 0.3 < pale.mean() < 0.9
    assert np.allclose(got[pale].mean(axis=0), true[pale].mean(axis=0), rtol=0.05)
    assert got.sum() == pytest.approx(true.sum(), rel=0.15)
    assert np.corrcoef(got.sum(axis=1), true.sum(axis=1))[0, 1] > 0.98
    fine = unmix(decode(piece.look.srgb), dyes_of("coral"), piece.cloth.fabric).dye
    again = colours(fine.species, fine.amount, piece.cloth.fabric)
    screen = np.all(np.abs(linear_of(piece.look.lab) - 0.5) <= 0.5, axis=1)
    assert screen.mean() > 0.5
    assert np.percentile(delta_e00(again, piece.look.lab)[screen], 99) < 1.0


def test_nonnegative_least_squares_is_scipys():
    """Lawson and Hanson's method, as `scipy.optimize.nnls` has it, is the reference."""
    rng = np.random.default_rng(7)
    matrix = rng.normal(size=(5, 4))
    targets = rng.normal(size=(60, 5))
    found = nonnegative((matrix.T @ matrix)[None], targets @ matrix, np.zeros((60, 4)), 3000)
    wanted = np.array([nnls(matrix, each)[0] for each in targets])
    assert (wanted == 0.0).any()
    assert (wanted > 0.0).any()
    assert np.allclose(found, wanted, atol=1e-8)


def test_what_the_dyes_named_do_not_explain_is_a_stain_and_keeps_its_colour():
    _, amount, lab = dyed(("fern",))
    found = unmix(linear_of(lab), dyes_of("rose"), JERSEY)
    strong = amount.sum(axis=1) > 1e-3  # 0.1 %: clearly green
    assert found.stained[strong].all()
    assert (found.unexplained[found.stained] > UNEXPLAINED).all()
    extra = {part.name for part in UNNAMED}
    assert {part.name for part in found.dye.species} & extra
    gap = delta_e00(lab, colours(found.dye.species, found.dye.amount, JERSEY))
    assert np.percentile(gap[found.stained], 95) < 1.0


def test_dyes_that_explain_all_leave_no_stain():
    _, _, lab = dyed(("fern", "rose"))
    found = unmix(linear_of(lab), dyes_of("fern", "rose"), JERSEY)
    assert found.stained.mean() < 0.001
    assert found.unexplained.mean() < 0.3


def test_with_no_dye_named_all_colour_is_unnamed():
    _, _, lab = dyed(("coral", "moss"))
    found = unmix(linear_of(lab), (), JERSEY)
    assert {part.name for part in found.dye.species} <= {part.name for part in UNNAMED}
    gap = delta_e00(lab, colours(found.dye.species, found.dye.amount, JERSEY))
    assert np.percentile(gap, 95) < 1.0


@pytest.mark.parametrize("fabric", ["cotton jersey", "raw cotton jersey"])
def test_undyed_cloth_holds_no_dye(fabric):
    cloth = STOCK.fabric(fabric)
    bare = ground_lab(cloth)
    found = unmix(linear_of(np.tile(bare, (50, 1))), dyes_of("coral", "ink"), cloth)
    again = colours(found.dye.species, found.dye.amount, cloth)
    assert delta_e00(again, np.tile(bare, (50, 1))).max() < 0.5
    assert not found.stained.any()


def test_lighter_than_bare_cloth_is_no_stain():
    found = unmix(np.ones((10, 3)), dyes_of("coral"), JERSEY)
    assert not found.stained.any()
    assert found.dye.amount.sum() < 1e-6


@settings(max_examples=40, deadline=None)
@given(
    arrays(np.float64, (7, 3), elements=st.floats(-0.2, 1.5, allow_nan=False)),
    st.sampled_from([(), ("coral",), ("ink", "rose", "moss"), ("lemon", "tide")]),
)
def test_depths_are_never_negative_and_always_numbers(linear, names):
    found = unmix(linear, dyes_of(*names), JERSEY)
    assert np.all(np.isfinite(found.dye.amount))
    assert np.all(found.dye.amount >= 0.0)
    assert np.all(found.dye.amount < 2.0)  # no colour asks for more dye than fibre


def test_like_colours_get_like_mixtures_whatever_lies_beside_them():
    _, _, lab = dyed(("ink", "rose", "moss"), count=400)
    one = unmix(linear_of(lab), dyes_of("ink", "rose", "moss"), JERSEY).dye
    order = np.random.default_rng(3).permutation(400)
    two = unmix(linear_of(lab[order]), dyes_of("ink", "rose", "moss"), JERSEY).dye
    assert np.allclose(in_order(two, one.species), one.amount[order], rtol=1e-6, atol=1e-12)
    near = unmix(linear_of(lab + 0.05), dyes_of("ink", "rose", "moss"), JERSEY).dye
    moved = np.abs(in_order(near, one.species) - one.amount).sum(axis=1)
    assert np.percentile(moved / (one.amount.sum(axis=1) + 1e-4), 95) < 0.1


def test_more_colour_means_more_dye():
    species = species_of(dyes_of("coral"))
    shares = np.array([share for _, share in STOCK.dye("coral").parts])
    depth = np.linspace(0.0, 0.03, 60)
    lab = colours(species, depth[:, None] * shares, JERSEY)
    found = unmix(linear_of(lab), dyes_of("coral"), JERSEY).dye.amount.sum(axis=1)
    assert np.all(np.diff(found) > 0.0)


def test_a_lattice_keeps_what_is_straight():
    lab = np.random.default_rng(2).uniform([0, -80, -80], [100, 80, 80], (500, 3))
    nodes, number, weight = lattice(lab)
    assert np.allclose(weight.sum(axis=1), 1.0)
    assert weight.min() >= 0.0
    assert np.allclose((nodes[number] * weight[:, :, None]).sum(axis=1), lab)


def test_colours_that_are_no_numbers_are_refused():
    with pytest.raises(ValueError, match="numbers"):
        unmix(np.full((2, 3), np.nan), (), JERSEY)
