"""`new` and `check`: start a plan, and say in the maker's words what it will do."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from meltwick.cli.failing import say
from meltwick.cli.options import Debug, PlanFile
from meltwick.cli.writing import quoted, write_new


def new(
    name: Annotated[str, typer.Argument(metavar="NAME", help="Name of the plan.")],
    fold: Annotated[
        str, typer.Option("--fold", metavar="FOLD", help="Start from a pole, accordion or spiral.")
    ] = "pole",
    debug: Debug = False,
) -> None:
    """Write NAME.toml, a plan that runs as it is, to change as you like.

    Example: meltwick new harbour-tee --fold spiral
    """
    from meltwick.plan import template

    if name.casefold().endswith(".toml"):
        name = name[:-5]
    text = template(name, fold)  # refuses a name that could not be a folder's
    path = Path(f"{name}.toml")
    write_new(path, text.encode())
    typer.echo(f"Wrote {path}. Next: meltwick preview {quoted(path)}")


def check(
    plan: PlanFile = None,
    debug: Debug = False,
) -> None:
    """Say step by step what a plan will do, and what the trade would warn of.

    Example: meltwick check harbour-tee.toml
    """
    from meltwick.cli.machine import prepare_kernels
    from meltwick.cli.words import told
    from meltwick.plan import example_plan, read_plan, resolve
    from meltwick.stock import load_stock

    recipe = resolve(read_plan(plan) if plan is not None else example_plan(), load_stock())
    prepare_kernels(announce=False)
    from meltwick.advice import advise, describe  # loads numba

    typer.echo(f"{recipe.name}:")
    for number, step in enumerate(describe(recipe), start=1):
        typer.echo(f" {number:2d}. {step}")
    advice = advise(recipe)
    warnings = told(advice, "warning")
    for line in (*warnings, *told(advice, "note")):
        typer.echo(f"\n{line}")
    if not warnings:
        say("No warnings.")
