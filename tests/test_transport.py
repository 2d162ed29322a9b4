"""The march against closed forms: columns with flow, sheets that take up dye, plane sources."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.special import erfc
from tests.chains import NO_PAIRS, Column, line_links, marching, pair_links, sheet_links, stream_of

from meltwick.constants import Constants
from meltwick.plan import example_plan
from meltwick.seep.flow import diffusion, dispersion, stream
from meltwick.seep.graph import Network
from meltwick.seep.levels import Current, Effort, Steps
from meltwick.simulate import simulate
from meltwick.types import Cloth, Fabric

V, D = 0.1, 0.01  # velocity and spreading of the published example


def ogata_banks(x, t, v=V, d=D, retard=1.0):
    """Ogata & Banks 1961, USGS Professional Paper 411-A, with retardation."""
    root = 2.0 * np.sqrt(d * retard * t)
    ahead = np.exp(v * x / d) * erfc((retard * x + v * t) / root)
    return 0.5 * (erfc((retard * x - v * t) / root) + ahead)


def flux_inlet(x, t, v=V, d=D):
    """Van Genuchten & Alves 1982, USDA Technical Bulletin 1661, eq. A2 (from memory)."""
    root = 2.0 * np.sqrt(d * t)
    ridge = np.sqrt(v * v * t / (np.pi * d)) * np.exp(-((x - v * t) ** 2) / (4.0 * d * t))
    tail = (1.0 + v * x / d + v * v * t / d) * np.exp(v * x / d) * erfc((x + v * t) / root)
    return 0.5 * erfc((x - v * t) / root) + ridge - 0.5 * tail


# ------------------------------------------------------------------ the formulas themselves


def test_the_oracles_give_the_printed_values():
    # adepy 0.2.0, seminf1, prints these (method of Wexler 1992, USGS TWRI 3-B7, eq. 60)
    assert ogata_banks(np.array([0.25, 0.5, 1.0]), 5.0) == pytest.approx(
        [0.893254, 0.616163, 0.080067], abs=1e-6
    )
    assert ogata_banks(0.5, 10.0, retard=2.0) == pytest.approx(0.616163, abs=1e-6)
    # worked out from eq. A2; its integral over x is v t, the mass that went in
    assert flux_inlet(np.array([0.25, 0.5, 1.0]), 5.0) == pytest.approx(
        [0.791642, 0.483772, 0.048070], abs=1e-6
    )
    x = np.linspace(0.0, 4.0, 40001)
    assert np.trapezoid(flux_inlet(x, 5.0), x) == pytest.approx(V * 5.0, abs=1e-6)


# ------------------------------------------------------------------ columns with flow


def test_held_inlet_follows_ogata_and_banks():
    # first order in pitch and step: a hundredth of a length each leaves about 1e-3
    column = Column(dx=0.0025, step=0.005, length=3.0, v=V, d=D, held_inlet=True)
    found = column.run(5.0)
    assert found == pytest.approx(ogata_banks(column.x, 5.0), abs=1e-3)


def test_flux_inlet_follows_van_genuchten_and_alves():
    column = Column(dx=0.005, step=0.01, length=3.0, v=V, d=D)
    found = column.run(5.0)
    assert found == pytest.approx(flux_inlet(column.x, 5.0), abs=1e-3)
    assert found.sum() * column.dx == pytest.approx(V * 5.0, rel=1e-9)


@pytest.mark.parametrize("retard", [1.180, 1.359, 2.796])  # Freeze & Cherry 1979, wet jersey
def test_sorption_retards_exactly_by_its_factor(retard):
    # C(x, R t, R) = C(x, t, 1): the sweep keeps the identity to round-off
    plain = Column(dx=0.01, step=0.02, length=2.0, v=V, d=D, held_inlet=True).run(5.0)
    slow = Column(
        dx=0.01, step=0.02 * retard, length=2.0, v=V, d=D, retard=retard, held_inlet=True
    ).run(5.0 * retard)
    assert slow == pytest.approx(plain, abs=1e-9)


def test_retarded_column_follows_ogata_and_banks():
    column = Column(
        dx=0.0025, step=0.01, length=3.0, v=V, d=D, retard=2.0, held_inlet=True
    )  # fmt: skip
    found = column.run(10.0)
    assert found == pytest.approx(ogata_banks(column.x, 10.0, retard=2.0), abs=1e-3)


def test_steady_state_with_first_order_loss():
    # exp[v x / 2D (1 - sqrt(1 + 4 lam D / v^2))]; van Genuchten & Alves 1982; adepy prints
    # 0.78771984 and 0.62050254 for lam = 0.05 at x = 0.5 and 1
    column = Column(dx=0.005, step=0.02, length=3.0, v=V, d=D, held_inlet=True, loss=0.05)
    found = column.run(80.0)
    exact = np.exp(V * column.x / (2 * D) * (1 - np.sqrt(1 + 4 * 0.05 * D / V**2)))
    near = column.x < 1.5
    assert found[near] == pytest.approx(exact[near], abs=2.5e-3)
    assert np.interp([0.5, 1.0], column.x, found) == pytest.approx([0.78772, 0.62050], abs=2.5e-3)


def test_slow_front_keeps_the_cloth_sharp():
    # front speed v / R (Freeze & Cherry 1979 ch. 9): half height of a flux inlet lies at v t / R
    column = Column(dx=0.005, step=0.05, length=3.0, v=V, d=5e-4, retard=4.0)
    found = column.run(60.0)
    half = np.interp(-0.5, -found, column.x)
    assert half == pytest.approx(V * 60.0 / 4.0, rel=0.01)


# ------------------------------------------------------------------ no flow: sheets and sources


def sheet(cells: int, steps: int, fourier: float, contacts: bool = False):
    """Half a plane sheet of unit half-thickness whose face is held; uptake and profile.

    Either the cells of a raster row, or a stack of layers in contact.
    """
    dx, step = 1.0 / cells, fourier / steps
    volume = np.full(cells + 1, dx)
    volume[0] = 1e9
    march = marching(1, cells + 1)
    march.mass[0] = 1e9
    along = np.full(cells + 1, 1.0 / dx)
    along[0], along[-1] = 2.0 / dx, 0.0
    links = line_links(along)
    if contacts:
        pairs = np.column_stack([np.arange(cells), np.arange(1, cells + 1)])
        links = pair_links(cells + 1, pairs, along[:-1])
    for _ in range(steps):
        march.spread(volume, links, step)
    inside = march.mass[1:, 0]
    return inside.sum(), inside / dx


# Crank, The Mathematics of Diffusion, 2nd ed. 1975, p. 48: T and uptake over uptake at the end
CRANK = [(0.01, 0.11284), (0.05, 0.25231), (0.1, 0.35682), (0.2, 0.50409), (0.5, 0.76395)]


@pytest.mark.parametrize(("fourier", "uptake"), [*CRANK, (1.0, 0.93126), (0.19673, 0.5)])
def test_plane_sheet_takes_up_as_crank_says(fourier, uptake):
    assert sheet(200, 2000, fourier)[0] == pytest.approx(uptake, abs=1e-3)


def test_plane_sheet_profile_at_a_quarter():
    # polykin's documented example of Crank's series: half-thickness 0.2 mm, D 1e-10, 100 s
    uptake, profile = sheet(200, 4000, 1e-10 * 100.0 / 0.2e-3**2)
    assert uptake == pytest.approx(0.562233541762138, abs=5e-4)
    assert profile[-1] == pytest.approx(0.3145542331096479, abs=5e-4)


def test_stack_of_layers_in_contact_is_a_plane_sheet_too():
    # the exact exchange of pairs in turn is first order in the step: 0.3 % remain here
    uptake, profile = sheet(20, 4000, 0.25, contacts=True)
    assert uptake == pytest.approx(0.562233541762138, abs=3e-3)
    assert profile[-1] == pytest.approx(0.3145542331096479, abs=3e-3)


def test_instantaneous_plane_source():
    # Crank ch. 2: C = M / (2 sqrt(pi D t)) exp(-x^2 / 4 D t); M 1, D 4e-10, 3600 s: 235.079
    dx, n, d, seconds, steps = 5e-5, 481, 4e-10, 3600.0, 3600
    march = marching(1, n)
    volume = np.full(n, dx)
    march.mass[n // 2] = 1.0
    along = np.full(n, d / dx)
    along[-1] = 0.0
    for _ in range(steps):
        march.spread(volume, line_links(along), seconds / steps)
    x = (np.arange(n) - n // 2) * dx
    mass = march.mass[:, 0]
    assert mass.sum() == pytest.approx(1.0, rel=1e-12)
    # the scheme's own variance is 2 D t without error; only the far walls take some away
    assert (mass * x**2).sum() == pytest.approx(2.0 * d * seconds, rel=1e-9, abs=0.0)
    assert np.sqrt((mass * x**2).sum()) == pytest.approx(1.6971e-3, rel=1e-4)
    exact = np.exp(-(x**2) / (4 * d * seconds)) / (2 * np.sqrt(np.pi * d * seconds))
    assert exact.max() == pytest.approx(235.079, abs=1e-3)
    assert mass / dx == pytest.approx(exact, abs=1e-3 * exact.max())


@pytest.mark.slow
def test_sheet_in_two_dimensions_agrees_with_py_pde():
    # py-pde, a general-purpose solver of partial differential equations, on the same problem
    pde = pytest.importorskip("pde")
    rows, cols, dx, d, seconds = 24, 32, 0.5, 0.8, 4.0
    y, x = np.meshgrid((np.arange(rows) + 0.5) * dx, (np.arange(cols) + 0.5) * dx, indexing="ij")
    first = np.exp(-((x - 5.0) ** 2) - (y - 4.0) ** 2 / 3.0) + 0.3 * (x > 12.0)
    grid = pde.CartesianGrid([(0, rows * dx), (0, cols * dx)], [rows, cols])
    field = pde.ScalarField(grid, first)
    equation = pde.DiffusionPDE(diffusivity=d, bc={"derivative": 0})
    theirs = equation.solve(field, t_range=seconds, dt=1e-3, tracker=None, backend="numpy").data
    march = marching(rows, cols)
    volume = np.full(rows * cols, dx * dx)
    march.mass[:, 0] = first.ravel() * dx * dx
    right = np.full((rows, cols), d)
    below = right.copy()
    right[:, -1] = 0.0
    below[-1] = 0.0
    links = sheet_links(right.ravel(), below.ravel())
    for _ in range(2000):
        march.spread(volume, links, seconds / 2000)
    ours = march.mass[:, 0].reshape(rows, cols) / dx**2
    assert ours / theirs.max() == pytest.approx(theirs / theirs.max(), abs=1e-3)


# ------------------------------------------------------------------ dispersion as the model adds it


def strip(pitch: float, cells: int, speed: float, wet: float) -> tuple[Cloth, Network, object]:
    """A strip of cloth, one cell wide, with water at pore speed ``speed`` along it."""
    thick = 5e-4
    each = np.arange(cells, dtype=np.int32)
    zero = np.zeros(cells, np.int32)
    edges = np.column_stack([each[:-1], each[1:]])
    cloth = Cloth(
        pitch=pitch,
        panels=(),
        fabric=Fabric("strip", 0.15, thick, 1540.0),
        panel=zero,
        row=zero,
        col=each,
        x=each * pitch,
        y=np.zeros(cells),
        thickness=np.full(cells, thick),
        mass_per_area=np.full(cells, 0.15),
        dyeable=np.ones(cells, dtype=bool),
        edges=edges,
        seams=NO_PAIRS,
        zone=zero,
        zones=("strip",),
    )
    many = cells - 1
    net = Network(
        pairs=edges,
        conductance=np.ones(many),
        shape=np.full(many, thick),
        inside=many,
        straight=many,
        in_plane=many,
        share=np.ones(many),
        bound=np.ones(cells),
        outside=np.ones(cells),
    )
    amount = np.full(many, speed * wet * thick * pitch)
    leave = np.zeros(cells)
    leave[-1] = amount[0]
    volume = np.full(cells, wet * thick * pitch**2)
    return cloth, net, stream_of(volume, edges, amount, leave, theta=wet)


@pytest.mark.parametrize("scale", [1.0, 0.25])
@pytest.mark.parametrize("pitch", [4e-3, 2e-3, 1e-3])
def test_dispersion_is_the_same_length_at_every_pitch_and_melt_rate(pitch, scale):
    """Variance grows at 2 (a v + D tau) whatever the pitch, and by v^2 dt from the step.

    Bear 1972, Dynamics of Fluids in Porous Media (from memory): D = a v + tau D0. A melt that is
    slower than the rate at which its flow was solved spreads dye less, as far as it goes.
    """
    speed, wet, diffusivity, step, steps = 1e-3, 0.7, 3e-10, 1.0, 60
    constants = Constants(dispersivity=4e-3)
    cells = round(0.4 / pitch)
    cloth, net, now = strip(pitch, cells, speed, wet)
    still = diffusion(now, net, cloth, diffusivity, constants)
    links = Current(1.0, now, still, dispersion(now, net, cloth, constants)).spreading(scale)
    march = marching(1, cells)
    march.mass[cells // 4] = 1.0
    for _ in range(steps):
        march.settle(now.volume)
        march.carry(now, step, scale)
        march.spread(now.volume, links, step)
    mass = march.mass[:, 0]
    mean = (mass * cloth.x).sum()
    variance = (mass * (cloth.x - mean) ** 2).sum()
    slow = scale * speed
    wanted = 2.0 * (4e-3 * slow + Constants().tortuosity * diffusivity) + slow**2 * step
    assert mean - cloth.x[cells // 4] == pytest.approx(slow * step * steps, rel=1e-4)
    assert variance == pytest.approx(wanted * step * steps, rel=1e-3)


def test_pressing_a_cloth_leaves_its_diffusion_as_it_is():
    """D tau theta S is D tau V / d^2: the same water at half the thickness spreads as before."""
    pitch = 2e-3
    cloth, net, _ = strip(pitch, 6, 1e-3, 0.7)
    net = replace(net, bound=np.ones(6))
    found = []
    for part in (1.0, 0.5):
        thickness = np.full(6, 1e-3 * part)
        solid = np.full(6, 0.2 / part)
        bundle = SimpleNamespace(thickness=thickness, solid=solid)
        shape = np.full(len(net.pairs), 1e-3 * part)  # area over length of a square
        now = stream(np.ones(6), np.zeros(6), net, cloth, bundle, 0.0, Constants())
        links = diffusion(now, replace(net, shape=shape), cloth, 3e-10, Constants())
        water = now.volume[:-1] / pitch**2
        found.append(links.along[0][:-1] / water)
    assert found[0] == pytest.approx(np.full(5, 3e-10 * Constants().tortuosity), rel=1e-12, abs=0)
    assert found[1] == pytest.approx(found[0], rel=1e-12, abs=0)


def test_dispersion_follows_the_melt_through_a_round(monkeypatch):
    """Each block of steps is dispersed by what flows in it, and not at the rate of the solve."""
    told, cut = [], []
    spreading, of = Current.spreading, Steps.of

    def tell(current, scale):
        told.append(scale * current.level)
        return spreading(current, scale)

    def keep(melt, count):
        cut.append(of(melt, count))
        return cut[-1]

    monkeypatch.setattr(Current, "spreading", tell)
    monkeypatch.setattr(Steps, "of", keep)
    simulate(example_plan(), pitch=8e-3)
    blocks = Effort.at(8e-3).blocks().values()
    rates = [float(np.average(cut[0].level[each], weights=cut[0].seconds[each])) for each in blocks]
    passing = np.array(told) / rates  # what the damp cloth does not keep of the melt
    assert passing == pytest.approx(np.full(len(rates), passing[0]), rel=1e-12, abs=0)
    assert 0.1 < passing[0] <= 1.0
    assert told[0] > 2.0 * told[-1]
