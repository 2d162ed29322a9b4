"""`new` and `check`: start a plan, and say in the maker's words what it will do."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from meltwick.cli.failing import say
from meltwick.errors import FileError

Debug = Annotated[bool, typer.Option("--debug", help="Show the whole error if we fail.")]


def new(
    name: Annotated[str, typer.Argument(metavar="NAME", help="Name of the plan.")],
    debug: Debug = False,
) -> None:
    """Write NAME.toml, a plan that runs as it is, to change as you like.

    Example: meltwick new harbour-tee
    """
    from meltwick.plan import template

    name = name.removesuffix(".toml")
    text = template(name)  # refuses a name that could not be a folder's
    path = Path(f"{name}.toml")
    try:
        # "x" refuses an existing file in the same step that makes the new one.
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        raise FileError(f"{path} is here already and was left as it is") from None
    except OSError as error:
        raise FileError(f"{path} could not be written: {error.strerror}") from error
    typer.echo(f"Wrote {path}. Next: meltwick preview {path}")


def check(
    plan: Annotated[
        str | None, typer.Argument(metavar="PLAN", help="The plan, or none for our example.")
    ] = None,
    debug: Debug = False,
) -> None:
    """Say step by step what a plan will do, and what the trade would warn of.

    Example: meltwick check harbour-tee.toml
    """
    from meltwick.advice import advise, describe
    from meltwick.plan import example_plan, read_plan, resolve
    from meltwick.stock import load_stock

    recipe = resolve(read_plan(Path(plan)) if plan else example_plan(), load_stock())
    typer.echo(f"{recipe.name}:")
    for number, step in enumerate(describe(recipe), start=1):
        typer.echo(f" {number:2d}. {step}")
    advice = advise(recipe)
    warnings = [item for item in advice if item.level == "warning"]
    for item in [*warnings, *(item for item in advice if item.level == "note")]:
        typer.echo(f"\n{item.level.capitalize()}: {item.text}")
    if not warnings:
        say("No warnings.")
