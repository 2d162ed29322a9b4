"""What was learned from a maker's own pieces, kept under a name.

A profile is a TOML file in the maker's data folder. It holds the constants that were learned, how
sure they are, the pieces they were learned from, and how far predictions were off before and
after.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meltwick.constants import MODEL, Constants
from meltwick.errors import FileError, ProfileError
from meltwick.homes import wanted
from meltwick.journal.factors import FACTORS, FEWEST, stride
from meltwick.stock.reading import choices, one_line, parse_toml, read_text

if TYPE_CHECKING:
    from meltwick.journal.learning import Learned

SCHEMA = 1
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,39}")
_ENDING = ".toml"
_NINE_IN_TEN = 1.7
"""Standard deviations in a shown doubt, as in docs/sensitivity.md."""
_RANGES = {row["name"]: (row["low"], row["high"]) for row in Constants.table()}


def usual_folder() -> Path:
    """Where profiles are kept: in the platform's data folder; FileError where there is none."""
    return wanted("data") / "profiles"


@dataclass(frozen=True)
class Taught:
    """A piece that a profile was learned from: its name and white shares, 0 to 1."""

    name: str
    white: float  # measured
    book: float  # predicted by the book
    others: float  # predicted from the other pieces


@dataclass(frozen=True)
class Profile:
    """Constants learned from a maker's own pieces."""

    name: str
    model: int
    made_on: str  # ISO 8601 date
    pitch: float  # [m] of the runs
    hands: int
    values: Mapping[str, float]  # constants, by name
    spans: Mapping[str, tuple[float, float]]  # one standard deviation below and above each
    place: tuple[float, ...]  # of each factor [standard deviations of the prior]
    covariance: tuple[tuple[float, ...], ...]  # of the factors, likewise
    effects: tuple[float, ...]  # white share that each factor adds, the mean of the pieces
    before: float  # root of the mean square of what the book misses [share]
    after: float  # the same of each piece as the others predict it
    gain: bool
    pieces: tuple[Taught, ...] = field(default=())

    def constants(self) -> Constants:
        """Return the model's numbers, with what was learned in place."""
        return replace(Constants(), **self.values)

    def doubt(self, book: float, parts: Mapping[str, float]) -> float:
        """Half the width of the doubt about a white share, with what was learned.

        The book's doubt is a root of a sum of squares, one of each constant. Those of the factors
        that were learned are taken out of the sum, and what is left of them after learning is put
        in. The doubt is never below what the pieces missed when each was predicted from the
        others.

        Parameters
        ----------
        book : float
            Half the width of the book's doubt [share].
        parts : mapping
            Of each learned constant: half the way that the white share goes from the low to the
            high end of its range, with its sign [share].
        """
        # of a factor: its constants moved together, each as far as `factors.stride` says
        pulls = [
            sum(way * parts.get(name, 0.0) for name, way in factor.constants.items())
            / math.sqrt(len(factor.constants))
            for factor in FACTORS
        ]
        known = sum(pull * pull for pull in pulls)
        left = sum(
            a * b * self.covariance[i][j] for i, a in enumerate(pulls) for j, b in enumerate(pulls)
        )
        whole = math.sqrt(max(0.0, book * book - known + left))
        return min(1.0, max(whole, _NINE_IN_TEN * self.after))


def profile_of(name: str, learned: Learned, today: date) -> Profile:
    """Make a profile of what was learned."""
    from meltwick.journal.factors import spans

    constants = spans(learned.place, learned.covariance)
    return Profile(
        name=name,
        model=MODEL,
        made_on=today.isoformat(),
        pitch=learned.pitch,
        hands=learned.hands,
        values={key: each[0] for key, each in constants.items()},
        spans={key: each[1:] for key, each in constants.items()},
        place=tuple(map(float, learned.place)),
        covariance=tuple(tuple(map(float, row)) for row in learned.covariance),
        effects=learned.effects,
        before=learned.before,
        after=learned.after,
        gain=learned.gain,
        pieces=tuple(
            Taught(piece.name, piece.white, book, others)
            for piece, book, others in zip(
                learned.evidence, learned.book, learned.others, strict=True
            )
        ),
    )


