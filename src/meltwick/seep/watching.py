"""What a watcher of the march sees: all the dye on the cloth, and the time."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol

import numpy as np

from meltwick.seep.ice import Melting
from meltwick.seep.levels import Effort, Steps
from meltwick.seep.melting import TURNED
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

    melts: tuple[Melting, ...]  # of each way up of the bundle
    batch: float  # [s]
    effort: Effort

    @property
    def ice_gone(self) -> float:
        """When the last ice is gone [h]."""
        return sum(float(edges[-1]) for edges in self._melting)

    @cached_property
    def _melting(self) -> tuple[Floats, ...]:
        """Hours at the ends of each melt's steps, each from its own start."""
        return tuple(
            np.append(0.0, np.cumsum(Steps.of(melt, self.effort.steps).seconds)) / HOUR
            for melt in self.melts
        )

    def hours(self, stage: str, done: int) -> float:
        """Hours since the ice went on when ``done`` steps of a stage are over."""
        if stage == BATCH:
            return self.ice_gone + float(batch_edges(self.batch, self.effort)[done]) / HOUR
        way = 1 if stage == TURNED else 0
        before = sum(float(edges[-1]) for edges in self._melting[:way])
        return before + float(self._melting[way][done])


_STAGES = {MARCH: "melting", TURNED: "turned", BATCH: "waiting"}


@dataclass(frozen=True)
class Showing:
    """Shows the dye of one round to a watcher."""

    watch: Watch
    march: March
    numbering: Numbering
    cloth: Cloth
    number: int  # of the round
    clockwork: Clockwork

    def observer(self, observer: Observer) -> Observer:
        """Return an observer that shows the dye too, first of all as it is laid."""

        def tell(stage: str, done: int, total: int) -> None:
            observer(stage, done, total)
            if stage in _STAGES:
                self.watch(self._moment(stage, done, total))

        self.watch(self._moment(MARCH, 0, self.clockwork.effort.steps))
        return tell

    def washed(self, fixed: Floats) -> None:
        """Show what is left after wash-out, (N, K) [kg per kg of fibre that takes dye]."""
        end = self._moment(BATCH, self.clockwork.effort.batch, 1)
        amount = fixed * self.cloth.taking
        self.watch(replace(end, stage="washed", done=1, amount=lambda: amount))

    def _moment(self, stage: str, done: int, total: int) -> Moment:
        return Moment(
            cloth=self.cloth,
            round=self.number,
            stage=_STAGES[stage],
            hours=self.clockwork.hours(stage, done),
            ice_gone=self.clockwork.ice_gone,
            done=done,
            total=total,
            amount=self._amount,
            species=self.march.species,
        )

    def _amount(self) -> Floats:
        held = self.numbering.back(_on_cloth(self.march))
        return held * self.cloth.taking


def _on_cloth(march: March) -> Floats:
    """All dye of every cell as if the fibre held it, (N, K) [kg per kg of fibre that takes dye].

    Hydrolysed dye no longer fixes but keeps its colour, and stays until it is rinsed out. Of a
    heap of powder no more is shown than the fibre has sites for.
    """
    loose = march.powder + march.mass + march.spent
    taken = march.fibre[:, None] > 0.0
    held = march.fixed + np.where(taken, loose / np.maximum(march.fibre, 1e-30)[:, None], 0.0)
    whole = held.sum(axis=1)
    return np.asarray(held * np.minimum(1.0, march.sites / np.maximum(whole, 1e-30))[:, None])
