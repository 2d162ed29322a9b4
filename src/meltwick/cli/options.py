"""Words of the command line that several commands take."""

from __future__ import annotations

from typing import Annotated

import typer

PlanFile = Annotated[
    str | None, typer.Argument(metavar="PLAN", help="The plan, or none for our example.")
]
Folder = Annotated[
    str | None, typer.Option("--out", metavar="DIR", help="Where to write; ./NAME/ by default.")
]
Detail = Annotated[
    str,
    typer.Option(
        "--detail",
        metavar="DETAIL",
        help='draft, normal, fine, or a length such as "1.5 mm".',
    ),
]
Hands = Annotated[
    str, typer.Option("--hands", metavar="N", help="How many hands make each, 1 to 25.")
]
OnCluster = Annotated[
    str | None,
    typer.Option(
        "--cluster",
        metavar="ADDRESS",
        help="Make the runs on a Dask cluster, such as tcp://192.168.1.20:8786.",
    ),
]
JournalFile = Annotated[
    str | None,
    typer.Option("--journal", metavar="FILE", help="Another journal than your usual one."),
]
As = Annotated[
    str | None,
    typer.Option(
        "--as",
        metavar="PROFILE",
        help="Predict as your own pieces taught, such as mine; see learn.",
    ),
]
Show = Annotated[bool, typer.Option("--open", help="Open the picture when it is done.")]
Debug = Annotated[bool, typer.Option("--debug", help="Show the whole error if we fail.")]
DryRun = Annotated[
    bool, typer.Option("--dry-run", help="Say how many runs and how long, and make none.")
]


def shortened(text: str) -> str:
    """Return what was written after an option as a message shows it: in quotes, not too long."""
    return repr(text if len(text) <= 40 else text[:37] + "...")
