"""The piece that a plan dyes over, as its photographs show it."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Annotated, ClassVar

from pydantic import Field, PlainValidator, model_validator

from meltwick.errors import FileError
from meltwick.plan.place import Place
from meltwick.plan.reading import fault
from meltwick.plan.table import Table
from meltwick.stock import Stock
from meltwick.types import Dye
from meltwick.types.seen import Start
from meltwick.units import shown

ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif")
AS_FRONT = "as the front"
_LONGEST = 300  # letters of a file's name
_MOST_DYES = 8
_LARGEST = 200_000_000  # [bytes] no photograph of cloth takes more


def photo_file(also: tuple[str, ...] = ()) -> PlainValidator:
    """Read the name of a photograph's file, or one of some words."""
    more = "".join(f", or '{word}'" for word in also)

    def read(found: object) -> str:
        text = found.strip() if isinstance(found, str) else ""
        for word in also:
            if " ".join(text[:80].casefold().split()) == word:
                return word
        good = 0 < len(text) <= _LONGEST and text.isprintable()
        if not good or not text.casefold().endswith(ENDINGS):
            raise fault(
                f"{shown(found)} is not a photograph; write a JPEG, PNG, TIFF, WebP or HEIC "
                f"file such as 'front.jpg'{more}"
            )
        return text

    return PlainValidator(read)


def _names() -> PlainValidator:
    def read(found: object) -> tuple[str, ...]:
        asked = found if isinstance(found, list) else []
        good = all(isinstance(name, str) and 0 < len(name.strip()) <= 60 for name in asked)
        if not isinstance(found, list) or not good or len(asked) > _MOST_DYES:
            raise fault(
                f"{shown(found)} is no list of dyes; write up to {_MOST_DYES} names in stock, as "
                'in ["coral", "plum"]'
            )
        return tuple(dict.fromkeys(str(name).strip() for name in asked))

    return PlainValidator(read)


class StartTable(Table):
    """The piece that is dyed over, as its photographs show it; without it the piece is undyed."""

    _main: ClassVar[str] = "photo"

    photo: Annotated[str, photo_file()] = Field(
        default="", description="a photograph of its front, a file beside the plan"
    )
    back: Annotated[str, photo_file((AS_FRONT,))] = Field(
        default="",
        description="one of its back; undyed if left out, or dyed through and through as the front",
    )
    dyes: Annotated[tuple[str, ...], _names()] = Field(
        default=(),
        description="dyes that are on it, as far as you know; other colours are kept as a stain",
    )

    @model_validator(mode="after")
    def _names_a_photograph(self) -> StartTable:
        if not self.photo:
            raise fault("what does the front look like? write photo = 'front.jpg'", "photo")
        return self


def resolve_start(table: StartTable, stock: Stock, beside: str, place: Place) -> Start:
    """Find the photographs that a plan names, and the dyes.

    Parameters
    ----------
    table : StartTable
    stock : Stock
    beside : str
        The plan's file: photographs are looked for beside it.
    place : Place
        Where in the plan it stands.

    Raises
    ------
    PlanError
        A photograph is not there, or a dye is not in stock.
    """
    photos, contents = [], []
    for panel, key, name in (("front", "photo", table.photo), ("back", "back", table.back)):
        if not name or name == AS_FRONT:
            continue
        path = Path(beside).parent / name
        try:
            contents.append((panel, content_of(path)))
        except FileError as error:
            raise place.key(key).error(str(error)) from None
        photos.append((panel, str(path)))
    dyes: dict[str, Dye] = {}
    for number, asked in enumerate(table.dyes, 1):
        dye = place.key("dyes").key(number).ask(stock.dye, asked)
        dyes.setdefault(dye.name, dye)
    return Start(
        photos=tuple(photos),
        contents=tuple(contents),
        dyes=tuple(dyes.values()),
        unseen="front" if table.back == AS_FRONT else "undyed",
    )


def content_of(path: Path) -> str:
    """Return the SHA-256 of a photograph's file, in hexadecimal.

    Raises
    ------
    FileError
        It is missing, no plain file, empty, too large, or cannot be read.
    """
    told = shown(str(path))
    try:
        if not path.exists():
            raise FileError(f"there is no photograph {told}")
        if not path.is_file():
            raise FileError(f"{told} is not a file")
        size = path.stat().st_size
        if not 0 < size <= _LARGEST:
            what = "empty" if size == 0 else "larger than 200 MB"
            raise FileError(f"{told} is {what}; write a photograph as the camera gave it")
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise FileError(f"{told} cannot be read ({reason.lower()})") from None
