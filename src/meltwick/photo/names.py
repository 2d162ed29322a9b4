"""The names of a card's patches, from a small table that looks as the card does."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path

from meltwick.errors import PlanError
from meltwick.photo.card import UNDYED
from meltwick.stock.own import check_name
from meltwick.stock.reading import one_line, read_text
from meltwick.units import QuantityError, parse, shown

MOST = 12  # rows or columns
_EMPTY = {"", "-", "–", "empty"}
LEAST_DEPTH, MOST_DEPTH = 0.0005, 0.12  # powder over cloth


@dataclass(frozen=True)
class Labels:
    """What is on a card."""

    names: tuple[tuple[str, ...], ...]  # rows of columns; "" where there is nothing
    depths: tuple[tuple[float, ...], ...]  # powder by mass of cloth [kg/kg]


def read_grid(text: str) -> tuple[int, int]:
    """Turn ``3x4`` into rows and columns.

    Raises
    ------
    PlanError
        It is not that, or not from 2 to 12 each way.
    """
    match = re.fullmatch(r"\s*(\d{1,3})\s*[xX×*]\s*(\d{1,3})\s*", text)
    if match is None:
        raise PlanError(f"--grid: {shown(text)} is no grid; write rows x columns, such as 3x4")
    rows, columns = int(match[1]), int(match[2])
    if not (2 <= rows <= MOST and 2 <= columns <= MOST):
        raise PlanError(f"--grid: {shown(text)}; a card has 2 to {MOST} rows and columns")
    return rows, columns


def read_depth(text: str, where: str) -> float:
    """Turn ``2%`` into a share of the cloth's mass [kg/kg].

    Raises
    ------
    PlanError
        It is no depth from 0.05 to 12 %.
    """
    try:
        depth = parse(text, "share")
    except QuantityError:
        raise PlanError(
            f"{where}: {shown(text)} is no depth; write powder in % of the cloth's weight, "
            "such as 2%"
        ) from None
    if not LEAST_DEPTH <= depth <= MOST_DEPTH:
        raise PlanError(f"{where}: {shown(text)}; a depth lies from 0.05 to 12 %")
    return depth


def read_names(path: Path, rows: int, columns: int, depth: float) -> Labels:
    """Read the names of a card's patches.

    Parameters
    ----------
    path : Path
        A table of as many rows and columns as the card, each cell a name, ``undyed``, or a name
        and a depth such as ``coral 4%``; empty cells and ``-`` are passed over. Or a list under a
        head ``name`` or ``name,depth``, a line for each patch in reading order.
    rows, columns : int
        Of the card.
    depth : float
        Powder by mass of cloth, where none is given [kg/kg].

    Raises
    ------
    FileError
        The file cannot be read.
    PlanError, StockError
        It does not fit the card, names no undyed patch, or has a name that cannot be one.
    """
    text = read_text(path, "names file")
    name = one_line(str(path))
    mark = max(",;\t", key=text.count)
    try:
        table = [
            [cell.strip() for cell in row] for row in csv.reader(io.StringIO(text), delimiter=mark)
        ]
    except csv.Error:
        raise PlanError(f"{name} is no table of names; see meltwick swatch add --help") from None
    table = [row for row in table if any(row)] or [[""]]
    if [cell.casefold() for cell in table[0][:2]] in (["name"], ["name", "depth"], ["name", ""]):
        cells = _listed(table[1:], name, rows * columns)
        table = [cells[n : n + columns] for n in range(0, len(cells), columns)]
    wide = max(len(row) for row in table)
    if len(table) != rows or wide > columns:
        raise PlanError(f"{name} has {len(table)} rows of {wide}; the card is {rows} x {columns}")
    full = [row + [""] * (columns - len(row)) for row in table]
    found = [[_cell(cell, depth, name) for cell in row] for row in full]
    names = tuple(tuple(cell[0] for cell in row) for row in found)
    flat = [each for row in names for each in row]
    if UNDYED not in flat:
        raise PlanError(f"{name}: no patch is named '{UNDYED}'; one must be, for white and light")
    if not any(each not in ("", UNDYED) for each in flat):
        raise PlanError(f"{name}: every patch is undyed or empty; name at least one dye")
    return Labels(names, tuple(tuple(cell[1] for cell in row) for row in found))


def _listed(lines: list[list[str]], name: str, count: int) -> list[str]:
    if len(lines) != count:
        raise PlanError(f"{name} lists {len(lines)} patches; the card has {count}")
    return [" ".join(cell for cell in line[:2] if cell) for line in lines]


def _cell(cell: str, depth: float, where: str) -> tuple[str, float]:
    """Return a name, spaces made single, and its depth."""
    if cell.casefold() in _EMPTY:
        return "", depth
    match = re.fullmatch(r"(.*\S)\s+([\d.,]+\s*%)", cell)
    said, own = (match[1], match[2]) if match else (cell, "")
    if said.casefold() == UNDYED:
        return UNDYED, 0.0
    return check_name(said, where), read_depth(own, f"{where}: {said}") if own else depth
