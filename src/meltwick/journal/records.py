"""What a journal holds of one piece, as frozen records, and its mark by content.

The records are checked when they come from a file: shares are from 0 to 1, dates are dates.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Annotated, Any, ClassVar, Literal

from pydantic import AfterValidator, ConfigDict, Field, TypeAdapter, ValidationError

from meltwick.errors import FileError
from meltwick.stock.reading import one_line

LONGEST_NOTE = 4000  # characters, as of a plan's notes
MOST_TEXT = 1_000_000  # characters of a plan, as `read_text` allows


def _sound(text: str) -> str:
    """Refuse halves of characters and the null, which not every program can carry."""
    try:
        text.encode()
    except UnicodeEncodeError:
        raise ValueError("it holds half a character") from None
    if "\0" in text:
        raise ValueError("it holds a null character")
    return text


def _printable(text: str) -> str:
    if not _sound(text).isprintable():
        raise ValueError("it must be one line")
    return text


def plain_path(text: str) -> str:
    """Refuse a name that would lead out of the folder in which a plan is laid out again.

    Raises
    ------
    ValueError
    """
    parts = _printable(text).split("/")
    up = 0
    while up < len(parts) and parts[up] == "..":
        up += 1
    rest = parts[up:]
    if up > 8 or not rest or any(not part.strip(". ") or "\\" in part for part in rest):
        raise ValueError("it is no file's name")
    if ":" in text:
        raise ValueError("it is no file's name")
    return text


Line = Annotated[str, Field(max_length=300), AfterValidator(_printable)]
Text = Annotated[str, Field(max_length=MOST_TEXT), AfterValidator(_sound)]
Hash = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
Within = Annotated[str, Field(min_length=1, max_length=300), AfterValidator(plain_path)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]
Parts = Annotated[dict[Line, Share], Field(max_length=200)]
"""A share of the cloth for each class, such as white, pale, mid and deep."""
Places = Annotated[dict[Line, Parts], Field(max_length=200)]
"""The same for each panel or zone."""
Moment = Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?Z$")]
"""A moment in UTC, as in ISO 8601."""
How = Literal["photo", "by eye"]

_STRICT = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)


@dataclass(frozen=True)
class Cost:
    """What a maker paid for something, in the currency that they write."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    amount: Annotated[str, Field(pattern=r"^\d{1,9}(\.\d{1,3})?$")]
    currency: Annotated[str, Field(max_length=8), AfterValidator(_printable)] = ""
    note: Line = ""

    @property
    def value(self) -> Decimal:
        """The amount as a number that adds up exactly."""
        return Decimal(self.amount)


@dataclass(frozen=True)
class Photo:
    """A photograph of the piece, known by its content."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    sha256: Hash
    file: Line  # as it was called
    panel: Annotated[str, Field(max_length=20), AfterValidator(_printable)] = "front"
    taken: date | None = None  # as the camera says


@dataclass(frozen=True)
class Prediction:
    """What the model expected of the plan, before or after the piece was made."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    white: Share  # of the middle hand
    low: Share  # of the darkest hand
    high: Share  # of the lightest
    least: Share  # with the model's own doubt
    most: Share
    by_hand: Annotated[tuple[Share, ...], Field(min_length=1, max_length=100)]
    seed: Annotated[int, Field(ge=0, lt=2**63)]  # of the first hand
    pitch: Annotated[float, Field(gt=0.0, le=1.0)]  # [m]
    shares: Parts  # of the hand nearest to the middle
    panels: Places
    zones: Places
    model: Annotated[int, Field(ge=0, lt=2**31)]
    version: Line
    profile: Line | None = None  # a maker's own corrections, by name


@dataclass(frozen=True)
class Outcome:
    """What the finished piece measured."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    white_share: Share
    white_margin: Share  # half width
    how: How
    shares: Parts = field(default_factory=dict)
    panels: Places = field(default_factory=dict)
    zones: Places = field(default_factory=dict)
    palette: Annotated[tuple[Any, ...], Field(max_length=200)] = ()  # colours, as measured


@dataclass(frozen=True)
class Note:
    """Something to remember, and when it was written."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    at: Moment
    text: Annotated[str, Field(min_length=1, max_length=LONGEST_NOTE), AfterValidator(_sound)]


