"""The corridor: a plan goes in, a predicted garment comes out."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

import numba as nb
import numpy as np
from threadpoolctl import threadpool_limits

from meltwick.bundle import build_bundle
from meltwick.bundle.tray import apart, one_bundle, one_cloth
from meltwick.cloth import build_cloth
from meltwick.cloth.wetting import wetted
from meltwick.colour import render
from meltwick.constants import Constants
from meltwick.errors import PlanError
from meltwick.plan import Plan, digest, resolve
from meltwick.seep.dyeing import dye
from meltwick.seep.levels import Effort
from meltwick.seep.melting import Piece
from meltwick.seep.powder import species_of, underneath
from meltwick.shares import measure_shares
from meltwick.stock import load_stock
from meltwick.types import (
    Accordion,
    Bundle,
    Cloth,
    FixedDye,
    Halve,
    Liquor,
    Look,
    Observer,
    PoleWrap,
    Recipe,
    Result,
    Rope,
    Rosettes,
    Round,
    RoundReport,
    Scrunch,
    Spiral,
    TubeWrap,
    Watch,
    Watcher,
)


def _quiet(stage: str, done: int, total: int) -> None:
    """Observe nothing."""


def simulate(
    plan: Plan,
    *,
    pitch: float = 2e-3,
    seed: int | None = None,
    start: FixedDye | None = None,
    constants: Constants | None = None,
    observer: Observer | None = None,
    threads: int = 2,
) -> Result:
    """Predict the garment that a plan gives.

    Parameters
    ----------
    plan : Plan
        Read by ``read_plan`` or ``plan_from_text``.
    pitch : float
        Size of a cell of cloth [m].
    seed : int, optional
        Of the hand, instead of the plan's.
    start : FixedDye, optional
        Dye already on the cloth; a plan that starts from photographs needs it, as
        `meltwick.photo.starting.started` reads it from them.
    constants : Constants, optional
        The model's numbers.
    observer : callable, optional
        Told of each stage's progress; a `Watcher` also sees the dye after each step.
    threads : int
        Threads for the march; the result does not depend on it.

    Returns
    -------
    Result

    Raises
    ------
    MeltwickError
        When the plan cannot be carried out.
    """
    return simulate_recipe(
        resolve(plan, load_stock()),
        pitch=pitch,
        seed=seed,
        start=start,
        constants=constants,
        observer=observer,
        threads=threads,
    )


def simulate_recipe(
    recipe: Recipe,
    *,
    pitch: float = 2e-3,
    seed: int | None = None,
    start: FixedDye | None = None,
    constants: Constants | None = None,
    observer: Observer | None = None,
    threads: int = 2,
) -> Result:
    """Predict the garment that a resolved plan gives: as `simulate`, with no stock to look in.

    Raises
    ------
    MeltwickError
        When the plan cannot be carried out.
    """
    constants = constants or Constants()
    if recipe.start is not None and start is None:
        raise PlanError(f"{recipe.name}: start: the photographs were not read before the piece")
    if seed is not None:
        recipe = _by_hand(recipe, seed)
    with threadpool_limits(limits=1, user_api="blas"):
        return run(
            recipe,
            digest(recipe, constants),
            pitch=pitch,
            start=start,
            constants=constants,
            observer=_quiet if observer is None else observer,
            threads=threads,
        )


def _by_hand(recipe: Recipe, seed: int) -> Recipe:
    """Let another hand make it, and other hands the pieces beside it, as many seeds further on."""
    rounds = tuple(
        replace(
            turn,
            beside=tuple(
                replace(piece, seed=(piece.seed + seed - recipe.seed) % 2**63)
                for piece in turn.beside
            ),
        )
        for turn in recipe.rounds
    )
    return replace(recipe, seed=seed, rounds=rounds)


def run(
    recipe: Recipe,
    name: str,
    *,
    pitch: float,
    start: FixedDye | None,
    constants: Constants,
    observer: Observer,
    threads: int,
) -> Result:
    """Carry out a resolved plan; ``name`` is its digest."""
    clock = time.perf_counter()
    cloth = wetted(build_cloth(recipe.blank, recipe.fabric, pitch), recipe.seed)
    with _at_most(threads if cloth.size > SMALL else 1):
        return _carry_out(recipe, name, cloth, clock, pitch, start, constants, observer, threads)


SMALL = 30_000
"""Cells below which threads lose more by waiting for each other than they gain."""


@contextmanager
def _at_most(threads: int) -> Iterator[None]:
    """Keep every compiled loop to so many threads."""
    before = nb.get_num_threads()
    nb.set_num_threads(min(threads, before))
    try:
        yield
    finally:
        nb.set_num_threads(before)


def _carry_out(
    recipe: Recipe,
    name: str,
    cloth: Cloth,
    clock: float,
    pitch: float,
    start: FixedDye | None,
    constants: Constants,
    observer: Observer,
    threads: int,
) -> Result:
    seconds: dict[str, float] = {"fold": 0.0, "colour": 0.0}
    beside: tuple[Result, ...] = ()
    fixed = underneath(start, species_of(recipe.dyes), cloth.size)
    watch = observer.watch if isinstance(observer, Watcher) else None
    reports: list[RoundReport] = []
    looks: list[Look] = []
    for number, spec in enumerate(recipe.rounds, start=1):
        tell = _told(observer, number, len(recipe.rounds))
        begun = time.perf_counter() if number > 1 else clock
        tell("folding", 0, 1)
        bundle = build_bundle(
            cloth,
            spec,
            neatness=recipe.neatness,
            seed=recipe.seed,
            constants=constants,
            round_number=number,
        )
        tell("folding", 1, 1)
        liquor = _liquor(spec, pitch, constants, threads) if spec.liquor else None
        seconds["fold"] += time.perf_counter() - begun
        tray = _tray(recipe, spec, cloth, bundle, fixed, number, pitch, constants)
        fixed, report, took = dye(
            tray.cloth,
            tray.bundle,
            spec,
            recipe.dyes,
            tray.start,
            damp=recipe.damp,
            seed=recipe.seed,
            round_number=number,
            effort=Effort.at(pitch),
            constants=constants,
            observer=tell,
            threads=threads,
            watch=_own(watch, cloth) if tray.others else watch,
            liquor=liquor,
            pieces=tray.pieces,
        )
        if tray.others:
            fixed, beside = _taken_out(tray, cloth, fixed, constants)
            report = replace(
                report,
                layers_mean=float(bundle.layers.mean()),
                exposed_share=float(bundle.exposed.mean()),
                strain99=bundle.strain99,
            )
        for stage, spent in took.items():
            seconds[stage] = seconds.get(stage, 0.0) + spent
        tell("colouring", 0, 1)
        begun = time.perf_counter()
        # a blend, and a patch that does not wet, show the dye of some fibre over all of it
        shown = replace(fixed, amount=fixed.amount * cloth.taking)
        looks.append(render(cloth, shown))
        shares = measure_shares(cloth, looks[-1])
        reports.append(replace(report, shares=shares.whole))
        seconds["colour"] += time.perf_counter() - begun
        tell("colouring", 1, 1)
    return Result(
        plan=recipe.name,
        digest=name,
        seed=recipe.seed,
        detail_pitch=pitch,
        cloth=cloth,
        fixed=fixed,
        look=looks[-1],
        shares=shares,
        rounds=tuple(reports),
        seconds=seconds,
        fold=_last_fold(recipe),
        looks=tuple(looks),
        beside=beside,
    )


@dataclass(frozen=True)
class _Tray:
    """All that lies in one tray, side by side; the first piece is the plan's own."""

    cloth: Cloth
    bundle: Bundle
    start: FixedDye
    pieces: tuple[Piece, ...] = ()
    others: tuple[tuple[Recipe, Cloth], ...] = ()


