"""Clean names for the pictures that a collection exports."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

from meltwick.errors import PlanError
from meltwick.plan.models import RESERVED

_LONGEST = 80  # characters
KEYS = ("number", "name", "form")


def check_pattern(pattern: str, where: str) -> None:
    """Refuse a pattern that names keys we do not have.

    Raises
    ------
    PlanError
        One line that shows the pattern and the keys.
    """
    rest = pattern
    for key in KEYS:
        rest = rest.replace(f"{{{key}}}", "")
    if "{" in rest or "}" in rest or not pattern.strip():
        raise PlanError(
            f"{where}: {pattern[:40]!r} is not a pattern of names; in braces go {{number}}, "
            "{name} and {form}, as in {number}-{name}-{form}"
        )


def clean(text: str) -> str:
    """Return a file name, without ending, that every system takes and that leaves no folder."""
    text = unicodedata.normalize("NFC", text)
    text = re.sub(r"[^\w.-]+", "-", text)
    text = re.sub(r"-{2,}", "-", text).strip("-. ")[:_LONGEST].rstrip("-. ")
    if not text or text.split(".")[0].casefold() in RESERVED:
        text = f"piece-{text}".rstrip("-")
    return text


def names_of(pattern: str, pieces: Sequence[str], form: str) -> list[str]:
    """Name the picture of every piece in one form; no two are the same on any system."""
    told = form.replace(":", "x").replace(" ", "-")
    wide = len(str(len(pieces)))
    found: list[str] = []
    for number, name in enumerate(pieces, 1):
        filled = pattern
        for key, value in zip(KEYS, (f"{number:0{wide}d}", name, told), strict=True):
            filled = filled.replace(f"{{{key}}}", value)
        one = base = clean(filled)
        count = 1
        while one.casefold() in {each.casefold() for each in found}:
            count += 1
            one = f"{base}-{count}"
        found.append(one)
    return found