# ------------------------------------------------------------------------------- files


def check_name(name: str) -> str:
    """Return a profile's name as it is kept.

    Raises
    ------
    ProfileError
        If a file cannot be called so.
    """
    word = " ".join(name.split())
    if not _NAME.fullmatch(word):
        raise ProfileError(
            f"{one_line(name)[:40]!r} cannot name a profile; write up to 40 letters, digits, "
            "- and _, such as mine"
        )
    return word


def names(folder: Path | None = None) -> list[str]:
    """List the profiles that are kept."""
    folder = usual_folder() if folder is None else folder
    found = folder.glob(f"*{_ENDING}") if folder.is_dir() else ()
    return sorted(path.stem for path in found if _NAME.fullmatch(path.stem))


def as_toml(profile: Profile) -> str:
    """Write a profile as its file holds it."""
    lines = [
        "# What meltwick learned from your own pieces; meltwick learn writes it anew.",
        f"schema = {SCHEMA}",
        f"name = {json.dumps(profile.name)}",
        f"model = {profile.model}",
        f'made_on = "{profile.made_on}"',
        f"detail_mm = {profile.pitch * 1e3:.6g}",
        f"hands = {profile.hands}",
        "",
        "# Root of the mean square of what predictions missed [share of the dyeable cloth]: by the",
        "# book, and each piece predicted from the others.",
        "[errors]",
        f"before = {profile.before:.6f}",
        f"after = {profile.after:.6f}",
        f"gain = {str(profile.gain).lower()}",
    ]
    units = {row["name"]: (row["unit"], row["value"]) for row in Constants.table()}
    for key, value in profile.values.items():
        unit, book = units[key]
        low, high = profile.spans[key]
        lines += [
            "",
            f"[constants.{key}]  # the book's is {book:g}{'' if unit == '-' else ' ' + unit}",
            f"value = {value!r}",
            f"low = {low:.6g}  # one standard deviation of its factor below",
            f"high = {high:.6g}",
        ]
    lines += [
        "",
        "# Each in standard deviations of what is taken as likely before any piece is seen.",
        "[factors]",
        f"names = {json.dumps([factor.name for factor in FACTORS])}",
        f"place = {json.dumps(profile.place)}",
        f"covariance = {json.dumps(profile.covariance)}",
        f"white = {json.dumps([round(each, 6) for each in profile.effects])}  # share added",
    ]
    for piece in profile.pieces:
        lines += [
            "",
            "[[piece]]",
            f"name = {json.dumps(piece.name, ensure_ascii=False)}",
            f"white = {piece.white:.6f}",
            f"book = {piece.book:.6f}",
            f"others = {piece.others:.6f}",
        ]
    return "\n".join(lines) + "\n"


def from_toml(text: str, where: str) -> Profile:
    """Read a profile.

    Raises
    ------
    ProfileError
        One line: the file, the key, and what to do.
    """
    tables = parse_toml(text, where, ProfileError)
    try:
        if tables["schema"] != SCHEMA:
            raise ValueError(f"schema is {tables['schema']!r}, and this meltwick knows {SCHEMA}")
        return _checked(tables)
    except KeyError as error:
        fault = f"{error.args[0]} is missing"
    except (TypeError, ValueError, AttributeError) as error:
        fault = str(error)
    raise ProfileError(f"{one_line(where)}: {one_line(fault)}; learn it anew with meltwick learn")


