"""Reading a TOML file that a person wrote: every fault becomes one plain line.

The text is looked over before it is parsed, because a hostile file (brackets nested a hundred
thousand deep, a key of half a million parts) would exhaust the parser.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from difflib import get_close_matches
from itertools import islice
from pathlib import Path
from typing import Any

from meltwick.errors import FileError, MeltwickError
from meltwick.stock.synonyms import SYNONYMS

LARGEST = 1_000_000  # [bytes]
DEEPEST = 12  # brackets inside brackets, or parts of a dotted key
NEWEST_SCHEMA = 1

_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?(?:"""|\Z)'
    r"|'''.*?(?:'''|\Z)"
    r'|"(?:\\.|[^"\\\n])*"?'
    r"|'[^'\n]*'?"
    r"|\#[^\n]*"
    r"|[\[\]{}.=,\n]",
    re.DOTALL,
)

_PLAIN_WORDS = (  # how the parser's messages begin, and what a maker is told
    ("Cannot overwrite", "{key} is written twice"),
    ("Cannot declare", "this table is written twice"),
    ("Cannot mutate", "this table is written twice"),
    ("Cannot redefine", "this table is written twice"),
    ("Duplicate inline table key", "a key is written twice inside { }"),
    ("Invalid value", "the value of {key} cannot be read; words and quantities need quotes"),
    ("Invalid date", "the value of {key} cannot be read; words and quantities need quotes"),
    ("Expected '='", "a key must be followed by = and a value"),
    ("Expected ']", "a table's name must end with its ] or ]]"),
    ("Expected newline", "there is more after the value of {key}; quantities need quotes"),
    ("Expected", "a quote is opened but not closed"),
    ("Unterminated string", "a quote is opened but not closed"),
    ("Illegal character", "a quote is opened but not closed, or there is a stray character"),
    ("Unescaped", "write a backslash twice, or put the text in single quotes"),
    ("Escaped", "write a backslash twice, or put the text in single quotes"),
    ("Invalid hex", "write a backslash twice, or put the text in single quotes"),
    ("Unclosed array", "a [ is opened but not closed, or a value in it lacks its quotes"),
    ("Unclosed inline table", "a { is opened but not closed, or a value in it lacks its quotes"),
    ("Invalid initial character for a key", "a line must begin with a key, a [table] or a #"),
    ("Invalid statement", "a line must begin with a key, a [table] or a #"),
    ("Found invalid character", "there is a stray character"),
    ("Exceeds the limit", "a number has thousands of digits"),
)


def one_line(text: str) -> str:
    """Return the text on one line, with nothing in it that a terminal would act on."""
    kept = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(kept.split())


def shown_path(path: Path, most: int = 240) -> str:
    """Return a path on one line, the beginning of a long one left out."""
    text = one_line(str(path))
    return text if len(text) <= most else f"...{text[3 - most :]}"


def nearest(word: str, allowed: Iterable[str]) -> str | None:
    """Return the allowed word most like the one written, or None when none is alike.

    A maker's other word for it comes first, then a name that has the word in it, then spelling.
    """
    by_fold = {each.casefold(): each for each in allowed}
    written = " ".join(word.casefold()[:80].split())
    for other in SYNONYMS.get(written, ()):
        if other.casefold() in by_fold:
            return by_fold[other.casefold()]
    for folded, each in by_fold.items():
        if len(written) > 2 and written in re.split("[ /]", folded):
            return each
    near = get_close_matches(written, list(by_fold), 1, 0.55)
    return by_fold[near[0]] if near else None


def listed(words: Iterable[str], last: str = "or") -> str:
    """Return ``a, b or c``."""
    each = list(words)
    return each[0] if len(each) == 1 else f"{', '.join(each[:-1])} {last} {each[-1]}"


def choices(word: str, allowed: Iterable[str], also: str = "") -> str:
    """Return what is allowed and, when one is alike, the nearest word."""
    allowed = list(allowed)
    if not allowed:
        return f"there is none yet{also}"
    near = nearest(word, allowed)
    return f"it may be {listed(allowed)}{also}" + (f"; did you mean '{near}'?" if near else "")


def _beside(path: Path) -> str:
    """Hint at the TOML file in the same folder whose name is most like the one given."""
    if not path.name:
        return ""
    try:
        there = [each.name for each in islice(path.parent.glob("*.toml"), 200)]
    except (OSError, ValueError):
        return ""
    wanted = f"{path.name}.toml"
    near = wanted if wanted in there else next(iter(get_close_matches(path.name, there, 1)), None)
    return f"; did you mean '{one_line(str(path.parent / near))}'?" if near else ""


