"""`explore`: a spread of plans in a space that the maker names, and any of them as a plan."""

from __future__ import annotations

import re
import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meltwick.cli.options import As, Debug, Detail, DryRun, Hands, OnCluster, PlanFile, Show
from meltwick.errors import PlanError

if TYPE_CHECKING:
    from meltwick.cli.varied import Varied
    from meltwick.study.compare import Group
    from meltwick.study.explore import Spread
    from meltwick.study.space import Space

_FILES = ("explore.png", "explore.csv")
_MOST = 200
_LABEL_LINES = 3


def explore(
    plan: PlanFile = None,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KEY=LOW..HIGH",
            help="A key and its range, or KEY=V1,V2; pole alone: any in stock. Up to eight.",
        ),
    ] = None,
    palette: Annotated[
        list[str] | None,
        typer.Option(metavar="DYES", help='Dyes in stock, in order: "coral, plum".'),
    ] = None,
    n: Annotated[
        str, typer.Option("--n", metavar="N", help="How many plans to make, 1 to 200.")
    ] = "24",
    hands: Hands = "1",
    detail: Detail = "draft",
    take: Annotated[
        str | None,
        typer.Option(metavar="NUMBER", help="Write the plan of one tile, and run nothing."),
    ] = None,
    out: Annotated[
        str | None,
        typer.Option(metavar="DIR", help="Where to write; with --take the new plan's file."),
    ] = None,
    dry_run: DryRun = False,
    cluster: OnCluster = None,
    profile: As = None,
    show: Show = False,
    debug: Debug = False,
) -> None:
    """Spread plans evenly over what may change, and show them on one sheet.

    Ranges are rounded to what a hand can set. fold=pole,spiral folds it another way, with that
    fold's defaults. Each tile has a number, the same for any --n; --take writes it as a plan.

    Example: meltwick explore harbour-tee.toml --vary spacing=10mm..60mm --vary bias=0deg..90deg
    """
    from meltwick.cli.machine import prepare_kernels, show_picture
    from meltwick.cli.preview import read_detail, read_folder, read_hands
    from meltwick.cli.runs import check_runs, forecast, run_settings, told
    from meltwick.cli.studying import profile_named, studying
    from meltwick.cli.writing import check_folder

    pitch, crew = read_detail(detail), read_hands(hands)
    count = _whole(n, "--n", _MOST)
    wanted = None if take is None else _whole(take, "--take", _MOST)
    check_runs(count, crew, "--n")
    learned = profile_named(profile)
    prepare_kernels(announce=wanted is None and not dry_run)
    varied, space = _space(plan, vary or [], palette or [])
    if wanted is not None:
        _write_plan(varied, space, wanted, out)
        return
    folder = read_folder(out) if out is not None else Path(varied.plan.name)
    spread = _spread(space, count)
    if not dry_run:
        check_folder(folder, _FILES)
    with studying(cluster, learned) as bench:
        if dry_run:
            told_first = _counted(spread, count, "would be made")
            typer.echo("\n".join((*told_first, forecast(spread.settings, crew, pitch, bench))))
            return
        groups = run_settings(spread.settings, crew, pitch, bench)
    _draw(groups, space, varied.plan.name, folder)
    best = max(groups, key=lambda group: group.median()).setting.number
    lines = [
        *told(groups, learned),
        "",
        *_counted(spread, count),
        f"The sheet is {folder / _FILES[0]}, the table is {folder / _FILES[1]}.",
        f"Next, #{best} as a plan: {_again(plan, vary or [], palette or [])} --take {best}",
    ]
    typer.echo("\n".join(lines))
    if show:
        show_picture(folder / _FILES[0])


def _whole(text: str, option: str, most: int) -> int:
    if not re.fullmatch("[0-9]{1,6}", text.strip()) or not 1 <= int(text) <= most:
        raise PlanError(f"{option}: {text[:40]!r} is not a whole number from 1 to {most}")
    return int(text)


def _space(path: str | None, vary: list[str], palettes: list[str]) -> tuple[Varied, Space]:
    from meltwick.cli.varied import read_varied
    from meltwick.stock import load_stock
    from meltwick.study.space import read_space

    if not vary and not palettes:
        raise PlanError(
            "nothing to explore; write what may change, such as --vary tie.spacing=10mm..60mm "
            '--vary fold=pole,spiral, or --palette "coral, plum"'
        )
    varied = read_varied(path)
    space = read_space(varied.text, varied.where, varied.plan, vary, palettes, load_stock())
    return varied, space


def _spread(space: Space, count: int) -> Spread:
    """Find so many plans, or as many as there are.

    Raises
    ------
    PlanError
        If none can be made: why the first cannot.
    """
    from meltwick.study.explore import spread

    found = spread(space, count)
    if not found.settings:
        raise PlanError(f"none of these settings makes a plan; the first, {found.fault}")
    return found


def _again(path: str | None, vary: list[str], palettes: list[str]) -> str:
    """Write the same command anew, as far as it says which plans there are."""
    again = ["meltwick", "explore", *([path] if path else [])]
    again += [word for each in vary for word in ("--vary", each)]
    again += [word for each in palettes for word in ("--palette", each)]
    return shlex.join(again)


def _counted(spread: Spread, count: int, made: str = "were made") -> list[str]:
    """Say how many plans there are, and what was passed over."""
    found, lost = len(spread.settings), spread.skipped
    plans = "1 plan" if found == 1 else f"{found} plans"
    lines = [f"{plans} {made}."]
    if found < count:
        few = f"The space holds no more than {plans}" if spread.whole else f"No more than {plans}"
        lines = [f"{few}{'' if spread.whole else ' could be found'}, fewer than {count}."]
    if lost:
        points = "1 point makes no plan and was" if lost == 1 else f"{lost} points make no plan and"
        points += "" if lost == 1 else " were"
        lines.append(f"{points} left out; the first, {spread.fault}")
    return lines


def _draw(groups: Sequence[Group], space: Space, name: str, folder: Path) -> None:
    """Write the sheet and the table."""
    from meltwick import __version__
    from meltwick.cli.runs import tiles_of
    from meltwick.cli.writing import write_together
    from meltwick.picture.contact import draw_contact
    from meltwick.picture.preview import BETWEEN, as_file
    from meltwick.stock.reading import listed
    from meltwick.study.compare import as_csv

    hands = len(groups[0].outcomes)
    made = "one hand" if hands == 1 else f"{hands} hands each, the middle one drawn"
    title = BETWEEN.join((name, listed(space.told, "and"), made))
    picture = draw_contact(tiles_of(groups), title, lines=_LABEL_LINES)
    table = as_csv(groups, space.told)
    content = {_FILES[0]: as_file(picture, title, __version__), _FILES[1]: table.encode()}
    write_together(folder, content)


def _write_plan(varied: Varied, space: Space, number: int, out: str | None) -> None:
    """Write the plan of one tile."""
    from meltwick.cli.varied import place_for, write_varied
    from meltwick.cli.writing import quoted

    found = _spread(space, number)
    if len(found.settings) < number:
        raise PlanError(
            f"--take: there is no #{number}; the numbers go up to {len(found.settings)} here"
        )
    chosen = found.settings[number - 1]
    path = place_for(varied, str(number), out)
    write_varied(found.texts[number - 1], varied, path)
    typer.echo(f"{chosen.label}: the plan is {path}. Next: meltwick preview {quoted(path)}")