def _tray(
    recipe: Recipe,
    spec: Round,
    cloth: Cloth,
    bundle: Bundle,
    fixed: FixedDye,
    number: int,
    pitch: float,
    constants: Constants,
) -> _Tray:
    """Lay the pieces that share a round's tray beside its own."""
    if not spec.beside:
        return _Tray(cloth, bundle, fixed)
    cloths, bundles, pieces = [cloth], [bundle], [Piece(bundle, spec.powder, recipe.seed)]
    for other in spec.beside:
        (turn,) = other.rounds
        theirs = wetted(build_cloth(other.blank, other.fabric, pitch), other.seed)
        lies = replace(turn, incline=spec.incline, tub=spec.tub)
        lying = build_bundle(
            theirs,
            lies,
            neatness=other.neatness,
            seed=other.seed,
            constants=constants,
            round_number=number,
        )
        cloths.append(theirs)
        bundles.append(lying)
        pieces.append(Piece(lying, turn.powder, other.seed))
    whole = one_cloth(cloths)
    more = np.zeros((whole.size - cloth.size, len(fixed.species)))
    return _Tray(
        cloth=whole,
        bundle=one_bundle(bundles),
        start=FixedDye(fixed.species, np.vstack([fixed.amount, more])),
        pieces=tuple(pieces),
        others=tuple(zip(spec.beside, cloths[1:], strict=True)),
    )


