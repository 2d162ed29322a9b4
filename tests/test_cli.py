"""The command as a maker meets it: words, files, exit codes.

The simulation is replaced by a made-up result here, so that failures can be brought about at
will; the true run is in test_cli_run.py.
"""

import errno
import json
import os
import re
import signal
import subprocess
import sys
import types
from pathlib import Path

import pytest

from meltwick import __version__
from meltwick.cli import machine, main, writing
from meltwick.cli.failing import one_line
from meltwick.cli.words import length_unit, percentages, white_words
from meltwick.errors import ResourceError
from meltwick.plan import template


@pytest.fixture
def run(tmp_path, monkeypatch, capsys, make_result):
    """Run the command in an empty folder with a made-up simulation; give code, out, err."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("platformdirs.user_log_dir", lambda *a, **k: str(tmp_path.parent / "log"))
    fake = types.ModuleType("meltwick.simulate")
    asked = []

    def simulate(plan, *, pitch, seed, observer):
        asked.append({"plan": plan, "pitch": pitch, "seed": seed})
        observer("folding", 0, 1)
        return make_result(name=plan.name)

    fake.simulate = simulate
    monkeypatch.setitem(sys.modules, "meltwick.simulate", fake)

    def go(*words):
        code = main([str(word) for word in words])
        text = capsys.readouterr()
        return code, text.out, text.err

    go.module, go.asked = fake, asked
    return go


def one_complaint(err):
    """The one line that a failure ends with."""
    lines = err.splitlines()
    assert len(lines) == 1, err
    assert lines[0].startswith("meltwick: ")
    assert "Traceback" not in err
    return lines[0]


# ---------------------------------------------------------------------------- preview


def test_preview_writes_a_picture_and_numbers(run, tmp_path):
    code, out, err = run("preview")
    assert code == 0
    assert err == ""
    assert sorted(p.name for p in (tmp_path / "harbour-tee").iterdir()) == [
        "preview.png",
        "result.json",
    ]
    assert out.startswith("Expect ")
    assert re.search(r"\d+ : \d+ dyed to white", out)
    for word in ("whole", "front", "back", "chest", "preview.png", "result.json"):
        assert word in out


def test_result_has_the_agreed_keys(run, tmp_path):
    run("preview")
    text = (tmp_path / "harbour-tee" / "result.json").read_text("utf-8")
    record = json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} in the JSON"))
    assert list(record) == [
        *("schema", "plan", "version", "digest", "pitch_mm", "cells", "seed", "white_share"),
        *("white_at", "hands", "white_median", "white_range", "white_range_with_doubt"),
        *("white_by_hand", "profile", "dyed_to_white", "shares", "panels", "zones", "likeness"),
        *("rounds", "seconds", "files"),
    ]
    assert record["schema"] == 1
    assert record["version"] == __version__
    assert record["hands"] == 1
    assert record["white_median"] is record["white_range"] is None
    assert set(record["white_at"]) == {"2.15", "4.3", "8.6"}
    assert sum(record["shares"].values()) == pytest.approx(1.0, abs=1e-5)
    assert set(record["panels"]) == {"front", "back"}
    assert set(record["rounds"][0]) == {
        *("layers_mean", "exposed_share", "melt_hours", "ran_off_share", "melt_hours_90"),
        *("over_full_share", "balance", "white_share", "dyed_to_white", "shares"),
    }
    assert set(record["rounds"][0]["balance"]) == {
        *("laid_g", "fixed_g", "hydrolysed_g", "ran_off_g", "drained_g", "washed_out_g"),
        *("undissolved_g", "relative_error"),
    }
    assert record["rounds"][0]["balance"]["laid_g"] == pytest.approx(10.0)
    assert set(record["seconds"]) == {"fold", "percolate", "march", "picture"}
    assert record["files"] == {"preview": "preview.png"}


def test_json_is_alone_on_standard_output(run, tmp_path):
    code, out, err = run("preview", "--json")
    assert code == 0
    assert err == ""
    assert json.loads(out) == json.loads((tmp_path / "harbour-tee/result.json").read_text("utf-8"))


@pytest.mark.parametrize(
    ("word", "millimetres"),
    [("draft", 4), ("normal", 2), ("fine", 1), ("1.5 mm", 1.5), ("1/8 in", 3.175), ("10 mm", 10)],
)
def test_detail(run, word, millimetres):
    assert run("preview", "--detail", word)[0] == 0
    assert run.asked[-1]["pitch"] == pytest.approx(millimetres / 1e3)


@pytest.mark.parametrize(
    ("word", "hint"),
    [("drft", "draft"), ("0.4 mm", "0.5 mm"), ("11 mm", "10 mm"), ("2 kg", ""), ("", "")],
)
def test_wrong_detail(run, word, hint):
    code, out, err = run("preview", "--detail", word)
    assert (code, out) == (2, "")
    assert "--detail" in one_complaint(err)
    assert hint in err
    assert run.asked == []


def test_seed(run):
    run("preview", "--seed", 12)
    run("preview")
    assert [each["seed"] for each in run.asked] == [12, None]
    for wrong in ("-1", "1.5", "many", str(2**63), "9" * 5000):
        code, _, err = run("preview", f"--seed={wrong}")
        assert code == 2
        assert "--seed" in one_complaint(err)


def test_out_and_other_files_are_left_alone(run, tmp_path):
    folder = tmp_path / "deep" / "er [bold]"
    folder.mkdir(parents=True)
    (folder / "mine.txt").write_text("mine")
    (folder / "result.json").write_text("old")
    code, out, _ = run("preview", "--out", folder)
    assert code == 0
    assert str(folder / "preview.png") in out
    assert (folder / "mine.txt").read_text() == "mine"
    assert json.loads((folder / "result.json").read_text("utf-8"))["plan"] == "harbour-tee"
    assert sorted(p.name for p in folder.iterdir()) == ["mine.txt", "preview.png", "result.json"]


def test_plan_from_a_file_names_the_folder(run, tmp_path):
    (tmp_path / "p.toml").write_text('name = "salt-marsh"\n', "utf-8")
    assert run("preview", "p.toml")[0] == 0
    assert (tmp_path / "salt-marsh" / "preview.png").is_file()


def test_plain_draws_another_picture(run, tmp_path):
    run("preview", "--out", "a")
    run("preview", "--out", "b", "--plain")
    run("preview", "--out", "c")
    a, b, c = ((tmp_path / x / "preview.png").read_bytes() for x in "abc")
    assert a == c
    assert a != b


def test_open_is_harmless_without_a_viewer(run, monkeypatch):
    monkeypatch.setattr("shutil.which", lambda name: None)
    code, _, err = run("preview", "--open")
    assert code == 0
    assert "viewer" in err
    assert "preview.png" in err


def test_open_starts_the_platforms_viewer(run, monkeypatch, tmp_path):
    started = []
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("DISPLAY", ":0")
    monkeypatch.setattr("shutil.which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr(machine.subprocess, "Popen", lambda words, **k: started.append(words))
    assert run("preview", "--open")[0] == 0
    assert started == [["/usr/bin/xdg-open", str(Path("harbour-tee") / "preview.png")]]


# ---------------------------------------------------------------------------- failures


def test_file_where_the_folder_should_be(run, tmp_path):
    (tmp_path / "harbour-tee").write_text("mine")
    code, _, err = run("preview")
    assert code == 2
    assert "harbour-tee" in one_complaint(err)
    assert (tmp_path / "harbour-tee").read_text() == "mine"
    assert run.asked == []  # said before the work, not after


def test_folder_where_a_file_should_be(run, tmp_path):
    (tmp_path / "harbour-tee" / "preview.png").mkdir(parents=True)
    code, _, err = run("preview")
    assert code == 2
    assert "preview.png" in one_complaint(err)


def test_folder_that_may_not_be_written(run, monkeypatch, tmp_path):
    monkeypatch.setattr(writing.os, "access", lambda path, mode: False)
    code, _, err = run("preview")
    assert code == 2
    assert "--out" in one_complaint(err)
    assert list(tmp_path.iterdir()) == []


def test_full_disk_leaves_nothing(run, monkeypatch, tmp_path):
    def full(number):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(writing.os, "fsync", full)
    code, out, err = run("preview", "--out", "new/er")
    assert (code, out) == (4, "")
    assert "disk is full" in one_complaint(err)
    assert list(tmp_path.iterdir()) == []


def test_full_disk_keeps_the_old_pair(run, monkeypatch, tmp_path):
    folder = tmp_path / "harbour-tee"
    folder.mkdir()
    (folder / "preview.png").write_bytes(b"old picture")
    (folder / "result.json").write_bytes(b"old numbers")
    true_replace, calls = os.replace, []

    def second_fails(source, target):
        calls.append(target)
        if len(calls) == 2:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        true_replace(source, target)

    monkeypatch.setattr(writing.os, "replace", second_fails)
    assert run("preview")[0] == 4
    assert (folder / "preview.png").read_bytes() == b"old picture"
    assert (folder / "result.json").read_bytes() == b"old numbers"
    assert sorted(p.name for p in folder.iterdir()) == ["preview.png", "result.json"]


def test_half_a_new_pair_is_taken_back(run, monkeypatch, tmp_path):
    """The first file of a new pair goes again when the second cannot be put in place."""
    true_replace, calls = os.replace, []

    def second_fails(source, target):
        calls.append(target)
        if len(calls) == 2:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        true_replace(source, target)

    monkeypatch.setattr(writing.os, "replace", second_fails)
    assert run("preview")[0] == 2
    assert list(tmp_path.iterdir()) == []


def test_memory_is_checked_before_the_work(run, monkeypatch):
    monkeypatch.setattr(machine, "memory_here", lambda: 1.0e9)
    code, _, err = run("preview", "--detail", "0.5 mm")
    assert code == 4
    line = one_complaint(err)
    fits = re.search(r'--detail "([0-9.]+ mm)"', line)
    assert fits
    assert run.asked == []
    assert run("preview", "--detail", fits[1])[0] == 0  # the detail it names does fit


def test_memory_estimate_grows_with_cells_and_components():
    assert machine.memory_needed(2e5, 4) < machine.memory_needed(4e5, 4)
    assert machine.memory_needed(2e5, 4) < machine.memory_needed(2e5, 8)
    assert machine.memory_needed(8.4e5, 8) < 4e9
    assert 1e8 < machine.memory_here() < float("inf")


def test_out_of_memory_in_the_work(run):
    def simulate(*words, **more):
        raise MemoryError

    run.module.simulate = simulate
    code, _, err = run("preview")
    assert code == 4
    assert "--detail" in one_complaint(err)


def test_our_own_fault_is_logged(run, tmp_path):
    def simulate(*words, **more):
        raise ZeroDivisionError("secret\ndetails")

    run.module.simulate = simulate
    code, _, err = run("preview")
    assert code == 1
    line = one_complaint(err)
    assert "our fault" in line
    log = next((tmp_path.parent / "log").glob("*.log"))
    assert str(log) in line
    assert "ZeroDivisionError" in log.read_text("utf-8")
    code, _, err = run("preview", "--debug")
    assert code == 1
    assert "Traceback" in err
    assert list(tmp_path.iterdir()) == []


def test_fault_without_a_place_for_the_log(run, tmp_path, monkeypatch):
    def simulate(*words, **more):
        raise ZeroDivisionError

    run.module.simulate = simulate
    (tmp_path / "file").write_text("")
    monkeypatch.setattr("platformdirs.user_log_dir", lambda *a, **k: str(tmp_path / "file" / "x"))
    code, _, err = run("preview")
    assert code == 1
    assert "--debug" in one_complaint(err)


def test_resource_error_has_its_own_code(run):
    def simulate(*words, **more):
        raise ResourceError("no room for this")

    run.module.simulate = simulate
    assert run("preview")[0] == 4


def test_interrupt_says_so_and_leaves_nothing(run, tmp_path):
    def simulate(*words, **more):
        raise KeyboardInterrupt

    run.module.simulate = simulate
    code, _, err = run("preview")
    assert code == 130
    assert "interrupted" in one_complaint(err)
    assert list(tmp_path.iterdir()) == []


SLEEPER = """
import sys, time, types
fake = types.ModuleType("meltwick.simulate")
def simulate(*words, **more):
    print("ready", flush=True)
    time.sleep(60)
