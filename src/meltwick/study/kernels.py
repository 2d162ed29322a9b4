"""Where compiled kernels are kept; to be settled before numba is loaded."""

from __future__ import annotations

import os
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path


@dataclass(frozen=True)
class KernelFolder:
    """Where kernels are kept, and what is there."""

    usual: Path | None  # in the platform's cache folder, where there is one, or as asked for
    kept: bool  # whether it can be written; else they are compiled anew in every run
    filled: bool  # whether kernels of this copy are there


def settle_kernels() -> KernelFolder | None:
    """Choose the folder; None where the environment names one, which is left alone.

    Where that or the platform's cache folder cannot be written, kernels go to a temporary folder,
    since numba compiles nothing that it cannot keep.
    """
    asked = os.environ.get("NUMBA_CACHE_DIR")
    if asked and _usable(Path(asked)):
        return None
    import atexit
    import shutil
    import tempfile

    from meltwick import __version__
    from meltwick.homes import offered

    cache = offered("cache")
    usual = cache and cache / f"kernels-{__version__}-numba-{version('numba')}"
    if asked:
        usual = Path(asked)
    elif usual is not None and _usable(usual):
        os.environ["NUMBA_CACHE_DIR"] = str(usual)
        return KernelFolder(usual, kept=True, filled=_compiled(usual))
    spare = tempfile.mkdtemp(prefix="meltwick-")
    atexit.register(shutil.rmtree, spare, ignore_errors=True)
    os.environ["NUMBA_CACHE_DIR"] = spare
    return KernelFolder(usual, kept=False, filled=False)


def _usable(folder: Path) -> bool:
    probe = folder / f".probe-{os.getpid()}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe.write_bytes(b"")
        probe.unlink()
    except OSError:
        return False
    return True


def _compiled(folder: Path) -> bool:
    """Whether kernels were compiled since this copy of their source was put in its place."""
    source = Path(__file__).parents[1] / "seep" / "kernels.py"  # the longest to compile
    try:
        born = source.stat().st_mtime
        return any(each.stat().st_mtime >= born for each in folder.rglob("kernels.*.nbi"))
    except OSError:
        return False
