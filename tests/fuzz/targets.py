"""What is fuzzed: for each reader the files to begin with, how they are spoiled, and what reads."""

from __future__ import annotations

import contextlib
import json
import random
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from io import BytesIO
from pathlib import Path

from mutations import spoil_bytes, spoil_database, spoil_png, spoil_text

ROOT = Path(__file__).parents[2]
GIGABYTE = 1_000_000_000
Spoil = Callable[[random.Random, bytes, bytes], bytes]


@dataclass(frozen=True)
class Target:
    """A reader under attack."""

    ending: str  # of the file that is read
    seeds: Callable[[Path], Sequence[bytes]]  # given a folder to work in
    spoil: Sequence[Spoil]
    read: Callable[[Path], object]
    memory: int = GIGABYTE  # [bytes] that a file may cost


def _plans(_: Path) -> list[bytes]:
    plans = [*ROOT.glob("gallery/*.toml"), *ROOT.glob("src/meltwick/plan/example.toml")]
    return [path.read_bytes() for path in sorted(plans)]


def _plan(path: Path) -> None:
    from meltwick.advice import advise, describe
    from meltwick.plan import canonical, read_plan, resolve
    from meltwick.stock import load_stock

    recipe = resolve(read_plan(path), load_stock(path.parent / "none"))
    json.loads(canonical(recipe))
    describe(recipe)
    advise(recipe)


_SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="600mm" height="700mm" viewBox="0 0 600 700">'
)
_SHAPES = (
    b'<path id="front" d="M10 10 L500,10 500 600 H 10 Z"/>',
    b'<path d="m 100,100 c 50-80 200,-80 300 0 s 90 300 -20 400 q -100 50 -200 0 t -80 -90 z"/>',
    b'<path d="M 300 50 A 250 200 30 1 1 299 50 z" transform="rotate(20) translate(1,2)"/>',
    b'<g transform="matrix(1 0 0 1 5 5)"><rect x="10" y="10" width="200" height="300"/></g>',
    b'<polygon id="back" points="10,10 400,20 300,500"/><circle cx="200" cy="200" r="150"/>',
    b'<ellipse cx="200" cy="200" rx="150" ry="90" style="fill:none"/><text x="1">hem</text>',
)


def _drawings(_: Path) -> list[bytes]:
    head = b'<?xml version="1.0"?>\n'
    return [head + _SVG + b"\n" + shape + b"\n</svg>\n" for shape in _SHAPES]


def _svg(path: Path) -> None:
    from meltwick.plan import plan_from_text, resolve
    from meltwick.stock import load_stock

    text = f'[garment]\noutline = "{path.name}"\n'
    plan = plan_from_text(text, str(path.parent / "own.toml"))
    resolve(plan, load_stock(path.parent / "none"))


def _photographs(_: Path) -> list[bytes]:
    import numpy as np
    from PIL import Image, ImageCms

    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    exif = Image.Exif()
    exif[0x0112], exif[0x0132] = 6, "2026:11:03 10:20:30"
    noise = np.random.default_rng(1).integers(0, 256, (70, 80, 4), dtype=np.uint8)
    made = []
    for kind, more in (
        *(("JPEG", {}), ("JPEG", {"progressive": True}), ("PNG", {}), ("TIFF", {})),
        *(("TIFF", {"compression": "tiff_lzw"}), ("TIFF", {"compression": "jpeg"})),
        *(("WEBP", {}), ("WEBP", {"lossless": True})),
    ):
        file = BytesIO()
        image = Image.fromarray(noise).convert("RGB")
        image.save(file, kind, exif=exif, icc_profile=profile, **more)
        made.append(file.getvalue())
    for mode, kind in (("RGBA", "PNG"), ("P", "PNG"), ("LA", "PNG"), ("CMYK", "JPEG")):
        file = BytesIO()
        Image.fromarray(noise).convert(mode).save(file, kind)
        made.append(file.getvalue())
    grey = BytesIO()
    Image.fromarray(noise[..., 0].astype(np.uint16) * 257).save(grey, "PNG")
    return [*made, grey.getvalue()]


def _photo(path: Path) -> None:
    from meltwick.journal.photographs import date_taken
    from meltwick.photo.reading import read_photo

    date_taken(path.read_bytes())
    photo = read_photo(path, 20_000)
    assert photo.linear.shape[:2] == photo.clipped.shape
    assert 0.0 <= photo.linear.min() <= photo.linear.max() <= 1.0


