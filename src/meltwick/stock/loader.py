"""The stock: our own files first, then the maker's, read once when first asked for."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from meltwick.errors import FileError, StockError
from meltwick.homes import offered
from meltwick.stock.entries import Entry, read_component, read_dye, read_fabric
from meltwick.stock.reading import check_schema, choices, one_line, parse_toml, read_text
from meltwick.types import Blank, Component, Dye, Fabric
from meltwick.units import QuantityError, parse, shown

OWN_FILES = ("blanks.toml", "fabrics.toml", "grounds.toml", "poles.toml", "ties.toml", "dyes.toml")
# the outlines that can be drawn
CUTS = ("tee", "square", "scarf", "tote", "pillowcase", "tank", "leggings", "socks")
SECTIONS = ("component", "dye", "fabric", "ground", "blank", "pole", "tie")

_Found = TypeVar("_Found")


@dataclass(frozen=True)
class BlankLine:
    """A garment in every size it is sold in."""

    name: str
    cut: str
    usual_size: str
    usual_fabric: str
    sizes: Mapping[str, Mapping[str, float]]  # measures [m] by size


@dataclass(frozen=True)
class Stock:
    """What may be named in a plan. Every look-up by an unknown name says what there is."""

    blanks: Mapping[str, BlankLine]
    fabrics: Mapping[str, Fabric]
    grounds: Mapping[str, str]  # sRGB, #rrggbb
    poles: Mapping[str, float]  # outside diameter [m]
    ties: Mapping[str, float]  # pull [N]
    components: Mapping[str, Component]
    dyes: Mapping[str, Dye]

    def blank(self, name: str, size: str | None = None) -> Blank:
        """Return a blank in one size, or in its usual size.

        Raises
        ------
        StockError
            If there is no such blank or no such size of it.
        """
        line = _named("blank", name, self.blanks)
        chosen = line.usual_size if size is None else _spelling(size, line.sizes)
        if chosen is None:
            raise StockError(
                f"no size {shown(size)} of the {name}; {choices(str(size), line.sizes)}"
            )
        return Blank(line.name, line.cut, chosen, line.sizes[chosen])

    def usual_fabric(self, blank: str) -> Fabric:
        """Return the cloth a blank is usually made of."""
        return self.fabric(_named("blank", blank, self.blanks).usual_fabric)

    def fabric(self, name: str) -> Fabric:
        """Return a fabric by name; raises StockError when there is none."""
        return _named("fabric", name, self.fabrics)

    def ground(self, name: str) -> tuple[str, str]:
        """Return a ground's name as the stock spells it, and its colour, ``#rrggbb``.

        Raises
        ------
        StockError
            If there is no such ground.
        """
        also = ", white, or a colour such as '#bdd7e8'"
        colour = _named("ground", name, self.grounds, also)
        return str(_spelling(name, self.grounds)), colour

    def dye(self, name: str) -> Dye:
        """Return a dye by name; raises StockError when there is none."""
        return _named("dye", name, self.dyes)

    def tie_pull(self, word: str) -> float:
        """Return the pull [N] that a word stands for; raises StockError for another word."""
        return _named("pull", word, self.ties, ", or a force such as '20 N'")

    def pole(self, name: str) -> float:
        """Return a pole's outside diameter [m] by trade name, however its fraction is written.

        Raises
        ------
        StockError
            If there is no such pole.
        """
        return self.poles[self.pole_name(name)]

    def _other_poles(self, name: str) -> str:
        """Say which poles there are; a bare size is most likely meant as a diameter."""
        if _bare_size(name) is None:
            return choices(name, self.poles)
        also = f"; for the pole's outside diameter write diameter = {shown(name.strip())} instead"
        return choices("", self.poles) + also

    def pole_name(self, name: str) -> str:
        """Return the trade name as the stock spells it; raises StockError for an unknown one."""
        sized = re.fullmatch(r"\s*(.*?\s*(?:in|inch|inches|\"|″|mm|cm))\s+(\D+)", name[:60])
        if sized and _spelling(name, self.poles) is None:
            for known in self.poles:
                match = re.fullmatch(r"(.* (?:in|mm)) (.+)", known)
                if match and match[2].casefold() == sized[2].strip().casefold():
                    try:
                        same = parse(sized[1], "length") == parse(match[1], "length")
                    except QuantityError:
                        break
                    if same:
                        return known
        found = _spelling(name, self.poles)
        if found is None:
            raise StockError(f"no pole {shown(name)} in stock; {self._other_poles(name)}")
        return found


def _bare_size(name: str) -> float | None:
    """Return the length [m] that a pole's name is nothing but, or None."""
    try:
        return parse(name, "length")
    except QuantityError:
        return None


