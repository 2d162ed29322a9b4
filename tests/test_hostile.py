"""Surroundings that bear ill will: no home, no memory, files that never end, nobody who listens."""

import errno
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from meltwick.cli import failing, main, writing
from meltwick.errors import FileError, ResourceError
from meltwick.homes import offered, wanted
from meltwick.journal.photographs import read_photo
from meltwick.study.kernels import settle_kernels
from meltwick.study.store import Store


def said(capsys, *words):
    """Run the command; give its code and what it says, which is one line on standard error."""
    code = main([str(word) for word in words])
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.splitlines()) == 1
    return code, err


@pytest.fixture
def homeless(monkeypatch, tmp_path):
    """Be a user without a home folder, as newer platformdirs tell and older ones do not."""

    def unknown(*words, **more):
        raise RuntimeError("could not determine the home directory")

    for kind, answer in (("data", unknown), ("cache", lambda *a, **k: "~/.cache/x")):
        monkeypatch.setattr(f"platformdirs.user_{kind}_dir", answer)
    monkeypatch.setattr("platformdirs.user_log_dir", unknown)
    monkeypatch.chdir(tmp_path)


def test_without_a_home_what_needs_one_says_so(homeless, tmp_path, capsys):
    (tmp_path / "a.toml").write_bytes(b"")
    for words in (("journal", "list"), ("record", "a.toml", "--by-eye", "40%")):
        code, err = said(capsys, *words)
        assert code == 2
        assert err.startswith("meltwick: no home folder is known here; set HOME")
        assert "--journal" in err
    with pytest.raises(FileError, match=r"set HOME to a folder of yours$"):
        wanted("data")
    assert offered("cache") is None
    assert [path.name for path in tmp_path.iterdir()] == ["a.toml"]  # and no folder called ~


def test_without_a_home_what_needs_none_works(homeless, monkeypatch, capsys):
    assert main(["check"]) == 0
    assert "jersey" in capsys.readouterr().out
    store = Store()
    assert store.tally() == (0, 0)
    assert store.get("0" * 64) is None
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    folder = settle_kernels()
    assert folder is not None
    assert (folder.usual, folder.kept) == (None, False)
    assert Path(os.environ["NUMBA_CACHE_DIR"]).is_dir()


def test_our_fault_is_told_without_a_home(homeless, monkeypatch, capsys):
    def fails(*words):
        raise ArithmeticError

    monkeypatch.setattr("meltwick.stock.load_stock", fails)
    code, err = said(capsys, "check")
    assert code == 1
    assert "run it again with --debug" in err


def test_a_folder_for_kernels_that_cannot_be_written_is_not_used(monkeypatch, tmp_path):
    (tmp_path / "file").write_bytes(b"")
    asked = tmp_path / "file" / "kernels"
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(asked))
    folder = settle_kernels()
    assert folder is not None
    assert (folder.usual, folder.kept) == (asked, False)
    assert Path(os.environ["NUMBA_CACHE_DIR"]) != asked
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "good"))
    assert settle_kernels() is None


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on addresses there")
def test_too_little_memory_for_the_libraries_is_told_before_they_load(monkeypatch, capsys):
    monkeypatch.setattr("resource.getrlimit", lambda what: (3 * 10**8, -1))
    code, err = said(capsys, "check")
    assert code == 4
    assert "gives this program 0.3 GB of memory, and it needs 0.7 GB" in err
    assert main(["--version"]) == 0


@pytest.mark.parametrize(
    ("error", "limit", "starved"),
    [
        (MemoryError(), float("inf"), True),
        (OSError(errno.ENOMEM, "Cannot allocate memory"), float("inf"), True),
        (ImportError("a.so: failed to map segment from shared object"), 1e9, True),
        (OSError("Could not find/load shared object file 'libllvmlite.so'"), 1e9, True),
        (ImportError("a.so: failed to map segment from shared object"), float("inf"), False),
        (ImportError("no module named x"), 1e9, False),
    ],
)
def test_a_library_that_memory_keeps_out_is_no_fault_of_ours(monkeypatch, error, limit, starved):
    monkeypatch.setattr(failing, "address_limit", lambda: limit)
    assert failing._starved(error) is starved


def test_a_file_that_may_not_grow_is_no_room():
    error = OSError(errno.EFBIG, "File too large")
    assert isinstance(writing.disk_error(error, Path("x")), ResourceError)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_files_that_never_end_are_refused(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    os.mkfifo("pipe")
    Path("plan.toml").write_bytes(b"")
    for name in ("pipe", "/dev/zero"):
        for words in (
            ("check", name),
            ("measure", name),
            ("record", "plan.toml", name),
            ("collection", name),
            ("journal", "import", name, "--journal", "j.db"),
        ):
            code, err = said(capsys, *words)
            assert code == 2, words
            assert f"{name} is not an ordinary file" in err
        assert read_photo(Path(name), "0" * 64) is None


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_a_link_to_itself_is_told(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    os.symlink("loop.toml", "loop.toml")
    code, err = said(capsys, "check", "loop.toml")
    assert code == 2
    assert err == "meltwick: loop.toml is a link that leads nowhere; name the plan itself\n"


@pytest.mark.skipif(sys.platform == "win32", reason="file names are text there")
def test_a_name_that_is_no_text(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    name = os.fsdecode(b"caf\xe9 'n\" %s\n.toml")
    code, err = said(capsys, "check", name)
    assert code == 2
    assert "does not exist" in err
    Path(name).write_bytes(b"")
    assert main(["check", name]) == 0


@pytest.mark.skipif(sys.platform == "win32", reason="pipes break otherwise there")
def test_nobody_reads_and_that_is_no_failure():
    read, write = os.pipe()
    os.close(read)
    words = [sys.executable, "-m", "meltwick", "--version"]
    done = subprocess.run(words, stdout=write, stderr=subprocess.PIPE, text=True, check=False)
    os.close(write)
    assert (done.returncode, done.stderr) == (0, "")


def test_an_export_with_windows_line_ends_comes_back(tmp_path, capsys):
    from tests.journalling import add

    from meltwick.journal import Journal
    from meltwick.journal.carrying import as_json

    book = Journal(tmp_path / "a.db")
    add(book)
    text = as_json(book.pieces()).replace("\n", "\r\n")
    assert json.loads(text)
    file = tmp_path / "a.json"
    file.write_bytes(b"\xef\xbb\xbf" + text.encode())
    other = Journal(tmp_path / "b.db")
    assert main(["journal", "import", str(file), "--journal", str(other.path)]) == 0
    assert other.pieces() == book.pieces()


def test_a_clock_that_is_set_back_or_far_ahead_loses_nothing(tmp_path, monkeypatch):
    from tests import journalling

    from meltwick.journal import Journal

    book = Journal(tmp_path / "a.db")
    journalling.add(book, "kite")
    for name, moment in (("sail", "1999-01-01T00:00:00Z"), ("jib", "9999-12-31T23:59:59Z")):
        monkeypatch.setattr(journalling, "now", lambda moment=moment: moment)
        journalling.add(book, name)
    assert [(piece.number, piece.name) for piece in book.pieces()] == [
        *((1, "kite"), (2, "sail"), (3, "jib")),
    ]
    store = Store(tmp_path / "runs", limit=15)
    (tmp_path / "runs" / "00").mkdir(parents=True)
    for digit, used in (("0", 0.0), ("1", 4e9)):
        path = store.path("00" + 62 * digit)
        path.write_bytes(b"x" * 10)
        os.utime(path, (used, used))
    assert store.trim() == 1  # the older of the two, whatever the clock says
    assert store.tally() == (1, 10)
