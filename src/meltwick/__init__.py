"""See an ice-dyed garment, and how much of it stays white, before any dye is spent."""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_HOMES = {
    "Constants": "meltwick.constants",
    "MeltwickError": "meltwick.errors",
    "Plan": "meltwick.plan",
    "Result": "meltwick.types",
    "draw_preview": "meltwick.picture.preview",
    "example_plan": "meltwick.plan",
    "load_stock": "meltwick.stock",
    "plan_from_text": "meltwick.plan",
    "read_plan": "meltwick.plan",
}

__all__ = ["__version__", *_HOMES]


def __getattr__(name: str) -> Any:
    """Load a public name when it is first asked for, so that ``import meltwick`` is quick."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    home = import_module(_HOMES[name])
    value = globals()[name] = getattr(home, name)
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
