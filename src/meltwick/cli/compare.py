"""`compare`: settings of one or two keys, or several plans, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meltwick.cli.options import Debug, Detail, Folder, Hands, Show
from meltwick.cli.words import CLASSES, percent, percents
from meltwick.errors import PlanError

if TYPE_CHECKING:
    from meltwick.picture.contact import Tile
    from meltwick.picture.plot import Plot
    from meltwick.plan.varying import Axis
    from meltwick.study.compare import Group, Setting
    from meltwick.study.outcome import Task

_FILES = ("compare.png", "compare.csv")
MOST_RUNS = 2000


def compare(
    plans: Annotated[
        list[str] | None,
        typer.Argument(metavar="PLAN", help="One plan to vary, or several; none for ours."),
    ] = None,
    vary: Annotated[
        list[str] | None,
        typer.Option(metavar="KEY=V1,V2", help="A key and its values; a second makes a grid."),
    ] = None,
    hands: Hands = "5",
    detail: Detail = "draft",
    out: Folder = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say how many runs and how long, and make none.")
    ] = False,
    show: Show = False,
    debug: Debug = False,
) -> None:
    """Make every setting of a key by the same hands, and show them side by side.

    A key may be written short, as in spacing; values are as in a plan, a range is low..high/count.
    Runs are kept, so a study that was ended goes on where it was.

    Example: meltwick compare harbour-tee.toml --vary spacing=10mm..50mm/5
    """
    from meltwick import __version__
    from meltwick.cli.machine import show_picture
    from meltwick.cli.preview import read_detail, read_folder, read_hands
    from meltwick.cli.writing import check_folder, write_together

    pitch, count = read_detail(detail), read_hands(hands)
    settings, axes, name = _settings(plans or [], vary or [])
    if len(settings) * count > MOST_RUNS:
        raise PlanError(
            f"--vary: {len(settings)} settings by {count} hands are {len(settings) * count} runs; "
            f"at most {MOST_RUNS} may be made at once"
        )
    folder = read_folder(out) if out is not None else Path(name)
    if dry_run:
        typer.echo(forecast(settings, count, pitch))
        return
    check_folder(folder, _FILES)
    groups = run_settings(settings, count, pitch)

    from meltwick.picture.contact import draw_contact
    from meltwick.picture.preview import as_file
    from meltwick.study.compare import as_csv

    title = _title(name, axes, count)
    columns = len(axes[1].values) if len(axes) == 2 else None
    picture = draw_contact(_tiles(groups), title, columns=columns, plot=_plot(groups, axes))
    content = {_FILES[0]: as_file(picture, title, __version__), _FILES[1]: as_csv(groups).encode()}
    write_together(folder, content)
    where = f"The sheet is {folder / _FILES[0]}, the table is {folder / _FILES[1]}."
    for line in (*told(groups), "", where):
        typer.echo(line)
    if show:
        show_picture(folder / _FILES[0])


def _settings(plans: list[str], vary: list[str]) -> tuple[list[Setting], Sequence[Axis], str]:
    """Read the plans and the keys: the settings, the keys, and the folder's name."""
    from meltwick.cli.varied import read_varied
    from meltwick.plan import read_plan
    from meltwick.plan.varying import read_axis
    from meltwick.study.compare import Setting, settings_of

    if len(plans) > 1:
        if vary:
            raise PlanError("--vary: one plan is varied at a time; leave --vary or the others out")
        read = [read_plan(plan) for plan in plans]
        labels = {plan.name for plan in read}
        if len(labels) < len(read):
            raise PlanError('two of the plans have one name; give each its own, name = "..."')
        return [Setting({}, plan) for plan in read], [], f"{read[0].name}-and-others"
    if not vary:
        raise PlanError(
            "nothing to compare; write --vary KEY=V1,V2 such as --vary tie.spacing=10mm,25mm, "
            "or several plans"
        )
    if len(vary) > 2:
        raise PlanError(f"--vary: {len(vary)} keys are written; at most two may be varied at once")
    path = plans[0] if plans else None
    varied = read_varied(path, vary, lambda each, plan, _: read_axis(each, plan))
    settings = settings_of(varied.text, varied.where, varied.axes)
    return settings, varied.axes, varied.plan.name


def _crew(settings: Sequence[Setting], hands: int, pitch: float) -> tuple[list[Task], int]:
    """List the runs, refuse those that the memory cannot hold, and count the workers."""
    from meltwick.cli.machine import require_memory, workers_for
    from meltwick.plan import resolve
    from meltwick.stock import load_stock
    from meltwick.study.compare import tasks_of

    stock, tasks = load_stock(), tasks_of(settings, hands, pitch)
    recipes = [resolve(setting.plan, stock) for setting in settings]
    for recipe in recipes:
        require_memory(recipe, pitch)
    return tasks, min(workers_for(recipe, pitch, len(tasks)) for recipe in recipes)