def read_text(path: Path, what: str) -> str:
    """Return the text of a small UTF-8 file.

    Parameters
    ----------
    path : Path
    what : str
        What the file should be, for the message: ``"plan"``.

    Raises
    ------
    FileError
        If the file is missing, a folder, not readable, larger than 1 MB, or not plain text.
    """
    name = shown_path(path)
    try:
        if path.is_dir():
            raise FileError(f"{name} is a folder; name a {what} file{_beside(path)}")
        if path.is_symlink() and not path.exists():
            raise FileError(f"{name} is a link that leads nowhere; name the {what} itself")
        if not path.exists():
            hint = _beside(path) or f"; check the spelling of the {what}'s name"
            raise FileError(f"{name} does not exist{hint}")
        if not path.is_file():
            raise FileError(f"{name} is not an ordinary file, so it cannot be a {what}")
        with path.open("rb") as file:
            raw = file.read(LARGEST + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the name is not one a file can have"
        raise FileError(f"{name} cannot be read: {one_line(str(reason)).lower()}") from None
    if len(raw) > LARGEST:
        raise FileError(f"{name} is larger than 1 MB, which no {what} is")
    if b"\0" in raw:
        raise FileError(f"{name} is not a text file, so it cannot be a {what}")
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise FileError(
            f"{name}, line {line}: this is not UTF-8 text; save the {what} as UTF-8"
        ) from None


def _too_deep(text: str) -> int | None:
    """Return the number of the line where brackets or dotted keys run too deep."""
    depth = dots = 0
    for match in _TOKEN.finditer(text):
        token = match[0]
        if token == ".":
            dots += 1
        elif token in ("[", "{"):
            depth, dots = depth + 1, 0
        elif token in ("]", "}"):
            depth, dots = max(0, depth - 1), 0
        elif token in ("=", ",", "\n"):
            dots = 0
        if max(depth, dots) > DEEPEST:
            return text.count("\n", 0, match.start()) + 1
    return None


def _plain(error: ValueError, text: str) -> str:
    """Put the parser's complaint in a maker's words, with its line."""
    said = str(error)
    place = re.search(r"\(at (?:line (\d+), column \d+|end of document)\)", said)
    lines = text.splitlines() or [""]
    number = int(place[1]) if place and place[1] else len(lines)
    line = lines[min(number, len(lines)) - 1]
    key = f"'{line.split('=')[0].strip()[:40]}'" if "=" in line else "a key"
    plain = next((words for start, words in _PLAIN_WORDS if said.startswith(start)), None)
    if plain is None:
        return f"line {number}: {re.sub(r' ?[(]at .*', '', said)[:120]}"
    return f"line {number}: {plain.replace('{key}', key)}"


def parse_toml(text: str, where: str, error: type[MeltwickError]) -> dict[str, Any]:
    """Return the tables of a TOML text.

    Parameters
    ----------
    text : str
    where : str
        The file's name, for the message.
    error : type of MeltwickError
        What is raised when the text cannot be read.

    Raises
    ------
    MeltwickError
        Of the type asked for, one line naming the file and the line.
    """
    name = one_line(where)
    if len(text) > LARGEST:
        raise error(f"{name} is larger than 1 MB")
    line = _too_deep(text)
    if line is not None:
        raise error(f"{name}, line {line}: nested more than {DEEPEST} deep")
    try:
        return tomllib.loads(text)
    except ValueError as fault:  # TOMLDecodeError, or an integer of thousands of digits
        raise error(one_line(f"{name}, {_plain(fault, text)}")) from None
    except RecursionError:
        raise error(f"{name} is nested too deep") from None


def check_schema(value: object, where: str, error: type[MeltwickError]) -> None:
    """Refuse a file written for a newer version than this one.

    Raises
    ------
    MeltwickError
        Of the type asked for.
    """
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise error(f"{one_line(where)}: schema is a whole number; this version writes 1")
    if value > NEWEST_SCHEMA:
        raise error(
            f"{one_line(where)}: schema {value if value < 10**9 else 'number'} is newer than this "
            f"version of meltwick reads ({NEWEST_SCHEMA}); bring meltwick up to date"
        )