fake.simulate = simulate
sys.modules["meltwick.simulate"] = fake
from meltwick.cli import main
sys.exit(main(["preview"]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="signals differ")
def test_real_interrupt(tmp_path):
    with subprocess.Popen(
        [sys.executable, "-c", SLEEPER],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout.readline() == "ready\n"
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=20)
    assert process.returncode == 130
    assert "interrupted" in one_complaint(err)
    assert list(tmp_path.iterdir()) == []


# ---------------------------------------------------------------------------- wrong words


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("previw",), "preview"),
        (("preview", "--sed", "3"), "--seed"),
        (("preview", "--detial", "draft"), "--detail"),
        (("preview", "a.toml", "b.toml"), "b.toml"),
        (("new",), "NAME"),
        (("check", "missing.toml"), "missing.toml"),
        (("preview", "."), "."),
        (("--nonsense",), "--nonsense"),
    ],
)
def test_wrong_words_get_one_line(run, words, expected):
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert expected in one_complaint(err)


def test_a_bad_plan_gets_one_line_with_its_key(run, tmp_path):
    (tmp_path / "p.toml").write_text('[[round]]\n[round.tie]\nspacng = "25 mm"\n', "utf-8")
    for command in ("preview", "check"):
        code, _, err = run(command, "p.toml")
        assert code == 2
        line = one_complaint(err)
        assert "round.1.tie.spacng" in line
        assert "spacing" in line.replace("spacng", "")


