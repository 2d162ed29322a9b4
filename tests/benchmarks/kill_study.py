"""Kill -9 a study of 20 runs twenty times at random moments, and say what was left each time.

Run with ``python tests/benchmarks/kill_study.py [TIMES [SEED]]`` from the top folder.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.killing import kill_often, undisturbed_study


def main() -> None:
    times, seed = (int(word) for word in (*sys.argv[1:3], *("20", "20")[len(sys.argv) - 1 :]))
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        report = kill_often(*undisturbed_study(Path(folder)), times, seed)
    print(f"undisturbed: {report.whole:.1f} s")
    for after, kept in zip(report.after, report.kept, strict=True):
        print(f"killed after {after:4.1f} s, {kept:2} runs in the store, each whole")
    print(
        f"{times} kills; {report.finished} studies ended before they were killed; "
        f"{report.damaged} damaged files; {report.begun} begun files seen after a kill; "
        f"{time.monotonic() - begun:.0f} s"
    )


if __name__ == "__main__":
    main()
