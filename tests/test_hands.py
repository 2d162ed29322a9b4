"""Several hands: equal to as many runs apart, whoever makes them; the extremes; the range."""

import os
import signal
import statistics
import subprocess
import sys
from dataclasses import fields
from itertools import pairwise
from multiprocessing import active_children

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.processes import SEEN, gone

from meltwick.errors import ResourceError
from meltwick.picture import hands_png
from meltwick.plan import plan_from_text
from meltwick.simulate import simulate
from meltwick.study import hand_seeds, model_doubt, run_hands, widened, workers
from meltwick.study.doubt import read_doubt

TEXT = 'name = "cove"\nseed = 3\n[garment]\nblank = "bandana"\n'
PLAN = plan_from_text(TEXT, "cove.toml")
PITCH = 8e-3  # [m] coarse, to be quick
COUNT = 3


def same(one, two):
    """Whether two results are alike to the last bit, but for the time they took."""
    assert one.shares == two.shares
    assert one.rounds == two.rounds
    assert (one.plan, one.digest, one.seed) == (two.plan, two.digest, two.seed)
    assert one.fixed.species == two.fixed.species
    assert one.fixed.amount.tobytes() == two.fixed.amount.tobytes()
    for field in fields(one.look):
        first, second = getattr(one.look, field.name), getattr(two.look, field.name)
        assert np.asarray(first).tobytes() == np.asarray(second).tobytes(), field.name
    for field in fields(one.cloth):
        first, second = getattr(one.cloth, field.name), getattr(two.cloth, field.name)
        if isinstance(first, np.ndarray):
            assert first.tobytes() == second.tobytes(), field.name
    return True


@pytest.fixture(scope="module")
def apart():
    return [simulate(PLAN, pitch=PITCH, seed=seed) for seed in range(3, 3 + COUNT)]


@pytest.fixture(scope="module")
def alone():
    return run_hands(PLAN, COUNT, pitch=PITCH, workers=1)


@pytest.fixture(scope="module")
def crew():
    return run_hands(PLAN, COUNT, pitch=PITCH, workers=2)


# ---------------------------------------------------------------------------- the spread


def test_seeds_follow_the_plans_own_and_wrap():
    assert hand_seeds(7, 3) == (7, 8, 9)
    assert hand_seeds(2**63 - 2, 4) == (2**63 - 2, 2**63 - 1, 0, 1)
    for first, count in ((0, 0), (-1, 1), (2**63, 1)):
        with pytest.raises(ValueError, match="hands from seed"):
            hand_seeds(first, count)


def test_hands_are_runs_with_their_seeds(apart, alone):
    assert alone.seeds == (3, 4, 5)
    assert alone.white == tuple(result.white_share for result in apart)
    assert same(alone.main, apart[0])
    white = np.array(alone.white)
    assert same(alone.lightest, apart[int(white.argmax())])
    assert same(alone.darkest, apart[int(white.argmin())])


def test_the_result_does_not_depend_on_the_number_of_workers(alone, crew):
    many = run_hands(PLAN, COUNT, pitch=PITCH, workers=3)
    for other in (crew, many):
        assert other.seeds == alone.seeds
        assert other.white == alone.white
        for piece in ("main", "lightest", "darkest"):
            assert same(getattr(other, piece), getattr(alone, piece))
    pictures = {
        hands_png(each.main, each.lightest, each.darkest, each.white, version="1", plain=True)
        for each in (alone, crew, many)
    }
    assert len(pictures) == 1


def test_median_and_range_against_the_standard_library(alone):
    assert alone.hands == COUNT
    assert alone.median == statistics.median(alone.white) == np.median(alone.white)
    assert (alone.low, alone.high) == (min(alone.white), max(alone.white))
    assert alone.lightest.white_share == alone.high > alone.low == alone.darkest.white_share


def test_another_first_seed(crew):
    other = run_hands(PLAN, 1, pitch=PITCH, seed=5)
    assert other.seeds == (5,)
    assert other.white == crew.white[2:]


def test_one_cloth_serves_all_pieces(crew):
    assert crew.lightest.cloth is crew.darkest.cloth is crew.main.cloth


def test_one_hand_is_its_own_extreme(apart):
    one = run_hands(PLAN, 1, pitch=PITCH)
    assert one.main.seed == one.lightest.seed == one.darkest.seed == 3
    assert one.median == one.low == one.high == apart[0].white_share


@pytest.mark.parametrize("count", [1, 2])
def test_progress_tells_of_the_earliest_hand_and_never_falls(count):
    heard = []
    run_hands(PLAN, 3, pitch=PITCH, workers=count, observer=lambda *told: heard.append(told))
    hands = [int(stage.split()[1]) for stage, _, _ in heard]
    assert hands == sorted(hands)
    assert hands[0] == 1
    assert {stage.split(":")[0] for stage, _, _ in heard} <= {f"hand {k} of 3" for k in (1, 2, 3)}
    for (stage, done, total), (later, then, _) in pairwise(heard):
        assert 0 <= done <= total
        assert later != stage or then >= done


# ---------------------------------------------------------------------------- workers


SCRIPT = f"""
import sys
print("once")
from meltwick.plan import plan_from_text
from meltwick.study import run_hands
plan = plan_from_text({TEXT!r}, "cove.toml")
print(*run_hands(plan, 2, pitch={PITCH}, workers=2).white)
"""


