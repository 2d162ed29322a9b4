"""What the machine offers: memory, a folder for compiled kernels, a picture viewer."""

from __future__ import annotations

import math
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from meltwick.cli.failing import address_limit, say
from meltwick.errors import ResourceError

if TYPE_CHECKING:
    from meltwick.study.kernels import KernelFolder
    from meltwick.types import Recipe

# Bytes that a run takes: of its own, for each cell, and for each cell and dye component.
_BASE, _PER_CELL, _PER_SPECIES = 2.4e8, 1000.0, 120.0
_COARSE = 0.01  # [m] pitch at which cells are counted cheaply


def memory_needed(cells: float, species: int) -> float:
    """Estimate the memory of a run [bytes].

    From the peaks measured at 8, 4 and 2 mm (0.28, 0.32 and 0.59 GB, a tee, eight components).

    Parameters
    ----------
    cells : float
        Cells of cloth.
    species : int
        Dye components.
    """
    return _BASE + cells * (_PER_CELL + _PER_SPECIES * species)


def memory_here() -> float:
    """Memory this process may use [bytes]; infinite where the system does not tell."""
    limits = [math.inf]
    if sys.platform == "win32":
        limits.append(_windows_memory())
    else:
        limits.append(float(os.sysconf("SC_PHYS_PAGES")) * os.sysconf("SC_PAGE_SIZE"))
        limits.append(address_limit())
    for group in ("/sys/fs/cgroup/memory.max", "/sys/fs/cgroup/memory/memory.limit_in_bytes"):
        try:
            limits.append(float(Path(group).read_text()))
        except (OSError, ValueError):
            continue  # no such group, or the word "max"
    return min(limits)


def _windows_memory() -> float:
    import ctypes

    class _Status(ctypes.Structure):
        _fields_ = [
            ("size", ctypes.c_ulong),
            ("load", ctypes.c_ulong),
            *((name, ctypes.c_ulonglong) for name in ("total", "a", "b", "c", "d", "e", "f")),
        ]

    status = _Status()
    status.size = ctypes.sizeof(status)
    windll = getattr(ctypes, "windll", None)
    if windll is None or not windll.kernel32.GlobalMemoryStatusEx(ctypes.byref(status)):
        return math.inf
    return float(status.total)


def memory_free() -> float:
    """Memory that is not in use [bytes]; all of it where the system does not tell."""
    most = memory_here()
    try:
        lines = Path("/proc/meminfo").read_text("ascii", "replace")
        found = re.search(r"^MemAvailable:\s+(\d+) kB", lines, re.MULTILINE)
    except OSError:
        return most
    return min(most, 1024.0 * float(found[1])) if found else most


def species_count(recipe: Recipe) -> int:
    """Count the different dye components that a recipe lays, or that are on it before."""
    used = {powder.dye for turn in recipe.rounds for powder in turn.powder}
    parts = {part.name for dye in recipe.dyes if dye.name in used for part, _ in dye.parts}
    if recipe.start is None:
        return len(parts)
    before = {part.name for dye in recipe.start.dyes for part, _ in dye.parts}
    return len(parts | before) + 3  # what stands for a stain: meltwick.photo.unmixing.UNNAMED


def _coarse_cells(recipe: Recipe) -> int:
    from meltwick.cloth import coarse_cloth

    return coarse_cloth(recipe.blank, recipe.fabric, _COARSE).size


def cells_of(recipe: Recipe, pitch: float) -> int:
    """Estimate the cells of a recipe's cloth at a pitch [m]."""
    return round(_coarse_cells(recipe) * (_COARSE / pitch) ** 2)


def workers_for(recipe: Recipe, pitch: float, hands: int) -> int:
    """Choose how many hands run at once: one a core, as far as free memory goes.

    Parameters
    ----------
    recipe : Recipe
        The plan, resolved.
    pitch : float
        Size of a cell [m].
    hands : int
        How many there are to run.

    Returns
    -------
    int
        1 or more.
    """
    from meltwick.study.workers import usable_cores

    need = memory_needed(_coarse_cells(recipe) * (_COARSE / pitch) ** 2, species_count(recipe))
    fit = memory_free() / need
    return max(1, int(min(hands, usable_cores(), fit)))


def require_memory(
    recipe: Recipe, pitch: float, have: float | None = None, whose: str = "this machine"
) -> None:
    """Refuse a run that a machine cannot hold, and name the detail that would fit.

    Parameters
    ----------
    recipe : Recipe
        The plan, resolved.
    pitch : float
        Size of a cell [m].
    have : float, optional
        Memory [bytes]; that of this machine by default.
    whose : str
        What has it.

    Raises
    ------
    ResourceError
        If the estimate passes that memory.
    """
    coarse, species = _coarse_cells(recipe), species_count(recipe)
    cells = coarse * (_COARSE / pitch) ** 2
    need, have = memory_needed(cells, species), memory_here() if have is None else have
    if need <= have:
        return
    room = max(have - _BASE, 1.0) / (memory_needed(1.0, species) - _BASE)
    fits = math.ceil(1e4 * _COARSE * math.sqrt(coarse / room)) / 10.0  # [mm], up to a tenth
    hint = f'try --detail "{fits:g} mm"' if fits <= 10.0 else "use a larger machine"
    raise ResourceError(
        f"a detail of {pitch * 1e3:g} mm needs about {need / 1e9:.1f} GB of memory and {whose} "
        f"has {have / 1e9:.1f} GB; {hint}"
    )


def prepare_kernels(*, announce: bool = True) -> None:
    """Choose where compiled kernels are kept, before numba is loaded; say when it is the first run.

    Parameters
    ----------
    announce : bool
        Say that this is the first run; not for commands that compile only the few that fold.
    """
    from meltwick.study.kernels import settle_kernels

    tell_of_kernels(settle_kernels(), announce=announce)


def tell_of_kernels(folder: KernelFolder | None, *, announce: bool) -> None:
    """Say that kernels are compiled, where they are; ``announce`` as in `prepare_kernels`."""
    if folder is None:
        return
    if not folder.kept:
        why = f"{folder.usual} cannot be written" if folder.usual else "No home folder is known"
        say(f"{why}, so this run and the next ones compile anew (about half a minute).")
    elif announce and not folder.filled:
        say("First run: compiling, once, for about half a minute.")


def show_picture(path: Path) -> None:
    """Open a picture with the platform's viewer; say so and go on where there is none."""
    import shutil

    try:
        if sys.platform == "win32":
            os.startfile(path)
            return
        opener = "open" if sys.platform == "darwin" else "xdg-open"
        screen = sys.platform == "darwin" or any(
            os.environ.get(key) for key in ("DISPLAY", "WAYLAND_DISPLAY")
        )
        found = shutil.which(opener)
        if not screen or found is None:
            say(f"No picture viewer was found here; the picture is {path}")
            return
        subprocess.Popen(
            [found, str(path)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
    except OSError:
        say(f"The picture viewer did not start; the picture is {path}")