def _checked(tables: Mapping[str, Any]) -> Profile:
    if tables["factors"]["names"] != [factor.name for factor in FACTORS]:
        raise ValueError("factors.names are not those that this meltwick learns")
    number = len(FACTORS)
    constants = {name for factor in FACTORS for name in factor.constants}
    if set(tables["constants"]) != constants:
        raise ValueError(f"constants are not {', '.join(sorted(constants))}")
    values, spans = {}, {}
    for name, table in tables["constants"].items():
        low, high = _RANGES[name]
        slack = 1e-9 * (high - low)  # a bound that was met, through a logarithm and back
        values[name] = _number(table, "value", low - slack, high + slack, f"constants.{name}.")
        spans[name] = tuple(_number(table, end, 0.0, 2 * high) for end in ("low", "high"))
    if len(tables["piece"]) < FEWEST:
        raise ValueError(f"it names fewer than {FEWEST} pieces")
    place = _row(tables["factors"]["place"], number, "factors.place")
    for factor, at in zip(FACTORS, place, strict=True):
        for name in factor.constants:
            wanted = math.log(getattr(Constants(), name)) + at * stride(factor, name)
            if abs(math.log(values[name]) - wanted) > 1e-6:
                raise ValueError(f"constants.{name}.value and factors.place do not agree")
    covariance = tables["factors"]["covariance"]
    if not isinstance(covariance, list) or len(covariance) != number:
        raise ValueError(f"factors.covariance has not {number} rows")
    return Profile(
        name=str(tables["name"]),
        model=int(_number(tables, "model", 0, 1e9)),
        made_on=str(tables["made_on"]),
        pitch=_number(tables, "detail_mm", 0.1, 20.0) / 1e3,
        hands=int(_number(tables, "hands", 1, 1e4)),
        values=values,
        spans=spans,  # type: ignore[arg-type]
        place=place,
        covariance=tuple(_row(row, number, "factors.covariance") for row in covariance),
        effects=_row(tables["factors"]["white"], number, "factors.white"),
        before=_number(tables["errors"], "before", 0.0, 1.0, "errors."),
        after=_number(tables["errors"], "after", 0.0, 1.0, "errors."),
        gain=bool(tables["errors"]["gain"]),
        pieces=tuple(
            Taught(
                str(each["name"]),
                *(_number(each, key, 0.0, 1.0, "piece.") for key in ("white", "book", "others")),
            )
            for each in tables["piece"]
        ),
    )


def _number(table: Mapping[str, Any], key: str, low: float, high: float, where: str = "") -> float:
    value = table[key]
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise ValueError(f"{where}{key} is {value!r}, not a number from {low:g} to {high:g}")
    return float(value)


def _row(value: Any, number: int, where: str) -> tuple[float, ...]:
    if not isinstance(value, list) or len(value) != number:
        raise ValueError(f"{where} is not {number} numbers")
    table = dict(enumerate(value))
    return tuple(_number(table, key, -100.0, 100.0, f"{where} ") for key in table)  # type: ignore


def path_of(name: str, *, new: bool = False, folder: Path | None = None) -> Path:
    """Return where the profile of a name lies, or would lie if it is new.

    Raises
    ------
    ProfileError
        If there is none, or it can have no such name.
    """
    folder = usual_folder() if folder is None else folder
    word = check_name(name)
    path = folder / f"{word}{_ENDING}"
    if not new and not path.is_file():
        there = names(folder)
        known = choices(word, there) if there else "none was learned yet; see meltwick learn --help"
        raise ProfileError(f"there is no profile {word!r}; {known}")
    return path


def read_profile(name: str, folder: Path | None = None) -> Profile:
    """Return the profile of a name.

    Raises
    ------
    ProfileError
        If there is none, it cannot be read, or it was learned with another model.
    """
    path = path_of(name, folder=folder)
    word = path.stem
    try:
        profile = replace(from_toml(read_text(path, "profile"), str(path)), name=word)
    except FileError as error:
        raise ProfileError(str(error)) from None
    if profile.model != MODEL:
        again = "" if word == "mine" else f' --as "{word}"' if " " in word else f" --as {word}"
        raise ProfileError(
            f"profile {word!r} was learned with another model ({profile.model}; this is {MODEL}); "
            f"learn it anew with meltwick learn{again}"
        )
    return profile