def run_settings(settings: Sequence[Setting], hands: int, pitch: float) -> list[Group]:
    """Make every run of some settings that is not kept, with progress on standard error."""
    from meltwick.cli.failing import say
    from meltwick.cli.machine import prepare_kernels
    from meltwick.cli.progress import Tally
    from meltwick.study.compare import groups_of
    from meltwick.study.queue import run_all
    from meltwick.study.store import Store

    tasks, workers = _crew(settings, hands, pitch)
    store = Store()
    prepare_kernels()
    with Tally() as tally:
        outcomes = run_all(tasks, store=store, workers=workers, tally=tally)
    if store.damaged:
        say(f"{store.damaged} kept runs were damaged and have been made again.")
    return groups_of(settings, hands, outcomes)


def forecast(settings: Sequence[Setting], hands: int, pitch: float) -> str:
    """Say how many runs a study needs and about how long they take."""
    from meltwick.cli.machine import cells_of
    from meltwick.plan import resolve
    from meltwick.stock import load_stock
    from meltwick.study.outcome import run_key
    from meltwick.study.queue import expected_seconds, missing
    from meltwick.study.store import Store

    tasks, workers = _crew(settings, hands, pitch)
    store, stock = Store(), load_stock()
    rest = missing(tasks, store)
    kept = {key: None for task in tasks if (key := run_key(task)) in store}
    known = [found for key in list(kept)[:9] if (found := store.get(key)) is not None]
    loads = []
    for task in rest:
        recipe = resolve(task.plan, stock)
        loads.append(cells_of(recipe, task.pitch) * len(recipe.rounds))
    seconds = expected_seconds(loads, known, workers)
    there = f", of which {len(kept)} are kept from before" if kept else ""
    total = len(rest) + len(kept)
    runs = "1 run" if total == 1 else f"{total} runs"
    cores = "1 core" if workers == 1 else f"{workers} cores"
    return f"{runs}{there}; {_about(seconds)} on {cores}."


def _about(seconds: float) -> str:
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


def told(groups: Sequence[Group]) -> list[str]:
    """Say which setting keeps the most white and which the least, and the table of all."""
    from meltwick.study.compare import surely_whiter

    ordered = sorted(groups, key=lambda group: group.median())
    least, most = ordered[0], ordered[-1]
    hands = len(most.outcomes)
    lines = [
        f"{most.setting.label} keeps the most white, {percent(most.median())} %, "
        f"{least.setting.label} the least, {percent(least.median())} %."
    ]
    if hands > 1:
        sure = surely_whiter(most, least)
        lines.append(
            f"Each of {hands} hands agrees." if sure else "Not every hand agrees: too near to tell."
        )
    lines.append(
        "What differs between settings is surer than how much each keeps; see docs/sensitivity.md."
    )
    wide = max(12, *(len(group.setting.label) for group in groups))
    head = "  ".join(f"{name:>7}" for name in CLASSES)
    lines += ["", f"{'':<{wide}}  {head}    white by hand"]
    for group in groups:
        row = "  ".join(f"{100 * group.median(name):5.0f} %" for name in CLASSES)
        lines.append(f"{group.setting.label:<{wide}}  {row}    {_span(group)}")
    return lines


def _title(name: str, axes: Sequence[Axis], hands: int) -> str:
    from meltwick.picture.preview import BETWEEN

    made = "one hand" if hands == 1 else f"{hands} hands each"
    what = " and ".join(axis.word for axis in axes) or "plans compared"
    drawn = ", the middle one drawn" if hands > 1 else ""
    return BETWEEN.join((name, what, made + drawn))


def _tiles(groups: Sequence[Group]) -> list[Tile]:
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


def _plot(groups: Sequence[Group], axes: Sequence[Axis]) -> Plot | None:
    """Plot the white against the last key; of two keys, a line for each value of the first."""
    from meltwick.picture.plot import Line, Plot, places_of

    if not axes or len(axes[-1].values) < 2:
        return None
    key, count = axes[-1], len(axes[-1].values)
    rows = [groups[n : n + count] for n in range(0, len(groups), count)]
    names = axes[0].values if len(axes) == 2 else ("",)
    return Plot(
        key=key.word,
        what="white",
        ticks=key.values,
        places=places_of([number_of(value) for value in key.values]),
        lines=[
            Line(name, [group.shares() for group in row], [group.median() for group in row])
            for name, row in zip(names, rows, strict=True)
        ],
    )


def number_of(value: str) -> float | None:
    """Return what a value measures, in SI units; None for a word."""
    from meltwick.units import EXAMPLES, QuantityError, parse_one_of

    try:
        return float(value)
    except ValueError:
        pass
    try:
        return parse_one_of(value, tuple(EXAMPLES))[1]
    except QuantityError:
        return None
