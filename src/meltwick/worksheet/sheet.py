"""The work sheet: everything that is written and drawn on it, before it is set."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from meltwick.advice import advise
from meltwick.advice.steps import cloth_words, piece_words
from meltwick.types import Recipe
from meltwick.worksheet.quantities import Gathering, gather
from meltwick.worksheet.timeline import Step, clock, lasting, timeline

_WATCH = (
    "The bundle should sit above the melt water, and the powder under the ice stay covered until "
    "it has all dissolved.",
    "Wet cloth looks darker than it will when dry, and undyed cloth looks tinted until it is "
    "rinsed.",
    "At the first rinse specks of undissolved powder can land on white cloth: keep the water "
    "running.",
)
"""What every piece wants watching for; common practice, no source."""


@dataclass(frozen=True)
class Row:
    """A step as it is set."""

    step: Step
    when: str
    lasting: str


@dataclass(frozen=True)
class Drawn:
    """A picture of the sheet, as a PNG file."""

    title: str
    png: bytes


@dataclass(frozen=True)
class Sheet:
    """A work sheet."""

    title: str
    subtitle: str
    notes: str
    expect: tuple[str, ...]  # what the prediction says
    gatherings: tuple[Gathering, ...]
    rows: tuple[Row, ...]
    rounds: int
    watch: tuple[str, ...]
    pictures: tuple[Drawn, ...]


def work_sheet(
    recipe: Recipe,
    begins: datetime,
    *,
    dated: bool,
    expect: Sequence[str] = (),
    pictures: Mapping[str, bytes] | None = None,
) -> Sheet:
    """Put a plan's work sheet together.

    Parameters
    ----------
    recipe : Recipe
        The plan, resolved.
    begins : datetime
        When the first step begins; its day counts only if ``dated``.
    dated : bool
        Write days of the week and month; False: day 1, day 2.
    expect : sequence of str
        What the prediction says, line by line.
    pictures : mapping of str to bytes
        PNG files by their titles, in order.
    """
    hour = begins.hour + begins.minute / 60.0
    rows = tuple(
        Row(step, clock(step, begins, dated), lasting(step)) for step in timeline(recipe, hour)
    )
    said = [each.text for each in advise(recipe) if each.key != "care"]
    return Sheet(
        title=recipe.name,
        subtitle=f"{piece_words(recipe.blank).rstrip(',')}, {cloth_words(recipe.fabric)}",
        notes=recipe.notes,
        expect=tuple(expect),
        gatherings=gather(recipe),
        rows=rows,
        rounds=len(recipe.rounds),
        watch=(*said, *_WATCH),
        pictures=tuple(Drawn(*each) for each in (pictures or {}).items()),
    )
