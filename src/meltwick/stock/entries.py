"""One entry of a stock file at a time: its keys checked, its values turned into SI."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from meltwick.errors import StockError
from meltwick.stock.reading import choices, listed, one_line
from meltwick.types import Component, Dye, Fabric
from meltwick.units import QuantityError, parse, shown


class Entry:
    """A table of a stock file; every key must be taken before `finish`."""

    def __init__(self, where: str, table: object) -> None:
        self.where = one_line(where)
        if not isinstance(table, Mapping):
            raise StockError(f"{self.where} must be a table of keys, not {shown(table)}")
        self._table = dict(table)
        self._asked: list[str] = []

    def fault(self, key: str, text: str) -> StockError:
        """Return the error for one key."""
        return StockError(one_line(f"{self.where}.{key} {text}"))

    def take(self, key: str, default: object = None) -> Any:
        """Return what stands under a key; without a default it must be there."""
        self._asked.append(key)
        if key not in self._table and default is None:
            known = f"; it has {listed(self._table, 'and')}" if self._table else ""
            raise StockError(one_line(f"{self.where} needs the key '{key}'{known}"))
        return self._table.pop(key, default)

    def number(
        self, key: str, low: float, high: float, default: float | None = None, kind: str = ""
    ) -> float:
        """Return a number between two bounds; with `kind` a quantity in words serves too."""
        found = self.take(key, default)
        try:
            value = parse(found, kind) if kind and isinstance(found, str) else found
        except QuantityError as error:
            raise self.fault(key, f"cannot be read: {error}") from None
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.fault(key, f"is {shown(found)}; a number is wanted")
        if not (low <= value <= high) or not math.isfinite(value):
            raise self.fault(key, f"is {shown(found)}; it must lie from {low:g} to {high:g}")
        return float(value)

    def text(self, key: str, default: str) -> str:
        """Return a short text."""
        found = self.take(key, default)
        if not isinstance(found, str) or len(found) > 500:
            raise self.fault(key, f"is {shown(found)}; a short text in quotes is wanted")
        return found

    def flag(self, key: str, default: bool) -> bool:
        """Return true or false."""
        found = self.take(key, default)
        if not isinstance(found, bool):
            raise self.fault(key, f"is {shown(found)}; it may be true or false")
        return found

    def numbers(self, key: str, count: int, low: float, high: float) -> tuple[float, ...]:
        """Return a list of so many numbers, or an empty one when the key is left out."""
        found = self.take(key, [])
        good = isinstance(found, list) and all(
            isinstance(v, int | float) and not isinstance(v, bool) and low <= v <= high
            for v in found
        )
        if not good or len(found) not in (0, count):
            raise self.fault(key, f"must be a list of {count} numbers from {low:g} to {high:g}")
        return tuple(float(v) for v in found)

    def finish(self) -> None:
        """Refuse keys that nobody asked for."""
        for key in self._table:
            raise StockError(
                one_line(f"{self.where} has no key {shown(key)}; {choices(key, self._asked)}")
            )


def read_fabric(where: str, name: str, table: object) -> Fabric:
    """Return a fabric. Its reflectance, if given, is 31 values, 400 to 700 nm by 10 nm."""
    entry = Entry(where, table)
    fabric = Fabric(
        name=name,
        mass_per_area=entry.number("mass_per_area", 0.01, 1.0, kind="mass per area"),
        thickness=entry.number("thickness", 3e-5, 6e-3, kind="length"),
        fibre_density=entry.number("fibre_density", 800.0, 2000.0, 1540.0, kind="density"),
        dyeable_share=entry.number("dyeable_share", 0.0, 1.0, 1.0),
        uptake=entry.number("uptake", 0.0, 3.0, 1.0),
        wetting=entry.number("wetting", 0.0, 1.0, 1.0),
        scoured=entry.flag("scoured", True),
        ground=entry.numbers("ground", 31, 0.001, 1.2),
        ground_name=entry.text("ground_name", "white"),
    )
    entry.finish()
    if not 0.02 <= fabric.solid <= 0.7:
        raise StockError(
            f"{entry.where} would be {100 * fabric.solid:.0f} % fibre; cloth holds 2 to 70 %, so "
            "its weight and its thickness do not go together"
        )
    return fabric


def _read_band(entry: Entry, band: object) -> tuple[float, float, float]:
    bounds = ((300.0, 800.0), (5.0, 200.0), (0.0, 50.0))
    good = isinstance(band, list) and len(band) == 3
    if not (
        isinstance(band, list)
        and good
        and all(
            isinstance(v, int | float) and not isinstance(v, bool) and low <= v <= high
            for v, (low, high) in zip(band, bounds, strict=True)
        )
    ):
        raise entry.fault(
            "bands",
            f"has {shown(band)}; each is [peak 300 to 800 nm, half width 5 to 200 nm, K/S 0 to 50]",
        )
    return (float(band[0]), float(band[1]), float(band[2]))


def read_component(where: str, name: str, table: object) -> Component:
    """Return one dye molecule."""
    entry = Entry(where, table)
    bands = entry.take("bands")
    if not isinstance(bands, list) or not 1 <= len(bands) <= 12:
        raise entry.fault("bands", "must be a list of one to twelve absorption bands")
    component = Component(
        name=name,
        bands=tuple(_read_band(entry, band) for band in bands),
        kd=entry.number("kd", 1e-5, 0.1, kind="volume per mass"),
        strike=entry.number("strike", 0.01, 100.0, 1.0),
        diffusivity=entry.number("diffusivity", 1e-11, 2e-9, 4e-10),
        note=entry.text("note", ""),
    )
    entry.finish()
    return component


def read_dye(where: str, name: str, table: object, known: Mapping[str, Component]) -> Dye:
    """Return a jar of powder, its components looked up among the known ones."""
    entry = Entry(where, table)
    parts = entry.take("parts")
    if not isinstance(parts, Mapping) or not 1 <= len(parts) <= 12:
        raise entry.fault("parts", "must name one to twelve components and their shares")
    for part, share in parts.items():
        if part not in known:
            raise entry.fault(
                f"parts names {shown(part)},", f"not in stock; {choices(part, known)}"
            )
        if isinstance(share, bool) or not isinstance(share, int | float) or not 0 < share <= 1:
            raise entry.fault(f"parts: {part}", f"is {shown(share)}; a share from 0 to 1 is wanted")
    total = math.fsum(parts.values())
    if abs(total - 1.0) > 1e-3:
        raise entry.fault("parts", f"add up to {total:g}; the shares of a dye add up to 1")
    dye = Dye(
        name=name,
        parts=tuple((known[part], float(share) / total) for part, share in parts.items()),
        solubility=entry.number("solubility", 0.1, 1000.0, 70.0, kind="density"),
        spoon=entry.number("spoon_g", 0.1, 20.0, 2.5) * 1e-3,
        dark=entry.number("dark", 0.0, 1.0, 0.5),
        splitting_known=entry.flag("splitting_known", True),
    )
    entry.finish()
    return dye
