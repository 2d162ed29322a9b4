"""`swatch near` and `swatch card`: what a maker's dyes mix to."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from meltwick.cli.options import Debug, Folder, Show, shortened
from meltwick.cli.swatch import DyeNames, FabricName, StockFile, add, percent, stock_path
from meltwick.cli.swatch_split import split
from meltwick.cli.words import show_hex

if TYPE_CHECKING:
    from meltwick.advice.mixing import Mixture
    from meltwick.types import Dye, Floats

CARD = "swatches.png"
MOST_DEPTHS = 7
REACH = 2.0  # Delta E 2000 up to which a mixture counts as the colour wished for; chosen
_SAID = "write #rrggbb, a CSS colour name such as teal, or lab(52 -30 12)"


def read_colour(text: str) -> Floats:
    """Turn a colour in words into CIELAB under D65, (3,).

    ``#rrggbb`` and the names of CSS Color Module Level 4 (section 6.1) are sRGB; ``lab(L a b)``
    is CIELAB for daylight D65, as everywhere in this program.

    Raises
    ------
    PlanError
        It is none of these.
    """
    import numpy as np
    from PIL.ImageColor import colormap

    from meltwick.colour.standard import decode, from_linear
    from meltwick.errors import PlanError
    from meltwick.stock.reading import nearest

    said = " ".join(text.casefold().split())
    if match := re.fullmatch(r"lab\(([^()]*)\)", said):
        try:
            numbers = [float(part.rstrip("%")) for part in re.split(r"[ ,]+", match[1].strip())]
        except ValueError:
            numbers = []
        good = len(numbers) == 3 and 0 <= numbers[0] <= 100 and max(map(abs, numbers[1:])) <= 150
        if not good:
            raise PlanError(
                f"{shortened(text)} is no colour; lab() has L from 0 to 100 and a and b from "
                "-150 to 150, such as lab(52 -30 12)"
            )
        return np.array(numbers)
    named = str(colormap.get(said.replace(" ", ""), said))
    if match := re.fullmatch(r"#?([0-9a-f]{3})", named):
        named = "#" + "".join(2 * each for each in match[1])
    if not re.fullmatch(r"#?[0-9a-f]{6}", named):
        near = nearest(said, colormap) if said.isalpha() else None
        hint = f"; did you mean '{near}'?" if near else ""
        raise PlanError(f"{shortened(text)} is no colour; {_SAID}{hint}")
    digits = named.removeprefix("#")
    channels = [int(digits[n : n + 2], 16) / 255.0 for n in (0, 2, 4)]
    return from_linear(decode(np.array(channels)))


def choose_dyes(names: str | None, stock_file: str | None) -> tuple[Dye, ...]:
    """Return the dyes named, else the maker's own, else all in stock."""
    from meltwick.cli.failing import say
    from meltwick.errors import StockError
    from meltwick.stock import load_stock, load_stock_with, own_dyes

    path = stock_path(stock_file) if stock_file is not None else None
    stock = load_stock_with(path) if path is not None else load_stock()
    if names is not None:
        wanted = [" ".join(part.split()) for part in names.split(",") if part.strip()]
        if not wanted:
            raise StockError("--dyes names no dye; write names from meltwick palette")
        return tuple({dye.name: dye for dye in (stock.dye(name) for name in wanted)}.values())
    own = own_dyes(path)
    if not own:
        say("You have no dyes of your own yet, so these are those in stock.")
        return tuple(stock.dyes.values())
    return tuple(stock.dyes[name] for name in own)


def _in_words(mixture: Mixture, mass: float) -> str:
    from meltwick.units import show_mass

    parts = " + ".join(
        f"{dye.name} {percent(depth)} ({show_mass(depth * mass)})" for dye, depth in mixture.parts
    )
    return f"{parts}: {show_hex(mixture.lab)}, ΔE {mixture.delta:.1f}"


def _record(mixture: Mixture, mass: float) -> dict[str, Any]:
    return {
        "parts": [
            {
                "dye": dye.name,
                "depth": round(depth, 6),
                "grams": round(1e3 * mass * depth, 3),
                "splitting_known": dye.splitting_known,
            }
            for dye, depth in mixture.parts
        ],
        "colour": show_hex(mixture.lab),
        "lab": [round(value, 2) for value in mixture.lab.tolist()],
        "delta_e00": round(mixture.delta, 2),
    }


def _unknown(dyes: Sequence[Dye]) -> list[str]:
    """Say of which dyes the splitting is unknown."""
    names = [dye.name for dye in dyes if not dye.splitting_known]
    return [f"Splitting unknown: {', '.join(names)}."] if names else []


