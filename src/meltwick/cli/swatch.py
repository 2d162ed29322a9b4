"""`swatch`: the maker's own swatches become dyes, and dyes become swatches."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meltwick.cli.options import Debug, Folder, Show
from meltwick.cli.places import read_corners
from meltwick.cli.words import show_hex

if TYPE_CHECKING:
    from meltwick.advice.swatching import Learnt
    from meltwick.photo.card import Card
    from meltwick.photo.names import Labels
    from meltwick.types import Fabric

FILE = "swatches.toml"
CHECK = "card-read.png"
GOOD = 1.0  # Delta E 2000 within which a dye counts as giving its swatch back; chosen

Photograph = Annotated[str, typer.Argument(metavar="PHOTO", help="JPEG, PNG, TIFF, WebP or HEIC.")]
StockFile = Annotated[
    str | None,
    typer.Option("--stock", metavar="FILE", help="Your dyes; swatches.toml in your data folder."),
]
FabricName = Annotated[str, typer.Option("--fabric", metavar="FABRIC", help="The swatches' cloth.")]
DyeNames = Annotated[
    str | None, typer.Option("--dyes", metavar="NAMES", help="Which dyes, such as coral,tide.")
]


def stock_path(text: str | None) -> Path:
    """Return the file that own dyes are kept in."""
    from meltwick.errors import FileError
    from meltwick.homes import wanted
    from meltwick.stock import own_folder

    if text is None:
        wanted("data", "name a file with --stock")
    path = own_folder() / FILE if text is None else Path(text)
    if path.suffix != ".toml" or path.is_dir():
        raise FileError(f"--stock: {path} is no stock file; its name ends in .toml")
    return path


def check_stock(path: Path) -> None:
    """Refuse, before the work starts, a place that a stock file cannot go into."""
    from meltwick.cli.writing import check_folder
    from meltwick.errors import FileError

    try:
        check_folder(path.parent, (path.name,))
    except FileError as error:
        said = str(error).replace("choose another --out", "name another file with --stock")
        raise FileError(said.replace("folder with --out", "file with --stock")) from None


def write_stock(path: Path, content: str) -> list[str]:
    """Put a stock file in place; say where it is, and whether plans find it."""
    from meltwick.cli.writing import write_together
    from meltwick.homes import offered
    from meltwick.stock import own_folder

    advice = "; name another file with --stock"
    write_together(path.parent, {path.name: content.encode("utf-8")}, advice)
    said = [f"They are in {path}."]
    if offered("data") is not None and path.parent.resolve() != own_folder().resolve():
        said.append(f"Plans find them once that file lies in {own_folder()}.")
    return said


def percent(share: float) -> str:
    """Return a depth as dyers write it."""
    return f"{100.0 * share:.3g} %"


def _told(learnt: Sequence[Learnt]) -> list[str]:
    lines = []
    for each in learnt:
        for swatch, residual in zip(each.swatches, each.residual.tolist(), strict=True):
            near = f"given back within ΔE {max(residual, 0.05):.1f}"
            if residual > GOOD:
                near = f"the model comes no nearer than ΔE {residual:.1f}"
            lines.append(
                f"{each.dye.name}: {show_hex(swatch.lab)} at {percent(swatch.depth)}, {near}"
            )
    return lines


def _learn(card: Card, labels: Labels, fabric: Fabric, photo: str) -> list[Learnt]:
    """Make a dye of every name on the card."""
    from meltwick.advice.swatching import Swatch, learn_dye
    from meltwick.photo.card import UNDYED

    by_name: dict[str, list[Swatch]] = {}
    for patch in card.patches:
        if patch.name != UNDYED:
            depth = labels.depths[patch.row][patch.column]
            by_name.setdefault(patch.name, []).append(Swatch(patch.name, depth, patch.lab))
    note = f"from a swatch on {fabric.name}, photographed: {photo}"
    return [learn_dye(name, swatches, fabric, note) for name, swatches in by_name.items()]


def add(
    photo: Photograph,
    grid: Annotated[str, typer.Option(metavar="RxC", help="Rows and columns, such as 3x4.")],
    names: Annotated[
        str, typer.Option(metavar="FILE", help="A CSV laid out as the card; one is undyed.")
    ],
    depth: Annotated[
        str, typer.Option(metavar="SHARE", help="Powder in % of the cloth's weight.")
    ] = "2%",
    fabric: FabricName = "cotton jersey",
    corners: Annotated[
        tuple[str, str, str, str] | None,
        typer.Option(metavar="X,Y X,Y X,Y X,Y", help="Middles of the corner patches, in pixels."),
    ] = None,
    stock: StockFile = None,
    replace: Annotated[bool, typer.Option("--replace", help="Read dyes anew that are there.")] = (
        False
    ),
    out: Folder = None,
    show: Show = False,
    debug: Debug = False,
) -> None:
    """Read a photographed card of your swatches into dyes that plans may name.

    Lay cut swatches in rows on plain paper with gaps between them, one of them undyed, and
    photograph them from above, dry, in open shade. The names file looks as the card does: a row of
    names for each row of swatches. With --out DIR a picture shows what was measured.

    Example: meltwick swatch add card.jpg --grid 3x4 --names names.csv --depth 2%
    """
    from meltwick import __version__
    from meltwick.cli.failing import say
    from meltwick.cli.machine import show_picture
    from meltwick.cli.preview import read_folder
    from meltwick.cli.writing import check_folder, write_together
    from meltwick.photo.names import read_depth, read_grid, read_names
    from meltwick.stock import load_stock, load_stock_with
    from meltwick.stock.own import with_dyes
    from meltwick.stock.reading import read_text

    path = stock_path(stock)
    rows, columns = read_grid(grid)
    places = read_corners(corners, "patch's middle")
    labels = read_names(Path(names), rows, columns, read_depth(depth, "--depth"))
    cloth = load_stock().fabric(fabric)
    folder = read_folder(out) if out is not None else None
    if folder is not None:
        check_folder(folder, (CHECK,))
    check_stock(path)

    from meltwick.photo import read_photo
    from meltwick.photo.card import read_card

    shot = read_photo(Path(photo))
    card = read_card(shot, labels.names, cloth, places)
    for note in (*shot.notes, *card.notes):
        say(note)
    learnt = _learn(card, labels, cloth, shot.name)
    before = read_text(path, "stock file") if path.exists() else ""
    own = with_dyes(before, [each.dye for each in learnt], (), str(path), replace)
    load_stock_with(path, own)  # refuses what a later command could not read
    if folder is not None:
        from meltwick.picture.swatches import card_png

        write_together(folder, {CHECK: card_png(shot, card, __version__)})
    where = write_stock(path, own)
    for line in _told(learnt):
        typer.echo(line)
    typer.echo(
        "Splitting unknown: a flat swatch cannot teach how a dye parts on ice. "
        "A split test can: meltwick swatch split --help"
    )
    for line in where:
        typer.echo(line)
    if folder is not None:
        typer.echo(f"What was measured is in {folder / CHECK}.")
        if show:
            show_picture(folder / CHECK)
