"""Studies on a Dask cluster of real processes: the same runs, each once, whoever dies."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from tests.clusters import Machines, kill, machines

from meltwick.cli import main
from meltwick.errors import PlanError, ResourceError
from meltwick.plan import plan_from_text
from meltwick.study import cluster, store
from meltwick.study.cluster import connected, difference, read_address
from meltwick.study.outcome import Outcome, Task, as_bytes, made_of, make, run_key
from meltwick.study.queue import run_all
from meltwick.study.store import Store

TEXT = '[garment]\nblank = "bandana"\n'
PLAN = plan_from_text(TEXT, "cloth.toml")
TASKS = [Task(PLAN, seed, 8e-3) for seed in range(1, 13)]
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL for a group")


def without_seconds(outcome: Outcome) -> bytes:
    return as_bytes(replace(outcome, seconds=0.0))


def silent(text: str) -> None:
    raise AssertionError(f"nobody should be told: {text}")


@pytest.fixture(scope="module")
def alone() -> list[bytes]:
    """The runs made one by one on this machine, with no store and no cluster."""
    return [without_seconds(make(task)) for task in TASKS]


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Machines]:
    with machines(tmp_path_factory.mktemp("cluster"), 2) as found:
        yield found


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(store, "usual_folder", lambda: tmp_path / "cache")
    (tmp_path / "cloth.toml").write_text(TEXT)
    return tmp_path


def compare(*words: str) -> int:
    usual = ["--vary", "squeeze=2,4", "--hands", "2", "--detail", "8 mm"]
    return main(["compare", "cloth.toml", *usual, *words])


# -------------------------------------------------------------------------------- the runs


@pytest.mark.slow
def test_two_workers_make_what_one_process_makes(
    alone: list[bytes], two: Machines, tmp_path: Path
) -> None:
    seen: list[int] = []
    kept = Store(tmp_path)
    with connected(two.address, silent) as there:
        assert there.workers == 2
        assert there.threaded == ()
        found = run_all(
            TASKS, store=kept, executor=there.executor, tally=lambda done, total: seen.append(done)
        )
    assert [without_seconds(each) for each in found] == alone
    assert seen == list(range(len(TASKS) + 1))
    assert sorted(path.stem for _, _, path in kept.files()) == sorted(map(run_key, TASKS))


@pytest.mark.slow
def test_a_worker_killed_in_the_middle_loses_nothing(alone: list[bytes], tmp_path: Path) -> None:
    """Kill -9 with runs under way: another worker makes them, and each is there once."""
    kept, order = Store(tmp_path / "runs"), []
    with machines(tmp_path, 2) as here, connected(here.address, silent) as there:

        def tally(done: int, total: int) -> None:
            order.append(done)
            if done == 2:  # ten are given out and not done
                kill(here.workers[0])

        found = run_all(TASKS, store=kept, executor=there.executor, tally=tally)
        assert here.workers[0].poll() == -signal.SIGKILL
        assert here.workers[1].poll() is None
    assert [without_seconds(each) for each in found] == alone
    assert order == list(range(len(TASKS) + 1))
    whole = {path.stem: kept.get(path.stem) for _, _, path in kept.files()}
    assert sorted(whole) == sorted(map(run_key, TASKS))
    assert all(each is not None for each in whole.values())


@pytest.mark.slow
def test_threads_of_a_worker_change_nothing(alone: list[bytes], tmp_path: Path) -> None:
    with machines(tmp_path) as here:
        here.worker(threads=3)
        with connected(here.address, silent) as there:
            assert there.workers == 1  # one run at a time
            assert len(there.threaded) == 1
            found = run_all(TASKS[:6], store=Store(tmp_path / "a"), executor=there.executor)
    assert [without_seconds(each) for each in found] == alone[:6]


@pytest.mark.slow
def test_a_makers_own_dye_reaches_the_workers(
    two: Machines, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The workers were started before the file was there, and look in another folder."""
    mine = tmp_path / "stock" / "mine.toml"
    mine.parent.mkdir()
    mine.write_text('[dye.heather]\nparts = { "reactive red 2" = 0.4, "plain violet" = 0.6 }\n')
    monkeypatch.setattr("meltwick.stock.loader.own_folder", lambda: mine.parent)
    dyed = '[[round]]\n[[round.dye]]\ndye = "heather"\namount = "3 g"\n'
    task = Task(plan_from_text(TEXT + dyed, "heather.toml"), 1, 8e-3)
    with connected(two.address, silent) as there:
        (found,) = run_all([task], store=Store(tmp_path / "runs"), executor=there.executor)
    assert set(found.seen) == {"heather"}
    assert without_seconds(found) == without_seconds(make(task))


