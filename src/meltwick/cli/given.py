"""What a maker gives of a finished piece: photographs or a measured record, shares, days, costs."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meltwick.cli.failing import one_line
from meltwick.cli.options import shortened
from meltwick.errors import FileError, PlanError

if TYPE_CHECKING:
    from meltwick.journal import Cost, Photo, Picture

MEASURED = 1
"""Schema of what ``meltwick measure`` writes."""


@dataclass(frozen=True)
class Given:
    """What a maker gives of a finished piece."""

    front: Path | None = None  # a photograph
    back: Path | None = None
    measured: dict[str, Any] | None = None  # what `meltwick measure` wrote
    where: str = ""  # its file
    by_eye: float | None = None  # white share
    margin: float = 0.1  # half width


# --------------------------------------------------------------------- what the maker wrote


def read_given(
    photo: str | None, back: str | None, by_eye: str | None, margin: str | None
) -> Given:
    """Tell a photograph from what ``meltwick measure`` wrote, and read a share by eye.

    Raises
    ------
    PlanError
        Nothing is given, or too much, or a share cannot be read.
    FileError
        A file is missing, or neither a picture nor such a record.
    """
    if photo is None and by_eye is None:
        raise PlanError(
            "PHOTO is missing; name a photograph of the front, or what meltwick measure wrote, or "
            "say --by-eye 45%"
        )
    if margin is not None and by_eye is None:
        raise PlanError("--by-eye-margin goes with --by-eye; leave it out")
    if photo is None and back is not None:
        raise PlanError("--back: name the photograph of the front too")
    share = None if by_eye is None else read_share(by_eye, "--by-eye")
    off = 0.1 if margin is None else read_share(margin, "--by-eye-margin")
    if photo is None:
        return Given(by_eye=share, margin=off)
    if is_record(photo):
        if by_eye is not None or back is not None:
            extra = "--by-eye" if by_eye is not None else "--back"
            raise PlanError(f"{extra}: {photo} was measured already; leave {extra} out")
        return Given(measured=read_measured(photo), where=photo)
    paths = [_picture(name) for name in (photo, back) if name is not None]
    second = paths[1] if back is not None else None
    return Given(front=paths[0], back=second, by_eye=share, margin=off)


def read_share(text: str, option: str) -> float:
    """Read a share, such as 45%.

    Raises
    ------
    PlanError
        It is none, or not from 0 to 100 %.
    """
    from meltwick.units import QuantityError, parse

    try:
        share = parse(text.strip(), "share")
    except QuantityError:
        bare = text.strip()
        number = re.fullmatch(r"[0-9]{1,3}(\.[0-9]+)?", bare)
        hint = f"; did you mean {bare}%?" if number and 1 < float(bare) <= 100 else ""
        raise PlanError(f"{option}: {shortened(text)} is no share; write 45%{hint}") from None
    if not 0.0 <= share <= 1.0:
        raise PlanError(f"{option}: {shortened(text)} is no share; write one from 0% to 100%")
    return share


def read_day(text: str, option: str) -> date:
    """Read a day as 2026-11-03, today or yesterday; none that is still to come.

    Raises
    ------
    PlanError
        It is no day.
    """
    word, today = text.strip().casefold(), date.today()
    if word in ("today", "yesterday"):
        return today - timedelta(days=word == "yesterday")
    try:
        if not re.fullmatch(r"\d{4}-\d{1,2}-\d{1,2}", word, re.ASCII):
            raise ValueError
        day = date(*map(int, word.split("-")))
    except ValueError:
        raise PlanError(
            f"{option}: {shortened(text)} is no date; write year, month and day, such as "
            f"{today.isoformat()}, or yesterday"
        ) from None
    if day > today:
        raise PlanError(f"{option}: {day.isoformat()} is still to come; today is {today}")
    return day


def read_costs(costs: Sequence[str], notes: Sequence[str]) -> tuple[Cost, ...]:
    """Read amounts, each with its currency before or after it, and what they were for.

    Raises
    ------
    PlanError
        One is no amount, or there are more notes than amounts.
    """
    from meltwick.journal import Cost

    if len(notes) > len(costs):
        raise PlanError("--cost-note: each goes with a --cost; write that too")
    found = []
    for n, text in enumerate(costs):
        said = " ".join(text.split())
        money = re.fullmatch(
            r"([^\d\s.,+-]{0,8}) ?(\d{1,9}(?:[.,]\d{1,2})?) ?([^\d\s.,+-]{0,8})", said
        )
        sign = (money[1] or money[3]) if money else ""
        if money is None or (money[1] and money[3]) or not all(map(_of_currency, sign)):
            raise PlanError(
                f"--cost: {shortened(text)} is no amount; write one such as '12.50 EUR'"
            )
        what = notes[n].strip() if n < len(notes) else ""
        if len(what) > 300 or not what.isprintable():
            raise PlanError("--cost-note: it has at most 300 characters, on one line")
        found.append(Cost(money[2].replace(",", "."), sign, what))
    return tuple(found)


def _of_currency(letter: str) -> bool:
    return letter.isalpha() or unicodedata.category(letter) == "Sc"


# -------------------------------------------------------------------------------- the files


def _picture(name: str) -> Path:
    """Find a photograph; what it shows is seen later."""
    path = Path(name)
    shown = shortened(name) if not name.isprintable() else name
    if not name.strip() or "\0" in name:
        raise FileError(f"{shown!r} cannot name a photograph")
    if path.suffix.casefold() == ".toml":
        raise FileError(f"{shown} is a plan; the plan comes first, then the photograph")
    try:
        if path.is_dir():
            raise FileError(f"{shown} is a folder; name a photograph in it")
        if path.exists() and not path.is_file():
            raise FileError(f"{shown} is not an ordinary file, so it cannot be a photograph")
        if not path.exists():
            raise FileError(f"{shown} does not exist; check the spelling of the photograph's name")
    except OSError as error:
        raise FileError(f"{shown} cannot be read ({(error.strerror or '').lower()})") from None
    return path


def is_record(name: str) -> bool:
    """Whether a file is a JSON record, by its first sign, or by its name where it has none."""
    path = _picture(name)
    try:
        with path.open("rb") as file:
            head = file.read(4096).removeprefix(b"\xef\xbb\xbf").lstrip()
    except OSError as error:
        raise FileError(f"{name} cannot be read ({(error.strerror or '').lower()})") from None
    return head.startswith(b"{") or path.suffix.casefold() == ".json"


def read_measured(name: str) -> dict[str, Any]:
    """Read what ``meltwick measure`` wrote.

    Raises
    ------
    FileError
        It is not that, or of a newer version.
    """
    import json

    from meltwick.stock.reading import read_text

    text = read_text(Path(name), "measure.json")
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        raise FileError(
            f"{name} is not JSON, or not all of it; write it anew with meltwick measure"
        ) from None
    if not isinstance(found, dict) or "white_share" not in found:
        said = "has no white_share" if isinstance(found, dict) else "holds no record"
        raise FileError(f"{name} {said}; name what meltwick measure wrote, or a photograph")
    schema = found.get("schema")
    if type(schema) is not int or schema < 1:
        raise FileError(f"{name}: schema is not {MEASURED}; write it anew with meltwick measure")
    if schema > MEASURED:
        raise FileError(
            f"{name}: schema {str(schema)[:9]} is newer than this version of meltwick reads "
            f"({MEASURED}); bring meltwick up to date"
        )
    return found


def photos_of(given: Given) -> tuple[tuple[Photo, ...], list[Picture], list[str]]:
    """Read the photographs; give their records, the copies to keep, and what lacks, in words."""
    if given.measured is not None:
        return _measured_photos(given.measured, given.where)
    from meltwick.journal import Photo, Picture
    from meltwick.journal.photographs import date_taken
    from meltwick.journal.records import sha256

    photos, pictures = [], []
    for panel, path in (("front", given.front), ("back", given.back)):
        if path is not None:
            content = _read_picture(path)
            taken = date_taken(content)
            photos.append(Photo(sha256(content), one_line(path.name)[:300], panel, taken))
            pictures.append(Picture(content, path.name))
    if len({photo.sha256 for photo in photos}) < len(photos):
        raise FileError("--back: front and back are one and the same photograph")
    return tuple(photos), pictures, []


def _measured_photos(
    record: dict[str, Any], where: str
) -> tuple[tuple[Photo, ...], list[Picture], list[str]]:
    """Find the photographs that were measured, beside the record or where we are."""
    from meltwick.journal import Photo, Picture
    from meltwick.journal.photographs import date_taken, read_photo
    from meltwick.journal.records import checked

    photos, pictures, lacking = [], [], list[str]()
    said = record.get("photos", [])
    for n, each in enumerate(said if isinstance(said, list) else [said], 1):
        if isinstance(each, dict):  # what a later version may add is no matter here
            each = {key: each[key] for key in ("file", "sha256", "panel") if key in each}
        photo: Photo = checked(Photo, each, f"{where}: photos.{n}")
        places = (Path(where).parent / photo.file, Path(photo.file))
        found = [content for place in places if (content := read_photo(place, photo.sha256))]
        taken = date_taken(found[0]) if found else None
        photos.append(Photo(photo.sha256, Path(photo.file).name, photo.panel, taken))
        if found:
            pictures.append(Picture(found[0], photo.file))
        else:
            lacking.append(
                f"{photo.file} is not beside {where} any more, or was changed; of it only the "
                "hash is kept."
            )
    return tuple(photos), pictures, lacking


def _read_picture(path: Path) -> bytes:
    """Read a photograph's bytes; refuse what is no picture."""
    import io

    from PIL import Image

    from meltwick.journal.photographs import LARGEST

    try:
        if path.stat().st_size > LARGEST:
            raise FileError(f"{path} is larger than {LARGEST / 1e6:g} MB, which no photograph is")
        content = path.read_bytes()
    except OSError as error:
        raise FileError(f"{path} cannot be read ({(error.strerror or '').lower()})") from None
    if content[4:8] == b"ftyp":  # HEIC and its kin; whether it can be drawn is no matter here
        return content
    try:
        with Image.open(io.BytesIO(content)):
            return content
    except Exception:  # whatever it is, Pillow does not know it
        raise FileError(
            f"{path} is no picture; a photograph is JPEG, PNG, TIFF, WebP or HEIC"
        ) from None
