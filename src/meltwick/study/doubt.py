"""The model's own doubt about the white share, as its study of sensitivity found it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from importlib import resources
from typing import Any, Protocol

SCHEMA = 1


class Narrowing(Protocol):
    """What was learned from a maker's own pieces."""

    def doubt(self, book: float, parts: Mapping[str, float]) -> float:
        """Half the width of the doubt that is left."""


def _table(text: str, fold: str) -> Any:
    tables = tomllib.loads(text)
    if tables.get("schema") != SCHEMA:
        raise ValueError(f"doubt.toml: schema is {tables.get('schema')!r}, not {SCHEMA}")
    table = tables.get("doubt")
    if isinstance(table, dict) and isinstance(table.get(fold), dict):
        table = table[fold]
    return table if isinstance(table, dict) else {}


def _share(value: Any, key: str, low: float = 0.0) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= 1.0:
        raise ValueError(f"doubt.toml: {key} is {value!r}, not a share from {low:g} to 1")
    return float(value)


def read_doubt(text: str, fold: str = "") -> float:
    """Read the doubt from the text of ``doubt.toml``.

    Parameters
    ----------
    text : str
        ``white`` of ``[doubt]`` serves every fold that has no table, such as ``[doubt.pole]``.
    fold : str
        Word of the fold.

    Returns
    -------
    float
        Half width [share of the dyeable cloth], 0 to 1.

    Raises
    ------
    ValueError
        If the file is of another schema, or the number is missing or no share.
    """
    return _share(_table(text, fold).get("white"), "doubt.white")


def read_parts(text: str, fold: str = "") -> dict[str, float]:
    """Read what constants that can be learned do to the white: half widths with their signs.

    Raises
    ------
    ValueError
        As `read_doubt`.
    """
    parts = _table(text, fold).get("parts", {})
    return {name: _share(value, f"parts.{name}", -1.0) for name, value in parts.items()}


def _text() -> str:
    return resources.files("meltwick.study").joinpath("doubt.toml").read_text("utf-8")


@lru_cache(maxsize=16)
def model_doubt(fold: str = "") -> float:
    """Half the width of the model's doubt about the white share [share, 0 to 1].

    Parameters
    ----------
    fold : str
        The last fold of the plan: each kind leans on other numbers of the model.
    """
    return read_doubt(_text(), fold)


def doubt_for(fold: str = "", learned: Narrowing | None = None) -> float:
    """Half the width of the doubt about the white, by the book or as a maker's pieces left it.

    Parameters
    ----------
    fold : str
        The last fold of the plan.
    learned : Narrowing, optional
        The maker's profile.
    """
    book = model_doubt(fold)
    return book if learned is None else learned.doubt(book, read_parts(_text(), fold))


def widened(
    low: float, high: float, fold: str = "", learned: Narrowing | None = None
) -> tuple[float, float]:
    """Widen a range of white shares, found by several hands, by the model's own doubt.

    The doubt is added whole at both ends and not in quadrature: a constant that is off moves
    every hand the same way, so the whole range moves with it and nothing averages out.

    Parameters
    ----------
    low, high : float
        White share of the darkest and of the lightest hand, 0 to 1; equal for one hand.
    fold : str
        The last fold of the plan.
    learned : Narrowing, optional
        The maker's profile.

    Returns
    -------
    tuple of float
        Low and high, kept within 0 to 1.

    Raises
    ------
    ValueError
        If low and high are the wrong way round or no shares.
    """
    if not 0.0 <= low <= high <= 1.0:
        raise ValueError(f"{low} to {high} is no range of shares")
    doubt = doubt_for(fold, learned)
    return max(0.0, low - doubt), min(1.0, high + doubt)
