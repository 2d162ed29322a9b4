"""The command `meltwick`. Physics lives elsewhere; these modules talk to the maker."""

from __future__ import annotations

import sys
from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command and return its exit code.

    Parameters
    ----------
    arguments : sequence of str, optional
        Words after the command's name; those of the process by default.

    Returns
    -------
    int
        0 done; 1 our fault; 2 the input or the command is wrong; 3 a wish that no setting meets;
        4 disk, memory or the cluster; 130 interrupted.
    """
    try:
        from meltwick.cli.failing import guarded

        return guarded(list(sys.argv[1:] if arguments is None else arguments))
    except KeyboardInterrupt:  # while the parser itself is loaded, or as the last line is said
        print("meltwick: interrupted; nothing was written", file=sys.stderr)
        return 130
