"""`sheet`: the work sheet of a plan, to print or to hold at the bench."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meltwick.cli.options import Debug, Detail, Folder, PlanFile, shortened
from meltwick.errors import PlanError

if TYPE_CHECKING:
    from meltwick.picture.preview import Unit
    from meltwick.plan import Plan
    from meltwick.types import Recipe

_FILES = ("sheet.html", "sheet.png")
_UNDATED = datetime(2001, 1, 1)


def sheet(
    plan: PlanFile = None,
    out: Folder = None,
    detail: Detail = "draft",
    start: Annotated[
        str,
        typer.Option(metavar="TIME", help="When you begin: 10:00, or 2026-12-05 10:00."),
    ] = "10:00",
    bare: Annotated[
        bool, typer.Option("--bare", help="Leave the prediction out: nothing is simulated.")
    ] = False,
    show: Annotated[bool, typer.Option("--open", help="Open the sheet when it is done.")] = False,
    debug: Debug = False,
) -> None:
    """Write the work sheet: what to gather, how to fold, each step and when, and the cautions.

    It is one HTML file, which a browser prints on A4 or Letter, and the same as a picture.

    Example: meltwick sheet harbour-tee.toml --start "2026-12-05 9:30"
    """
    from meltwick import __version__
    from meltwick.cli.machine import prepare_kernels, require_memory, show_picture
    from meltwick.cli.preview import by_key, read_detail, read_folder, unit_of
    from meltwick.cli.writing import check_folder, write_together
    from meltwick.plan import example_plan, read_plan, resolve
    from meltwick.stock import load_stock

    pitch, (begins, dated) = read_detail(detail), read_start(start)
    wanted = read_plan(plan) if plan is not None else example_plan()
    unit = unit_of(plan)
    recipe = resolve(wanted, load_stock())
    folder = read_folder(out) if out is not None else Path(recipe.name)
    check_folder(folder, _FILES)
    require_memory(recipe, pitch)
    prepare_kernels(announce=not bare)
    with by_key(recipe):
        expect, pictures = ([], {}) if bare else _predicted(wanted, recipe, pitch, unit)
        pictures.update(guides(recipe, pitch, unit))

        from meltwick.picture.preview import as_file
        from meltwick.worksheet import sheet_html, work_sheet
        from meltwick.worksheet.poster import draw_sheet

        made = work_sheet(recipe, begins, dated=dated, expect=expect, pictures=pictures)
    poster = as_file(draw_sheet(made), f"{recipe.name}, work sheet", __version__)
    content = {_FILES[0]: sheet_html(made, __version__).encode(), _FILES[1]: poster}
    write_together(folder, content)
    typer.echo(f"The work sheet is {folder / _FILES[0]}; as a picture it is {folder / _FILES[1]}.")
    typer.echo("Read what it says under Take care before you open a jar.")
    if show:
        show_picture(folder / _FILES[0])


def read_start(text: str) -> tuple[datetime, bool]:
    """Read a time of day, or a day and a time; say whether there was a day.

    Raises
    ------
    PlanError
        If it is neither.
    """
    found = re.fullmatch(
        r"(?:([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})[ T]?)?\s*(?:([0-9]{1,2}):([0-9]{2}))?",
        text.strip(),
    )
    if found and text.strip():
        year, month, day, hour, minute = found.groups()
        try:
            at = _UNDATED if year is None else datetime(int(year), int(month), int(day))
            at = at.replace(hour=int(hour or 10), minute=int(minute or 0))
            return at, year is not None
        except ValueError:
            pass
    short = shortened(text)
    raise PlanError(
        f"--start: {short} is not a time such as 10:00, or a day and a time such as "
        '"2026-12-05 10:00"'
    )


def _predicted(
    plan: Plan, recipe: Recipe, pitch: float, unit: Unit
) -> tuple[list[str], dict[str, bytes]]:
    """Say what to expect and draw it, from a run that may be kept from before."""
    from meltwick import __version__
    from meltwick.cli.runs import results_of
    from meltwick.cli.words import doubt_sentence, sentence
    from meltwick.picture.preview import preview_png

    (result,) = results_of([plan], [recipe], pitch)
    title = f"{recipe.name}, as it is expected"
    picture = preview_png(result, version=__version__, unit=unit)
    return [sentence(result), doubt_sentence(result, hint=False)], {title: picture}


def guides(recipe: Recipe, pitch: float, unit: Unit) -> dict[str, bytes]:
    """Draw every round's flat piece and bundle, by title."""
    from meltwick.cli.guide import drawn

    pictures = {}
    for number in range(1, len(recipe.rounds) + 1):
        which = "" if len(recipe.rounds) == 1 else f", round {number}"
        flat, bundle = drawn(recipe, number, pitch, unit, steps=False)
        pictures[f"Where it is folded and tied{which}"] = flat
        pictures[f"The bundle as it lies{which}"] = bundle
    return pictures