def test_brackets_in_a_name_are_kept(run):
    code, _, err = run("check", "[red]plan[/red].toml")
    assert code == 2
    assert "[red]plan[/red].toml" in one_complaint(err)


def test_odd_characters_stay_on_one_line(run):
    code, _, err = run("check", "a\nb\x1b[31m.toml")
    assert code == 2
    assert "\x1b" not in one_complaint(err)


def test_one_line():
    assert one_line(" a\n\tb \x07c") == "a b \N{REPLACEMENT CHARACTER}c"


# ---------------------------------------------------------------------------- new and check


def test_new_writes_a_plan_that_runs(run, tmp_path):
    code, out, _ = run("new", "salt-marsh")
    assert code == 0
    assert "salt-marsh.toml" in out
    assert (tmp_path / "salt-marsh.toml").read_text("utf-8") == template("salt-marsh")
    assert run("check", "salt-marsh.toml")[0] == 0
    assert run("preview", "salt-marsh.toml")[0] == 0


@pytest.mark.parametrize("fold", ["accordion", "Spiral"])
def test_new_starts_from_the_fold_asked_for(run, tmp_path, fold):
    assert run("new", "dune", "--fold", fold)[0] == 0
    assert (tmp_path / "dune.toml").read_text("utf-8") == template("dune", fold)
    code, out, err = run("check", "dune.toml")
    assert code == 0
    assert ("Pinch" if fold == "Spiral" else "back and forth") in out
    assert "No warnings." in err


