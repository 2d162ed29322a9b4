"""`measure`: how much of a photographed piece stayed white, and what it took for what."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from meltwick.cli.options import Debug, Folder, Show
from meltwick.cli.places import read_corners, read_place
from meltwick.errors import PlanError

if TYPE_CHECKING:
    from meltwick.photo import Photo
    from meltwick.photo.measuring import Given, Measured
    from meltwick.types import Blank, Fabric

FILES = ("measured.png", "measure.json")
SCHEMA = 1

Corners = tuple[str, str, str, str]


def measure(
    photo: Annotated[str, typer.Argument(metavar="PHOTO", help="Of the front, laid flat.")],
    back: Annotated[
        str | None, typer.Option(metavar="PHOTO", help="A photograph of the back.")
    ] = None,
    blank: Annotated[
        str | None, typer.Option(metavar="NAME", help="What it is; else the best fit is taken.")
    ] = None,
    size: Annotated[
        str | None, typer.Option(metavar="SIZE", help="Its size; the usual one if left out.")
    ] = None,
    fabric: Annotated[
        str | None, typer.Option(metavar="NAME", help="Its cloth; the usual one if left out.")
    ] = None,
    plan: Annotated[
        str | None, typer.Option(metavar="PLAN", help="Take blank, size and cloth from its plan.")
    ] = None,
    white: Annotated[
        str | None,
        typer.Option(metavar="X,Y", help="Undyed cloth, on it or on a washed piece beside it."),
    ] = None,
    grey: Annotated[
        str | None, typer.Option(metavar="X,Y", help="A grey card that lies beside it.")
    ] = None,
    corners: Annotated[
        Corners | None,
        typer.Option(metavar="X,Y X,Y X,Y X,Y", help="The piece's corners, as the picture shows."),
    ] = None,
    back_white: Annotated[
        str | None, typer.Option(metavar="X,Y", help="As --white, in the back's photograph.")
    ] = None,
    back_grey: Annotated[
        str | None, typer.Option(metavar="X,Y", help="As --grey, in the back's photograph.")
    ] = None,
    back_corners: Annotated[
        Corners | None,
        typer.Option(metavar="X,Y X,Y X,Y X,Y", help="As --corners, in the back's photograph."),
    ] = None,
    out: Folder = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the numbers as JSON, and nothing else.")
    ] = False,
    show: Show = False,
    debug: Debug = False,
) -> None:
    """Measure how much of a finished piece stayed white, from a photograph.

    Wash, dry and press it; lay it flat on a plain ground of another colour, in open shade without
    direct sun; photograph it from straight above, with ground on all sides. Places are pixels from
    the picture's upper left.

    Example: meltwick measure front.jpg --back back.jpg --blank tee
    """
    from meltwick import __version__
    from meltwick.cli.failing import say
    from meltwick.cli.machine import prepare_kernels, show_picture
    from meltwick.cli.preview import read_folder
    from meltwick.cli.writing import check_folder, write_together

    told = {
        "front": (white, grey, read_corners(corners, "corner of the piece"), ""),
        "back": (
            back_white,
            back_grey,
            read_corners(back_corners, "corner of the piece", "--back-corners"),
            "back-",
        ),
    }
    for word, option in ((back_white, "white"), (back_grey, "grey"), (back_corners, "corners")):
        if word and back is None:
            raise PlanError(f"--back-{option} goes with --back; name the back's photograph too")
    blanks = _blanks(blank, size, fabric, plan)
    folder = read_folder(out) if out is not None else Path(f"{_stem(photo)}-measured")
    check_folder(folder, FILES)
    photos = _read(photo, back)
    given = {name: _given(photos[name], *told[name]) for name in photos}
    prepare_kernels(announce=False)
    from meltwick.photo.measuring import measure as measured_from
    from meltwick.picture.measured import measured_png

    found = measured_from(photos, blanks, given)
    record = as_record(found, __version__)
    text = json.dumps(record, indent=2, ensure_ascii=False) + "\n"
    picture = measured_png(found, Path(photo).stem, _caption(found, photos), __version__)
    write_together(folder, {FILES[0]: picture, FILES[1]: text.encode()})
    for note in found.notes:
        say(note)
    if as_json:
        typer.echo(text, nl=False)
    else:
        for line in (*_told(found, len(blanks) > 1), "", _where(folder)):
            typer.echo(line)
    if show:
        show_picture(folder / FILES[0])


def measured(front: Path, back: Path | None, blank: Blank, fabric: Fabric) -> dict[str, Any]:
    """Measure photographs of a piece of a known blank: what ``measure.json`` holds.

    Raises
    ------
    MeltwickError
        A photograph cannot be read, or shows no such garment.
    """
    from meltwick import __version__
    from meltwick.cli.failing import say
    from meltwick.cli.machine import prepare_kernels

    prepare_kernels(announce=False)
    from meltwick.photo.measuring import measure as measured_from

    found = measured_from(_read(str(front), None if back is None else str(back)), [(blank, fabric)])
    for note in found.notes:
        say(note)
    return as_record(found, __version__)


def as_record(found: Measured, version: str) -> dict[str, Any]:
    """Give what was measured as JSON, in the format that scripts may rely on (schema 1)."""
    from meltwick.cli.words import show_hex
    from meltwick.shares import dyed_to_white

    def split(values: Mapping[str, float]) -> dict[str, float]:
        return {name: round(share, 4) for name, share in values.items()}

    shares = found.shares
    return {
        "schema": SCHEMA,
        "version": version,
        "blank": found.blank.name,
        "size": found.blank.size,
        "white_share": round(found.white_share, 4),
        "white_margin": round(found.margin, 4),
        "white_at": split(shares.white_at),
        "dyed_to_white": dyed_to_white(found.white_share),
        "shares": split(shares.whole),
        "panels": {name: split(values) for name, values in shares.panels.items()},
        "zones": {name: split(values) for name, values in shares.zones.items()},
        "palette": [
            {
                "colour": show_hex(patch.lab),
                "lab": [round(part, 1) for part in patch.lab],
                "share": round(patch.share, 4),
            }
            for patch in found.palette
        ],
        "bands": {
            name: {
                "spacing_mm": round(1e3 * each.spacing, 1),
                "direction_deg": round(each.direction),
            }
            for name, each in found.bands.items()
        },
        "photos": [
            {
                "panel": side.name,
                "file": side.photo.name,
                "sha256": side.photo.digest,
                "taken": None if side.photo.taken is None else side.photo.taken.isoformat(),
                "darkest_light": round(side.light.swing, 3),
            }
            for side in found.sides
        ],
        "notes": list(found.notes),
    }


def _read(front: str, back: str | None) -> dict[str, Photo]:
    from meltwick.photo import read_photo
    from meltwick.photo.measuring import MOST

    files = {"front": front} if back is None else {"front": front, "back": back}
    return {name: read_photo(Path(file), MOST) for name, file in files.items()}


def _blanks(
    blank: str | None, size: str | None, fabric: str | None, plan: str | None
) -> list[tuple[Blank, Fabric]]:
    """Offer the blank that is named, or every one in stock."""
    from meltwick.plan import read_plan, resolve
    from meltwick.stock import load_stock

    stock = load_stock()
    if plan is not None:
        if blank or size or fabric:
            raise PlanError("--plan gives blank, size and cloth; leave --blank, --size, --fabric")
        recipe = resolve(read_plan(plan), stock)
        return [(recipe.blank, recipe.fabric)]
    if size is not None and blank is None:
        raise PlanError("--size: say what the piece is too, such as --blank tee")
    names = [blank] if blank is not None else list(stock.blanks)
    cloth = None if fabric is None else stock.fabric(fabric)
    return [(stock.blank(name, size), cloth or stock.usual_fabric(name)) for name in names]


def _given(photo: Photo, white: str | None, grey: str | None, corners: Any, option: str) -> Given:
    """Turn places in a photograph's pixels into shares of it."""
    import numpy as np

    from meltwick.photo.measuring import Given

    if white is not None and grey is not None:
        raise PlanError(f"--{option}white and --{option}grey: one of them is enough")
    full = np.array(photo.full[::-1], dtype=np.float64)
    places = {
        "white": None if white is None else read_place(white, f"--{option}white"),
        "grey": None if grey is None else read_place(grey, f"--{option}grey"),
        "corners": corners,
    }
    for name, place in places.items():
        if place is not None and not np.all(place <= full):
            raise PlanError(
                f"--{option}{name}: this lies outside the picture, which is {full[0]:.0f} wide "
                f"and {full[1]:.0f} high"
            )
    return Given(**{name: None if each is None else each / full for name, each in places.items()})


