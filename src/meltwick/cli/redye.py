"""`redye`: second rounds over a piece that is dyed already, side by side."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meltwick.cli.options import As, Debug, Detail, Hands, OnCluster, Show, shortened
from meltwick.errors import FileError, PlanError, WishError

if TYPE_CHECKING:
    from meltwick.cli.studying import Bench
    from meltwick.photo.starting import Started
    from meltwick.picture.contact import Tile
    from meltwick.study.compare import Group
    from meltwick.study.redye import Make, Proposal
    from meltwick.types import Cloth, Recipe

_SHEET, _TABLE = "redye.png", "redye.csv"
_MOST = 24
_WHERE = "redye.toml"  # stands for the plan in messages
_BACK = "Say --back back.jpg, or --back 'as the front'."


def redye(
    photo: Annotated[
        str, typer.Argument(metavar="PHOTO", help="A photograph of the piece, its front.")
    ],
    white: Annotated[
        str, typer.Option(metavar="SHARE", help="Wished share of white, such as 30%.")
    ],
    back: Annotated[
        str | None,
        typer.Option(metavar="PHOTO", help='One of its back, or "as the front"; else undyed.'),
    ] = None,
    blank: Annotated[str, typer.Option(metavar="NAME", help="What the piece is.")] = "tee",
    size: Annotated[str | None, typer.Option(metavar="SIZE", help="Its size.")] = None,
    fabric: Annotated[str | None, typer.Option(metavar="NAME", help="Its cloth.")] = None,
    was: Annotated[
        str | None,
        typer.Option(metavar="DYES", help='Dyes that are on it, if known: "coral, plum".'),
    ] = None,
    dyes: Annotated[
        str | None,
        typer.Option(metavar="DYES", help="Dyes that may go over it; any in stock by default."),
    ] = None,
    n: Annotated[
        str, typer.Option("--n", metavar="N", help="How many rounds to show, 1 to 24.")
    ] = "6",
    hands: Hands = "1",
    detail: Detail = "draft",
    out: Annotated[
        str | None,
        typer.Option("--out", metavar="DIR", help="Where to write; ./PHOTO-redye/ by default."),
    ] = None,
    profile: As = None,
    cluster: OnCluster = None,
    show: Show = False,
    debug: Debug = False,
) -> None:
    """Propose second rounds over a photographed piece that leave as much white as you wish.

    Those that meet the wish come first, and of these the ones that leave the most pale cloth light
    or of its own hue. Each is written as a plan that starts from the photograph.

    Example: meltwick redye front.jpg --back back.jpg --white 30% --dyes "plum, tide"
    """
    from meltwick.cli.aim import read_share
    from meltwick.cli.machine import prepare_kernels, show_picture
    from meltwick.cli.preview import read_detail, read_folder, read_hands
    from meltwick.cli.runs import check_runs
    from meltwick.cli.starting import start_lines
    from meltwick.cli.studying import profile_named, studying
    from meltwick.cli.words import profile_lines
    from meltwick.cli.writing import check_folder
    from meltwick.plan import plan_from_text, resolve
    from meltwick.stock import load_stock

    pitch, crew, count = read_detail(detail), read_hands(hands), _count(n)
    wish, learned = read_share(white, "--white"), profile_named(profile)
    garment = [("blank", blank), ("size", size), ("fabric", fabric)]
    named = _dyes(dyes, "--dyes") or tuple(load_stock().dyes)
    start = _start(photo, back, _dyes(was, "--was"))
    check_runs(3 * count, crew, "--n")
    folder = read_folder(out) if out is not None else Path(f"{_stem(photo)}-redye")
    plans = [f"{folder.name}-{number}.toml" for number in range(1, count + 1)]
    check_folder(folder, (_SHEET, _TABLE))
    for name in plans:
        if (folder / name).exists():
            raise FileError(
                f"{folder / name} is here already and was left as it is; name another folder "
                "with --out"
            )
    prepare_kernels()
    from meltwick.photo.starting import started
    from meltwick.study.redye import base_text, light_kept, propose

    text = base_text(start, [(key, word) for key, word in garment if word is not None])
    with _by_option():
        recipe = resolve(plan_from_text(text, _WHERE), load_stock())
    begun = started(recipe, pitch)
    assert begun is not None
    for line in start_lines(recipe, begun, _BACK, "Now "):
        typer.echo(line)
    _within_reach(wish, begun)
    cloth = _cloth(recipe, pitch)

    def light(group: Group) -> float | None:
        return light_kept(cloth, begun.look, group.typical.srgb)

    with studying(cluster, learned) as bench:
        found = propose(text, _WHERE, wish, named, count, pitch, _maker(crew, bench), light)
    for line in (*profile_lines(learned), *told(found, wish)):
        typer.echo(line)
    if not found[0].met:
        near = found[0].group
        raise WishError(
            f"no second round gives {100 * wish:.0f} % white; {near.setting.label} comes nearest, "
            f"with {100 * near.median():.0f} %"
        )
    _write(found, recipe, begun, wish, folder, plans, (photo, back))
    first, last = folder / plans[0], folder / plans[len(found) - 1]
    written = f"the plan is {first}" if first == last else f"the plans are {first} to {last.name}"
    typer.echo(f"The sheet is {folder / _SHEET}, {written}. Next: meltwick check {_quoted(first)}")
    if show:
        show_picture(folder / _SHEET)


_OPTIONS = {
    "start.photo": "PHOTO",
    "start.back": "--back",
    "garment.blank": "--blank",
    "garment.size": "--size",
    "garment.fabric": "--fabric",
}


@contextlib.contextmanager
def _by_option() -> Iterator[None]:
    """Name the option where a fault is told by the plan's key, since there is no plan yet."""
    try:
        yield
    except PlanError as error:
        said = str(error).removeprefix(f"{_WHERE}: ")
        key, _, rest = said.partition(": ")
        raise PlanError(f"{_OPTIONS.get(key, key)}: {rest}") from None


