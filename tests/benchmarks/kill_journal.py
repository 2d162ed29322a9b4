"""Kill -9 a writer of a journal fifty times at random moments, and say what was left.

Run with ``python tests/benchmarks/kill_journal.py [TIMES [SEED]]`` from the top folder.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.journalling import kill_often

from meltwick.journal import Journal


def main() -> None:
    times, seed = (int(word) for word in (*sys.argv[1:3], *("50", "50")[len(sys.argv) - 1 :]))
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "journal.db"
        report = kill_often(path, times, seed)
        pieces = len(Journal(path).pieces())
    print(f"reported before each kill: {' '.join(map(str, report.said))}")
    print(
        f"{times} kills; {sum(report.said)} pieces and notes reported as saved, none lost; "
        f"{report.unsaid} pieces saved but not yet reported; {report.hot} rollback journals left "
        f"and played back; {pieces} pieces in the end, each with its photograph; "
        f"{time.monotonic() - begun:.0f} s"
    )


if __name__ == "__main__":
    main()
