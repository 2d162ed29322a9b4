"""Progress in named stages: a bar on a terminal, silence in a pipe."""

from __future__ import annotations

import sys
from types import TracebackType
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID


class _Bar:
    """What is shown on standard error while it is a terminal, and taken away at the end."""

    def __init__(self, wanted: bool = True) -> None:
        self._shown: Progress | None = None
        self._task: TaskID | None = None
        self._wanted = wanted and sys.stderr is not None and sys.stderr.isatty()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._shown is not None:
            self._shown.stop()
            self._shown = None


class Stages(_Bar):
    """Observer of a simulation that shows its stages on standard error.

    Calling it as ``stages(stage, done, total)`` moves the bar; a new stage starts it again.
    """

    def __init__(self, wanted: bool = True) -> None:
        super().__init__(wanted)
        self._stage = ""

    def __enter__(self) -> Self:
        if self._wanted:
            from rich.console import Console
            from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

            self._shown = Progress(
                TextColumn("{task.description}", markup=False),
                BarColumn(bar_width=32),
                TimeElapsedColumn(),
                console=Console(stderr=True),
                transient=True,
            )
            self._shown.start()
        return self

    def __call__(self, stage: str, done: int, total: int) -> None:
        """Show that ``done`` of ``total`` parts of a stage are over."""
        if self._shown is None:
            return
        if self._task is None or stage != self._stage:
            if self._task is not None:
                self._shown.remove_task(self._task)
            self._task = self._shown.add_task(f"{stage:<26}", total=max(total, 1))
            self._stage = stage
        self._shown.update(self._task, completed=done, total=max(total, 1))


class Tally(_Bar):
    """Progress of a study on standard error: how many runs are done, and the time left."""

    def __enter__(self) -> Self:
        if self._wanted:
            from rich.console import Console
            from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

            self._shown = Progress(
                BarColumn(bar_width=32),
                TextColumn("{task.completed:.0f} of {task.total:.0f} runs,", markup=False),
                TimeRemainingColumn(),
                TextColumn("left"),
                console=Console(stderr=True),
                transient=True,
            )
            self._shown.start()
        return self

    def __call__(self, done: int, total: int) -> None:
        """Show that ``done`` of ``total`` runs are over."""
        if self._shown is None:
            return
        if self._task is None:
            self._task = self._shown.add_task("", total=max(total, 1), completed=done)
        self._shown.update(self._task, completed=done, total=max(total, 1))
