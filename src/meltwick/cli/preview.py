"""`preview`: what a plan will look like, and how much of it stays white."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from meltwick.cli.options import As, Debug, Detail, Folder, PlanFile, Show, shortened
from meltwick.errors import PlanError

if TYPE_CHECKING:
    from meltwick.constants import Constants
    from meltwick.journal.profiles import Profile
    from meltwick.photo.starting import Started
    from meltwick.plan import Plan
    from meltwick.study import Spread
    from meltwick.types import FixedDye, Recipe, Result

DETAILS = {"draft": 4e-3, "normal": 2e-3, "fine": 1e-3}  # [m]
FINEST, COARSEST = 0.5e-3, 10e-3  # [m]
_FILES = ("preview.png", "result.json")
_ROUNDS = "rounds.png"
_MOST_SEED = 2**63 - 1
MOST_HANDS = 25


def read_detail(text: str) -> float:
    """Turn a word or a length into the pitch of the raster [m].

    Raises
    ------
    PlanError
        If it is neither draft, normal or fine nor a length of 0.5 to 10 mm.
    """
    from difflib import get_close_matches

    from meltwick.units import QuantityError, parse

    word = text.strip().lower()
    if word in DETAILS:
        return DETAILS[word]
    allowed = "draft, normal, fine or a length of 0.5 mm to 10 mm"
    short = shortened(text)
    try:
        pitch = parse(word, "length")
    except QuantityError:
        near = get_close_matches(word[:40], DETAILS, n=1)
        hint = f"; did you mean {near[0]}?" if near else ""
        if re.fullmatch(r"[0-9]{0,2}\.?[0-9]+", word) and 0.5 <= float(word) <= 10.0:
            hint = f"; did you mean '{word} mm'?"
        raise PlanError(f"--detail: {short} is not {allowed}{hint}") from None
    if not FINEST * (1 - 1e-9) <= pitch <= COARSEST * (1 + 1e-9):
        raise PlanError(f"--detail: {short} is out of range; use {allowed}")
    return pitch


def read_seed(text: str) -> int:
    """Turn a seed into a number.

    Raises
    ------
    PlanError
        If it is not a whole number from 0 to 2^63 - 1.
    """
    if not re.fullmatch(r"[0-9]{1,19}", text) or int(text) > _MOST_SEED:
        raise PlanError(f"--seed: {shortened(text)} is not a whole number from 0 to {_MOST_SEED}")
    return int(text)


def read_hands(text: str) -> int:
    """Turn the word after --hands into a number.

    Raises
    ------
    PlanError
        If it is not a whole number from 1 to 25.
    """
    if not re.fullmatch(r"[0-9]{1,4}", text) or not 1 <= int(text) <= MOST_HANDS:
        short = shortened(text)
        raise PlanError(f"--hands: {short} is not a whole number from 1 to {MOST_HANDS}; try 5")
    return int(text)


def read_folder(text: str) -> Path:
    """Turn the word after --out into a folder.

    Raises
    ------
    PlanError
        If it is empty or holds a character that no folder's name can have.
    """
    if not text.strip() or "\0" in text:
        raise PlanError(f"--out: {text!r} cannot name a folder; leave --out away for ./NAME/")
    return Path(text)


@contextmanager
def by_key(recipe: Recipe) -> Iterator[None]:
    """Name the key of a fault that shows only when the cloth is folded."""
    try:
        yield
    except PlanError:
        from meltwick.advice.sizes import weigh

        weigh(recipe)  # finds the same fault, and knows its key
        raise


def _predict(
    plan: Plan,
    recipe: Recipe,
    pitch: float,
    seed: int | None,
    hands: int,
    start: FixedDye | None,
    constants: Constants | None,
    *,
    quiet: bool,
) -> tuple[Result, Spread | None, dict[str, float]]:
    """Run the plan by one hand or several; also give the seconds of each stage."""
    from meltwick.cli.machine import workers_for
    from meltwick.cli.progress import Stages

    clock = time.perf_counter()
    given: dict[str, Any] = {} if start is None else {"start": start}
    if constants is not None:
        given["constants"] = constants
    with by_key(recipe), Stages(wanted=not quiet) as stages:
        if hands == 1:
            from meltwick.simulate import simulate

            result = simulate(plan, pitch=pitch, seed=seed, observer=stages, **given)
            return result, None, dict(result.seconds)

        from meltwick.study import run_hands

        workers = workers_for(recipe, pitch, hands)
        spread = run_hands(
            plan, hands, pitch=pitch, seed=seed, observer=stages, workers=workers, **given
        )
    whole = time.perf_counter() - clock
    return spread.main, spread, {**spread.main.seconds, "hands": whole}


def _tell(
    result: Result,
    spread: Spread | None,
    recipe: Recipe,
    folder: Path,
    profile: Profile | None,
    before: Started | None,
) -> None:
    """Say the sentence, the table, what the trade warns of and where the files are."""
    from meltwick.advice import advise
    from meltwick.cli.report import beside_file
    from meltwick.cli.starting import start_lines
    from meltwick.cli.words import (
        beside_lines,
        doubt_sentence,
        likeness_line,
        profile_lines,
        rounds_lines,
        sentence,
        table,
        told,
    )

    warnings = told(advise(recipe), "warning")
    if warnings:
        warnings.append("")

    lines = [
        sentence(result, spread),
        *start_lines(recipe, before),
        *rounds_lines(result),
        *beside_lines(result),
        doubt_sentence(result, spread, profile=profile),
        *profile_lines(profile),
        "",
        *table(result),
        "",
        likeness_line(result),
        "",
        *warnings,
        f"The picture is {folder / _FILES[0]}, the numbers are {folder / _FILES[1]}.",
    ]
    if len(result.rounds) > 1:
        lines.append(f"What each round did is in {folder / _ROUNDS}.")
    for number, piece in enumerate(result.beside, start=1):
        lines.append(f"{piece.plan} is in {folder / beside_file(number, piece)}.")
    for line in lines:
        typer.echo(line)


def unit_of(plan: str | None) -> Literal["cm", "in"]:
    """Choose the unit of the scale bar by the plan as its maker wrote it."""
    from meltwick.cli.words import length_unit

    return length_unit(Path(plan).read_text("utf-8", "replace")) if plan is not None else "cm"


def _draw(
    result: Result,
    spread: Spread | None,
    *,
    version: str,
    plain: bool,
    unit: Literal["cm", "in"],
) -> bytes:
    from meltwick.picture import hands_png, preview_png

    if spread is None:
        return preview_png(result, version=version, plain=plain, unit=unit)
    return hands_png(
        result,
        spread.lightest,
        spread.darkest,
        spread.white,
        version=version,
        plain=plain,
        unit=unit,
    )


def preview(
    plan: PlanFile = None,
    out: Folder = None,
    detail: Detail = "normal",
    seed: Annotated[
        str | None,
        typer.Option(metavar="N", help="Another hand; the plan's own by default."),
    ] = None,
    hands: Annotated[
        str,
        typer.Option(metavar="N", help="How many hands fold it, 1 to 25, to see how they differ."),
    ] = "1",
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the numbers as JSON, and nothing else.")
    ] = False,
    plain: Annotated[
        bool, typer.Option("--plain", help="Draw colours alone: no light, texture or stitching.")
    ] = False,
    profile: As = None,
    show: Show = False,
    debug: Debug = False,
) -> None:
    """Predict a plan: a picture of front and back, and how much stays white.

    With several hands the lightest and the darkest piece are drawn beside it, small.

    Example: meltwick preview harbour-tee.toml --detail draft --hands 5
    """
    from meltwick import __version__
    from meltwick.cli.machine import prepare_kernels, require_memory, show_picture
    from meltwick.cli.report import as_text, beside_file, report
    from meltwick.cli.starting import start_record
    from meltwick.cli.studying import profile_named
    from meltwick.cli.writing import check_folder, write_together
    from meltwick.plan import example_plan, read_plan, resolve
    from meltwick.stock import load_stock

    pitch = read_detail(detail)
    hand = None if seed is None else read_seed(seed)
    count = read_hands(hands)
    learned = profile_named(profile)
    wanted = read_plan(plan) if plan is not None else example_plan()
    unit = unit_of(plan)  # read now: the plan may be gone when the piece is done
    recipe = resolve(wanted, load_stock())
    folder = read_folder(out) if out is not None else Path(recipe.name)
    check_folder(folder, (*_FILES, _ROUNDS) if len(recipe.rounds) > 1 else _FILES)
    require_memory(recipe, pitch)
    prepare_kernels()
    before = None
    if recipe.start is not None:
        from meltwick.photo.starting import started

        before = started(recipe, pitch)
    dye = before.dye if before else None
    constants = None if learned is None else learned.constants()
    result, spread, seconds = _predict(
        wanted, recipe, pitch, hand, count, dye, constants, quiet=as_json
    )

    start = time.perf_counter()
    pictures = {_FILES[0]: _draw(result, spread, version=__version__, plain=plain, unit=unit)}
    named = {"preview": _FILES[0]}
    if len(result.rounds) > 1:
        from meltwick.picture import rounds_png

        pictures[_ROUNDS] = rounds_png(result, version=__version__, plain=plain, unit=unit)
        named["rounds"] = _ROUNDS
    for number, piece in enumerate(result.beside, start=1):
        drawn = _draw(piece, None, version=__version__, plain=plain, unit=unit)
        pictures[beside_file(number, piece)] = drawn
    seconds["picture"] = time.perf_counter() - start
    record = report(result, __version__, seconds, spread, named, learned)
    text = as_text(record | start_record(recipe, before))
    write_together(folder, {**pictures, _FILES[1]: text.encode()})
    if as_json:
        typer.echo(text, nl=False)
    else:
        _tell(result, spread, recipe, folder, learned, before)
    if show:
        show_picture(folder / _FILES[0])
