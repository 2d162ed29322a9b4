"""`cache`: the runs that studies keep, so that none is made twice."""

from __future__ import annotations

from typing import Annotated

import typer

from meltwick.cli.options import Debug
from meltwick.errors import FileError


def cache(
    clear: Annotated[bool, typer.Option("--clear", help="Throw away every kept run.")] = False,
    debug: Debug = False,
) -> None:
    """Say where kept runs lie and how much room they take, or throw them away.

    They only save time: whatever is thrown away is made again when it is needed.

    Example: meltwick cache --clear
    """
    from meltwick.study.store import LIMIT, Store

    store = Store()
    if clear:
        count, size = store.clear()
        typer.echo(f"{_runs(count)} thrown away, {size / 1e6:.1f} MB.")
        if store.files():
            raise FileError(
                f"{_runs(store.tally()[0])} in {store.folder} cannot be thrown away; see whether "
                "you may write there"
            )
        return
    count, size = store.tally()
    typer.echo(
        f"{_runs(count)} kept in {store.folder}, {size / 1e6:.1f} MB of at most "
        f"{LIMIT / 1e9:g} GB; those used longest ago go first."
    )


def _runs(count: int) -> str:
    return "1 run" if count == 1 else f"{count} runs"
