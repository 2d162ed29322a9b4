"""Kept runs: whole or not at all, found again, damaged ones noticed, never more than the limit."""

from __future__ import annotations

import os
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meltwick.plan import plan_from_text
from meltwick.study.outcome import (
    DamagedError,
    Outcome,
    Task,
    as_bytes,
    from_bytes,
    make,
    run_key,
)
from meltwick.study.store import Store

PLAN = plan_from_text('[garment]\nblank = "bandana"\n', "cloth.toml")
TASK = Task(PLAN, 1, 8e-3)
KEYS = [f"{n:064x}" for n in range(1, 6)]


@pytest.fixture(scope="module")
def outcome() -> Outcome:
    return make(TASK)


def same(one: Outcome | None, other: Outcome) -> bool:
    return one is not None and as_bytes(one) == as_bytes(other)


def test_a_run_comes_back_as_it_was(outcome: Outcome, tmp_path: Path) -> None:
    store = Store(tmp_path)
    assert store.get(KEYS[0]) is None
    assert KEYS[0] not in store
    assert store.put(KEYS[0], outcome)
    assert KEYS[0] in store
    found = store.get(KEYS[0])
    assert found is not None
    assert same(found, outcome)
    assert replace(found, srgb=outcome.srgb) == outcome
    np.testing.assert_array_equal(found.srgb, outcome.srgb)
    assert [path.suffix for path in tmp_path.rglob("*") if path.is_file()] == [".run"]


@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_any_damage_is_noticed(outcome: Outcome, data: st.DataObject) -> None:
    """A flipped bit anywhere, or a file cut short or grown: SHA-256 (FIPS 180-4) tells."""
    whole = as_bytes(outcome)
    place = data.draw(st.integers(0, len(whole) - 1))
    bit = data.draw(st.integers(0, 7))
    flipped = bytearray(whole)
    flipped[place] ^= 1 << bit
    cut = whole[:place]
    for broken in (bytes(flipped), cut, whole + b"x"):
        with pytest.raises(DamagedError):
            from_bytes(broken)


def test_a_damaged_file_is_thrown_out_and_counted(outcome: Outcome, tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.put(KEYS[0], outcome)
    path = store.path(KEYS[0])
    path.write_bytes(path.read_bytes()[:-9])
    assert store.get(KEYS[0]) is None
    assert store.damaged == 1
    assert not path.exists()


def test_what_was_used_longest_ago_goes_first(outcome: Outcome, tmp_path: Path) -> None:
    size = len(as_bytes(outcome))
    store = Store(tmp_path)
    for age, key in enumerate(KEYS):
        store.put(key, outcome)
        os.utime(store.path(key), (1000.0 + age, 1000.0 + age))
    store.get(KEYS[0])  # used just now
    store.limit = int(2.5 * size)
    assert store.trim() == 3
    assert [key in store for key in KEYS] == [True, False, False, False, True]
    assert store.trim() == 0


def test_a_long_study_stays_within_the_limit_on_its_way(outcome: Outcome, tmp_path: Path) -> None:
    size = len(as_bytes(outcome))
    store = Store(tmp_path, limit=int(2.5 * size))
    for key in KEYS:
        assert store.put(key, outcome)
        assert store.tally()[1] <= store.limit
    assert store.tally() == (2, 2 * size)


def test_what_killed_writers_left_goes_after_a_day(outcome: Outcome, tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.put(KEYS[0], outcome)
    left = [store.path(key).with_name(f".{key}-{n}") for n, key in enumerate(KEYS)]
    hours = (0.0, 23.0, 25.0, 1000.0, 1e5)
    for path, age in zip(left, hours, strict=True):
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(b"half a run")
        os.utime(path, (time.time() - 3600 * age, time.time() - 3600 * age))
    assert store.tally()[0] == 1  # what was only begun is no run
    assert store.trim() == 3
    assert [path.exists() for path in left] == [True, True, False, False, False]
    # one that is being written is left alone, however full the store is
    store.limit = 0
    assert store.trim() == 1
    assert [path.exists() for path in left[:2]] == [True, True]
    assert store.clear() == (0, 20)
    assert list(tmp_path.rglob("*")) == []


def test_trimming_leaves_what_is_not_ours(outcome: Outcome, tmp_path: Path) -> None:
    store = Store(tmp_path, limit=0)
    store.put(KEYS[0], outcome)
    theirs = [tmp_path / "zz" / name for name in ("letter.txt", ".hidden", "old.run", ".x-1")]
    theirs[0].parent.mkdir()
    for path in theirs:
        path.write_text("mine")
        os.utime(path, (1000.0, 1000.0))
    assert store.trim() == 0
    assert store.tally() == (0, 0)
    store.clear()
    assert [path.read_text() for path in theirs] == ["mine"] * 4


def test_clearing_takes_ours_and_leaves_the_rest(outcome: Outcome, tmp_path: Path) -> None:
    store = Store(tmp_path / "runs")
    store.put(KEYS[0], outcome)
    theirs = tmp_path / "runs" / "zz" / "letter.txt"
    theirs.parent.mkdir()
    theirs.write_text("mine")
    assert store.clear() == (1, len(as_bytes(outcome)))
    assert theirs.read_text() == "mine"
    assert store.clear() == (0, 0)


def test_a_store_that_cannot_be_written_stops_nothing(outcome: Outcome, tmp_path: Path) -> None:
    wall = tmp_path / "file"
    wall.write_text("")
    store = Store(wall / "runs")
    assert not store.put(KEYS[0], outcome)
    assert store.unkept == 1
    assert store.fault
    assert store.get(KEYS[0]) is None
    assert store.files() == []


def test_a_key_tells_everything_that_changes_a_number() -> None:
    from meltwick.constants import Constants

    bigger = plan_from_text('[garment]\nblank = "bandana"\n[[round]]\nwash = "hurried"', "c.toml")
    named = plan_from_text('name = "other"\n[garment]\nblank = "bandana"\n', "d.toml")
    film = Constants(film=30.0)
    keys = {
        run_key(TASK),
        run_key(replace(TASK, seed=2)),
        run_key(replace(TASK, pitch=4e-3)),
        run_key(replace(TASK, plan=bigger)),
        run_key(replace(TASK, constants=film)),
    }
    assert len(keys) == 5
    assert run_key(replace(TASK, plan=named)) == run_key(TASK)
    assert run_key(replace(TASK, constants=Constants())) == run_key(TASK)


def test_shares_by_name(outcome: Outcome) -> None:
    assert outcome.share("white") == outcome.white
    zone = next(iter(outcome.shares.zones))
    assert outcome.share(f"{zone} deep") == outcome.shares.zones[zone]["deep"]
    dye = next(iter(outcome.seen))
    assert outcome.share(dye) == outcome.seen[dye]
    with pytest.raises(KeyError):
        outcome.share("tartan")
    # every cell that is not white goes to one of the dyes
    assert sum(outcome.seen.values()) == pytest.approx(1.0 - outcome.white, abs=1e-9)