@pytest.mark.parametrize("way", ["file", "stdin"])
def test_a_script_without_a_guard_runs_once(tmp_path, way, crew):
    path = tmp_path / "script.py"
    path.write_text(SCRIPT, "utf-8")
    done = subprocess.run(
        [sys.executable, "-W", "error", str(path) if way == "file" else "-"],
        input=SCRIPT if way == "stdin" else "",
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.stderr == ""
    assert done.stdout == f"once\n{crew.white[0]} {crew.white[1]}\n"


def test_without_processes_the_hands_are_made_here(monkeypatch, crew):
    def refuse(process):
        raise BlockingIOError("no more processes")

    main = sys.modules["__main__"]
    monkeypatch.setattr("multiprocessing.context.SpawnProcess.start", refuse)
    assert run_hands(PLAN, 2, pitch=PITCH, workers=2).white == crew.white[:2]
    monkeypatch.undo()
    monkeypatch.setattr(sys, "executable", "")
    assert run_hands(PLAN, 2, pitch=PITCH, workers=2).white == crew.white[:2]
    assert sys.modules["__main__"] is main


def test_workers_are_spawned_and_gone_afterwards(monkeypatch):
    seen = []
    run_hands(PLAN, 2, pitch=PITCH, workers=2, observer=lambda *_: seen.extend(active_children()))
    assert {type(each).__name__ for each in seen} == {"SpawnProcess"}
    assert len({id(each) for each in seen}) == 2
    assert active_children() == []


def test_a_killed_worker_is_a_lack_of_resources():
    def kill(*told):
        if children := active_children():
            os.kill(children[0].pid, getattr(signal, "SIGKILL", signal.SIGTERM))

    with pytest.raises(ResourceError, match=r"hand \d of 3 .* ended from outside") as caught:
        run_hands(PLAN, 3, pitch=PITCH, workers=2, observer=kill)
    assert "\n" not in str(caught.value)
    assert active_children() == []


def test_what_goes_wrong_in_a_worker_is_raised_here():
    with pytest.raises(AttributeError) as caught:
        run_hands(PLAN, 2, pitch=PITCH, workers=2, constants="none")
    assert "Traceback" in "".join(caught.value.__notes__)
    assert active_children() == []


def test_an_error_that_cannot_be_sent_keeps_its_name():
    class ClosedError(Exception):
        """An error whose kind no other process can find, however errors are sent."""

        def __init__(self, one, two):
            super().__init__(one)

    sent = workers._portable(ClosedError("a", "b"))
    assert type(sent) is RuntimeError
    assert str(sent) == "ClosedError: a"
    kept = workers._portable(ResourceError("no room"))
    assert (type(kept), str(kept)) == (ResourceError, "no room")


def test_an_observer_that_raises_ends_the_workers():
    def stop(*told):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_hands(PLAN, 3, pitch=PITCH, workers=2, observer=stop)
    assert active_children() == []


ORPHANS = f"""
import os
from multiprocessing import active_children
from meltwick.plan import plan_from_text
from meltwick.study import run_hands
def leave(*told):
    print(*(each.pid for each in active_children()), flush=True)
    os._exit(0)
plan = plan_from_text({TEXT!r}, "cove.toml")
run_hands(plan, 25, pitch=2e-3, workers=2, observer=leave)
"""


@pytest.mark.skipif(not SEEN, reason="needs /proc")
def test_workers_end_when_the_asker_is_gone():
    done = subprocess.run(
        [sys.executable, "-c", ORPHANS], capture_output=True, text=True, timeout=120, check=True
    )
    pids = [int(word) for word in done.stdout.split()]
    assert len(pids) == 2
    assert gone(pids, 30.0)


# ---------------------------------------------------------------------------- the model's doubt


def test_the_shipped_doubt_is_a_share():
    assert 0.0 < model_doubt() < 0.5


@pytest.mark.parametrize(
    "text",
    [
        "",
        "schema = 2\n[doubt]\nwhite = 0.1\n",
        "schema = 1\n",
        "schema = 1\ndoubt = 0.1\n",
        "schema = 1\n[doubt]\n",
        "schema = 1\n[doubt]\nwhite = 12.0\n",
        "schema = 1\n[doubt]\nwhite = true\n",
        "schema = 1\n[doubt]\nwhite = nan\n",
        "schema = 1\n[doubt]\nwhite = '0.1'\n",
    ],
)
def test_a_doubt_that_is_none_is_refused(text):
    with pytest.raises(ValueError, match=r"doubt\.toml"):
        read_doubt(text)


def test_a_fold_has_its_own_doubt_or_the_mean():
    text = "schema = 1\n[doubt]\nwhite = 0.07\n[doubt.pole]\nwhite = 0.09\n[notes]\nplans = 3\n"
    assert read_doubt(text) == 0.07
    assert read_doubt(text, "pole") == 0.09
    assert read_doubt(text, "halve") == 0.07


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_widening_adds_the_doubt_at_both_ends(one, two):
    low, high = sorted((one, two))
    least, most = widened(low, high)
    assert 0.0 <= least <= low <= high <= most <= 1.0
    assert least == pytest.approx(max(0.0, low - model_doubt()))
    assert most == pytest.approx(min(1.0, high + model_doubt()))


@pytest.mark.parametrize(("low", "high"), [(0.6, 0.5), (-0.1, 0.5), (0.5, 1.1), (0.5, np.nan)])
def test_only_a_range_of_shares_is_widened(low, high):
    with pytest.raises(ValueError, match="no range of shares"):
        widened(low, high)