@pytest.mark.slow
def test_a_plan_that_cannot_be_made_there_says_so_in_its_own_words(
    two: Machines, tmp_path: Path
) -> None:
    spiral = 'fold = [{ kind = "spiral", centre = "40 cm below the middle" }]'
    task = Task(plan_from_text(f"{TEXT}[[round]]\n{spiral}\n", "bad.toml"), 1, 8e-3)
    with pytest.raises(PlanError) as here:
        make(task)
    with connected(two.address, silent) as there, pytest.raises(PlanError) as told:
        run_all([task], store=Store(tmp_path), executor=there.executor)
    assert str(told.value) == str(here.value)


@pytest.mark.slow
def test_we_only_connect(two: Machines) -> None:
    import psutil

    with connected(two.address, silent):
        open_ = psutil.Process().net_connections(kind="inet")
    assert any(each.status == psutil.CONN_ESTABLISHED for each in open_)
    assert [each for each in open_ if each.status == psutil.CONN_LISTEN] == []


# ----------------------------------------------------------------------------- the command


@pytest.mark.slow
def test_the_command_says_and_writes_the_same(
    two: Machines, home: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a terminal shows, also past Python: nothing of Dask's."""
    assert compare("--cluster", two.address, "--dry-run") == 0
    told = capfd.readouterr()
    assert told.out.startswith("4 runs; ")
    assert told.out.endswith(f" on 2 cores of the cluster at {two.address}.\n")
    assert compare("--cluster", two.address, "--out", "there") == 0
    there = capfd.readouterr()
    monkeypatch.setattr(store, "usual_folder", lambda: home / "other")
    assert compare("--out", "here") == 0
    here = capfd.readouterr()
    assert there.out.replace("there/", "here/") == here.out
    assert there.err == told.err == ""
    for name in ("compare.csv", "compare.png"):
        assert (home / "there" / name).read_bytes() == (home / "here" / name).read_bytes()
    words = ["--white", "60%", "--vary", "squeeze=2,3,4", "--hands", "1", "--detail", "8 mm"]
    main(["aim", "cloth.toml", *words])
    here = capfd.readouterr()
    monkeypatch.setattr(store, "usual_folder", lambda: home / "third")
    main(["aim", "cloth.toml", *words, "--cluster", two.address, "--out", "new.toml"])
    there = capfd.readouterr()
    assert there.out.splitlines()[0] == here.out.splitlines()[0]
    assert (home / "third").is_dir()


@pytest.mark.slow
def test_an_interrupt_ends_it_and_leaves_the_workers_free(two: Machines, home: Path) -> None:
    from distributed import Client

    words = ["--vary", "squeeze=2..4/20", "--hands", "25", "--detail", "8 mm"]
    words += ["--cluster", two.address]
    process = subprocess.Popen(
        [sys.executable, "-m", "meltwick", "compare", "cloth.toml", *words],
        env={**os.environ, "XDG_CACHE_HOME": str(home)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        end = time.monotonic() + 120.0
        while not any((home / "meltwick").rglob("*.run")):
            assert process.poll() is None
            assert time.monotonic() < end
            time.sleep(0.02)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=20)
    finally:
        process.kill()
    assert (process.returncode, out) == (130, "")
    assert err == "meltwick: interrupted; nothing was written\n"
    with Client(two.address, set_as_default=False) as client:
        end = time.monotonic() + 60.0
        while client.run_on_scheduler(lambda dask_scheduler: len(dask_scheduler.tasks)):
            assert time.monotonic() < end, "runs that nobody waits for are still made"
            time.sleep(0.1)


# ------------------------------------------------------------------------- what goes wrong


ODD = ["", "here", "tcp://", "http://127.0.0.1:8787", "tcp://10.0.0.1", "10.0.0.1:0", "a b:8786"]
ODD += ["10.0.0.1:99999", "tcp://10.0.0.1:8786/status", "inproc://10.0.0.1:8786", "x" * 500]


@pytest.mark.parametrize("text", ODD)
def test_an_address_that_is_none(home: Path, capsys: pytest.CaptureFixture[str], text: str) -> None:
    assert compare("--cluster", text) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert "tcp://192.168.1.20:8786" in told
    assert len(told) < 250


def test_addresses_as_dask_says_them() -> None:
    for text in ("tcp://192.168.1.20:8786", "10.0.0.1:1", " big-box.local:65535 ", "tcp://[::1]:5"):
        assert read_address(text) == text.strip()


def refused(capfd: pytest.CaptureFixture[str], address: str, code: int) -> str:
    """The line with which the command refuses an address."""
    assert compare("--cluster", address) == code
    told = capfd.readouterr()
    assert told.out == ""
    assert "Traceback" not in told.err
    return told.err


def test_without_the_extra(
    home: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    told = refused(capfd, "127.0.0.1:8786", 2)
    assert told.endswith("pip install 'meltwick[cluster]'\n")
    assert told.count("\n") == 1


def test_nobody_and_a_stranger_at_the_address(
    home: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "_REACH", 1.0)
    with socket.create_server(("127.0.0.1", 0)) as stranger:  # takes calls and never speaks
        address = "{}:{}".format(*stranger.getsockname())
        told = refused(capfd, address, 2)
        assert told.startswith(f"meltwick: --cluster: no scheduler answers at {address}; ")
        assert told.count("\n") == 1
    assert refused(capfd, address, 2) == told
    assert not (home / "cloth").exists()


@pytest.mark.slow
def test_a_cluster_without_workers_and_one_of_other_versions(
    home: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "PATIENCE", 0.2)
    (home / "newer.py").write_text("import meltwick.constants as c\nc.MODEL = 999\n")
    (home / "bare.py").write_text("import sys\nsys.modules['meltwick'] = None\n")
    with machines(home) as here:
        waits, refusal = refused(capfd, here.address, 4).splitlines()
        assert waits.startswith(f"The cluster at {here.address} has no workers yet; waiting")
        assert f"`dask worker {here.address} --nworkers auto --nthreads 1`" in refusal
        for name, said in (("newer", "has meltwick's model 999, and this"), ("bare", "has no mel")):
            here.worker("--preload", str(home / f"{name}.py"))
            told = refused(capfd, here.address, 4)
            assert told.startswith("meltwick: the worker tcp://127.0.0.1:")
            assert said in told
            assert told.count("\n") == 1
            kill(here.workers[-1])
    assert not (home / "cache").exists()


@pytest.mark.slow
@pytest.mark.parametrize("lost", ["scheduler", "workers", "answer", "likeness", "trust"])
def test_a_cluster_that_is_lost_midway_keeps_what_was_done(
    alone: list[bytes], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lost: str
) -> None:
    monkeypatch.setattr(cluster, "PATIENCE", 2.0)
    monkeypatch.setattr(cluster, "_SILENT", 2.0)
    (tmp_path / "newer.py").write_text("import meltwick.constants as c\nc.MODEL = 999\n")
    if lost == "trust":  # in a run that ends workers; the usual limit is four
        monkeypatch.setenv("DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES", "0")
    kept = Store(tmp_path / "runs")
    with machines(tmp_path, 1) as here:

        def tally(done: int, total: int) -> None:
            if done != 2:
                return
            if lost == "scheduler":
                kill(here.scheduler)
            elif lost in ("workers", "trust"):
                kill(here.workers[0])
            elif lost == "answer":
                os.kill(here.scheduler.pid, signal.SIGSTOP)
            else:  # another comes to help, after ours has stopped
                os.kill(here.workers[0].pid, signal.SIGSTOP)
                here.worker("--preload", str(tmp_path / "newer.py"))

        said = {
            "scheduler": "has gone; what was done is kept",
            "workers": "has lost all its workers; what was done is kept",
            "answer": "answers no more; what was done is kept",
            "likeness": "has meltwick's model 999",
            "trust": "a run ended every worker that tried it.* what was done is kept",
        }
        with (
            pytest.raises(ResourceError, match=said[lost]),
            connected(here.address, silent) as there,
        ):
            run_all(TASKS, store=kept, executor=there.executor, tally=tally)
    assert [key in kept for key in map(run_key, TASKS)].count(True) >= 2
    rest = run_all(TASKS, store=kept, workers=1)
    assert [without_seconds(each) for each in rest] == alone


def test_what_differs_is_named() -> None:
    ours = made_of()
    assert set(ours) == {"meltwick", "meltwick's model", "numpy", "scipy", "numba", "pyamg"}
    assert difference(ours, made_of()) == ""
    for name in ours:
        assert difference(ours, {**ours, name: "9.9"}).startswith(f"has {name} 9.9, and this ")
        assert difference(ours, {k: v for k, v in ours.items() if k != name}) == f"has no {name}"
    assert difference(ours, {**ours, "dask": "1"}) == ""


def test_a_detail_that_no_worker_can_hold(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from contextlib import contextmanager

    from meltwick.study.cluster import Cluster

    @contextmanager
    def small(text: str, tell: object) -> Iterator[Cluster]:
        yield Cluster(text, 2, 5e7, (), None)  # type: ignore[arg-type]

    monkeypatch.setattr(cluster, "connected", small)
    assert compare("--cluster", "10.0.0.1:8786") == 4
    assert "the smallest worker has 0.1 GB" in capsys.readouterr().err
