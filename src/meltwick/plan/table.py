"""What every table of a plan does: refuse keys that it does not have, and name the nearest."""

from __future__ import annotations

from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict, model_validator

from meltwick.plan.reading import fault
from meltwick.stock.reading import choices
from meltwick.units import shown


class Table(BaseModel):
    """A table of the plan; a key it does not have is an error that names the nearest."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)

    _read_before: ClassVar[tuple[str, ...]] = ()
    _main: ClassVar[str] = ""  # the key that a bare word most likely means

    @classmethod
    def _keys_elsewhere(cls) -> dict[str, str]:
        """Keys that this table lacks and another has, and where they go."""
        return {}

    @model_validator(mode="before")
    @classmethod
    def _known_keys(cls, found: Any) -> Any:
        if isinstance(found, cls):
            return found
        if not isinstance(found, dict):
            plain = isinstance(found, str) and len(found) <= 30 and found.isprintable()
            value = f'"{found}"' if plain and '"' not in found else "..."
            hint = f" such as {{ {cls._main} = {value} }}" if cls._main else ""
            raise fault(f"{shown(found)} is not a table of keys{hint}")
        for key in found:
            if key not in cls.model_fields:
                allowed = [*cls._read_before, *cls.model_fields]
                home = cls._keys_elsewhere().get(str(key))
                if home:
                    said = f"{choices('', allowed)}; '{key}' goes {home}"
                else:
                    said = choices(str(key), allowed)
                raise fault(f"no such key; {said}", str(key))
        return found
