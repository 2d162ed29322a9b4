"""One round from laid powder to washed cloth."""

from __future__ import annotations

import time

import numpy as np

from meltwick import chance
from meltwick.constants import Constants
from meltwick.seep import ice, wash
from meltwick.seep.graph import network
from meltwick.seep.levels import Effort, Streams, seep
from meltwick.seep.powder import Laid, lay
from meltwick.seep.renumber import Sweepwise
from meltwick.seep.stages import batch_stage, melt_stage
from meltwick.seep.transport import March, raster_lines
from meltwick.types import (
    Balance,
    Bundle,
    Cloth,
    Dye,
    FixedDye,
    Floats,
    Observer,
    Round,
    RoundReport,
)

WATER = "finding the water's way"
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
) -> tuple[FixedDye, RoundReport, dict[str, float]]:
    """Melt, percolate, carry, fix and wash one round.

    Parameters
    ----------
    start : FixedDye
        What earlier rounds left; its species are those of the whole plan.
    damp : float
        Water in the cloth at the start over its dry mass [kg/kg].

    Returns
    -------
    fixed, report, seconds
        The dye bound after wash-out, what the round did, and the time each stage took.
    """
    clock = time.perf_counter()
    net = network(cloth, bundle, constants)
    melt = ice.melt_of(spec.ice, spec.room, constants)
    code = chance.key(seed, "melt", round_number)
    chunk = spec.ice[0].chunk
    caught = ice.landing(cloth, bundle, melt, chunk, code, constants)
    observer(WATER, 0, 1)
    seepage = seep(cloth, bundle, net, caught, effort)
    observer(WATER, 1, 1)
    mid = time.perf_counter()
    laid = lay(bundle, spec.powder, dyes, start.species, seed, round_number, constants)
    sweep = Sweepwise(seepage)
    sorted_cloth, sorted_bundle = sweep.cloth(cloth), sweep.bundle(bundle)
    sorted_net = sweep.network(net)
    powder = sweep.laid(laid)
    march = _ready(sorted_cloth, powder, sweep.dye(start), constants, threads)
    streams = Streams(
        sweep.seepage(seepage), sorted_net, sorted_cloth, sorted_bundle, damp, effort, constants
    )
    volume = melt_stage(march, streams, powder, melt, spec, sorted_cloth, damp, effort, observer)
    batch_stage(
        march, volume, sorted_net, streams, spec, sorted_cloth, sorted_bundle, effort, observer
    )
    march.reorder(sweep.back)
    observer(WASH, 0, 1)
    fixed, balance = _wash_out(march, laid, start, cloth, spec, caught, seed, round_number)
    observer(WASH, 1, 1)
    report = RoundReport(
        layers_mean=float(bundle.layers.mean()),
        exposed_share=float(bundle.exposed.mean()),
        melt_hours=melt.seconds / 3600.0,
        melt_hours_90=float(melt.seconds_until(0.9)) / 3600.0,
        ran_off_share=seepage.ran_off_share,
        over_full_share=seepage.over_full_share,
        strain99=bundle.strain99,
        steps=effort.steps + effort.batch,
        balance=balance,
    )
    seconds = {"percolate": mid - clock, "march": time.perf_counter() - mid}
    return FixedDye(start.species, fixed), report, seconds


def _ready(cloth: Cloth, laid: Laid, start: FixedDye, constants: Constants, threads: int) -> March:
    fabric = cloth.fabric
    takes = cloth.dyeable.astype(np.float64) * fabric.dyeable_share
    fibre = cloth.mass_per_area * cloth.pitch**2 * takes
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
    )


def _wash_out(
    march: March,
    laid: Laid,
    start: FixedDye,
    cloth: Cloth,
    spec: Round,
    caught: Floats,
    seed: int,
    round_number: int,
) -> tuple[Floats, Balance]:
    """Rinse: what is loose leaves, a little comes back; then the books are closed."""
    fibre = march.fibre
    loose = march.mass.sum(axis=0)
    back = wash.backstain(march.fixed, loose, fibre, march.sites, spec.wash, march.constants)
    powder = march.powder.sum(axis=0)
    code = chance.key(seed, "spots", round_number)
    stuck = wash.spots(cloth, powder, fibre > 0.0, spec.wash, code)
    stuck = wash.fitting(stuck, march.fixed + back, fibre, march.sites)
    fixed = march.fixed + back + stuck / np.maximum(fibre, 1e-30)[:, None]
    returned = float((back * fibre[:, None]).sum())
    missed = sum(float(masses.sum()) for _, masses in laid.over) * march.constants.ice_beside
    lit = caught > 0.0
    balance = Balance(
        laid=laid.laid,
        fixed=float(((fixed - start.amount) * fibre[:, None]).sum()),
        hydrolysed=float(march.spent.sum()),
        ran_off=float(march.lost[lit].sum()) + missed,
        drained=float(march.lost[~lit].sum()),
        washed_out=float(loose.sum()) - returned,
        undissolved=float(powder.sum()) - float(stuck.sum()),
    )
    return fixed, balance
