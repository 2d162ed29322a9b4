"""One text for all plans that mean the same, and its digest."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

from meltwick.types import Recipe

LEFT_OUT = frozenset(
    {
        ("Recipe", "name"),
        ("Recipe", "notes"),
        ("Start", "photos"),
        ("Component", "note"),
        ("PoleWrap", "pole"),
        ("TubeWrap", "pole"),
        ("StringTie", "word"),
        ("Clamps", "word"),
        ("TiedRings", "word"),
        ("Stitching", "word"),
        ("Soda", "mass"),
        ("Soda", "water"),
        ("Soda", "kind"),
    }
)
"""What is only shown, and changes no number: (record, field)."""

ADDED = frozenset(
    {
        ("Recipe", "start"),
        ("Blank", "shapes"),
        ("Blank", "open"),
        ("Fabric", "ground_colour"),
        ("StringTie", "crossed"),
        ("Ice", "after"),
        ("Ice", "beside"),
        ("Ice", "heap"),
        ("Ice", "turned"),
        ("Powder", "side"),
        ("Powder", "place"),
        ("Powder", "turned"),
        ("Round", "tub"),
        ("Round", "liquor"),
        ("Round", "beside"),
        ("Stitching", "through"),
    }
)
"""What is left out while it has its default, so that older plans keep their digest."""


def _plain(value: Any) -> Any:
    """Return nothing but dictionaries, lists, texts and numbers."""
    if is_dataclass(value) and not isinstance(value, type):
        record = type(value).__name__
        kept = [
            f.name
            for f in fields(value)
            if (record, f.name) not in LEFT_OUT
            and not ((record, f.name) in ADDED and getattr(value, f.name) == f.default)
        ]
        return {"record": record, **{name: _plain(getattr(value, name)) for name in kept}}
    if isinstance(value, Mapping):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    if value is None or isinstance(value, bool | str | int):
        return value
    return float(value) + 0.0  # minus nought is nought


def canonical(recipe: Recipe, constants: Any = None) -> str:
    """Return the canonical JSON of a recipe and the constants it is run with.

    Parameters
    ----------
    recipe : Recipe
        Defaults filled in, stock entries resolved.
    constants : dataclass or mapping, optional

    Returns
    -------
    str
        Keys sorted, floats by their shortest exact form, names and notes left out.

    Raises
    ------
    ValueError
        If a number in it is not finite.
    """
    whole = {"recipe": _plain(recipe), "constants": _plain(constants), "schema": 1}
    return json.dumps(
        whole, sort_keys=True, allow_nan=False, ensure_ascii=False, separators=(",", ":")
    )


def digest(recipe: Recipe, constants: Any = None) -> str:
    """Return the SHA-256 of `canonical`, in hexadecimal."""
    return hashlib.sha256(canonical(recipe, constants).encode("utf-8")).hexdigest()