def _spelling(name: str, known: Iterable[str]) -> str | None:
    """Return the known name that is the same but for capitals and spaces."""
    wanted = " ".join(str(name).casefold().split())
    return next((each for each in known if each.casefold() == wanted), None)


def _named(what: str, name: str, known: Mapping[str, _Found], also: str = "") -> _Found:
    found = _spelling(name, known)
    if found is None:
        raise StockError(f"no {what} {shown(name)} in stock; {choices(str(name), known, also)}")
    return known[found]


def _read_blank(where: str, name: str, table: object) -> BlankLine:
    entry = Entry(where, table)
    cut = entry.text("cut", "tee")
    if cut not in CUTS:
        raise entry.fault("cut", f"is {shown(cut)}; {choices(cut, CUTS)}")
    sizes = entry.take("sizes")
    if not isinstance(sizes, Mapping) or not sizes:
        raise entry.fault("sizes", "must name at least one size and its measures")
    read: dict[str, Mapping[str, float]] = {}
    for size, measures in sizes.items():
        one = Entry(f"{where}.sizes.{size}", measures)
        keys = list(measures)
        read[size] = {k: one.number(k, 5e-3, 3.0, kind="length") for k in keys}
    usual = entry.text("usual_size", next(iter(read)))
    fabric = entry.text("usual_fabric", "cotton jersey")
    entry.finish()
    if usual not in read:
        raise entry.fault("usual_size", f"is {shown(usual)}; {choices(usual, read)}")
    return BlankLine(name, cut, usual, fabric, read)


def _read_plain(where: str, name: str, table: object, kind: str, high: float) -> float:
    """Return a pole's diameter or a tie's pull, written as one quantity."""
    entry = Entry(where, {name: table})
    low = 3e-3 if kind == "length" else 0.1
    return entry.number(name, low, high, kind=kind)


def _read_ground(where: str, name: str, table: object) -> str:
    if name.casefold() == "white" or not re.fullmatch(r"#[0-9a-fA-F]{6}", str(table)[:8]):
        raise StockError(
            one_line(f"{where}.{name} is {shown(table)}; a ground is a colour such as '#bdd7e8'")
        )
    return str(table).lower()


Tables = dict[str, dict[str, tuple[str, Any]]]  # section -> name -> (where, table)


def _gather(where: str, text: str, into: Tables, mine: Tables) -> None:
    """Add one file's tables; `mine` holds what the maker's earlier files named."""
    tables = parse_toml(text, where, StockError)
    check_schema(tables.pop("schema", 1), where, StockError)
    for section, entries in tables.items():
        if section not in SECTIONS:
            raise StockError(
                one_line(f"{where} has no table {shown(section)}; {choices(section, SECTIONS)}")
            )
        if not isinstance(entries, Mapping):
            raise StockError(one_line(f"{where}: '{section}' must be a table with a name"))
        for name, table in entries.items():
            if not name.strip() or len(name) > 60 or not name.isprintable():
                raise StockError(one_line(f"{where}: {shown(name)} is not a name for a {section}"))
            if name in mine.get(section, {}):
                other = mine[section][name][0]
                raise StockError(one_line(f"{where}: the {section} '{name}' is also in {other}"))
            into.setdefault(section, {})[name] = (where, table)


