"""A plan of which some keys are varied, as text, and those keys."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from meltwick.errors import PlanError

if TYPE_CHECKING:
    from meltwick.plan import Plan
    from meltwick.plan.varying import Axis
    from meltwick.stock import Stock


@dataclass(frozen=True)
class Varied:
    """What the commands that vary a plan start from."""

    text: str  # of the plan file
    where: str  # its name, for messages
    plan: Plan
    axes: Sequence[Axis]  # one for each key


def read_varied(
    path: str | None,
    vary: Sequence[str] = (),
    read: Callable[[str, Plan, Stock], Axis] | None = None,
) -> Varied:
    """Read a plan, or the built-in example, and what ``--vary`` says of its keys.

    Parameters
    ----------
    path : str or None
        None for the example.
    vary : sequence of str
        As written on the command line.
    read : callable
        Gives the values of one key.

    Raises
    ------
    FileError, PlanError
        For a plan that cannot be read or done, and for a key that is not there or written twice.
    """
    from meltwick.plan import plan_from_text, resolve
    from meltwick.plan.reader import built_in
    from meltwick.stock import load_stock
    from meltwick.stock.reading import read_text

    text = read_text(Path(path), "plan") if path else built_in("example.toml")
    where = path or "the built-in example"
    plan, stock = plan_from_text(text, where), load_stock()
    resolve(plan, stock)  # a fault of the plan itself is not the key's
    axes = [read(each, plan, stock) for each in vary] if read else []
    if len({axis.key for axis in axes}) < len(axes):
        raise PlanError(f"--vary: {axes[0].key} is written twice")
    return Varied(text, where, plan, axes)


def place_for(varied: Varied, ending: str, out: str | None) -> Path:
    """Choose the file for a changed plan, before any work is done for it.

    Parameters
    ----------
    varied : Varied
        What it is made from.
    ending : str
        The file is NAME-ENDING.toml if ``out`` names no other.
    out : str or None
        As written after --out.

    Raises
    ------
    FileError
        If the file is there already, or lies where the plan's other files do not.
    PlanError
        If ``out`` is empty.
    """
    from meltwick.errors import FileError

    if out is not None and not out.strip():
        raise PlanError(f"--out: {out!r} cannot name a file; leave --out away for NAME.toml")
    path = Path(out) if out is not None else Path(f"{varied.plan.name}-{ending}.toml")
    if path.exists():
        raise FileError(f"{path} is here already and was left as it is; name another with --out")
    beside = _named_files(varied.plan)
    if beside and path.parent.resolve() != Path(varied.plan.beside).parent.resolve():
        place = Path(varied.plan.beside).parent / path.name
        raise FileError(
            f"{varied.where} names {beside[0]}, which lies beside it; write the new plan there "
            f"too, with --out {place}"
        )
    return path


def write_varied(text: str, varied: Varied, path: Path) -> None:
    """Write a changed plan as a new file, which is read once more before it is written.

    Raises
    ------
    FileError
        If the file is there by now, or cannot be written.
    PlanError
        If the file's name cannot name a plan.
    """
    from meltwick.cli.writing import write_new
    from meltwick.plan import plan_from_text, resolve
    from meltwick.plan.varying import with_values
    from meltwick.stock import load_stock

    whole = with_values(text, varied.where, {"name": json.dumps(path.stem, ensure_ascii=False)})
    resolve(plan_from_text(whole, str(path)), load_stock())
    write_new(path, whole.encode())


def _named_files(plan: Plan) -> list[str]:
    """List the files beside a plan that it names."""
    from meltwick.plan.starting import AS_FRONT

    files = [plan.garment.outline] if plan.garment.outline else []
    if plan.start is not None:
        files += [each for each in (plan.start.photo, plan.start.back) if each and each != AS_FRONT]
    for turn in plan.round:
        files += [each.plan for each in turn.beside]
        files += [turn.liquor.plan] if turn.liquor else []
    return files
