"""Water and dye run out of a spot to every side alike, though the raster is square."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array, diags_array
from scipy.sparse.linalg import spsolve
from tests.chains import marching, stream_of

from meltwick.cloth import build_cloth
from meltwick.seep.graph import CORNER, slanting_edges
from meltwick.stock import load_stock
from meltwick.types import Cloth, Floats, Ints

STOCK = load_stock()


def cloth_of(blank: str, pitch: float = 8e-3) -> Cloth:
    return build_cloth(STOCK.blank(blank), STOCK.usual_fabric(blank), pitch)


TEE, SHEET = cloth_of("tee"), cloth_of("bandana")


@settings(max_examples=25, deadline=None)
@given(st.floats(-3.0, 3.0), st.floats(-3.0, 3.0))
def test_a_gradient_is_carried_as_by_straight_edges_alone(right: float, down: float) -> None:
    """A square's flow is shared out anew, not added to: energy sum S (df)^2 of a plane field."""
    slanting, weight = slanting_edges(TEE)
    field = right * TEE.x + down * TEE.y

    def energy(pairs: Ints, share: Floats | float) -> float:
        return float((share * (field[pairs[:, 0]] - field[pairs[:, 1]]) ** 2).sum())

    nine = energy(TEE.edges, weight) + energy(slanting, CORNER)
    assert nine == pytest.approx(energy(TEE.edges, 1.0), rel=1e-9, abs=1e-15)


def test_each_cell_meets_its_neighbours_once() -> None:
    slanting, weight = slanting_edges(TEE)
    rows = np.abs(np.diff(TEE.row[slanting], axis=1)).ravel()
    cols = np.abs(np.diff(TEE.col[slanting], axis=1)).ravel()
    assert (rows == 1).all()
    assert (cols == 1).all()
    assert (np.diff(TEE.panel[slanting], axis=1) == 0).all()
    assert len(np.unique(np.sort(slanting, axis=1), axis=0)) == len(slanting)
    # well inside the cloth two thirds go along each side, at a border five sixths
    assert set(np.round(weight, 9)) <= {round(1.0 - k * CORNER, 9) for k in (0, 1, 2)}


def conductances(cloth: Cloth, slanted: bool) -> tuple[Ints, Floats]:
    if not slanted:
        return cloth.edges, np.ones(len(cloth.edges))
    slanting, weight = slanting_edges(cloth)
    pairs = np.concatenate([cloth.edges, slanting])
    return pairs, np.concatenate([weight, np.full(len(slanting), CORNER)])


def well(cloth: Cloth, slanted: bool) -> tuple[Floats, Floats, Ints, Floats]:
    """Head round a source in the middle, with sinks beyond a circle: distances, head, flows."""
    pairs, share = conductances(cloth, slanted)
    one = cloth.panel == 0
    middle = int(np.argmin(np.where(one, np.hypot(cloth.x, cloth.y - np.median(cloth.y)), 9.0)))
    r = np.hypot(cloth.x - cloth.x[middle], cloth.y - cloth.y[middle]) / cloth.pitch
    a, b = pairs.T
    n = cloth.size
    matrix = coo_array((np.r_[share, share], (np.r_[a, b], np.r_[b, a])), shape=(n, n)).tocsr()
    laplacian = diags_array(matrix.sum(axis=1)) - matrix
    inner = np.flatnonzero(one & (r < 20.0))
    source = np.zeros(n)
    source[middle] = 1.0
    head = np.zeros(n)
    rim = one & (r >= 20.0)
    head[rim] = -np.log(r[rim]) / (2.0 * np.pi)
    rest = source[inner] - (laplacian[inner][:, np.flatnonzero(rim)] @ head[rim])
    head[inner] = spsolve(laplacian[inner][:, inner].tocsc(), rest)
    return r, head, pairs, share


def test_head_round_a_source_is_that_of_a_well() -> None:
    """Thiem's well: w falls as -ln(r) / (2 pi) (Thiem 1906); measured from one cell to the rim."""

    def error(slanted: bool) -> float:
        r, head, _, _ = well(SHEET, slanted)
        ring = (r > 1.5) & (r < 6.0) & (SHEET.panel == 0)
        gap = head[ring] + np.log(r[ring]) / (2.0 * np.pi)
        return float(np.ptp(gap))

    assert error(True) < 0.35 * error(False)
    # of a head that falls by 0.22 over the same cells
    assert error(True) == pytest.approx(0.0, abs=0.002)


def star(slanted: bool) -> float:
    """Fourth harmonic of dye that a well has carried out, over its mean."""
    r, head, pairs, share = well(SHEET, slanted)
    inner = np.flatnonzero((r < 19.0) & (SHEET.panel == 0))
    order = inner[np.argsort(-head[inner], kind="stable")]
    place = np.full(SHEET.size, -1)
    place[order] = np.arange(order.size)
    flow = share * (head[pairs[:, 0]] - head[pairs[:, 1]])
    ends = np.where((flow > 0.0)[:, None], pairs, pairs[:, ::-1])
    kept = (place[ends] >= 0).all(axis=1)
    way, amount = place[ends[kept]], np.abs(flow[kept])
    leaves = np.bincount(
        place[ends[:, 0]][place[ends[:, 0]] >= 0], np.abs(flow)[place[ends[:, 0]] >= 0], order.size
    )
    leave = leaves - np.bincount(way[:, 0], amount, order.size)
    march = marching(1, order.size)
    march.mass[0] = 1.0
    march.c[0] = 1.0
    now = stream_of(np.ones(order.size), way, amount, np.maximum(leave, 0.0))
    for _ in range(200):
        march.carry(now, 0.25)
    mass = march.mass[:, 0]
    x = SHEET.x[order] - SHEET.x[order[0]]
    y = SHEET.y[order] - SHEET.y[order[0]]
    return float(np.abs((mass * np.exp(4j * np.arctan2(y, x)))[1:].sum()) / mass[1:].sum())


def test_a_spot_of_dye_spreads_without_points() -> None:
    assert star(True) < 0.25 * star(False)
