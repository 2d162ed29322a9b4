"""What a maker writes: reading it, its faults in one line, and its meaning in numbers.

Names load when they are first used, because reading a plan needs pydantic, which is slow to
import, and a command's help does not.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from meltwick.plan.digesting import canonical, digest
    from meltwick.plan.models import Plan
    from meltwick.plan.reader import example_plan, plan_from_text, read_plan, template
    from meltwick.plan.recipe import resolve

__all__ = [
    "Plan",
    "canonical",
    "digest",
    "example_plan",
    "plan_from_text",
    "read_plan",
    "resolve",
    "template",
]

_HOME = {
    "Plan": "models",
    "canonical": "digesting",
    "digest": "digesting",
    "example_plan": "reader",
    "plan_from_text": "reader",
    "read_plan": "reader",
    "resolve": "recipe",
    "template": "reader",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'meltwick.plan' has no attribute '{name}'")
    return getattr(import_module(f"meltwick.plan.{_HOME[name]}"), name)
