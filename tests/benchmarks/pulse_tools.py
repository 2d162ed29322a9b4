"""The spot of `pulse` by meltwick and by two general-purpose packages.

Each maker of a run takes a `Case` and prepares what is prepared once; the run is what is timed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from math import ceil

import numpy as np
from pulse import DISPERSIVITY, HEIGHT, LOSS, RETARD, SECONDS, WIDTH, Case, Run
from tests.chains import components
from tests.flats import flat_bundle, flat_cloth

from meltwick.constants import Constants
from meltwick.seep.graph import Network, network
from meltwick.seep.levels import USUAL, Streams
from meltwick.seep.renumber import Sweepwise
from meltwick.seep.transport import March, raster_lines
from meltwick.types import Bundle, Cloth, Floats, Seepage

MODEL = Constants(dispersivity=DISPERSIVITY, sorption_cap=1e12)
"""Langmuir's capacity so large that sorption is linear."""


@dataclass(frozen=True)
class Tool:
    """A way to solve the problem."""

    name: str
    make: Callable[[Case], Run]
    fewest: Callable[[Case], int]  # steps to begin with
    by_pitch: bool = False  # so many steps that only a finer pitch lessens the error
    try_out: Callable[[Case], Run] | None = None  # gives the same with less to compile


def _rows(case: Case) -> tuple[Cloth, Bundle, Network, Seepage, float]:
    """Lay out a cloth whose head of water falls evenly along the rows; and its water's depth [m].

    Rows differ in how freely they conduct, and cells are joined by their sides alone.
    """
    cloth = flat_cloth(WIDTH, HEIGHT, case.pitch)
    bundle = flat_bundle(cloth)
    whole = network(cloth, bundle, MODEL)
    sides, thick = whole.straight, cloth.fabric.thickness
    deep = float((1.0 - bundle.solid[0]) * thick)  # all pores full
    flow = (case.speed * deep * case.pitch).ravel()[cloth.row]  # [m3/s] from column to column
    full = float(whole.conductance[0] / whole.shape[0] * thick)
    fall = 1e-3 * case.pitch / WIDTH  # of w, from a column to the next
    net = replace(
        whole,
        pairs=whole.pairs[:sides],
        conductance=np.where(
            cloth.row[whole.pairs[:sides, 0]] == cloth.row[whole.pairs[:sides, 1]],
            flow[whole.pairs[:sides, 0]] / fall,
            full,
        ),
        shape=np.full(sides, thick),
        inside=sides,
        in_plane=sides,
        share=np.ones(sides),
    )
    w = 1.0 + fall * (case.cols - 1 - cloth.col)
    melt = np.where(cloth.col == 0, flow, 0.0)
    seepage = Seepage(np.ones(1), w[None], melt, over_full_share=0.0, ran_off_share=0.0)
    return cloth, bundle, net, seepage, deep


def meltwick(case: Case, corrected: bool = False) -> Run:
    """The march, with its own flow, order, dispersion, sorption and hydrolysis.

    Parameters
    ----------
    corrected : bool
        Take off what a step spreads by itself, v^2 dt / 2 R; the march of a plan does not.
    """
    cloth, bundle, net, seepage, deep = _rows(case)
    sweep = Sweepwise(seepage)
    cloth, bundle, net = sweep.cloth(cloth), sweep.bundle(bundle), sweep.network(net)
    streams = Streams(sweep.seepage(seepage), net, cloth, bundle, 0.0, USUAL, MODEL)
    current = streams.at(1.0, case.water.across / MODEL.tortuosity)
    now, scale = current.stream, 1.0 / current.level
    spreads = current.spreading(scale)
    if corrected:
        own = (case.speed**2 * case.step / (2.0 * RETARD) * deep).ravel()[cloth.row]
        row = np.where(spreads.along[0] > 0.0, np.maximum(spreads.along[0] - own, 0.0), 0.0)
        spreads = replace(spreads, along=(row, *spreads.along[1:]))
    fibre = cloth.mass_per_area * case.pitch**2
    start = sweep.ahead(case.exact(0.0).ravel() * RETARD * deep * case.pitch**2)
    march = March(
        species=components(1),
        fibre=fibre,
        sites=np.ones(cloth.size),
        kd=(RETARD - 1.0) * now.volume[:1] / fibre[:1],
        solubility=np.ones(1),
        powder=np.zeros((cloth.size, 1)),
        fixed=np.zeros((cloth.size, 1)),
        lines=raster_lines(cloth.panel, cloth.row, cloth.col),
        constants=MODEL,
        laid=float(start.sum()),
    )
    none, loss = np.zeros(1), np.array([LOSS])

    def run() -> Floats:
        march.mass[:, 0] = start
        march.settle(now.volume)
        for _ in range(case.steps):
            march.carry(now, case.step, scale)
            march.react(now.volume, none, loss, case.step)
            march.spread(now.volume, spreads, case.step)
        return np.asarray(sweep.back(march.c[:, 0])).reshape(case.rows, case.cols)

    return run


