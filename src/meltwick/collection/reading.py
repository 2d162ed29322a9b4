"""Reading a collection: its file, or a folder of plans; and every plan it names."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from meltwick.collection.models import MOST, Collection, PieceTable, PriceTable
from meltwick.errors import FileError, MeltwickError, PlanError
from meltwick.plan import Plan, read_plan, resolve
from meltwick.plan.messages import first_fault
from meltwick.plan.models import check_name
from meltwick.stock import Stock
from meltwick.stock.reading import check_schema, choices, one_line, parse_toml, read_text
from meltwick.types import Recipe

FILE = "collection.toml"


@dataclass(frozen=True)
class Piece:
    """One piece with its plan."""

    table: PieceTable
    plan: Plan
    recipe: Recipe

    @property
    def name(self) -> str:
        """The plan's name."""
        return self.recipe.name

    @property
    def copies(self) -> tuple[str, ...]:
        """Names of all that are made of it: numbered where there are several."""
        count = self.table.count
        return tuple(self.name if count == 1 else f"{self.name} {k + 1}" for k in range(count))


@dataclass(frozen=True)
class Whole:
    """A collection with every plan read."""

    table: Collection
    pieces: tuple[Piece, ...]


def read_collection(path: Path, stock: Stock) -> Whole:
    """Read a collection from its file, or a folder that holds one, or a folder of plans.

    Raises
    ------
    FileError
        Nothing is there, or it cannot be read.
    PlanError
        A key of it, or of one of its plans, is wrong: one line that names file, key and remedy.
    """
    if path.is_dir():
        if (path / FILE).is_file():
            path = path / FILE
        else:
            return _from_folder(path, stock)
    table = _read(path, Collection, stock)
    if not table.piece:
        raise PlanError(f"{one_line(str(path))}: there is no [[piece]]; name each plan in one")
    return _with_plans(table, path.parent, str(path), stock)


def _from_folder(folder: Path, stock: Stock) -> Whole:
    plans = sorted(path.name for path in folder.glob("*.toml") if path.name != "prices.toml")
    where = one_line(str(folder))
    if not plans:
        raise FileError(f"{where} holds no plan; a plan is a file such as harbour-tee.toml")
    if len(plans) > MOST:
        raise PlanError(f"{where} holds {len(plans)} plans; at most {MOST} make one collection")
    tables: dict[str, Any] = {"piece": [{"plan": name} for name in plans]}
    if (folder / "prices.toml").is_file():
        tables["prices"] = "prices.toml"
    try:
        tables["name"] = check_name(folder.resolve().name)
    except (ValueError, MeltwickError):
        tables["name"] = "collection"
    table = _checked(tables, Collection, folder / FILE, stock)
    return _with_plans(table, folder, str(folder), stock)


def _read(path: Path, model: type[Collection], stock: Stock) -> Collection:
    tables = parse_toml(read_text(path, "collection"), str(path), PlanError)
    check_schema(tables.pop("schema", 1), str(path), PlanError)
    if "piece" not in tables and {"garment", "round"} & set(tables):
        raise PlanError(
            f"{one_line(str(path))} is a plan; name the folder that it is in, or a collection file "
            "with a [[piece]] for each plan"
        )
    tables.setdefault("name", path.parent.resolve().name or "collection")
    return _checked(tables, model, path, stock)


def _checked(
    tables: dict[str, Any], model: type[Collection], path: Path, stock: Stock
) -> Collection:
    """Check a collection's tables; prices may stand in a file of their own beside it."""
    where = str(path)
    prices, named = tables.get("prices"), ""
    if isinstance(prices, str):
        named = str(path.parent / prices)
        tables = {**tables, "prices": _prices(path.parent / prices)}
    try:
        table = model.model_validate(tables)
    except ValidationError as error:
        raise PlanError(first_fault(error, where)) from None
    except RecursionError:
        raise PlanError(f"{one_line(where)} is nested too deep") from None
    _known(table.prices, named or where, stock, "" if named else "prices.")
    for pole in table.workshop.poles:
        try:
            stock.pole_name(pole)
        except MeltwickError as error:
            raise PlanError(f"{one_line(where)}: workshop.poles: {error}") from None
    return table


def _prices(path: Path) -> PriceTable:
    tables = parse_toml(read_text(path, "price list"), str(path), PlanError)
    check_schema(tables.pop("schema", 1), str(path), PlanError)
    try:
        return PriceTable.model_validate(tables)
    except ValidationError as error:
        raise PlanError(first_fault(error, str(path))) from None


def _known(prices: PriceTable, where: str, stock: Stock, path: str) -> None:
    """Refuse prices of what is not in stock: a misspelt one would count as none."""
    for key, allowed in (("blank", list(stock.blanks)), ("dye", [*stock.dyes, "other"])):
        for name in getattr(prices, key):
            if name not in {each.casefold() for each in allowed} and key == "dye":
                said = choices(name, allowed)
                raise PlanError(f"{one_line(where)}: {path}{key}: '{name}' is not in stock; {said}")


def _with_plans(table: Collection, folder: Path, where: str, stock: Stock) -> Whole:
    pieces: list[Piece] = []
    for number, each in enumerate(table.piece, 1):
        key = f"{one_line(where)}: piece.{number}.plan"
        try:
            plan = read_plan(folder / each.plan)
            pieces.append(Piece(each, plan, resolve(plan, stock)))
        except FileError as error:
            raise FileError(f"{key}: {error}") from None
        earlier = [piece.name for piece in pieces[:-1]]
        if pieces[-1].name in earlier:
            raise PlanError(
                f"{key}: '{pieces[-1].name}' is there already; write count = 2 for two alike, or "
                'give the plan its own name = "..."'
            )
    return Whole(table, tuple(pieces))
