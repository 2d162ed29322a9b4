"""Looking after processes that a test has started, by what /proc says of them."""

import time
from collections.abc import Iterable
from pathlib import Path

SEEN = Path("/proc/self/stat").exists()
"""Whether this system tells of its processes at all."""


def alive(pid: int) -> bool:
    """Whether a process still runs; one that only waits to be buried does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except OSError:
        return False


def gone(pids: Iterable[int], seconds: float) -> bool:
    """Wait until none of some processes runs any more; False if that takes longer."""
    pids, end = list(pids), time.monotonic() + seconds
    while any(map(alive, pids)):
        if time.monotonic() > end:
            return False
        time.sleep(0.05)
    return True


def children(pid: int) -> list[int]:
    """Processes that one has started."""
    return [int(word) for word in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
