"""What the commands that make many settings share: the runs, how long they take, the words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from meltwick.cli.words import CLASSES, percent, percents, profile_lines
from meltwick.errors import PlanError

if TYPE_CHECKING:
    from meltwick.cli.studying import Bench
    from meltwick.journal.profiles import Profile
    from meltwick.picture.contact import Tile
    from meltwick.plan import Plan
    from meltwick.study.compare import Group, Setting
    from meltwick.study.outcome import Asked, Outcome, Task
    from meltwick.types import Recipe, Result

MOST_RUNS = 2000
_READ = 40
"""Kept runs that are looked for, to learn how long one takes."""


def check_runs(settings: int, hands: int, option: str = "--vary") -> None:
    """Refuse more runs than may be made at once.

    Raises
    ------
    PlanError
        Naming the option that asks for them.
    """
    if settings * hands > MOST_RUNS:
        raise PlanError(
            f"{option}: {settings} settings by {hands} hands are {settings * hands} runs; "
            f"at most {MOST_RUNS} may be made at once"
        )


def crew(tasks: Sequence[Asked], recipes: Sequence[Recipe], pitch: float, bench: Bench) -> int:
    """Refuse runs that the memory cannot hold, and count the workers."""
    from meltwick.cli.machine import require_memory, species_count, workers_for

    sizes: list[tuple[object, ...]] = []  # recipes of one garment take the same memory
    apart: list[Recipe] = []
    for recipe in recipes:
        if (size := (recipe.blank, recipe.fabric, species_count(recipe))) not in sizes:
            sizes.append(size)
            apart.append(recipe)
    there = bench.cluster
    for recipe in apart:
        if there is None:
            require_memory(recipe, pitch)
        else:
            require_memory(recipe, pitch, there.memory, "the smallest worker")
    if there is not None:
        return min(len(tasks), there.workers)
    return min(workers_for(recipe, pitch, len(tasks)) for recipe in apart)


FEW, LOADING = 8, 1.0
"""Runs, and seconds that they take one core, up to which workers would take longer to load."""


def _soon_made(count: int, recipes: Sequence[Recipe], pitch: float) -> bool:
    """Tell whether so many runs are done before workers would have loaded what they need."""
    from meltwick.cli.machine import cells_of
    from meltwick.study.queue import expected_seconds

    if count > FEW:  # the garments are not looked at, so that workers start at once
        return False
    work = max(cells_of(recipe, pitch) * len(recipe.rounds) for recipe in recipes)
    return expected_seconds([work] * count, (), 1) <= LOADING


def _make(
    tasks: Sequence[Task], recipes: Sequence[Recipe], pitch: float, bench: Bench
) -> list[Outcome]:
    """Make every run that is not kept, with progress on standard error.

    Workers are started before the memory is looked at, which takes as long as they take to load;
    what is soon done is made in this process.
    """
    from contextlib import ExitStack

    from meltwick.cli.machine import tell_of_kernels
    from meltwick.cli.progress import Tally
    from meltwick.study.kernels import settle_kernels
    from meltwick.study.queue import missing, processes, run_all
    from meltwick.study.workers import usable_cores

    there, folder = bench.cluster, settle_kernels()
    rest = len(missing(tasks, bench.store))
    most = 1 if there is None and _soon_made(rest, recipes, pitch) else usable_cores()
    early = 0 if there is not None else min(rest, most)
    with ExitStack() as hired:
        executor = hired.enter_context(processes(early)) if early > 1 else None
        workers = crew(tasks, recipes, pitch, bench)
        if there is None:
            workers = min(workers, most)
        if workers < early:  # so many would not fit
            hired.close()
            executor = None
        tell_of_kernels(folder, announce=there is None)
        with Tally() as tally:
            return run_all(
                tasks,
                store=bench.store,
                executor=executor if there is None else there.executor,
                workers=workers,
                tally=tally,
            )


def _recipes(settings: Sequence[Setting]) -> list[Recipe]:
    from meltwick.plan import resolve
    from meltwick.stock import load_stock

    stock = load_stock()
    return [resolve(setting.plan, stock) for setting in settings]


def run_settings(
    settings: Sequence[Setting], hands: int, pitch: float, bench: Bench
) -> list[Group]:
    """Make every run of some settings that is not kept."""
    from meltwick.study.compare import groups_of, tasks_of

    tasks = tasks_of(settings, hands, pitch, bench.constants)
    return groups_of(settings, hands, _make(tasks, _recipes(settings), pitch, bench))


def results_of(plans: Sequence[Plan], recipes: Sequence[Recipe], pitch: float) -> list[Result]:
    """Return what each plan's own hand makes: kept from before, or made now and kept."""
    from meltwick.cli.studying import studying
    from meltwick.cloth import build_cloth
    from meltwick.study.outcome import Task, as_result

    tasks = [Task(plan, plan.seed, pitch) for plan in plans]
    with studying(None) as bench:
        outcomes = _make(tasks, recipes, pitch, bench)
    return [
        as_result(outcome, build_cloth(recipe.blank, recipe.fabric, pitch))
        for outcome, recipe in zip(outcomes, recipes, strict=True)
    ]


