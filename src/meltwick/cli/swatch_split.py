"""`swatch split`: a photographed split test teaches how a dye parts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meltwick.cli.options import Debug, Folder, Show, shortened
from meltwick.cli.swatch import (
    FabricName,
    Photograph,
    StockFile,
    check_stock,
    stock_path,
    write_stock,
)

if TYPE_CHECKING:
    from meltwick.advice.parting import Parted
    from meltwick.photo.reading import Photo
    from meltwick.photo.splitting import Split

PICTURE = "split.png"
POOR = 4.0  # Delta E 2000 over the rings, above which nothing is learnt; chosen
OTHER = 10.0  # Delta E 2000 to the flat colour, above which it is another dye; chosen
NOT_TOLD = (
    "This test cannot tell whether a part lags because it holds on harder or because it fixes "
    "faster (it is written as holding on), nor how ice and cold change it; parts of like colour "
    "count as one."
)


def _scale(text: str | None, photo: Photo) -> float | None:
    """Return metres to a pixel of the file, or None where the width was not given."""
    from meltwick.errors import PlanError
    from meltwick.units import QuantityError, parse

    if text is None:
        return None
    try:
        width = parse(text, "length")
    except QuantityError as error:
        raise PlanError(f"--across cannot be read: {error}") from None
    if not 0.01 <= width <= 3.0:
        raise PlanError(f"--across: {shortened(text)} lies outside 1 cm to 3 m")
    return width / photo.full[1]


def _told(split: Split, parted: Parted, name: str, scale: float | None) -> list[str]:
    from meltwick.advice.parting import ALIKE
    from meltwick.units import show_length

    count = len(split.travellers)
    lines = [
        f"{name} parts into {count}; they give the halo's colours back within ΔE "
        f"{max(split.misfit, 0.05):.1f}, one dye would within {split.alone:.1f}."
    ]
    first = split.travellers[0].reach
    for each, share, hold in zip(split.travellers, parted.shares, parted.hold, strict=True):
        if each.reach == first:
            far = "went furthest"
        elif first / each.reach < ALIKE:
            far = "went as far"
        else:
            far = f"went {100 * each.reach / first:.0f} % as far, holds on {hold:.1f} times as hard"
        if scale is not None:
            far = f"{far}, {show_length(each.reach * scale)} from the powder's middle"
        lines.append(f"  coloured like {each.component.name}: {100 * share:.0f} %, {far}")
    lines.append(f"Evenly dyed, they give the flat colour back within ΔE {parted.residual:.1f}.")
    return lines


def split(
    photo: Photograph,
    dye: Annotated[str, typer.Option(metavar="NAME", help="The dye that was sprinkled.")],
    across: Annotated[
        str | None,
        typer.Option(metavar="LENGTH", help="How wide a strip the photograph shows, as 20 cm."),
    ] = None,
    fabric: FabricName = "cotton jersey",
    stock: StockFile = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what is seen, and change no dye.")
    ] = False,
    out: Folder = None,
    show: Show = False,
    debug: Debug = False,
) -> None:
    """Read a split test: which parts a powder has, and how far each travels.

    Soak white cloth in soda, wring it, lay it flat, and set a pinch of powder in its middle. Cover
    it until the halo stops, let it fix, wash it, dry it, and photograph it from above with undyed
    cloth all round the halo. The dye takes on the parts that the halo shows. With --out DIR a
    picture shows the halo ring by ring.

    Example: meltwick swatch split halo.jpg --dye coral --across "20 cm"
    """
    from meltwick import __version__
    from meltwick.cli.failing import say
    from meltwick.cli.machine import show_picture
    from meltwick.cli.preview import read_folder
    from meltwick.cli.writing import check_folder, write_together
    from meltwick.errors import FileError
    from meltwick.stock import load_stock, load_stock_with, stock_components
    from meltwick.stock.own import with_dyes
    from meltwick.stock.reading import read_text

    path = stock_path(stock)
    known = load_stock_with(path) if stock is not None else load_stock()
    jar, cloth = known.dye(dye), known.fabric(fabric)
    folder = read_folder(out) if out is not None else None
    if folder is not None:
        check_folder(folder, (PICTURE,))
    if not dry_run:
        check_stock(path)

    from meltwick.advice.parting import Part, learn_split, one_dye
    from meltwick.photo import read_photo
    from meltwick.photo.splitting import GOOD, read_split

    shot = read_photo(Path(photo))
    scale = _scale(across, shot)
    found = read_split(shot, jar, stock_components(), cloth)
    for note in (*shot.notes, *found.notes):
        say(note)
    if found.misfit > POOR:
        raise FileError(
            f"{shot.name}: no three known components give the halo's colours nearer than ΔE "
            f"{found.misfit:.0f}; nothing was learnt. Is it washed, dry, and {jar.name}?"
        )
    if found.misfit > GOOD:
        say(f"The halo is only roughly explained (ΔE {found.misfit:.1f}); take shares as a guess.")
    if len(found.travellers) > 1:
        parts = [Part(each.component, each.share, each.reach) for each in found.travellers]
        parted = learn_split(jar, parts, cloth)
        if parted.residual > OTHER:
            raise FileError(
                f"{shot.name}: the halo's parts make a colour that is ΔE {parted.residual:.0f} "
                f"from {jar.name}'s; is it another dye's test? Nothing was learnt"
            )
        fresh, lines = parted.dye, _told(found, parted, jar.name, scale)
    else:
        fresh = one_dye(jar)
        lines = [
            f"{jar.name} does not part: one colour from the middle to the rim (ΔE "
            f"{max(found.misfit, 0.05):.1f})."
        ]
    if folder is not None:
        from meltwick.picture.halo import halo_png

        write_together(folder, {PICTURE: halo_png(found, cloth, jar.name, scale, __version__)})
    for line in (*lines, NOT_TOLD):
        typer.echo(line)
    if not dry_run:
        before = read_text(path, "stock file") if path.exists() else ""
        outside = {part.name for part, _ in fresh.parts} & {c.name for c in stock_components()}
        own = with_dyes(before, [fresh], outside, str(path), replace=True)
        load_stock_with(path, own)  # refuses what a later command could not read
        for line in write_stock(path, own):
            typer.echo(line.replace("They are", f"{fresh.name} is"))
    if folder is not None:
        typer.echo(f"The halo, ring by ring, is {folder / PICTURE}.")
        if show:
            show_picture(folder / PICTURE)
