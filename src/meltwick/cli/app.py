"""Put the commands together."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from typing import Annotated, Any

import typer

COMMANDS = {
    "preview": ("preview", "preview", "Draw the piece, and say how much stays white."),
    "new": ("plans", "new", "Start a plan that runs as it is."),
    "check": ("plans", "check", "Say a plan step by step, with warnings."),
    "compare": ("compare", "compare", "Make settings by the same hands, side by side."),
    "aim": ("aim", "aim", "Find the setting that keeps as much white as you wish."),
    "explore": ("explore", "explore", "Spread plans over what may change, on one sheet."),
    "learn": ("learn", "learn", "Learn from your own pieces what the book cannot say."),
    "resize": ("resize", "resize", "Write a plan for another size of the garment."),
    "redye": ("redye", "redye", "Propose second rounds over a photographed piece."),
    "film": ("film", "film", "Film the colour as it spreads through the hours."),
    "guide": ("guide", "guide", "Draw where a plan folds, ties and lays."),
    "sheet": ("sheet", "sheet", "Write the work sheet: gather, steps, times, cautions."),
    "collection": (
        "collection",
        "collection",
        "Show pieces together: board, shopping, calendar.",
    ),
    "palette": ("palette", "palette", "Show the dyes in stock on the plan's cloth."),
    "measure": ("measure", "measure", "Measure the white of a piece from a photograph."),
    "record": ("record", "record", "Save a finished piece beside what was predicted."),
    "cache": ("cache", "cache", "Say what is kept of earlier studies, or clear it."),
}
"""By name: module of this package, function, and the line of the general help."""

GROUPS = {
    "journal": ("journal", "build_journal", "Look up what you recorded; keep it safe."),
    "swatch": ("mixing", "group", "Read your own swatches; mix and show dyes."),
}
"""The same of commands that have commands of their own."""


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


def build(words: Sequence[str] | None = None) -> Any:
    """Return the command, ready to be called with the words of the command line.

    Parameters
    ----------
    words : sequence of str, optional
        Those words: only the command that they name is loaded, and the others stand with their
        lines of help alone. All are loaded where none are given.
    """
    app = typer.Typer(
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback()(_start)
    called = None if words is None else next((w for w in words if not w.startswith("-")), "")
    for name, (module, function, line) in COMMANDS.items():
        wanted = called in (None, name)
        app.command(name, short_help=line)(_loaded(module, function) if wanted else _later)
    for name, (module, function, line) in GROUPS.items():
        if called in (None, name):
            app.add_typer(_loaded(module, function)(), name=name, short_help=line)
        else:
            app.command(name, short_help=line)(_later)
    return typer.main.get_command(app)


def _loaded(module: str, function: str) -> Any:
    return getattr(import_module(f"meltwick.cli.{module}"), function)


def _later() -> None:
    """Stand for a command that was not called."""
