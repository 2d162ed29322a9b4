"""One round from laid powder to washed cloth."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np

from meltwick import chance
from meltwick.constants import Constants
from meltwick.seep import wash
from meltwick.seep.levels import Effort
from meltwick.seep.melting import Course, Piece, Way, hours_90, of_ice, together, ways
from meltwick.seep.pool import Pool
from meltwick.seep.powder import Laid
from meltwick.seep.soak import REGAIN
from meltwick.seep.transport import March, raster_lines
from meltwick.seep.watching import Clockwork, Showing
from meltwick.types import (
    Balance,
    Bundle,
    Cloth,
    Dye,
    FixedDye,
    Floats,
    Liquor,
    Observer,
    Round,
    RoundReport,
    Watch,
)

WASH = "washing out"


def dye(
    cloth: Cloth,
    bundle: Bundle,
    spec: Round,
    dyes: tuple[Dye, ...],
    start: FixedDye,
    *,
    damp: float,
    seed: int,
    round_number: int,
    effort: Effort,
    constants: Constants,
    observer: Observer,
    threads: int,
    watch: Watch | None = None,
    liquor: Liquor | None = None,
    pieces: tuple[Piece, ...] = (),
) -> tuple[FixedDye, RoundReport, dict[str, float]]:
    """Melt, percolate, carry, fix and wash one round.

    Parameters
    ----------
    start : FixedDye
        What earlier rounds left; its species are those of the whole plan.
    damp : float
        Water in the cloth at the start over its dry mass [kg/kg].
    watch : callable, optional
        Looks at the dye after each step.
    liquor : Liquor, optional
        Run-off of another piece, which runs over this one before its ice.
    pieces : tuple of Piece, optional
        What lies in the tray, where it is more than this bundle; ``cloth`` and ``bundle`` are
        theirs, side by side.

    Returns
    -------
    fixed, report, seconds
        The dye bound after wash-out, what the round did, and the time each stage took.
    """
    clock = time.perf_counter()
    lying = pieces or (Piece(bundle, spec.powder, seed),)
    sides = ways(lying, spec, dyes, start.species, round_number, constants, liquor)
    pool = Pool.empty(spec.tub, len(start.species)) if spec.tub else None
    if spec.soda.how == "dried in":
        damp = min(damp, REGAIN)
    course = Course(cloth, damp, effort, seed, round_number, constants, spec, pool)
    course.find_way(sides[0], observer)
    laid = together(tuple(way.laid for way in sides))
    powder = replace(laid, under=course.powder.under)
    first = course.sweep.dye(start)
    march = course.march = _ready(course.sorted_cloth, powder, first, constants, threads)
    showing = None
    if watch is not None:
        clockwork = Clockwork(tuple(way.melt for way in of_ice(sides)), spec.batch_time, effort)
        showing = Showing(watch, march, course, cloth, round_number, clockwork)
        observer = showing.observer(observer)
    where = powder.under.sum(axis=1)
    for share, masses in course.powder.over:
        where = where + share * float(masses.sum())
    course.moisten(march.lines, where)
    course.melt(sides[0], observer)
    for way in sides[1:]:
        course.turn(way, observer)
        course.melt(way, observer)
    course.wait(observer)
    march.reorder(course.back)
    observer(WASH, 0, 1)
    fixed, balance = _wash_out(march, laid, start, course)
    observer(WASH, 1, 1)
    if showing is not None:
        showing.washed(fixed)
    report = _report(bundle, course, sides, balance, damp)
    whole = time.perf_counter() - clock
    seconds = {"percolate": course.seconds, "march": whole - course.seconds}
    return FixedDye(start.species, fixed), report, seconds


def _report(
    bundle: Bundle, course: Course, sides: tuple[Way, ...], balance: Balance, damp: float
) -> RoundReport:
    icy = of_ice(sides)
    return RoundReport(
        layers_mean=float(bundle.layers.mean()),
        exposed_share=float(bundle.exposed.mean()),
        melt_hours=sum(way.melt.seconds for way in icy) / 3600.0,
        melt_hours_90=hours_90(icy),
        ran_off_share=course.seepage.ran_off_share,
        over_full_share=course.seepage.over_full_share,
        strain99=bundle.strain99,
        steps=course.effort.steps + course.effort.batch,
        balance=balance,
        liquor=course.caught(sides, damp),
    )


def _ready(cloth: Cloth, laid: Laid, start: FixedDye, constants: Constants, threads: int) -> March:
    fabric = cloth.fabric
    # a dye of another round must not change how fast this one's spread
    moving = tuple(laid.species[k] for k in np.flatnonzero(laid.solubility > 0.0))
    takes = cloth.dyeable.astype(np.float64) * fabric.dyeable_share
    fibre = cloth.mass_per_area * cloth.pitch**2 * takes
    if cloth.wets.size:
        fibre = fibre * cloth.wets
    return March(
        species=start.species,
        fibre=np.asarray(fibre),
        sites=np.full(cloth.size, constants.sites * fabric.uptake),
        kd=np.array([part.kd for part in start.species]) * fabric.uptake * constants.grip,
        solubility=np.maximum(laid.solubility * constants.dissolving, 1e-9),
        powder=laid.under.copy(),
        fixed=start.amount.copy(),
        lines=raster_lines(cloth.panel, cloth.row, cloth.col),
        constants=constants,
        threads=threads,
        laid=laid.laid,
        moving=moving,
    )


def _wash_out(march: March, laid: Laid, start: FixedDye, course: Course) -> tuple[Floats, Balance]:
    """Rinse: what is loose leaves, a little comes back; then the books are closed."""
    fibre, cloth, spec = march.fibre, course.cloth, course.spec
    loose = march.mass.sum(axis=0)
    back = wash.backstain(march.fixed, loose, fibre, march.sites, spec.wash, march.constants)
    powder = march.powder.sum(axis=0)
    code = chance.key(course.seed, "spots", course.round_number)
    stuck = wash.spots(cloth, powder, fibre > 0.0, spec.wash, code)
    stuck = wash.fitting(stuck, march.fixed + back, fibre, march.sites)
    fixed = march.fixed + back + stuck / np.maximum(fibre, 1e-30)[:, None]
    returned = float((back * fibre[:, None]).sum())
    lit, pool = course.lit, course.pool
    tub = float(pool.mass.sum()) if pool else 0.0
    balance = Balance(
        laid=laid.laid,
        fixed=float(((fixed - start.amount) * fibre[:, None]).sum()),
        hydrolysed=float(march.spent.sum()) + (float(pool.spent.sum()) if pool else 0.0),
        ran_off=float(march.lost[lit].sum()) + (0.0 if pool else course.missed),
        drained=float(march.lost[~lit].sum()) + tub,
        washed_out=float(loose.sum()) - returned,
        undissolved=float(powder.sum()) - float(stuck.sum()),
    )
    return fixed, balance
