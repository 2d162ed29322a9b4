"""Where a study's runs are made and kept, and what went wrong with keeping them."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meltwick.cli.failing import say

if TYPE_CHECKING:
    from meltwick.constants import Constants
    from meltwick.journal.profiles import Profile
    from meltwick.study.cluster import Cluster
    from meltwick.study.store import Store


@dataclass(frozen=True)
class Bench:
    """What every run of a study needs."""

    store: Store
    cluster: Cluster | None  # None: this machine makes them
    profile: Profile | None = None  # what the maker's own pieces taught

    @property
    def constants(self) -> Constants | None:
        """The model's numbers: the profile's; None for the book's."""
        return None if self.profile is None else self.profile.constants()


def profile_named(name: str | None) -> Profile | None:
    """Return the profile that --as names, if it does.

    Raises
    ------
    ProfileError
        If there is none of that name, or it cannot be used.
    """
    if name is None:
        return None
    from meltwick.journal.profiles import read_profile

    return read_profile(name)


@contextlib.contextmanager
def studying(address: str | None, profile: Profile | None = None) -> Iterator[Bench]:
    """Open the store, and connect to the cluster where one is named.

    Raises
    ------
    PlanError
        Nobody answers at that address, or it is none.
    ResourceError
        The cluster cannot make the runs, or is lost.
    """
    from meltwick.study.store import Store

    store = Store()
    try:
        if address is None:
            yield Bench(store, None, profile)
            return
        from meltwick.study.cluster import connected

        with connected(address, say) as cluster:
            if cluster.threaded:
                say(_idle(cluster.threaded))
            yield Bench(store, cluster, profile)
    finally:
        for line in keeping(store):
            say(line)


def keeping(store: Store) -> list[str]:
    """Say which kept runs were damaged, and which could not be kept."""
    lines = []
    if store.damaged:
        what = "run was damaged and is" if store.damaged == 1 else "runs were damaged and are"
        lines.append(f"{store.damaged} kept {what} made again.")
    if store.unkept:
        what = "1 run" if store.unkept == 1 else f"{store.unkept} runs"
        it = "it is" if store.unkept == 1 else "they are"
        lines.append(
            f"{what} could not be kept in {store.folder} ({store.fault}), so {it} made again "
            "next time."
        )
    return lines


def _idle(workers: tuple[str, ...]) -> str:
    others = "" if len(workers) == 1 else f", and {len(workers) - 1} more like it,"
    return (
        f"The worker {workers[0]} has several threads{others} but makes one run at a time; start "
        "workers with --nworkers auto --nthreads 1."
    )
