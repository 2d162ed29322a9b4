"""A plan of which some keys are varied, as text, and those keys."""

from __future__ import annotations

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
    path: str | None, vary: Sequence[str], read: Callable[[str, Plan, Stock], Axis]
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
    axes = [read(each, plan, stock) for each in vary]
    if len({axis.key for axis in axes}) < len(axes):
        raise PlanError(f"--vary: {axes[0].key} is written twice")
    return Varied(text, where, plan, axes)
