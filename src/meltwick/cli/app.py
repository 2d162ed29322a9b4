"""Put the commands together."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from meltwick.cli.aim import aim
from meltwick.cli.cache import cache
from meltwick.cli.collection import collection
from meltwick.cli.compare import compare
from meltwick.cli.explore import explore
from meltwick.cli.film import film
from meltwick.cli.guide import guide
from meltwick.cli.journal import build_journal
from meltwick.cli.learn import learn
from meltwick.cli.measure import measure
from meltwick.cli.mixing import group as swatch
from meltwick.cli.palette import palette
from meltwick.cli.plans import check, new
from meltwick.cli.preview import preview
from meltwick.cli.record import record
from meltwick.cli.redye import redye
from meltwick.cli.resize import resize
from meltwick.cli.sheet import sheet


def _show_version(wanted: bool) -> None:
    if wanted:
        from meltwick import __version__

        typer.echo(f"meltwick {__version__}")
        raise typer.Exit


def _start(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Say the version."),
    ] = False,
) -> None:
    """See an ice-dyed garment, and how much of it stays white, before any dye is spent."""


def build() -> Any:
    """Return the command, ready to be called with the words of the command line."""
    app = typer.Typer(
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback()(_start)
    app.command("preview", short_help="Draw the piece, and say how much stays white.")(preview)
    app.command("new", short_help="Start a plan that runs as it is.")(new)
    app.command("check", short_help="Say a plan step by step, with warnings.")(check)
    app.command("compare", short_help="Make settings by the same hands, side by side.")(compare)
    app.command("aim", short_help="Find the setting that keeps as much white as you wish.")(aim)
    app.command("explore", short_help="Spread plans over what may change, on one sheet.")(explore)
    app.command("learn", short_help="Learn from your own pieces what the book cannot say.")(learn)
    app.command("resize", short_help="Write a plan for another size of the garment.")(resize)
    app.command("redye", short_help="Propose second rounds over a photographed piece.")(redye)
    app.command("film", short_help="Film the colour as it spreads through the hours.")(film)
    app.command("guide", short_help="Draw where a plan folds, ties and lays.")(guide)
    app.command("sheet", short_help="Write the work sheet: gather, steps, times, cautions.")(sheet)
    app.command("collection", short_help="Show pieces together: board, shopping, calendar.")(
        collection
    )
    app.command("palette", short_help="Show the dyes in stock on the plan's cloth.")(palette)
    app.command("measure", short_help="Measure the white of a piece from a photograph.")(measure)
    app.command("record", short_help="Save a finished piece beside what was predicted.")(record)
    app.add_typer(
        build_journal(), name="journal", short_help="Look up what you recorded; keep it safe."
    )
    app.add_typer(swatch(), name="swatch", short_help="Read your own swatches; mix and show dyes.")
    app.command("cache", short_help="Say what is kept of earlier studies, or clear it.")(cache)
    return typer.main.get_command(app)
