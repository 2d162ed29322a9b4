"""What the commands say of the piece that a plan dyes over."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meltwick.cli.words import percent
from meltwick.errors import PlanError

if TYPE_CHECKING:
    from meltwick.photo.starting import Started
    from meltwick.plan import Plan
    from meltwick.types import Recipe

_TOLD = 0.005  # share of stain that is worth a line; chosen


_IN_PLAN = "Write back = 'back.jpg', or back = 'as the front'."


def start_lines(
    recipe: Recipe, found: Started | None, back: str = _IN_PLAN, before: str = "Before it, "
) -> list[str]:
    """Say what the photographs show, and what they do not; nothing for undyed cloth.

    Parameters
    ----------
    recipe : Recipe
    found : Started or None
        What it starts from.
    back : str
        How to give a photograph of the back.
    before : str
        When the piece is as they show it.
    """
    if found is None or recipe.start is None:
        return []
    ground = recipe.fabric.ground_name
    white, pale = (percent(found.shares.whole[name]) for name in ("white", "pale"))
    show = "shows" if len(recipe.start.photos) == 1 else "show"
    lines = [f"{before}{recipe.start.names} {show} {white} % {ground} and {pale} % pale."]
    if recipe.start.dyes and found.stained >= _TOLD:
        names = " and ".join(dye.name for dye in recipe.start.dyes)
        lines.append(
            f"{percent(found.stained)} % of it is not explained by {names} and is kept as a stain."
        )
    if found.undyed:
        panels = " and the ".join(found.undyed)
        lines.append(
            f"No photograph shows the {panels}: taken as undyed, so the white told of is too "
            f"much if it is not. {back}"
        )
    if found.mirrored:
        lines.append(f"The {' and the '.join(found.mirrored)} is taken to be as the front.")
    lines += [f"{note}." for note in found.notes]
    return lines


def start_record(recipe: Recipe, found: Started | None) -> dict[str, Any]:
    """Return the part of ``result.json`` about the piece that was dyed over; empty for none."""
    if found is None or recipe.start is None:
        return {}
    return {
        "start": {
            "photos": dict(recipe.start.contents),
            "white_share": round(found.shares.whole["white"], 6),
            "shares": {name: round(share, 6) for name, share in found.shares.whole.items()},
            "stained_share": round(found.stained, 6),
            "unseen": [*found.undyed, *found.mirrored],
        }
    }


def refuse_start(plan: Plan, where: str, why: str) -> None:
    """Refuse a plan that starts from photographs where that makes no sense.

    Raises
    ------
    PlanError
        If it does.
    """
    if plan.start is not None:
        raise PlanError(f"{where}: start: {why}")
