"""From the faults found in a plan to the one line that a maker reads."""

from __future__ import annotations

from pydantic import ValidationError

from meltwick.stock.reading import one_line


def dotted(parts: tuple[int | str, ...]) -> str:
    """Return a key's path as it is written in commands, counted from 1."""
    kept = [p for p in parts if not (isinstance(p, str) and p.startswith("<"))]
    return ".".join(str(p + 1) if isinstance(p, int) else _key(p) for p in kept)


def _key(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:60]}..."


def first_fault(error: ValidationError, where: str) -> str:
    """Return one line: the file, the key, what was found and what is allowed."""
    faults = error.errors(include_url=False)
    fault = faults[0]
    key = str(fault.get("ctx", {}).get("key", ""))
    path = dotted((*fault["loc"], key) if key else fault["loc"])
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    return one_line(
        f"{where}: {path}: {fault['msg']}{more}" if path else f"{where}: {fault['msg']}"
    )
