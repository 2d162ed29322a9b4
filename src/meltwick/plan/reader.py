"""Reading plans: the file, the text, the built-in example and a template for a new one."""

from __future__ import annotations

from importlib import resources
from os import PathLike
from pathlib import Path

from pydantic import ValidationError
from pydantic_core import PydanticCustomError

from meltwick.errors import FileError, PlanError
from meltwick.plan import words
from meltwick.plan.messages import first_fault
from meltwick.plan.models import Plan, check_name
from meltwick.plan.reading import unknown_word
from meltwick.stock.reading import check_schema, one_line, parse_toml, read_text


def plan_from_text(text: str, where: str) -> Plan:
    """Return the plan that a TOML text holds.

    Parameters
    ----------
    text : str
    where : str
        Name of the file, used in messages and, when the plan has no name, for its name.

    Raises
    ------
    PlanError
        If anything in it cannot be read or done: one line naming the file, the key, the value
        found, what is allowed and the nearest right word.
    """
    tables = parse_toml(text, where, PlanError)
    check_schema(tables.pop("schema", 1), where, PlanError)
    tables.setdefault("name", _usual_name(where))
    try:
        plan = Plan.model_validate(tables)
    except ValidationError as error:
        raise PlanError(first_fault(error, where)) from None
    except RecursionError:
        raise PlanError(f"{one_line(where)} is nested too deep") from None
    plan._where = one_line(where)
    plan._beside = where
    return plan


def _usual_name(where: str) -> str:
    try:
        return check_name(Path(where).stem)
    except (PydanticCustomError, ValueError):
        return "plan"


def read_plan(path: str | PathLike[str]) -> Plan:
    """Return the plan in a file.

    Raises
    ------
    FileError
        If the file is missing, a folder, larger than 1 MB or not plain text.
    PlanError
        As `plan_from_text`.
    """
    if not str(path).strip():
        raise FileError("the plan's file has no name; write one such as harbour-tee.toml")
    return plan_from_text(read_text(Path(path), "plan"), str(path))


def built_in(name: str) -> str:
    """Return the text of a plan, or a part of one, that comes with the program."""
    return resources.files("meltwick.plan").joinpath(name).read_text("utf-8")


def example_plan() -> Plan:
    """Return the plan that is used when a command is given none."""
    return plan_from_text(built_in("example.toml"), "the built-in example")


def template(name: str, fold: str = "pole") -> str:
    """Return the text of a new plan, commented, that runs as it is.

    Parameters
    ----------
    name : str
    fold : str
        ``pole``, ``accordion`` or ``spiral``.

    Raises
    ------
    PlanError
        If the name cannot name a plan, or there is none to start from with that fold.
    """
    try:
        checked = check_name(name)
    except PydanticCustomError as error:
        raise PlanError(f"name: {error.message()}") from None
    kind = " ".join(fold[:80].casefold().split())
    if kind not in words.STARTS:
        raise PlanError(f"fold: {unknown_word(fold, words.STARTS, words.FOLDS_LATER)}")
    folded = built_in(f"template-{kind}.toml").rstrip()
    return built_in("template.toml").replace("NAME", checked, 1).replace("FOLD", folded, 1)