def test_new_names_the_nearest_fold(run, tmp_path):
    code, _, err = run("new", "dune", "--fold", "concertina")
    assert code == 2
    assert "did you mean 'accordion'?" in one_complaint(err)
    assert list(tmp_path.iterdir()) == []


def test_a_spiral_off_the_cloth_is_refused(run, tmp_path):
    (tmp_path / "p.toml").write_text(
        '[[round]]\nfold = [{ kind = "spiral", centre = "1 m below the hem" }]\n', "utf-8"
    )
    for command in ("check", "preview"):
        code, _, err = run(command, "p.toml")
        assert code == 2
        assert "p: round.1.fold.1.centre: " in one_complaint(err)
        assert "too far from the hem" in err


def test_new_takes_the_ending_too(run, tmp_path):
    assert run("new", "dune.toml")[0] == 0
    assert (tmp_path / "dune.toml").is_file()


def test_new_never_overwrites(run, tmp_path):
    (tmp_path / "mine.toml").write_text("mine")
    code, _, err = run("new", "mine")
    assert code == 2
    assert "mine.toml" in one_complaint(err)
    assert (tmp_path / "mine.toml").read_text() == "mine"


@pytest.mark.parametrize("name", ["a/b", "..", "", "con", "a\nb", "x" * 300, "-", "~", "a:b"])
def test_new_refuses_odd_names(run, tmp_path, name):
    code, _, err = run("new", "--", name)
    assert code == 2
    one_complaint(err)
    assert list(tmp_path.iterdir()) == []


