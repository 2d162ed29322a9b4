"""The maker's own dyes, written into a stock file without touching what else is in it."""

from __future__ import annotations

import json
from collections.abc import Container, Iterable, Sequence
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from meltwick.errors import StockError
from meltwick.stock.reading import NEWEST_SCHEMA, one_line, parse_toml
from meltwick.types import Component, Dye

HEAD = f"""\
# Dyes read from swatches by meltwick. You may edit this file; what you add is kept.
# kd, strike and diffusivity of a dye are an average until a split test is read.
schema = {NEWEST_SCHEMA}
"""


def check_name(name: str, where: str) -> str:
    """Return a dye's name with single spaces; raises StockError when a stock cannot hold it."""
    kept = " ".join(name.split())
    if not kept or len(kept) > 40 or not kept.isprintable():
        raise StockError(one_line(f"{where}: {name[:60]!r} is not a name for a dye"))
    return kept


def _component(part: Component) -> str:
    bands = ", ".join(f"[{peak:g}, {width:g}, {height:.4g}]" for peak, width, height in part.bands)
    return (
        f"\n[component.{json.dumps(part.name, ensure_ascii=False)}]\n"
        f"bands = [{bands}]\n"
        f'kd = "{1e3 * part.kd:.3g} L/kg"\n'
        f"strike = {part.strike:.3g}\n"
        f"diffusivity = {part.diffusivity:.2e}\n"
        f"note = {json.dumps(part.note, ensure_ascii=False)}\n"
    )


def _dye(dye: Dye) -> str:
    shares = [round(share, 4) for _, share in dye.parts]
    shares[0] = round(1.0 - sum(shares[1:]), 4)
    parts = ", ".join(
        f"{json.dumps(part.name, ensure_ascii=False)} = {share:.4g}"
        for (part, _), share in zip(dye.parts, shares, strict=True)
    )
    return (
        f"\n[dye.{json.dumps(dye.name, ensure_ascii=False)}]\n"
        f"parts = {{ {parts} }}\n"
        f"solubility = {dye.solubility:.3g}\n"
        f"spoon_g = {1e3 * dye.spoon:.3g}\n"
        f"dark = {dye.dark:.2g}\n"
        f"splitting_known = {'true' if dye.splitting_known else 'false'}\n"
    )


def with_dyes(
    text: str, dyes: Sequence[Dye], known: Container[str], where: str, replace: bool = False
) -> str:
    """Return a stock file's text with dyes added at its end.

    Parameters
    ----------
    text : str
        The file as it is; empty for a new one.
    dyes : sequence of Dye
        Each is written with those of its components that are not known otherwise.
    known : container of str
        Components that other files hold: they are named, not written.
    where : str
        The file's name, for messages.
    replace : bool
        Take the place of entries of the same names; without it they are an error.

    Raises
    ------
    StockError
        The text is no stock file, or holds one of the dyes already.
    """
    tables = parse_toml(text, where, StockError)
    mine = {
        section: {part.name for dye in dyes for part, _ in dye.parts if part.name not in known}
        if section == "component"
        else {dye.name for dye in dyes}
        for section in ("component", "dye")
    }
    there = [name for name in tables.get("dye", {}) if name in mine["dye"]]
    if there and not replace:
        raise StockError(
            one_line(f"{where} has the dye '{there[0]}' already; write --replace to read it anew")
        )
    kept = text if text.strip() else HEAD
    gone = mine["component"] | _orphans(tables, there)
    for section, names in (("dye", mine["dye"]), ("component", gone)):
        for name in sorted(names & set(tables.get(section, {}))):
            kept = _without(kept, section, name, where)
    parts = {part.name: part for dye in dyes for part, _ in dye.parts if part.name not in known}
    added = "".join(map(_component, parts.values())) + "".join(map(_dye, dyes))
    return kept.rstrip("\n") + "\n" + added


def _orphans(tables: dict[str, Any], leaving: Sequence[str]) -> set[str]:
    """Return the components that only dyes about to be replaced are made of."""

    def parts(names: Iterable[str]) -> set[str]:
        tables_of = [tables["dye"][name] for name in names]
        return {part for table in tables_of for part in table.get("parts", {})}

    staying = [name for name in tables.get("dye", {}) if name not in leaving]
    return parts(leaving) - parts(staying)


def _without(text: str, section: str, name: str, where: str) -> str:
    """Take one entry out."""
    try:
        document = tomlkit.parse(text)
        tables: Any = document[section]
        del tables[name]
        if not tables:
            del document[section]
        return tomlkit.dumps(document)
    except (TOMLKitError, KeyError, TypeError, AttributeError):
        raise StockError(
            one_line(f"{where}: the {section} '{name}' cannot be replaced; take it out by hand")
        ) from None
