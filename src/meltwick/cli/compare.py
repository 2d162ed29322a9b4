"""`compare`: settings of one or two keys, or several plans, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meltwick.cli.options import As, Debug, Detail, DryRun, Folder, Hands, OnCluster, Show
from meltwick.errors import PlanError

if TYPE_CHECKING:
    from meltwick.picture.plot import Plot
    from meltwick.plan.varying import Axis
    from meltwick.study.compare import Group, Setting

_FILES = ("compare.png", "compare.csv")


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
    dry_run: DryRun = False,
    cluster: OnCluster = None,
    profile: As = None,
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
    from meltwick.cli.runs import check_runs, forecast, run_settings, tiles_of, told
    from meltwick.cli.studying import profile_named, studying
    from meltwick.cli.writing import check_folder, write_together

    pitch, count = read_detail(detail), read_hands(hands)
    learned = profile_named(profile)
    settings, axes, name = _settings(plans or [], vary or [])
    check_runs(len(settings), count)
    folder = read_folder(out) if out is not None else Path(name)
    if not dry_run:
        check_folder(folder, _FILES)
    with studying(cluster, learned) as bench:
        if dry_run:
            typer.echo(forecast(settings, count, pitch, bench))
            return
        groups = run_settings(settings, count, pitch, bench)

    from meltwick.picture.contact import draw_contact
    from meltwick.picture.preview import as_file
    from meltwick.study.compare import as_csv

    title = _title(name, axes, count)
    columns = len(axes[1].values) if len(axes) == 2 else None
    picture = draw_contact(tiles_of(groups), title, columns=columns, plot=_plot(groups, axes))
    content = {_FILES[0]: as_file(picture, title, __version__), _FILES[1]: as_csv(groups).encode()}
    write_together(folder, content)
    where = f"The sheet is {folder / _FILES[0]}, the table is {folder / _FILES[1]}."
    for line in (*told(groups, learned), "", where):
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


def _title(name: str, axes: Sequence[Axis], hands: int) -> str:
    from meltwick.picture.preview import BETWEEN

    made = "one hand" if hands == 1 else f"{hands} hands each"
    what = " and ".join(axis.word for axis in axes) or "plans compared"
    drawn = ", the middle one drawn" if hands > 1 else ""
    return BETWEEN.join((name, what, made + drawn))


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