def _stem(photo: str) -> str:
    return Path(photo).stem or "photo"


def _caption(found: Measured, photos: Mapping[str, Photo]) -> str:
    from meltwick.picture.preview import BETWEEN
    from meltwick.shares import dyed_to_white

    ground = found.cloth.fabric.ground_name
    return BETWEEN.join(
        [
            " and ".join(photo.name for photo in photos.values()),
            f"{found.blank.name} {found.blank.size}",
            f"{dyed_to_white(found.white_share)} dyed to {ground}",
            f"give or take {_points(found.margin)} points",
        ]
    )


def _points(share: float) -> int:
    return max(1, round(100 * share))


def _told(found: Measured, guessed: bool) -> Sequence[str]:
    """Say what was measured in words a maker understands."""
    from meltwick.cli.words import percent, show_hex, table
    from meltwick.shares import dyed_to_white

    ground = found.cloth.fabric.ground_name
    lines = [
        f"{percent(found.white_share)} % of it is {ground}, give or take {_points(found.margin)} "
        f"points: {dyed_to_white(found.white_share)} dyed to {ground}."
    ]
    if guessed:
        lines.append(
            f"It was taken for a {found.blank.name}, size {found.blank.size}; if it is another, "
            "say so with --blank and --size."
        )
    if len(found.sides) == 1 and len(found.cloth.panels) > 1:
        lines.append("The other side was not photographed and does not count.")
    for name, each in found.bands.items():
        lines.append(
            f"Bands on the {name} lie {1e3 * each.spacing:.0f} mm apart and run {_run(each)}."
        )
    lines += ["", *table(found), ""]
    if found.palette:
        shown = [f"{show_hex(p.lab)} {percent(p.share)} %" for p in found.palette]
        lines.append(f"Colours: {', '.join(shown)}.")
    return lines


def _run(bands: Any) -> str:
    """Say which way bands run."""
    turn = bands.direction
    if turn < 10 or turn > 170:
        return "across"
    if 80 < turn < 100:
        return "up and down"
    side = "right" if turn < 90 else "left"
    return f"up to the {side}, {min(turn, 180 - turn):.0f}° from level"


def _where(folder: Path) -> str:
    return (
        f"What was taken for cloth, white and stitching is in {folder / FILES[0]}: look at it; the "
        f"numbers are in {folder / FILES[1]}."
    )
