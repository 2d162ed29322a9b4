"""Studies of many runs: nothing twice, nothing lost, the same for any number of workers."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import textwrap
import time
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from pathlib import Path

import pytest

from meltwick.errors import PlanError, ResourceError
from meltwick.plan import plan_from_text
from meltwick.study import queue
from meltwick.study.outcome import Outcome, Task, as_bytes, make, run_key
from meltwick.study.queue import expected_seconds, missing, run_all
from meltwick.study.store import Store

PLAN = plan_from_text('[garment]\nblank = "bandana"\n', "cloth.toml")
TASKS = [Task(PLAN, seed, 1e-2) for seed in range(1, 7)]


def without_seconds(outcome: Outcome) -> bytes:
    from dataclasses import replace

    return as_bytes(replace(outcome, seconds=0.0))


@pytest.fixture(scope="module")
def alone() -> list[bytes]:
    """The runs made one by one, without a store."""
    return [without_seconds(make(task)) for task in TASKS]


def test_workers_change_nothing(alone: list[bytes], tmp_path: Path) -> None:
    for workers in (1, 2):
        found = run_all(TASKS, store=Store(tmp_path / str(workers)), workers=workers)
        assert [without_seconds(each) for each in found] == alone


def test_what_is_kept_is_not_made_again(
    alone: list[bytes], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store, seen = Store(tmp_path), []
    run_all(TASKS[:4], store=store, workers=1)
    assert missing(TASKS, store) == TASKS[4:]
    asked: list[int] = []

    def counted(task: Task, threads: int = 1) -> Outcome:
        asked.append(task.seed)
        return make(task, threads)

    monkeypatch.setattr(queue, "make", counted)
    found = run_all(
        [*TASKS, TASKS[0]], store=store, workers=1, tally=lambda done, total: seen.append(done)
    )
    assert asked == [5, 6]
    assert [without_seconds(each) for each in found] == [*alone, alone[0]]
    assert seen == [4, 5, 6]


def test_a_damaged_run_is_made_again(alone: list[bytes], tmp_path: Path) -> None:
    store = Store(tmp_path)
    run_all(TASKS[:2], store=store, workers=1)
    store.path(run_key(TASKS[1])).write_bytes(b"rubbish")
    found = run_all(TASKS[:2], store=store, workers=1)
    assert [without_seconds(each) for each in found] == alone[:2]
    assert store.damaged == 1


def test_any_executor_serves(alone: list[bytes], tmp_path: Path) -> None:
    with ThreadPoolExecutor(1) as pool:
        found = run_all(TASKS[:3], store=Store(tmp_path), executor=pool)
    assert [without_seconds(each) for each in found] == alone[:3]


def test_a_plan_that_cannot_be_made_says_so_and_keeps_the_rest(tmp_path: Path) -> None:
    spiral = 'fold = [{ kind = "spiral", centre = "40 cm below the middle" }]'
    text = f'[garment]\nblank = "bandana"\n[[round]]\n{spiral}\n'
    bad = Task(plan_from_text(text, "bad.toml"), 1, 1e-2)
    store = Store(tmp_path)
    with pytest.raises(PlanError):
        run_all([TASKS[0], bad], store=store, workers=1)
    assert run_key(TASKS[0]) in store


def test_a_lost_worker_is_told_in_one_line(tmp_path: Path) -> None:
    class Broken(Executor):
        def submit(self, fn, /, *args, **kwargs):
            from concurrent.futures.process import BrokenProcessPool

            future: Future[Outcome] = Future()
            future.set_exception(BrokenProcessPool("gone"))
            return future

    with pytest.raises(ResourceError, match="run the same again"):
        run_all(TASKS, store=Store(tmp_path), executor=Broken())


def test_time_is_guessed_from_what_was_measured() -> None:
    assert expected_seconds([], [], 2) == 0.0
    outcome = make(TASKS[0])
    cells = len(outcome.srgb)
    # two runs of as many cells on two cores take as long as the one did
    assert expected_seconds([cells, cells], [outcome], 2) == pytest.approx(outcome.seconds)
    assert expected_seconds([cells], [outcome], 1) == pytest.approx(outcome.seconds)


STUDY = textwrap.dedent("""
    import sys
    from pathlib import Path

    def study():
        from meltwick.plan import plan_from_text
        from meltwick.study.outcome import Task
        from meltwick.study.queue import run_all
        from meltwick.study.store import Store

        plan = plan_from_text('[garment]\\nblank = "bandana"\\n', "cloth.toml")
        tasks = [Task(plan, seed, 1e-2) for seed in range(1, 21)]
        run_all(tasks, store=Store(Path(sys.argv[1])), workers=2,
                tally=lambda done, total: print(done, flush=True))

    if __name__ == "__main__":
        study()
""")


def killed(folder: Path, script: Path, after: float) -> bool:
    """Run the study and kill it, its workers too, after so long; whether it had to be killed."""
    process = subprocess.Popen(
        [sys.executable, str(script), str(folder)], stdout=subprocess.PIPE, start_new_session=True
    )
    assert process.stdout is not None
    process.stdout.readline()  # it has begun
    time.sleep(after)
    ended = process.poll() is not None
    if not ended:
        os.killpg(process.pid, signal.SIGKILL)
    process.stdout.close()
    process.wait()
    return not ended


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL for a group")
def test_a_study_killed_at_any_moment_goes_on_where_it_was(tmp_path: Path) -> None:
    """Kill -9, several times, at random moments: each run once, equal to an undisturbed one."""
    script, folder = tmp_path / "study.py", tmp_path / "runs"
    script.write_text(STUDY)
    dice, before = random.Random(20), -1
    for _ in range(4):
        killed(folder, script, dice.uniform(1.0, 3.5))
        store = Store(folder)
        kept = [path for _, _, path in store.files() if path.suffix == ".run"]
        assert len(kept) >= before  # nothing that was there is lost
        before = len(kept)
        assert all(store.get(path.stem) is not None for path in kept)  # each is whole
    tasks = [Task(PLAN, seed, 1e-2) for seed in range(1, 21)]
    store = Store(folder)
    found = run_all(tasks, store=store, workers=2)
    assert store.damaged == 0
    whole = [path for _, _, path in store.files() if path.suffix == ".run"]
    assert sorted(path.stem for path in whole) == sorted(run_key(task) for task in tasks)
    picked = (0, 7, 19)
    assert [without_seconds(found[n]) for n in picked] == [
        without_seconds(make(tasks[n])) for n in picked
    ]
