"""Where in a plan one stands."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from meltwick.errors import PlanError, StockError

_Found = TypeVar("_Found")


class Place:
    """Where in the plan one stands, so that an error names its key."""

    def __init__(self, where: str, path: str) -> None:
        self._where, self._path = where, path

    def key(self, name: str | int) -> Place:
        """Go on to a key, or to an entry counted from 1."""
        return Place(self._where, f"{self._path}.{name}" if self._path else str(name))

    def error(self, said: str) -> PlanError:
        """Return, not raise, what is wrong here in one line."""
        return PlanError(f"{self._where}: {self._path}: {said}")

    def ask(self, look_up: Callable[..., _Found], *names: Any) -> _Found:
        """Look something up in the stock; what is missing is the plan's fault."""
        try:
            return look_up(*names)
        except StockError as error:
            raise self.error(str(error)) from None
