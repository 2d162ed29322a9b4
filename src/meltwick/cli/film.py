"""`film`: colour spreading on the opened cloth through the hours."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meltwick.cli.options import Debug, Detail, Folder, PlanFile, shortened
from meltwick.errors import PlanError

if TYPE_CHECKING:
    from meltwick.picture.film import Reel
    from meltwick.plan import Plan
    from meltwick.types import Recipe

LEAST, MOST = 4.0, 120.0  # [s]


def read_seconds(text: str) -> float:
    """Turn the word after --seconds into the length of the film [s].

    Raises
    ------
    PlanError
        If it is not a number from 4 to 120.
    """
    import re

    short = shortened(text)
    found = re.fullmatch(r"([0-9]{1,4}(?:\.[0-9]{1,3})?) ?s?", text.strip())
    if not found or not LEAST <= float(found[1]) <= MOST:
        raise PlanError(
            f"--seconds: {short} is not a number of seconds from {LEAST:g} to {MOST:g}; try 12"
        )
    return float(found[1])


def _require_mp4() -> None:
    from meltwick.picture.spooling import mp4_missing

    if mp4_missing():
        raise PlanError(
            "--mp4: an MP4 needs the extra named film: pip install 'meltwick[film]'; without --mp4 "
            "the film is a GIF, which needs nothing"
        )


def _shoot(plan: Plan, recipe: Recipe, pitch: float) -> Reel:
    from meltwick.cli.machine import prepare_kernels
    from meltwick.cli.preview import by_key
    from meltwick.cli.progress import Stages

    prepare_kernels()
    with by_key(recipe), Stages() as stages:
        from meltwick.picture.film import Reel
        from meltwick.simulate import simulate
        from meltwick.study.outcome import start_of

        over = [
            number
            for number, turn in enumerate(recipe.rounds, start=1)
            if any(load.turned for load in turn.ice)
        ]
        reel = Reel(len(recipe.rounds), recipe.name, stages, over)
        simulate(plan, pitch=pitch, start=start_of(recipe, pitch), observer=reel)
    return reel


def film(
    plan: PlanFile = None,
    out: Folder = None,
    detail: Detail = "draft",
    seconds: Annotated[
        str, typer.Option(metavar="S", help="How long the film is, 4 to 120 seconds.")
    ] = "12",
    as_mp4: Annotated[
        bool, typer.Option("--mp4", help="Write an MP4 instead of a GIF; needs the extra film.")
    ] = False,
    show: Annotated[bool, typer.Option("--open", help="Open the film when it is done.")] = False,
    debug: Debug = False,
) -> None:
    """Film the dye on the opened cloth, from the ice going on to the wash, with a clock.

    Wet dye is drawn as it would look held on the cloth. A GIF keeps below 5 MB.

    Example: meltwick film harbour-tee.toml --seconds 20
    """
    from meltwick import __version__
    from meltwick.cli.machine import require_memory, show_picture
    from meltwick.cli.preview import read_detail, read_folder
    from meltwick.cli.writing import check_folder, write_together
    from meltwick.plan import example_plan, read_plan, resolve
    from meltwick.stock import load_stock

    pitch, length = read_detail(detail), read_seconds(seconds)
    if as_mp4:
        _require_mp4()
    wanted = read_plan(plan) if plan is not None else example_plan()
    recipe = resolve(wanted, load_stock())
    folder = read_folder(out) if out is not None else Path(recipe.name)
    name = "film.mp4" if as_mp4 else "film.gif"
    check_folder(folder, (name,))
    require_memory(recipe, pitch)
    reel = _shoot(wanted, recipe, pitch)

    from meltwick.picture import spooling

    note = f"meltwick {__version__}: {recipe.name}, seed {recipe.seed}"
    content = spooling.mp4(reel, length) if as_mp4 else spooling.gif(reel, length, note)
    write_together(folder, {name: content})
    for line in told(reel, folder / name, len(content)):
        typer.echo(line)
    if show:
        show_picture(folder / name)


def told(reel: Reel, path: Path, size: int) -> list[str]:
    """Say where the film is, when the ice is gone, and what is not seen as it would be."""
    from meltwick.picture.film import NOTE, clock

    lines = [f"The film is {path}, {size / 1e6:.1f} MB."]
    for number, hours in enumerate(reel.ice_gone, start=1):
        which = "" if len(reel.ice_gone) == 1 else f" of round {number}"
        lines.append(f"The ice{which} is gone after {clock(hours)}.")
    return [*lines, NOTE]