def test_check_tells_steps_and_cautions(run):
    code, out, err = run("check")
    assert code == 0
    assert out.startswith("harbour-tee:\n  1. ")
    assert "mask" in out
    assert "No warnings." in err


def test_check_warns(run, tmp_path):
    (tmp_path / "p.toml").write_text('[garment]\nfabric = "polyester"\n', "utf-8")
    code, out, err = run("check", "p.toml")
    assert code == 0
    assert "Warning: polyester" in out
    assert "No warnings" not in err


# ---------------------------------------------------------------------------- the command itself


def test_version_and_help(run):
    assert run("--version") == (0, f"meltwick {__version__}\n", "")
    code, out, err = run("--help")
    assert (code, err) == (0, "")
    for word in ("preview", "new", "check"):
        assert word in out
    assert run() == (0, out, "")
    for command in ("preview", "new", "check"):
        code, out, _ = run(command, "--help")
        assert code == 0
        assert f"Example: meltwick {command}" in out


HEAVY = {"numpy", "scipy", "numba", "PIL", "shapely", "pydantic", "skimage", "pyamg", "rich"}


def test_help_loads_nothing_heavy():
    """So that it is quick; how quick, tests/benchmarks measures."""
    code = (
        "import sys; from meltwick.cli import main; main(['--help']);"
        f"print(sorted({HEAVY!r} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_progress_is_silent_in_a_pipe(capsys):
    from meltwick.cli.progress import Stages

    with Stages() as stages:
        stages("folding", 1, 2)
    assert capsys.readouterr() == ("", "")


def test_progress_on_a_terminal_names_its_stages(monkeypatch, capsys):
    from meltwick.cli.progress import Stages

    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("FORCE_COLOR", "1")
    with Stages() as stages:
        stages("folding", 1, 2)
        stages("washing out", 0, 3)
        stages("washing out", 3, 3)
    text = capsys.readouterr()
    assert text.out == ""
    assert "washing out" in text.err


def test_kernels_go_to_the_platforms_cache(monkeypatch, tmp_path, capsys):
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    monkeypatch.setattr("platformdirs.user_cache_dir", lambda *a, **k: str(tmp_path / "c"))
    machine.prepare_kernels()
    folder = Path(os.environ["NUMBA_CACHE_DIR"])
    assert folder.is_relative_to(tmp_path / "c")
    assert "compiling, once" in capsys.readouterr().err
    monkeypatch.delenv("NUMBA_CACHE_DIR")
    (folder / "kernels.march-1.nbi").write_bytes(b"")
    machine.prepare_kernels()
    assert capsys.readouterr().err == ""


def test_cache_that_cannot_be_written(monkeypatch, tmp_path, capsys):
    (tmp_path / "file").write_text("")
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    monkeypatch.setattr("platformdirs.user_cache_dir", lambda *a, **k: str(tmp_path / "file"))
    machine.prepare_kernels()
    assert Path(os.environ["NUMBA_CACHE_DIR"]).is_dir()
    assert "cannot be written" in capsys.readouterr().err
    monkeypatch.delenv("NUMBA_CACHE_DIR")


# ---------------------------------------------------------------------------- words


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.0, "almost no white"),
        (0.25, "about a quarter white"),
        (1 / 3, "about a third white"),
        (0.52, "about half white"),
        (2 / 3, "about two thirds white"),
        (0.9, "about nine tenths white"),
        (1.0, "no colour at all"),
    ],
)
def test_white_in_words(share, words):
    assert white_words(share) == words


def test_undyed_ground_in_words():
    assert white_words(0.5, "ecru") == "about half left ecru"


def test_percentages_add_up():
    thirds = {"white": 1 / 3, "pale": 1 / 3, "mid": 1 / 3, "deep": 0.0}
    assert sum(percentages(thirds)) == 100
    assert percentages(thirds)[3] == 0
    assert percentages({"white": 1.0}) == [100, 0, 0, 0]


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ('spacing = "25 mm"', "cm"),
        ('spacing = "1 in"\nthickness = "1/8 in"', "in"),
        ('pole = "1-1/2 in pipe"\nspacing = "25 mm"', "cm"),
        ("", "cm"),
        ('squeeze = "27½ in to 10 in"', "in"),
    ],
)
def test_unit_of_the_scale_bar(text, unit):
    assert length_unit(text) == unit