def _taken_out(
    tray: _Tray, cloth: Cloth, fixed: FixedDye, constants: Constants
) -> tuple[FixedDye, tuple[Result, ...]]:
    """Take the pieces out of a tray: the plan's own, and what became of the others."""
    amounts = apart(fixed.amount, [cloth, *(other for _, other in tray.others)])
    found = []
    for (other, theirs), amount in zip(tray.others, amounts[1:], strict=True):
        dyed = FixedDye(fixed.species, amount)
        look = render(theirs, replace(dyed, amount=amount * theirs.taking))
        found.append(
            Result(
                plan=other.name,
                digest=digest(other, constants),
                seed=other.seed,
                detail_pitch=cloth.pitch,
                cloth=theirs,
                fixed=dyed,
                look=look,
                shares=measure_shares(theirs, look),
                rounds=(),
                seconds={},
                fold=_last_fold(other),
            )
        )
    return replace(fixed, amount=amounts[0]), tuple(found)


def _own(watch: Watch | None, cloth: Cloth) -> Watch | None:
    """Show a watcher the plan's own piece alone, not all of its tray."""
    if watch is None:
        return None
    return lambda moment: watch(
        replace(moment, cloth=cloth, amount=lambda: moment.amount()[: cloth.size])
    )


def _liquor(spec: Round, pitch: float, constants: Constants, threads: int) -> Liquor:
    """Run the piece above, and take the share of its last round's run-off that is caught."""
    caught = spec.liquor
    assert caught is not None
    above = run(
        caught.recipe,
        "",
        pitch=pitch,
        start=None,
        constants=constants,
        observer=_quiet,
        threads=threads,
    )
    whole = above.rounds[-1].liquor
    assert whole is not None
    return replace(
        whole,
        active=whole.active * caught.share,
        spent=whole.spent * caught.share,
        volume=whole.volume * caught.share,
        seconds=caught.seconds or whole.seconds,
    )


def _told(observer: Observer, number: int, count: int) -> Observer:
    """Name the round before each stage, where there is more than one."""
    if count == 1:
        return observer
    return lambda stage, done, total: observer(f"round {number}: {stage}", done, total)


_WORDS = {
    Halve: "halve",
    PoleWrap: "pole",
    Accordion: "accordion",
    Spiral: "spiral",
    Scrunch: "scrunch",
    Rosettes: "rosettes",
    Rope: "rope",
    TubeWrap: "tube",
}


def _last_fold(recipe: Recipe) -> str:
    folds = recipe.rounds[-1].folds if recipe.rounds else ()
    return _WORDS[type(folds[-1])] if folds else ""