def _build(tables: Tables) -> Stock:
    def each(section: str) -> list[tuple[str, str, Any]]:
        dot = "" if section in ("pole", "tie", "ground") else "."
        return [
            (f"{where}: {section}" + (f"{dot}{name}" if dot else ""), name, table)
            for name, (where, table) in tables.get(section, {}).items()
        ]

    components = {n: read_component(w, n, t) for w, n, t in each("component")}
    stock = Stock(
        blanks={n: _read_blank(w, n, t) for w, n, t in each("blank")},
        fabrics={n: read_fabric(w, n, t) for w, n, t in each("fabric")},
        grounds={n: _read_ground(w, n, t) for w, n, t in each("ground")},
        poles={n: _read_plain(w, n, t, "length", 0.5) for w, n, t in each("pole")},
        ties={n: _read_plain(w, n, t, "force", 200.0) for w, n, t in each("tie")},
        components=components,
        dyes={n: read_dye(w, n, t, components) for w, n, t in each("dye")},
    )
    for where, _, table in each("blank"):
        usual = table.get("usual_fabric", "cotton jersey")
        if usual not in stock.fabrics:
            allowed = choices(usual, stock.fabrics)
            raise StockError(f"{where}.usual_fabric: no such fabric; {allowed}")
    return stock


def own_folder() -> Path:
    """Return the folder where a maker keeps stock files of their own; no folder without a home."""
    return (offered("data") or Path(os.devnull)) / "stock"


def load_stock(folder: Path | None = None) -> Stock:
    """Return the stock, read once per folder and process.

    Parameters
    ----------
    folder : Path, optional
        Where the maker's own ``*.toml`` files are; left out, `own_folder`. It need not exist.
        An entry of theirs takes the place of ours with the same name.

    Raises
    ------
    StockError
        If a file has a fault: one line naming the file, the key and what is allowed.
    FileError
        If a file cannot be read.
    """
    return _load(own_folder() if folder is None else folder)


def load_stock_with(path: Path, text: str | None = None, folder: Path | None = None) -> Stock:
    """Return the stock as it is, or would be, with one more of the maker's files.

    Parameters
    ----------
    path : Path
        The file; it may lie anywhere.
    text : str, optional
        What it is taken to hold; left out, what it holds, or nothing where it does not exist.
    folder : Path, optional
        As for `load_stock`.

    Raises
    ------
    StockError, FileError
        As `load_stock`.
    """
    if text is None:
        text = read_text(path, "stock file") if path.exists() else ""
    return _assemble(own_folder() if folder is None else folder, (path, text))


def stock_components() -> tuple[Component, ...]:
    """Return the dye molecules of our own files, whatever the maker's hold."""
    return tuple(load_stock(Path(os.devnull)).components.values())


def own_dyes(path: Path | None = None, folder: Path | None = None) -> tuple[str, ...]:
    """Return the names of the dyes in the maker's own files, and in one more file if given."""
    mine: Tables = {}
    one = None
    if path is not None and path.exists():
        one = path, read_text(path, "stock file")
    _gather_mine(own_folder() if folder is None else folder, one, mine)
    return tuple(mine.get("dye", {}))


@lru_cache(maxsize=8)
def _load(folder: Path) -> Stock:
    return _assemble(folder, None)


def _assemble(folder: Path, one: tuple[Path, str] | None) -> Stock:
    tables: Tables = {}
    for name in OWN_FILES:
        text = resources.files("meltwick.stock").joinpath(name).read_text("utf-8")
        _gather(name, text, tables, {})
    mine: Tables = {}
    _gather_mine(folder, one, mine)
    for section, entries in mine.items():
        tables.setdefault(section, {}).update(entries)
    return _build(tables)


def _gather_mine(folder: Path, one: tuple[Path, str] | None, mine: Tables) -> None:
    """Add the maker's files, one of them with another text than it has on disk."""
    try:
        paths = sorted(folder.glob("*.toml")) if folder.is_dir() else []
    except OSError as error:
        raise FileError(one_line(f"{folder} cannot be read: {error.strerror}")) from None
    texts = [(path, read_text(path, "stock file")) for path in paths if not _is_one(path, one)]
    for path, text in [*texts, *([one] if one else [])]:
        fresh: Tables = {}
        _gather(str(path), text, fresh, mine)
        for section, entries in fresh.items():
            mine.setdefault(section, {}).update(entries)


def _is_one(path: Path, one: tuple[Path, str] | None) -> bool:
    return one is not None and path.resolve() == one[0].resolve()