def _journals(work: Path) -> list[bytes]:
    sys.path.insert(0, str(ROOT))
    from tests.journalling import add, picture

    from meltwick.journal import Journal
    from meltwick.journal.carrying import as_json

    (work / "made.db").unlink(missing_ok=True)
    book = Journal(work / "made.db")
    add(book, "kite", picture(1))
    add(book, "sail")
    book.note(1, "dried in the shade")
    text = as_json(book.pieces()).encode()
    return [book.path.read_bytes(), text, book.path.read_bytes()]


def _spoil_journal(work: Path, dice: random.Random, data: bytes, other: bytes) -> bytes:
    if not data.startswith(b"SQLite"):
        return spoil_text(dice, data, other)
    return (
        spoil_database(dice, data, work) if dice.random() < 0.6 else spoil_bytes(dice, data, other)
    )


def _journal(path: Path) -> None:
    from tests.journalling import add

    from meltwick.cli.journal import _read_export
    from meltwick.errors import MeltwickError
    from meltwick.journal import Journal
    from meltwick.journal.carrying import as_csv, as_json, from_json
    from meltwick.journal.gathering import recipe_of

    with path.open("rb") as file:
        head = file.read(16)
    if head == b"SQLite format 3\0":
        book = Journal(path, wait=0.1)
        with contextlib.suppress(MeltwickError):
            book.note(1, "said again")
        with contextlib.suppress(MeltwickError):
            book.forget(2)
        with contextlib.suppress(MeltwickError):
            add(book, "jib")
        pieces = book.pieces()
    else:
        pieces = from_json(_read_export(path), str(path))
        book = Journal(path.with_suffix(".taken"), wait=0.1)
        book.path.unlink(missing_ok=True)
        book.merge(pieces, lambda _: None)
        assert [each.identity for each in book.pieces()] == list(
            dict.fromkeys(each.identity for each in pieces)
        )
    from_json(as_json(pieces), "again")
    as_csv(pieces)
    for piece in pieces[:1]:
        try:
            recipe_of(piece)
        except MeltwickError:
            continue  # the made-up drawing is none


def _stocks(_: Path) -> list[bytes]:
    return [path.read_bytes() for path in sorted(ROOT.glob("src/meltwick/stock/*.toml"))]


def _stock(path: Path) -> None:
    from meltwick.stock.loader import load_stock_with

    stock = load_stock_with(path, folder=path.parent / "none")
    for dye in stock.dyes:
        stock.dye(dye)
    for name, line in stock.blanks.items():
        for size in line.sizes:
            stock.blank(name, size)


def _collections(work: Path) -> list[bytes]:
    (work / "tee.toml").write_text("")
    (work / "scarf.toml").write_text('[garment]\nblank = "scarf"\n')
    home = ROOT / "gallery/first-frost"
    prices, whole = ((home / f"{name}.toml").read_text() for name in ("prices", "collection"))
    (work / "prices.toml").write_text(prices)
    own = '[[piece]]\nplan = "tee.toml"\ncount = 3\n[[piece]]\nplan = "scarf.toml"\nprice = "20"\n'
    shop = whole.partition("[[piece]]")[0] + own
    listed = own + "[prices]\n" + prices.replace("[", "[prices.").replace("schema = 1", "")
    return [text.encode() for text in (own, shop, listed)]


def _collection(path: Path) -> None:
    from datetime import date

    from meltwick.collection.plans import workshop_of
    from meltwick.collection.reading import read_collection
    from meltwick.stock import load_stock

    stock = load_stock(path.parent / "none")
    whole = read_collection(path, stock)
    workshop_of(whole.table.workshop, [], stock, date(2026, 12, 1))


def _records(_: Path) -> list[bytes]:
    digest = "0" * 64
    photos = [{"file": "a.jpg", "sha256": digest, "panel": "front"}]
    record = {"schema": 1, "white_share": 0.4, "white_margin": 0.03, "photos": photos}
    more = {"shares": {"white": 0.4}, "panels": {}, "zones": {}, "palette": []}
    return [json.dumps(record).encode(), json.dumps(record | more, indent=1).encode()]


def _record(path: Path) -> None:
    from meltwick.cli.given import photos_of, read_given

    photos_of(read_given(str(path), None, None, None))


def targets(work: Path) -> dict[str, Target]:
    """Return the readers by name; ``work`` is a folder of their own."""
    text, picture = (spoil_text, spoil_text, spoil_bytes), (spoil_bytes, spoil_png)
    return {
        "plan": Target("toml", _plans, text, _plan),
        "svg": Target("svg", _drawings, text, _svg),
        "photo": Target("jpg", _photographs, picture, _photo, 3 * GIGABYTE),
        "journal": Target("db", _journals, (partial(_spoil_journal, work),), _journal),
        "stock": Target("toml", _stocks, text, _stock),
        "collection": Target("toml", _collections, text, _collection),
        "record": Target("json", _records, text, _record),
    }