def py_pde(case: Case, backend: str = "numba") -> Run:
    """Central differences and explicit steps of Runge and Kutta, compiled by numba.

    Compiling takes far longer than the run, so that cases are tried without; it is not counted.
    """
    import pde

    grid = pde.CartesianGrid([(0.0, WIDTH), (0.0, HEIGHT)], [case.cols, case.rows])
    all_over = np.ones((1, case.cols))
    fields = {
        "u": pde.ScalarField(grid, (-case.speed / RETARD * all_over).T),
        "D": pde.ScalarField(grid, (case.along / RETARD * all_over).T),
    }
    law = f"u * d_dx(c) + D * d2_dx2(c) - {LOSS / RETARD} * c"
    if case.water.across:
        law += f" + {case.water.across / RETARD} * d2_dy2(c)"
    equation = pde.PDE({"c": law}, bc={"derivative": 0}, consts=fields)
    start = case.exact(0.0).T
    field = pde.ScalarField(grid, start)
    solver = pde.solvers.SolverBase.from_name("runge-kutta", equation, backend=backend)
    stepper = solver.make_stepper(field, dt=case.step)

    def run() -> Floats:
        field.data[...] = start
        stepper(field, 0.0, SECONDS)
        return field.data.T.copy()

    return run


def explicit_steps(case: Case) -> int:
    """Fewest steps with which the scheme of Runge and Kutta stays stable.

    Its limits are 2.78 along the real axis and 2.82 along the other (from memory).
    """
    spread = 4.0 * (float(case.along.max()) + case.water.across) / case.pitch**2
    carry = float(case.speed.max()) / case.pitch
    return ceil(SECONDS / RETARD * max(spread, carry) / 2.6)


def fipy(case: Case, middle: bool = True) -> Run:
    """Finite volumes with central differences; BiCGSTAB, the fastest of its solvers here.

    Parameters
    ----------
    middle : bool
        The rule of the middle in time, which for a linear law is a step of Euler backwards over
        half the time and as far again; else steps of Euler backwards.
    """
    import fipy as fp

    mesh = fp.Grid2D(dx=case.pitch, dy=case.pitch, nx=case.cols, ny=case.rows)
    start = case.exact(0.0).ravel()
    c = fp.CellVariable(mesh=mesh, value=start, hasOld=True)
    between = np.asarray(mesh.faceNormals)[1] ** 2 > 0.5  # faces between rows
    speed = case.water.speed(mesh.faceCenters[1].value)
    spread = np.where(between, case.water.across, DISPERSIVITY * speed + case.water.across)
    carry = fp.FaceVariable(mesh=mesh, rank=1, value=(speed, 0.0 * speed))
    outflow = (mesh.facesRight * carry).divergence  # a border is closed unless this opens it
    law = (
        fp.TransientTerm(RETARD)
        + fp.CentralDifferenceConvectionTerm(carry)
        - fp.DiffusionTerm(fp.FaceVariable(mesh=mesh, value=spread))
        + fp.ImplicitSourceTerm(LOSS + outflow)
    )
    solver = fp.LinearBicgstabSolver(tolerance=1e-6, iterations=1000, precon=None)

    def run() -> Floats:
        c.setValue(start)
        for _ in range(case.steps):
            c.updateOld()
            law.solve(c, dt=(0.5 if middle else 1.0) * case.step, solver=solver)
            if middle:
                c.setValue(2.0 * c.value - c.old.value)
        return np.asarray(c.value).reshape(case.rows, case.cols).copy()

    return run


def _few(case: Case) -> int:
    return 16


OURS = "meltwick"
TOOLS = (
    Tool(OURS, meltwick, _few),
    Tool("meltwick, a step's own spreading taken off", partial(meltwick, corrected=True), _few),
    Tool("py-pde", py_pde, explicit_steps, True, partial(py_pde, backend="numpy")),
    Tool("FiPy, rule of the middle", fipy, _few),
    Tool("FiPy, Euler backwards", partial(fipy, middle=False), _few),
)
