"""The model's own doubt about the white share, as its study of sensitivity found it."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib import resources

SCHEMA = 1


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
    tables = tomllib.loads(text)
    if tables.get("schema") != SCHEMA:
        raise ValueError(f"doubt.toml: schema is {tables.get('schema')!r}, not {SCHEMA}")
    table = tables.get("doubt")
    if isinstance(table, dict) and isinstance(table.get(fold), dict):
        table = table[fold]
    white = table.get("white") if isinstance(table, dict) else None
    if isinstance(white, bool) or not isinstance(white, int | float) or not 0.0 <= white <= 1.0:
        raise ValueError(f"doubt.toml: doubt.white is {white!r}, not a share from 0 to 1")
    return float(white)


@lru_cache(maxsize=16)
def model_doubt(fold: str = "") -> float:
    """Half the width of the model's doubt about the white share [share, 0 to 1].

    Parameters
    ----------
    fold : str
        The last fold of the plan: each kind leans on other numbers of the model.
    """
    text = resources.files("meltwick.study").joinpath("doubt.toml").read_text("utf-8")
    return read_doubt(text, fold)


def widened(low: float, high: float, fold: str = "") -> tuple[float, float]:
    """Widen a range of white shares, found by several hands, by the model's own doubt.

    The doubt is added whole at both ends and not in quadrature: a constant that is off moves
    every hand the same way, so the whole range moves with it and nothing averages out.

    Parameters
    ----------
    low, high : float
        White share of the darkest and of the lightest hand, 0 to 1; equal for one hand.
    fold : str
        The last fold of the plan.

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
    doubt = model_doubt(fold)
    return max(0.0, low - doubt), min(1.0, high + doubt)
