"""`palette`: the stock's dyes on the plan's cloth, pale, medium and dark."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from meltwick.cli.options import Debug, Folder, PlanFile, Show

if TYPE_CHECKING:
    from meltwick.picture.palette import Chip
    from meltwick.types import Fabric

FILE = "palette.png"
LIGHT, DARK = 55.0, 40.0  # L* at 2 %: light above the one, dark below the other; chosen


def record(chip: Chip) -> dict[str, Any]:
    """Return one dye as scripts read it."""
    from meltwick.picture.palette import MEDIUM

    dye = chip.dye
    red, green, blue = (round(255.0 * part) for part in chip.shades[MEDIUM])
    return {
        "name": dye.name,
        "components": [
            {"name": part.name, "share": round(share, 6), "note": part.note}
            for part, share in dye.parts
        ],
        "colour": f"#{red:02x}{green:02x}{blue:02x}",
        "single": len(dye.parts) == 1 and dye.splitting_known,
    }


def _lists(shown: Sequence[Chip]) -> list[str]:
    """Name the light, the middle and the dark dyes, a line each."""
    groups: dict[str, list[str]] = {"Light": [], "Middle": [], "Dark": []}
    for chip in shown:
        light = chip.lightness >= LIGHT
        word = "Light" if light else "Dark" if chip.lightness < DARK else "Middle"
        groups[word].append(chip.dye.name)
    return [f"{word}: {', '.join(names)}." for word, names in groups.items() if names]


def told(shown: Sequence[Chip], fabric: Fabric, path: Path) -> list[str]:
    """Say in a few lines what was drawn and where it is."""
    from meltwick.picture.palette import takes_dye

    lines = (
        _lists(shown)
        if takes_dye(fabric)
        else [f"{fabric.name.capitalize()} takes no reactive dye: every swatch stays undyed."]
    )
    count = f"{len(shown)} dye{'' if len(shown) == 1 else 's'}"
    return [*lines, f"The picture of {count} on {fabric.name} is {path}."]


def palette(
    plan: PlanFile = None,
    out: Folder = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the dyes as a JSON list, and nothing else.")
    ] = False,
    show: Show = False,
    debug: Debug = False,
) -> None:
    """Show every dye in stock on the plan's cloth, light ones first: pale, medium and dark.

    Example: meltwick palette harbour-tee.toml
    """
    from meltwick import __version__
    from meltwick.cli.machine import show_picture
    from meltwick.cli.preview import read_folder
    from meltwick.cli.writing import check_folder, write_together
    from meltwick.plan import example_plan, read_plan, resolve
    from meltwick.stock import load_stock

    stock = load_stock()
    recipe = resolve(read_plan(plan) if plan is not None else example_plan(), stock)
    folder = read_folder(out) if out is not None else Path(recipe.name)
    check_folder(folder, (FILE,))

    from meltwick.picture.palette import chips, palette_png

    shown = chips(tuple(stock.dyes.values()), recipe.fabric)
    picture = palette_png(shown, recipe.fabric, plan=recipe.name, version=__version__)
    write_together(folder, {FILE: picture})
    if as_json:
        typer.echo(json.dumps([record(chip) for chip in shown], indent=1))
    else:
        for line in told(shown, recipe.fabric, folder / FILE):
            typer.echo(line)
    if show:
        show_picture(folder / FILE)
