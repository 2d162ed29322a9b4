"""What a watcher of the march sees: all the dye on the cloth, and the time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from meltwick.seep.ice import Heaps, Melt
from meltwick.seep.levels import Effort, Steps
from meltwick.seep.stages import BATCH, MARCH, batch_edges
from meltwick.seep.transport import March
from meltwick.types import Cloth, Floats, Moment, Observer, Watch

HOUR = 3600.0  # [s]


class Numbering(Protocol):
    """What knows the cloth's own numbering of the cells that march."""

    def back(self, values: Floats) -> Floats:
        """Return per-cell values (N, ...) in it."""


@dataclass(frozen=True)
class Clockwork:
    """Tells the hours since the ice went on from the steps that are over."""

    melt: Melt | Heaps
    batch: float  # [s]
    effort: Effort

    @property
    def ice_gone(self) -> float:
        """When the last ice is gone [h]."""
        return float(Steps.of(self.melt, self.effort.steps).seconds.sum()) / HOUR

    def hours(self, stage: str, done: int) -> float:
        """Hours since the ice went on when ``done`` steps of a stage are over."""
        if stage == MARCH:
            return float(Steps.of(self.melt, self.effort.steps).seconds[:done].sum()) / HOUR
        return self.ice_gone + float(batch_edges(self.batch, self.effort)[done]) / HOUR

    def washed(self, amount: Floats, number: int) -> Moment:
        """Return the moment after wash-out; ``amount`` is (N, K) [kg per kg of all fibre]."""
        end = self.hours(BATCH, self.effort.batch)
        return Moment(number, "washed", end, self.ice_gone, 1, 1, lambda: amount)


_STAGES = {MARCH: "melting", BATCH: "waiting"}


def watched(
    observer: Observer,
    watch: Watch,
    march: March,
    sweep: Numbering,
    cloth: Cloth,
    number: int,
    clockwork: Clockwork,
) -> Observer:
    """Return an observer that also shows the dye to ``watch``, first of all as it is laid."""

    def amount() -> Floats:
        return sweep.back(_on_cloth(march)) * cloth.fabric.dyeable_share

    def moment(stage: str, done: int, total: int) -> Moment:
        hours = clockwork.hours(stage, done)
        return Moment(number, _STAGES[stage], hours, clockwork.ice_gone, done, total, amount)

    def tell(stage: str, done: int, total: int) -> None:
        observer(stage, done, total)
        if stage in _STAGES:
            watch(moment(stage, done, total))

    watch(moment(MARCH, 0, clockwork.effort.steps))
    return tell


def _on_cloth(march: March) -> Floats:
    """All dye of every cell as if the fibre held it, (N, K) [kg per kg of fibre that takes dye].

    Hydrolysed dye no longer fixes but keeps its colour, and stays until it is rinsed out.
    """
    loose = march.powder + march.mass + march.spent
    held = loose / np.maximum(march.fibre, 1e-30)[:, None]
    return np.asarray(march.fixed + np.where(march.fibre[:, None] > 0.0, held, 0.0))
