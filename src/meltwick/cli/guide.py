"""`guide`: pictures that help the hands, of the flat piece and of the bundle."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meltwick.cli.options import Debug, Detail, Folder, PlanFile, shortened
from meltwick.errors import PlanError

if TYPE_CHECKING:
    from meltwick.picture.guide import Words
    from meltwick.picture.preview import Unit
    from meltwick.types import Recipe


def guide(
    plan: PlanFile = None,
    out: Folder = None,
    detail: Detail = "normal",
    round_: Annotated[
        str | None, typer.Option("--round", metavar="N", help="One round only; all by default.")
    ] = None,
    show: Annotated[bool, typer.Option("--open", help="Open the first picture.")] = False,
    debug: Debug = False,
) -> None:
    """Draw where a plan folds, ties and lays, on the flat piece and on the bundle as it lies.

    Nothing is simulated: it takes seconds. Creases are drawn as a tidy hand would make them.

    Example: meltwick guide harbour-tee.toml --round 1
    """
    from meltwick.cli.machine import prepare_kernels, require_memory, show_picture
    from meltwick.cli.preview import by_key, read_detail, read_folder, unit_of
    from meltwick.cli.writing import check_folder, write_together
    from meltwick.plan import example_plan, read_plan, resolve
    from meltwick.stock import load_stock

    pitch = read_detail(detail)
    wanted = read_plan(plan) if plan is not None else example_plan()
    unit = unit_of(plan)
    recipe = resolve(wanted, load_stock())
    numbers = _numbers(round_, len(recipe.rounds))
    folder = read_folder(out) if out is not None else Path(recipe.name)
    names = [_names(number, len(recipe.rounds)) for number in numbers]
    check_folder(folder, tuple(name for pair in names for name in pair))
    require_memory(recipe, pitch)
    prepare_kernels(announce=False)
    content: dict[str, bytes] = {}
    with by_key(recipe):
        for number, (flat, bundle) in zip(numbers, names, strict=True):
            content[flat], content[bundle] = drawn(recipe, number, pitch, unit)
    write_together(folder, content)
    for flat, bundle in names:
        typer.echo(f"Where it is folded: {folder / flat}; how it lies: {folder / bundle}.")
    if show:
        show_picture(folder / names[0][0])


def _names(number: int, count: int) -> tuple[str, str]:
    ending = "" if count == 1 else f"-{number}"
    return f"guide{ending}.png", f"bundle{ending}.png"


def _numbers(text: str | None, count: int) -> list[int]:
    if text is None:
        return list(range(1, count + 1))
    if not text.isdecimal() or not 1 <= int(text[:9]) <= count:
        short = shortened(text)
        allowed = "1, there is only one" if count == 1 else f"from 1 to {count}"
        raise PlanError(f"--round: {short} is no round of this plan; write {allowed}")
    return [int(text)]


def drawn(
    recipe: Recipe, number: int, pitch: float, unit: Unit, *, steps: bool = True
) -> tuple[bytes, bytes]:
    """Draw a round: the flat piece as a tidy hand folds it, the bundle as this one does.

    Without ``steps`` the pictures keep their title and key only.
    """
    from meltwick import __version__
    from meltwick.constants import Constants
    from meltwick.picture.guide import draw_bundle, draw_flat
    from meltwick.picture.preview import as_file
    from meltwick.picture.staging import creases_of, pinches_of, scene_of, undyed
    from meltwick.plan import digest

    tidy = scene_of(recipe, number, pitch, neatness=0.0)
    scene = scene_of(recipe, number, pitch)
    folding, laying = words_of(recipe, number)
    if not steps:
        folding, laying = replace(folding, lines=()), replace(laying, lines=())
    lines, pinches = creases_of(recipe, number, tidy.cloth), pinches_of(recipe, number, tidy.cloth)
    flat = draw_flat(undyed(recipe, tidy.cloth), tidy, lines, folding, pinches)
    bundle = draw_bundle(scene, laying, unit)
    notes = {"meltwick-digest": digest(recipe, Constants())}
    return (
        as_file(flat, folding.title, __version__, notes),
        as_file(bundle, laying.title, __version__, notes),
    )


def words_of(recipe: Recipe, number: int) -> tuple[Words, Words]:
    """Write what goes on the guide of the flat piece, and on that of the bundle."""
    from meltwick.advice.hands import fold_and_tie
    from meltwick.advice.laying import lay
    from meltwick.advice.sizes import weigh
    from meltwick.advice.stringing import string_words
    from meltwick.picture.guide import Words
    from meltwick.picture.preview import BETWEEN
    from meltwick.units import show_mass

    turn, garment = recipe.rounds[number - 1], weigh(recipe)
    title = recipe.name if len(recipe.rounds) == 1 else f"{recipe.name}, round {number}"
    dyes = [
        f"{powder.dye}, {show_mass(powder.mass)}{' over the ice' if powder.over_ice else ''}"
        for powder in turn.powder
        if not powder.turned
    ]
    string = string_words(turn, garment, number)
    return (
        Words(BETWEEN.join((title, "fold and tie")), fold_and_tie(turn, garment), string, dyes),
        Words(BETWEEN.join((title, "the bundle")), list(lay(recipe, turn, garment)), "", dyes),
    )
