"""The command at its edges: interrupted in compiled code, nowhere to speak, no room to write."""

import errno
import os
import subprocess
import sys
import types
from dataclasses import replace
from pathlib import Path

import pytest

import meltwick
from meltwick.cli import main, writing
from meltwick.cli.machine import prepare_kernels
from meltwick.cli.words import sentence


@pytest.fixture
def run(tmp_path, monkeypatch, capsys, make_result):
    """Run the command in an empty folder with a made-up simulation; give code, out, err."""
    monkeypatch.chdir(tmp_path)
    fake = types.ModuleType("meltwick.simulate")
    fake.simulate = lambda plan, *, pitch, seed, observer: make_result(name=plan.name)
    monkeypatch.setitem(sys.modules, "meltwick.simulate", fake)

    def go(*words):
        code = main([str(word) for word in words])
        text = capsys.readouterr()
        return code, text.out, text.err

    go.module = fake
    return go


def test_an_interrupt_inside_compiled_code_is_an_interrupt(run, tmp_path):
    """Python wraps what is raised inside a compiled function in a SystemError."""

    def simulate(*words, **more):
        try:
            raise KeyboardInterrupt
        except KeyboardInterrupt as inner:
            raise SystemError("returned a result with an exception set") from inner

    run.module.simulate = simulate
    code, _, err = run("preview")
    assert code == 130
    assert err == "meltwick: interrupted; nothing was written\n"
    assert list(tmp_path.iterdir()) == []


def test_an_interrupt_before_the_parser_is_there_is_one_line(monkeypatch, capsys):
    def guarded(words):
        raise KeyboardInterrupt

    monkeypatch.setattr("meltwick.cli.failing.guarded", guarded)
    assert main([]) == 130
    assert capsys.readouterr().err == "meltwick: interrupted; nothing was written\n"


def spoken(tmp_path, stdout, *words):
    return subprocess.run(
        [sys.executable, "-m", "meltwick", *words],
        cwd=tmp_path,
        stdout=stdout,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no full device here")
def test_a_full_place_for_its_words_is_no_room(tmp_path):
    with open("/dev/full", "w") as full:
        done = spoken(tmp_path, full, "check")
    assert done.returncode == 4
    assert done.stderr.startswith("meltwick: there is no room left")
    assert "Traceback" not in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="descriptors differ")
def test_a_closed_standard_output_is_no_fault(tmp_path):
    code = "import os, sys; os.close(1); os.execv(sys.executable, [sys.executable, *sys.argv[1:]])"
    done = subprocess.run(
        [sys.executable, "-c", code, "-m", "meltwick", "--version"],
        cwd=tmp_path,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    assert done.returncode == 0
    assert done.stderr == ""


def test_new_leaves_nothing_on_a_full_disk(run, tmp_path, monkeypatch):
    class Full:
        def __enter__(self):
            return self

        def __exit__(self, *what):
            return None

        def write(self, content):
            raise OSError(errno.ENOSPC, "No space left on device")

    real = Path.open

    def opened(path, mode="r", *words, **more):
        if mode != "xb":
            return real(path, mode, *words, **more)
        path.touch()
        return Full()

    monkeypatch.setattr(Path, "open", opened)
    code, _, err = run("new", "salt-marsh")
    assert code == 4
    assert err.startswith("meltwick: salt-marsh.toml: the disk is full")
    assert list(tmp_path.iterdir()) == []


def test_new_does_not_touch_what_is_there(tmp_path):
    path = tmp_path / "a.toml"
    path.write_bytes(b"mine")
    with pytest.raises(writing.FileError, match="left as it is"):
        writing.write_new(path, b"yours")
    assert path.read_bytes() == b"mine"


def test_new_quotes_a_name_with_a_space_and_takes_any_ending(run, tmp_path):
    assert '"my tee.toml"' in run("new", "my tee")[1]
    assert run("new", "cove.TOML")[0] == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == ["cove.toml", "my tee.toml"]


@pytest.mark.parametrize("command", ["check", "preview"])
def test_an_empty_plan_name_is_not_the_example(run, command):
    code, out, err = run(command, "")
    assert (code, out) == (2, "")
    assert "has no name" in err


@pytest.mark.parametrize("name", ["", " ", "a\0b"])
def test_out_must_name_a_folder(run, tmp_path, name):
    code, _, err = run("preview", "--out", name)
    assert code == 2
    assert "--out" in err
    assert len(err.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("preview", "a", "b"), "too many words: b; see meltwick preview --help"),
        (("new",), "NAME is missing; see meltwick new --help"),
        (("preview", "--out"), "--out needs a value after it; see meltwick"),
        (("check", "--json"), "No such option: --json; see meltwick check --help"),
        (("preview", "--josn"), "Did you mean --json or --open?"),
        (("preview", "--detail", "2"), "did you mean '2 mm'?"),
    ],
)
def test_a_wrong_command_says_where_to_look(run, words, said):
    code, _, err = run(*words)
    assert code == 2
    assert said in err
    assert len(err.splitlines()) == 1


@pytest.mark.parametrize("command", [("check",), ("preview", "--detail", "10 mm")])
def test_a_spiral_off_the_cloth_is_refused_by_its_key(run, tmp_path, command):
    spot = '[[round]]\nfold = [{ kind = "spiral", centre = "80 cm below the neck" }]\n'
    path = tmp_path / "far.toml"
    path.write_text(spot, encoding="utf-8")
    code, _, err = run(*command, str(path))
    assert code == 2
    assert "far: round.1.fold.1.centre: the spiral's centre is too far from the neck" in err


def test_zero_is_not_offered_as_a_detail(run):
    assert "did you mean" not in run("preview", "--detail", "0")[2]


def test_help_is_not_cut_short(run):
    commands = run("--help")[1].partition("Commands:")[2]
    assert "check" in commands
    assert "..." not in commands


def test_a_copy_newer_than_its_kernels_says_that_it_compiles(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("platformdirs.user_cache_dir", lambda *a, **k: str(tmp_path))
    for age, notice in ((-1e6, True), (1e6, False)):
        monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
        folder = next(iter(tmp_path.glob("kernels-*")), None)
        if folder is None:
            prepare_kernels()
            capsys.readouterr()
            folder = next(iter(tmp_path.glob("kernels-*")))
            monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
        kernel = folder / "kernels.march-1.nbi"
        kernel.write_bytes(b"")
        born = Path(meltwick.__file__).with_name("seep").joinpath("kernels.py").stat().st_mtime
        os.utime(kernel, (born + age, born + age))
        prepare_kernels()
        assert ("First run" in capsys.readouterr().err) is notice
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)


@pytest.mark.parametrize(("pale", "told"), [(0.13, True), (0.02, False)])
def test_the_sentence_tells_pale_cloth_from_white(make_result, pale, told):
    result = make_result()
    whole = {"white": 0.06, "pale": pale, "mid": 0.15, "deep": 0.79 - pale}
    shown = sentence(replace(result, shares=replace(result.shares, whole=whole)))
    assert shown.startswith("Expect a trace of white, 94 : 6 dyed to white")
    assert ("another 13 % is only tinted, pale." in shown) is told