@dataclass(frozen=True)
class Entry:
    """A piece as it was recorded: nothing of this changes afterwards.

    A field that is added later must be left out of `document` while it has its default, so that
    the marks of older pieces stay.
    """

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    recorded: Moment
    name: Annotated[str, Field(min_length=1, max_length=100), AfterValidator(_printable)]
    made_on: date
    plan_name: Line
    plan_file: Within  # file name alone
    plan_text: Text  # as its maker wrote it
    canonical: Annotated[str, Field(max_length=20 * MOST_TEXT), AfterValidator(_sound)]
    digest: Hash  # of that
    seed: Annotated[int, Field(ge=0, lt=2**63)]
    fold: Line  # word of the last one
    ground: Line  # word of the cloth's own colour
    outcome: Outcome
    prediction: Prediction | None = None
    costs: Annotated[tuple[Cost, ...], Field(max_length=100)] = ()
    photos: Annotated[tuple[Photo, ...], Field(max_length=20)] = ()
    kept: Annotated[dict[Within, Hash], Field(max_length=200)] = field(default_factory=dict)
    """Files that the plan names, from its own folder, and the digest of each."""
    kept_stock: Annotated[dict[Within, Hash], Field(max_length=200)] = field(default_factory=dict)
    """Stock files of the maker's own, where the plan needs them."""


@dataclass(frozen=True)
class Piece(Entry):
    """A piece in the journal."""

    number: int = 0  # 0 until it is saved
    notes: tuple[Note, ...] = ()
    contents: Mapping[str, bytes] = field(default_factory=dict)  # by digest

    @property
    def files(self) -> dict[str, bytes]:
        """The files that the plan names, each from the plan's own folder."""
        return {name: self.contents[each] for name, each in self.kept.items()}

    @property
    def stock(self) -> dict[str, bytes]:
        """The maker's own stock files, where the plan needs them."""
        return {name: self.contents[each] for name, each in self.kept_stock.items()}

    @property
    def predicted(self) -> float | None:
        """White share that was predicted, 0 to 1; None where nothing was."""
        return None if self.prediction is None else self.prediction.white

    @property
    def only_panel(self) -> str | None:
        """The one panel that was measured, where more were predicted; None where all were."""
        seen = self.outcome.panels
        whole = {} if self.prediction is None else self.prediction.panels
        (only,) = seen if len(seen) == 1 else (None,)
        return only if only in whole and len(whole) > 1 else None

    @property
    def identity(self) -> str:
        """Mark by content: 64 hexadecimal digits."""
        return identity(document(self))


_NEVER_CHANGE = tuple(each.name for each in fields(Entry))
_RECORDS = Cost | Photo | Prediction | Outcome | Note | Entry


@lru_cache(maxsize=16)
def _adapter(record: type) -> TypeAdapter[Any]:
    return TypeAdapter(record)


def plain(record: _RECORDS) -> dict[str, Any]:
    """Return a record as what JSON can hold."""
    kind: type = type(record)
    found: dict[str, Any] = _adapter(kind).dump_python(record, mode="json")
    return found


def document(entry: Entry) -> dict[str, Any]:
    """Return a piece as it was recorded, as what JSON can hold; what `identity` is made of."""
    return plain(Entry(**{name: getattr(entry, name) for name in _NEVER_CHANGE}))


def compact(value: object) -> str:
    """Write JSON in one way only: keys sorted, no spaces, floats by their shortest exact form."""
    return json.dumps(
        value, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":")
    )


def identity(entry: Mapping[str, Any]) -> str:
    """Return the mark of a piece: SHA-256 of its document, which two journals share."""
    return sha256(compact(entry).encode())


def sha256(content: bytes) -> str:
    """Return the SHA-256 of some bytes, in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def checked(record: type, value: object, where: str) -> Any:
    """Make a record of what JSON holds.

    Raises
    ------
    FileError
        One line: where, the key, and what it should be.
    """
    try:
        text = json.dumps(value, allow_nan=False, ensure_ascii=False)
        return _adapter(record).validate_json(text.encode())
    except (ValueError, RecursionError) as error:  # a ValidationError is a ValueError
        raise FileError(f"{one_line(where)}: {_said(error)}") from None


def _said(error: Exception) -> str:
    if isinstance(error, UnicodeError):
        return "it holds half a character"
    if not isinstance(error, ValidationError):
        return "a number in it is not finite, or it is nested too deep"
    first = error.errors(include_url=False, include_context=False)[0]
    key = ".".join(str(part) for part in first["loc"])
    said = first["msg"].removeprefix("Value error, ")
    if first["type"] == "missing":
        said = "it is missing"
    elif first["type"] in ("unexpected_keyword_argument", "extra_forbidden"):
        said = "it is no key of a journal that this version knows"
    said = f"{said[:1].lower()}{said[1:]}"
    return one_line(f"{key[:120]}: {said}" if key else said)[:300]
