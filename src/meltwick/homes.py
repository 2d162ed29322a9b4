"""The platform's folders for what is kept between runs. A machine may offer none.

A user without a home folder, as in a container, has no place of that kind unless the environment
names one (XDG_DATA_HOME and its kin).
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from meltwick.errors import FileError

Kind = Literal["data", "cache", "log"]


def offered(kind: Kind) -> Path | None:
    """Return our folder of a kind, which need not exist; None where no home folder is known."""
    import platformdirs

    try:
        found = Path(getattr(platformdirs, f"user_{kind}_dir")("meltwick", appauthor=False))
    except RuntimeError:
        return None
    return found if found.is_absolute() else None  # older versions leave the ~ in it


def wanted(kind: Kind, instead: str = "") -> Path:
    """Return our folder of a kind, which need not exist.

    Parameters
    ----------
    kind : str
    instead : str
        What else a maker may do: ``"name a file with --journal"``.

    Raises
    ------
    FileError
        No home folder is known.
    """
    found = offered(kind)
    if found is None:
        other = f", or {instead}" if instead else ""
        raise FileError(f"no home folder is known here; set HOME to a folder of yours{other}")
    return found