def _count(text: str) -> int:
    if not re.fullmatch("[0-9]{1,4}", text.strip()) or not 1 <= int(text) <= _MOST:
        raise PlanError(f"--n: {shortened(text)} is not a whole number from 1 to {_MOST}")
    return int(text)


def _quoted(path: Path) -> str:
    from meltwick.cli.writing import quoted

    return quoted(path)


def _stem(photo: str) -> str:
    """Name results after the photograph, in letters that a plan's name may have."""
    return re.sub(r"[^\w-]+", "-", Path(photo).stem).strip("-_")[:40] or "photo"


def _dyes(written: str | None, option: str) -> tuple[str, ...]:
    """Read names of dyes, as the stock spells them."""
    from meltwick.errors import StockError
    from meltwick.stock import load_stock

    if written is None:
        return ()
    names = [name.strip() for name in written.split(",")]
    if not all(names):
        raise PlanError(f'{option}: {shortened(written)} has an empty name; write "coral, plum"')
    try:
        return tuple(dict.fromkeys(load_stock().dye(name).name for name in names))
    except StockError as error:
        raise PlanError(f"{option}: {error}") from None


def _start(photo: str, back: str | None, was: Sequence[str]) -> str:
    """Write the value of ``start``."""
    parts = [f"photo = {_toml(photo)}"]
    parts += [f"back = {_toml(back)}"] if back is not None else []
    parts += [f"dyes = [{', '.join(map(_toml, was))}]"] if was else []
    return "{ " + ", ".join(parts) + " }"


