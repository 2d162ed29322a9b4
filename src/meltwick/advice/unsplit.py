"""Dyes known from a flat swatch only, whose splitting on ice nobody knows yet."""

from __future__ import annotations

from collections.abc import Iterator

from meltwick.types import Recipe


def unsplit_dyes(recipe: Recipe) -> Iterator[tuple[str, str]]:
    """Yield the plan's key and a line for each dye laid whose splitting is unknown."""
    unknown = {dye.name for dye in recipe.dyes if not dye.splitting_known}
    told: set[str] = set()
    for number, turn in enumerate(recipe.rounds, start=1):
        for powder in turn.powder:
            if powder.dye in unknown - told:
                told.add(powder.dye)
                yield (
                    f"round.{number}.dye",
                    f"Splitting unknown: {powder.dye} is drawn as one dye that travels as an "
                    "average one does. Read a split test with meltwick swatch split.",
                )