def near(
    colour: Annotated[
        str, typer.Argument(metavar="COLOUR", help="#rrggbb, a CSS name, or lab(L a b).")
    ],
    most: Annotated[
        int, typer.Option("--most", min=1, max=3, metavar="N", help="Dyes in a mixture, 1 to 3.")
    ] = 3,
    cloth: Annotated[str, typer.Option(metavar="MASS", help="Weight of the cloth.")] = "150 g",
    dyes: DyeNames = None,
    fabric: FabricName = "cotton jersey",
    stock: StockFile = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the mixtures as JSON, and nothing else.")
    ] = False,
    debug: Debug = False,
) -> None:
    """Find the mixtures of your dyes that come nearest to a colour, with their weights.

    The nearest of one dye comes first, then of two and of three where they gain something. ΔE is
    CIEDE2000: below 1 hardly seen, above 2 seen side by side. Depths are powder by weight of
    cloth, evenly dyed as in a dye bath; on ice the dyes of a mixture part.

    Your own dyes are mixed if you have any, else those in stock.

    Example: meltwick swatch near teal --cloth 150g
    """
    from meltwick.errors import PlanError, WishError
    from meltwick.stock import load_stock
    from meltwick.units import QuantityError, parse

    wish = read_colour(colour)
    try:
        mass = parse(cloth, "mass")
    except QuantityError as error:
        raise PlanError(f"--cloth cannot be read: {error}") from None
    if not 1e-3 <= mass <= 100.0:
        raise PlanError(f"--cloth: {shortened(cloth)} lies outside 1 g to 100 kg")
    chosen = choose_dyes(dyes, stock)
    cloth_kind = load_stock().fabric(fabric)

    from meltwick.advice.mixing import nearest_mixtures
    from meltwick.picture.palette import takes_dye

    if not takes_dye(cloth_kind):
        raise PlanError(f"--fabric: {cloth_kind.name} takes none of these dyes")
    found = nearest_mixtures(wish, chosen, cloth_kind, most)
    best = found[-1]
    if as_json:
        text = {"wish": [round(v, 2) for v in wish.tolist()], "cloth_kg": mass}
        typer.echo(
            json.dumps({**text, "mixtures": [_record(each, mass) for each in found]}, indent=1)
        )
    else:
        for each in found:
            typer.echo(_in_words(each, mass))
        for line in _unknown([dye for dye, _ in best.parts]):
            typer.echo(line)
    if best.delta > REACH:
        count = f"these {len(chosen)} dyes" if len(chosen) > 1 else "this dye"
        raise WishError(
            f"{colour} is out of reach of {count} on {cloth_kind.name}; the nearest is "
            f"{show_hex(best.lab)}, ΔE {best.delta:.1f} away"
        )


def _read_depths(text: str) -> tuple[float, ...]:
    from meltwick.errors import PlanError
    from meltwick.photo.names import read_depth

    found = tuple(read_depth(part, "--depths") for part in text.split(",") if part.strip())
    if not 1 <= len(found) <= MOST_DEPTHS:
        raise PlanError(f"--depths takes 1 to {MOST_DEPTHS} depths, such as 0.5%,2%,4%")
    return found


def card(
    dyes: DyeNames = None,
    depths: Annotated[
        str, typer.Option(metavar="SHARES", help="Powder in % of the cloth's weight.")
    ] = "0.5%,2%,4%",
    pairs: Annotated[
        bool, typer.Option("--pairs", help="Draw every two dyes half and half as well.")
    ] = False,
    fabric: FabricName = "cotton jersey",
    stock: StockFile = None,
    out: Folder = None,
    show: Show = False,
    debug: Debug = False,
) -> None:
    """Draw your dyes at several depths, and every two of them half and half.

    Your own dyes are drawn if you have any, else those in stock. Above the diagonal of the pairs
    stands how far apart two dyes look, as ΔE (CIEDE2000).

    Example: meltwick swatch card --dyes coral,tide,lemon --depths 0.5%,2%,4% --pairs
    """
    from meltwick import __version__
    from meltwick.cli.machine import show_picture
    from meltwick.cli.preview import read_folder
    from meltwick.cli.writing import check_folder, write_together
    from meltwick.errors import PlanError
    from meltwick.stock import load_stock

    shown = _read_depths(depths)
    chosen = choose_dyes(dyes, stock)
    cloth = load_stock().fabric(fabric)
    folder = read_folder(out) if out is not None else Path()
    check_folder(folder, (CARD,))

    from meltwick.advice.swatching import KEPT
    from meltwick.picture.palette import takes_dye
    from meltwick.picture.swatches import MOST_PAIRS, Depths, card_drawn_png

    if not takes_dye(cloth):
        raise PlanError(f"--fabric: {cloth.name} takes none of these dyes")
    if pairs and not 2 <= len(chosen) <= MOST_PAIRS:
        raise PlanError(
            f"--pairs draws 2 to {MOST_PAIRS} dyes, not {len(chosen)}; choose some with --dyes"
        )
    middle = sorted(shown)[len(shown) // 2]
    picture = card_drawn_png(
        chosen,
        cloth,
        Depths(shown, KEPT),
        pairs=middle if pairs else None,
        version=__version__,
    )
    write_together(folder, {CARD: picture})
    for line in _unknown(chosen):
        typer.echo(line)
    count = f"{len(chosen)} dye{'' if len(chosen) == 1 else 's'}"
    typer.echo(f"The picture of {count} on {cloth.name} is {folder / CARD}.")
    if show:
        show_picture(folder / CARD)


def _help(context: typer.Context) -> None:
    """Read your own swatches into dyes, show what dyes mix to, and find a colour among them."""
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


def group() -> typer.Typer:
    """Return the sub-commands of ``swatch``."""
    app = typer.Typer(rich_markup_mode=None)
    app.callback(invoke_without_command=True)(_help)
    app.command("add", short_help="Read a photographed card of swatches into dyes.")(add)
    app.command("card", short_help="Draw your dyes at several depths, and in pairs.")(card)
    app.command("near", short_help="Find the mixtures nearest to a colour, with weights.")(near)
    app.command("split", short_help="Read a split test: the parts of a dye.")(split)
    return app