def _toml(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _within_reach(wish: float, begun: Started) -> None:
    """Refuse more white than there is, before any run."""
    from meltwick.cli.words import percent
    from meltwick.study.aim import NEAR

    there = begun.shares.whole["white"]
    if wish > there + NEAR:
        raise WishError(
            f"{100 * wish:.0f} % white cannot be reached: the piece shows {percent(there)} %, and "
            f"dye only covers it; wish for {percent(there)} % or less"
        )


def _maker(hands: int, bench: Bench) -> Make:
    from meltwick.cli.runs import run_settings

    return lambda settings, pitch: run_settings(settings, hands, pitch, bench)


def told(found: Sequence[Proposal], wish: float) -> list[str]:
    """Say what each second round comes to, the best first."""
    from meltwick.cli.words import percent, percents

    met = sum(each.met for each in found)
    come = "comes" if met == 1 else "come"
    rounds = "second round" if len(found) == 1 else "second rounds"
    lines = [
        f"{met} of {len(found)} {rounds} {come} to {100 * wish:.0f} % white"
        f"{'' if met else ', as near as it gets'}:",
        "",
    ]
    wide = max(len(each.group.setting.label) for each in found)
    lines.append(f"{'':<{wide}}  white     stays light")
    for each in found:
        white = each.group.shares()
        light = "no pale cloth" if each.light is None else f"{percent(each.light)} %"
        row = f"{percents(min(white), max(white)):<9}"
        lines.append(f"{each.group.setting.label:<{wide}}  {row} {light}")
    return [*lines, "", "What stays light is the cloth that was pale: still pale, or of its hue."]


def as_csv(found: Sequence[Proposal]) -> str:
    """Write a table that a spreadsheet opens: a row for each second round, shares in per cent."""
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\r\n")  # RFC 4180
    keys = list(dict.fromkeys(key for each in found for key in each.group.setting.values))
    table.writerow(["number", *keys, "white %", "stays light %", "meets the wish", "digest"])
    for each in found:
        values = each.group.setting.values
        table.writerow(
            [
                each.group.setting.number,
                *(values.get(key, "") for key in keys),
                f"{100 * each.group.median():.1f}",
                "" if each.light is None else f"{100 * each.light:.1f}",
                "yes" if each.met else "no",
                each.group.outcomes[0].digest,
            ]
        )
    return stream.getvalue()


def _cloth(recipe: Recipe, pitch: float) -> Cloth:
    from meltwick.cloth import build_cloth

    return build_cloth(recipe.blank, recipe.fabric, pitch)


def _write(
    found: Sequence[Proposal],
    recipe: Recipe,
    begun: Started,
    wish: float,
    folder: Path,
    plans: Sequence[str],
    photos: tuple[str, str | None],
) -> None:
    """Write the sheet, the table and the plans, all of them or none."""
    from meltwick import __version__
    from meltwick.cli.runs import tiles_of
    from meltwick.cli.writing import write_together
    from meltwick.picture.contact import draw_contact
    from meltwick.picture.preview import BETWEEN, as_file

    tiles = [_first_tile(recipe, begun, found[0].group.typical.pitch)]
    for each, tile in zip(found, tiles_of([each.group for each in found]), strict=True):
        note = "" if each.light is None else f"{100 * each.light:.0f} % of the pale stays light"
        notes = [note] if note else []
        notes += [] if each.met else ["misses the wish"]
        tiles.append(replace(tile, note=", ".join(notes)))
    over = recipe.start.names if recipe.start else ""
    title = BETWEEN.join((f"over {over}", f"{100 * wish:.0f} % white wished"))
    picture = draw_contact(tiles, title, lines=3)
    content = {_SHEET: as_file(picture, title, __version__), _TABLE: as_csv(found).encode()}
    for each, name in zip(found, plans, strict=False):
        content[name] = _placed(each.text, folder, photos).encode()
    write_together(folder, content)


def _placed(text: str, folder: Path, photos: tuple[str, str | None]) -> str:
    """Name the photographs as they lie from where the plan will."""
    from meltwick.plan.starting import AS_FRONT
    from meltwick.plan.varying import with_values

    keyed = {}
    for key, written in zip(("photo", "back"), photos, strict=True):
        if written is None or " ".join(written.casefold().split()) == AS_FRONT:
            continue
        try:
            way = Path(os.path.relpath(written, folder)).as_posix()
        except ValueError:  # on another drive
            way = Path(written).absolute().as_posix()
        keyed[f"start.{key}"] = _toml(way)
    return with_values(text, _WHERE, keyed)


def _first_tile(recipe: Recipe, begun: Started, pitch: float) -> Tile:
    """Show the piece as it is."""
    from meltwick.cli.words import CLASSES
    from meltwick.picture.contact import Tile
    from meltwick.shares import dyed_to_white
    from meltwick.types import Result

    white = begun.shares.whole["white"]
    piece = Result(
        plan=recipe.name,
        digest="",
        seed=recipe.seed,
        detail_pitch=pitch,
        cloth=_cloth(recipe, pitch),
        fixed=begun.dye,
        look=begun.look,
        shares=begun.shares,
        rounds=(),
        seconds={},
    )
    return Tile(
        result=piece,
        label="as it is now",
        line=f"{dyed_to_white(white)} dyed to {recipe.fabric.ground_name}",
        shares=[begun.shares.whole[name] for name in CLASSES],
        low=white,
        high=white,
    )