def forecast(settings: Sequence[Setting], hands: int, pitch: float, bench: Bench) -> str:
    """Say how many runs a study needs and about how long they take."""
    from meltwick.cli.machine import cells_of
    from meltwick.study.compare import tasks_of
    from meltwick.study.outcome import run_key
    from meltwick.study.queue import expected_seconds, missing

    tasks, recipes = tasks_of(settings, hands, pitch, bench.constants), _recipes(settings)
    store = bench.store
    workers = crew(tasks, recipes, pitch, bench)
    keys = list(dict.fromkeys(map(run_key, tasks)))
    known = [found for key in keys[:_READ] if (found := store.get(key)) is not None]
    kept = [key for key in keys if key in store]
    rest = missing(tasks, store)
    work = {
        id(setting.plan): cells_of(recipe, pitch) * len(recipe.rounds)
        for setting, recipe in zip(settings, recipes, strict=True)
    }
    loads = [work[id(task.plan)] for task in rest]
    seconds = expected_seconds(loads, known, workers)
    are = "is" if len(kept) == 1 else "are"
    there = f", of which {len(kept)} {are} kept from before" if kept else ""
    total = len(rest) + len(kept)
    runs = "1 run" if total == 1 else f"{total} runs"
    cores = "1 core" if workers == 1 else f"{workers} cores"
    where = "" if bench.cluster is None else f" of the cluster at {bench.cluster.address}"
    return f"{runs}{there}; {about(seconds)} on {cores}{where}."


def about(seconds: float) -> str:
    """Say how long something takes, as far as it is worth saying."""
    if seconds < 1.0:
        return "no time"
    if seconds < 90.0:
        return f"about {5 * round(seconds / 5 + 0.5)} s"
    if seconds < 5400.0:
        return f"about {seconds / 60:.0f} min"
    return f"about {seconds / 3600:.1f} h"


# ------------------------------------------------------------------------------- the words


def _span(group: Group) -> str:
    white = group.shares()
    return percents(min(white), max(white))


def told(groups: Sequence[Group], profile: Profile | None = None) -> list[str]:
    """Say which setting keeps the most white and which the least, and the table of all."""
    from meltwick.study.compare import surely_whiter

    ordered = sorted(groups, key=lambda group: group.median())
    least, most = ordered[0], ordered[-1]
    hands = len(most.outcomes)
    lines = [
        f"{most.setting.short} keeps the most white, {percent(most.median())} %, "
        f"{least.setting.short} the least, {percent(least.median())} %."
    ]
    if hands > 1:
        sure = surely_whiter(most, least)
        lines.append(
            f"Each of {hands} hands agrees." if sure else "Not every hand agrees: too near to tell."
        )
    lines.append(
        "What differs between settings is surer than how much each keeps; see docs/sensitivity.md."
    )
    lines += profile_lines(profile)
    wide = max(12, *(len(group.setting.label) for group in groups))
    head = "  ".join(f"{name:>7}" for name in CLASSES)
    lines += ["", f"{'':<{wide}}  {head}    white by hand"]
    for group in groups:
        row = "  ".join(f"{100 * group.median(name):5.0f} %" for name in CLASSES)
        lines.append(f"{group.setting.label:<{wide}}  {row}    {_span(group)}")
    return lines


def tiles_of(groups: Sequence[Group]) -> list[Tile]:
    """Put the middle piece of every setting on a tile of the contact sheet."""
    from meltwick.cloth import build_cloth
    from meltwick.picture.contact import Tile
    from meltwick.plan import resolve
    from meltwick.shares import dyed_to_white
    from meltwick.stock import load_stock
    from meltwick.study.outcome import as_result

    stock, tiles = load_stock(), []
    for group in groups:
        recipe, piece = resolve(group.setting.plan, stock), group.typical
        cloth = build_cloth(recipe.blank, recipe.fabric, piece.pitch)
        white = group.shares()
        line = f"{dyed_to_white(piece.white)} dyed to {recipe.fabric.ground_name}"
        tiles.append(
            Tile(
                result=as_result(piece, cloth),
                label=group.setting.label,
                line=line if len(white) == 1 else f"{line}, {_span(group)}",
                shares=[piece.share(name) for name in CLASSES],
                low=min(white),
                high=max(white),
            )
        )
    return tiles
