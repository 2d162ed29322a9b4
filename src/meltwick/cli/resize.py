"""`resize`: the same recipe on another size of the blank, written as a new plan."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated

import typer

from meltwick.cli.options import Debug, PlanFile
from meltwick.errors import PlanError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meltwick.advice.resize import Resized


def resize(
    plan: PlanFile = None,
    size: Annotated[
        str | None, typer.Option(metavar="SIZE", help='The new size, such as L or "child 6".')
    ] = None,
    keep: Annotated[
        str,
        typer.Option(
            metavar="WHAT",
            help="width: bands and pleats stay as wide; count: there stay as many.",
        ),
    ] = "width",
    out: Annotated[
        str | None, typer.Option(metavar="FILE", help="The new plan; NAME-SIZE.toml by default.")
    ] = None,
    debug: Debug = False,
) -> None:
    """Write a plan for another size, with as much dye, soda and ice for each gram of cloth.

    Amounts keep their unit and are rounded as a hand measures. String spacing and pleats stay as
    they are, so a smaller piece has fewer bands; --keep count scales them instead.

    Example: meltwick resize harbour-tee.toml --size "child 6"
    """
    from meltwick.cli.machine import prepare_kernels
    from meltwick.cli.starting import refuse_start
    from meltwick.cli.varied import place_for, read_varied, write_varied
    from meltwick.cli.writing import quoted
    from meltwick.stock import load_stock

    stock, varied = load_stock(), read_varied(plan)
    prepare_kernels(announce=False)
    from meltwick.advice.resize import KEEP, find_size  # loads numba
    from meltwick.advice.resize import resize as resized

    refuse_start(varied.plan, varied.where, "the piece of a photograph has the size it has")
    find_size(size or "", varied.plan, stock)
    if keep not in KEEP:
        raise PlanError(f"--keep: {keep[:40]!r} is not known; write width or count")
    found = resized(varied.text, varied.where, varied.plan, stock, size or "", keep)
    path = place_for(varied, cleaned(found.size), out)
    write_varied(found.text, varied, path)
    for line in told(found, keep):
        typer.echo(line)
    typer.echo(f"The plan is {path}. Next: meltwick preview {quoted(path)}")


def cleaned(size: str) -> str:
    """Return a size as a part of a file's name: 20-x-70-in."""
    return re.sub(r"[^\w-]+", "-", size).strip("-") or "resized"


def told(found: Resized, keep: str) -> list[str]:
    """Say what changed, what it does to the depth of shade, and what to look at."""
    from meltwick.advice.resize import MOVED
    from meltwick.units import show_mass

    old, new = found.masses
    lines = [
        f"Size {found.size} is {show_mass(new)} of cloth, {100 * new / old:.0f} % of the "
        f"{show_mass(old)} that this plan is for."
    ]
    if old == new and not found.changes:
        lines = [f"It is size {found.size} already; nothing changes but the plan's name."]
    rows = [
        (each.what, each.old, each.new, f"{each.before:.2f} -> {each.after:.2f} % of fibre")
        for each in found.shades
    ]
    rows += [(each.what, each.old, each.new, each.more) for each in found.changes]
    lines += ["", *_table(rows), ""]
    for each in found.shades:
        if abs(each.moved) > MOVED:
            way = "deeper" if each.moved > 0 else "paler"
            lines.append(
                f"Warning: rounding makes {each.what} {100 * abs(each.moved):.0f} % {way}; weigh "
                "it on a finer scale, or write the amount you want."
            )
    lines += found.notes
    if keep == "width" and old != new:
        fewer = "fewer" if new < old else "more"
        lines.append(
            f"Spacing and pleats stay as they are, so there are {fewer} of them; --keep count "
            "keeps their number."
        )
    return lines


def _table(rows: Sequence[tuple[str, str, str, str]]) -> list[str]:
    wide = [max((len(row[n]) for row in rows), default=0) for n in range(3)]
    return [
        f"  {what:<{wide[0]}}  {old:>{wide[1]}} -> {new:<{wide[2]}}  {more}".rstrip()
        for what, old, new, more in rows
    ]
