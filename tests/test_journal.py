"""The journal: nothing that was reported is lost, nothing foreign is touched, damage is noticed."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import re
import sqlite3
import subprocess
import sys
import threading
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.journalling import (
    CANONICAL,
    CONTENTS,
    DRAWING,
    add,
    entry,
    kill_often,
    picture,
    without_rights,
    writer,
)

from meltwick import journal as room
from meltwick.errors import FileError, PlanError, ResourceError
from meltwick.journal import Cost, Journal, Note, Outcome, Photo, Picture, Piece, opening, schema
from meltwick.journal.carrying import as_csv, as_json, backup, from_json
from meltwick.journal.faults import DamagedError
from meltwick.journal.gathering import gather, lay_out, recipe_of
from meltwick.journal.photographs import date_taken, kept_photo
from meltwick.journal.records import checked, compact, identity, sha256

TODAY = date(2026, 11, 26)


@pytest.fixture
def book(tmp_path: Path) -> Journal:
    return Journal(tmp_path / "journal.db")


def one_line(error: pytest.ExceptionInfo[Exception]) -> str:
    said = str(error.value)
    assert said.isprintable()
    assert len(said) < 600
    return said


# -------------------------------------------------------------------- saving and reading


def test_a_piece_comes_back_as_it_was(book: Journal) -> None:
    assert room.pieces(book.path) == ()
    assert not book.path.exists(), "reading makes no file"
    photo = picture(1)
    made = entry(photo=photo)
    assert book.add(made, CONTENTS, [photo], ["warm night"]) == 1
    (piece,) = room.pieces(book.path)
    assert vars(piece).items() >= vars(made).items()
    assert piece.number == 1
    assert piece.predicted == 0.37
    assert piece.files == {"kite.svg": DRAWING}
    assert piece.stock == {}
    assert [note.text for note in piece.notes] == ["warm night"]
    copy = kept_photo(book.photos, sha256(photo.content))
    assert copy is not None
    assert copy.read_bytes() == photo.content
    assert copy.suffix == ".jpg"
    assert sorted(path.name for path in book.path.parent.iterdir()) == [
        "journal.db",
        "journal.db-photos",
    ]


def test_where_the_usual_journal_is(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("platformdirs.user_data_dir", lambda *a, **k: str(tmp_path / "data"))
    assert Journal().path == (tmp_path / "data" / "journal.db").resolve()
    assert add(Journal()) == 1


def test_the_marks_are_sha_256_of_the_written_record() -> None:
    """FIPS 180-4 by the standard library, over JSON written here by hand."""
    import hashlib

    whole = {"b": [1.5, None], "a": "ä"}
    assert compact(whole) == '{"a":"ä","b":[1.5,null]}'
    assert identity(whole) == hashlib.sha256('{"a":"ä","b":[1.5,null]}'.encode()).hexdigest()


def test_a_number_is_never_given_twice(book: Journal) -> None:
    assert [add(book), add(book), add(book)] == [1, 2, 3]
    book.forget(3)
    assert add(book) == 4
    assert [piece.number for piece in book.pieces()] == [1, 2, 4]


def test_a_photograph_belongs_to_one_piece(book: Journal) -> None:
    photo = picture(1)
    add(book, photo=photo)
    with pytest.raises(FileError, match="photograph of piece 1 already") as error:
        add(book, photo=photo)
    one_line(error)
    with pytest.raises(FileError, match="photograph of piece 1 already"):
        book.check_adding(entry(photo=photo).photos)
    book.check_adding(entry(photo=picture(2)).photos)
    assert len(book.pieces()) == 1


def test_forgetting_takes_the_photographs_along(book: Journal) -> None:
    for n in (1, 2):
        add(book, photo=picture(n))
    stranger = book.photos / "holiday.jpg"
    stranger.write_bytes(b"mine")
    assert book.forget(1) == 1
    kept = {path.name for path in book.photos.iterdir()}
    assert kept == {"holiday.jpg", f"{sha256(picture(2).content)}.jpg"}
    with pytest.raises(FileError, match="there is no piece 1 in"):
        book.piece(1)
    secret = picture(2).file.encode()
    book.forget(2)
    assert secret not in book.path.read_bytes(), "what is forgotten is overwritten"


@pytest.mark.parametrize("number", [0, 2, -1, 2**63, 10**30])
def test_numbers_that_nobody_has(book: Journal, number: int) -> None:
    add(book)
    for ask in (book.piece, book.forget, lambda n: book.note(n, "x")):
        with pytest.raises(FileError, match="there is no piece") as error:
            ask(number)
        assert "only piece 1" in one_line(error)


def test_what_could_not_be_read_again_is_not_saved(book: Journal) -> None:
    bad = replace(entry(), outcome=Outcome(1.5, 0.1, "photo"))
    with pytest.raises(FileError, match=r"outcome\.white_share: input should be less") as error:
        book.add(bad, CONTENTS)
    one_line(error)
    with pytest.raises(FileError, match="1 to 4000 characters"):
        book.note(1, "x" * 4001)
    with pytest.raises(FileError, match="half a character"):
        add(book, "\ud800")
    assert not book.path.exists()


def test_a_piece_that_fails_leaves_no_copy_of_its_photograph(book: Journal) -> None:
    with pytest.raises(FileError):
        book.add(entry(photo=picture(1)), CONTENTS, [picture(1)], ["x" * 5000])
    assert not list(book.photos.glob("*"))
    assert book.pieces() == ()


# ------------------------------------------------------------------- crashes and company


@pytest.mark.slow
def test_nothing_reported_is_lost_when_the_writer_is_killed(tmp_path: Path) -> None:
    """Ten times here; fifty in tests/benchmarks/kill_journal.py."""
    report = kill_often(tmp_path / "journal.db", 10)
    assert sum(report.said) > 10


def test_what_a_killed_command_had_begun_goes_after_a_day(book: Journal) -> None:
    old, new, other = (
        book.path.with_name(name)
        for name in (".journal.db-12.new", ".journal.db-13.new", ".journal.db-notes.new")
    )
    for path in (old, new, other):
        path.write_bytes(b"begun")
    for path in (old, other):
        os.utime(path, (1.0, 1.0))
    add(book)
    assert [path.exists() for path in (old, new, other)] == [False, True, True]


@pytest.mark.slow
def test_two_writers_at_once(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    writers = [writer(path, 0, 8), writer(path, 100, 108)]
    said = []
    for process in writers:
        out, err = process.communicate(timeout=120)
        assert process.returncode == 0, err
        said += [int(line.split()[1]) for line in out.splitlines() if line.startswith("saved")]
    assert sorted(said) == list(range(1, 17))
    pieces = Journal(path).pieces()
    names = {f"piece {n}" for n in (*range(8), *range(100, 108))}
    assert {piece.name for piece in pieces} == names
    assert all(len(piece.notes) == 2 for piece in pieces)


def test_a_journal_in_use_is_waited_for_and_then_given_up(book: Journal) -> None:
    add(book)
    other = sqlite3.connect(book.path, isolation_level=None, check_same_thread=False)
    other.execute("BEGIN IMMEDIATE")
    hasty = Journal(book.path, wait=0.1)
    with pytest.raises(ResourceError, match="in use by another command") as error:
        add(hasty)
    assert error.value.exit_code == 4
    one_line(error)
    assert len(hasty.pieces()) == 1, "reading goes on"
    release = threading.Timer(0.5, lambda: other.execute("COMMIT"))
    release.start()
    assert add(Journal(book.path, wait=30.0)) == 2
    release.join()
    other.close()


def test_reading_keeps_its_moment_and_its_locks(book: Journal) -> None:
    """To read a file's bytes while it is open would let go of the locks held on it (POSIX)."""
    add(book)
    with opening.opened(book.path) as connection, opening.writing(connection):
        assert opening.recognise(book.path)
        with pytest.raises(ResourceError, match="in use"):
            add(Journal(book.path, wait=0.05))
        code = "import sqlite3, sys; sqlite3.connect(sys.argv[1], timeout=0.05).execute("
        code += "'BEGIN IMMEDIATE')"
        done = subprocess.run(
            [sys.executable, "-c", code, book.path], capture_output=True, check=False
        )
        assert b"database is locked" in done.stderr


# ------------------------------------------------------------------------ disk and rights

_CHILD = """
import sys
from pathlib import Path
from tests.journalling import add, picture
from meltwick.errors import MeltwickError
from meltwick.journal import Journal

journal = Journal(Path(sys.argv[1]))
try:
    print(len(journal.pieces()) if sys.argv[2] == "read" else journal.check_adding()
        if sys.argv[2] == "check" else add(journal, "late", picture(7)))
except MeltwickError as error:
    print(error, file=sys.stderr)
    sys.exit(error.exit_code)
"""


def child(path: Path, what: str, first: object = None) -> subprocess.CompletedProcess[str]:
    places = [str(Path(__file__).parents[1]), os.environ.get("PYTHONPATH", "")]
    return subprocess.run(
        [sys.executable, "-c", _CHILD, str(path), what],
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=first,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, places))},
    )


@pytest.mark.parametrize("closed", ["folder", "file"])
def test_a_folder_or_file_that_may_not_be_written(book: Journal, closed: str) -> None:
    first = without_rights()
    if first is None:
        pytest.skip("this system has no such rights, or none that root could lay down")
    add(book)
    before = book.path.read_bytes()
    book.path.chmod(0o444)
    if closed == "folder":
        book.path.chmod(0o644)
        book.path.parent.chmod(0o555)
    try:
        for what in ("add", "check"):
            done = child(book.path, what, first)
            assert done.returncode == 2, done.stderr
            assert len(done.stderr.splitlines()) == 1
            assert re.search(r"may not be written to|cannot be written \(permission", done.stderr)
        assert child(book.path, "read", first).stdout == "1\n"
        assert book.path.read_bytes() == before
        assert [path.name for path in book.path.parent.iterdir()] == ["journal.db"], "and no more"
        if closed == "folder":
            done = child(book.path.with_name("new.db"), "add", first)
            assert done.returncode == 2
            assert "may not be written to" in done.stderr
    finally:
        book.path.parent.chmod(0o755)


def test_a_journal_that_may_not_be_read(book: Journal) -> None:
    first = without_rights()
    if first is None:
        pytest.skip("this system has no such rights, or none that root could lay down")
    add(book)
    book.path.chmod(0o000)
    done = child(book.path, "read", first)
    assert done.returncode == 2
    assert "may not be read" in done.stderr


def test_a_full_disk_inside_the_file(book: Journal, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite's own limit of pages stands for the disk: it fails as a full one (SQLITE_FULL)."""
    add(book)
    usual = opening._connect

    def narrow(path: Path, mode: str, wait: float) -> sqlite3.Connection:
        connection = usual(path, mode, wait)
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count = {pages}")
        return connection

    with monkeypatch.context() as patch:
        patch.setattr(opening, "_connect", narrow)
        with pytest.raises(ResourceError, match="the disk is full; nothing was saved") as error:
            assert [add(book, f"piece {n}", picture(n)) for n in range(60)] == []
        one_line(error)
        there = book.pieces()
    assert book.pieces() == there, "what was saved before is there"
    shown = {photo.sha256 for piece in there for photo in piece.photos}
    assert {path.stem for path in book.photos.iterdir()} == shown, "no copy without its piece"
    assert add(book, "after", picture(999)) == len(there) + 1


@pytest.mark.parametrize("room_left", [2_000, 40_000, 70_000])
def test_a_full_disk_at_any_file(book: Journal, room_left: int) -> None:
    """The system refuses files above a size (RLIMIT_FSIZE): the photograph's, then SQLite's own."""
    add(book)
    before = book.path.read_bytes()

    def narrow() -> None:
        import resource
        import signal

        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (room_left, room_left))

    done = child(book.path, "add", narrow)
    if done.returncode == 0:
        assert room_left > len(before)
        assert len(book.pieces()) == 2
        return
    assert done.returncode == 4, done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert "nothing was saved" in done.stderr
    assert len(book.pieces()) == 1
    assert not list(book.photos.glob("*"))


# ------------------------------------------------------------------- other and broken files


def other_database(path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("CREATE TABLE stitch (n)")
    connection.commit()
    connection.close()


@pytest.mark.parametrize(
    ("write", "said"),
    [
        (lambda path: path.write_bytes(b"GIF89a" * 100), "a file of another kind"),
        (lambda path: path.write_text("name = 'kite'\n"), "a file of another kind"),
        (lambda path: path.write_bytes(b"SQLite format 3\0" + bytes(20)), "it is cut short"),
        (lambda path: path.write_bytes(b""), "it is empty"),
        (other_database, "a SQLite file of another program"),
        (lambda path: path.mkdir(), "is a folder"),
    ],
)
def test_other_files_are_left_as_they_are(book: Journal, write: object, said: str) -> None:
    write(book.path)
    before = None if book.path.is_dir() else book.path.read_bytes()
    for ask in (book.pieces, book.exists, lambda: add(book), lambda: book.note(1, "x")):
        with pytest.raises(FileError, match=said) as error:
            ask()
        assert str(book.path) in one_line(error)
    assert before is None or book.path.read_bytes() == before
    assert [path.name for path in book.path.parent.iterdir()] == ["journal.db"]


def test_a_pipe_is_no_journal(book: Journal) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("no pipes with names here")
    os.mkfifo(book.path)
    with pytest.raises(FileError, match="not an ordinary file"):
        book.pieces()


def test_damage_names_the_last_backup_which_cures_it(book: Journal, tmp_path: Path) -> None:
    add(book, photo=picture(1))
    copy = tmp_path / "stick" / "journal.db"
    saved = backup(book, copy, TODAY)
    assert (saved.pieces, saved.photos, saved.lacking) == (1, 1, 0)
    whole = book.path.read_bytes()
    for broken in (whole[:-1], whole[: len(whole) // 2], b"", b"x" * 5000, whole[:30]):
        book.path.write_bytes(broken)
        for ask in (book.pieces, lambda: add(book), lambda: backup(book, copy, TODAY)):
            with pytest.raises(DamagedError) as error:
                ask()
            assert f"{copy}, of 2026-11-26: copy that over it" in one_line(error)
        assert book.path.read_bytes() == broken
    begun = book.path.with_name("journal.db-journal")
    begun.write_bytes(b"")
    with pytest.raises(DamagedError, match=r"and delete .*journal\.db-journal first"):
        book.pieces()
    begun.unlink()
    book.path.write_bytes(copy.read_bytes())
    assert book.pieces() == Journal(copy).pieces()
    assert len(book.pieces()) == 1


class Small:
    """A journal of two pieces, its bytes, and what it holds; in a class, so that it shows short."""

    def __init__(self, path: Path) -> None:
        book = Journal(path)
        add(book, "first", picture(1, 10))
        add(book, "second")
        book.note(2, "a note")
        self.path, self.whole, self.pieces = path, path.read_bytes(), book.pieces()
        self.used = [n for n, byte in enumerate(self.whole) if byte]  # empty pages say nothing


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Small:
    return Small(tmp_path_factory.mktemp("small") / "journal.db")


@given(where=st.integers(0, 2**40), bit=st.integers(0, 7))
@settings(max_examples=250, deadline=None)
def test_any_flipped_bit_is_noticed_or_changes_nothing(small: Small, where: int, bit: int) -> None:
    """SHA-256 over what SQLite's own check passes: a letter of a note, a share, a number."""
    path, whole = small.path, small.whole
    place = small.used[where % len(small.used)]
    broken = whole[:place] + bytes([whole[place] ^ (1 << bit)]) + whole[place + 1 :]
    path.write_bytes(broken)
    fault = None
    try:
        found = Journal(path).pieces()
    except FileError as error:
        found, fault = None, error
    after = path.read_bytes()
    for extra in path.parent.glob("journal.db-?*"):
        if extra.is_file():
            extra.unlink()
    if fault is None:
        assert found == small.pieces
        return
    assert str(fault).isprintable()
    assert after == broken
    in_the_head = place < 100  # whose file it is, and of which version
    assert isinstance(fault, DamagedError) or in_the_head, fault


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE content SET bytes = 'a text'",
        "UPDATE content SET bytes = -1",
        "UPDATE content SET bytes = 9223372036854775807",
        "UPDATE sqlite_sequence SET seq = 'a text'",
        "UPDATE sqlite_sequence SET seq = NULL",
        "UPDATE sqlite_sequence SET seq = 9223372036854775807",
    ],
)
def test_cells_of_another_kind_are_damage(book: Journal, change: str) -> None:
    """What a fuzzer found: SQLite keeps any kind of value in any column."""
    add(book)
    with contextlib.closing(sqlite3.connect(book.path)) as connection, connection:
        connection.execute(change)
    for act in (book.pieces, lambda: add(book, "jib")):
        if act is book.pieces or "seq" in change:
            with pytest.raises(DamagedError) as error:
                act()
            one_line(error)


def test_one_damaged_piece_can_be_taken_out(book: Journal) -> None:
    add(book, "first")
    add(book, "second")
    whole = book.path.read_bytes()
    assert whole.count(b"second") == 1
    book.path.write_bytes(whole.replace(b"second", b"sXcond"))
    with pytest.raises(DamagedError, match="piece 2 in it is damaged") as error:
        book.pieces()
    assert "meltwick journal forget 2 --yes" in one_line(error)
    assert book.piece(1).name == "first"
    book.forget(2)
    assert [piece.name for piece in book.pieces()] == ["first"]


# ------------------------------------------------------------------------------ versions

LATER = ("ALTER TABLE piece ADD COLUMN place TEXT NOT NULL DEFAULT ''",)


def test_an_older_journal_is_brought_up_to_date(
    book: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    add(book, "old", picture(1))
    older = book.pieces()
    before = book.path.read_bytes()
    monkeypatch.setattr(schema, "STEPS", (*schema.STEPS, LATER))
    assert book.pieces() == older
    with opening.opened(book.path) as connection:
        assert connection.execute("PRAGMA user_version").fetchone()[0] == 2
        assert connection.execute("SELECT place FROM piece").fetchall() == [("",)]
    copy = book.path.with_name("journal.db-of-version-1")
    assert add(book) == 2
    monkeypatch.undo()
    assert Journal(copy).pieces() == older, "the copy is what it was"
    assert book.path.read_bytes() != before
    with pytest.raises(FileError, match="written by a newer meltwick") as error:
        book.pieces()
    assert "bring meltwick up to date" in one_line(error)


def test_a_new_journal_is_like_one_brought_up(
    book: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    add(book)
    monkeypatch.setattr(schema, "STEPS", (*schema.STEPS, LATER))
    fresh = Journal(tmp_path / "fresh.db")
    for each in (book, fresh):
        add(each)
    shapes = []
    for each in (book, fresh):
        with opening.opened(each.path) as connection:
            shapes.append(schema.shape(connection))
    assert shapes[0] == shapes[1]


@pytest.mark.parametrize("last", ["ALTER TABLE nobody ADD COLUMN x", "SELECT RAISE(ABORT, 'no')"])
def test_a_step_that_fails_changes_nothing(
    book: Journal, monkeypatch: pytest.MonkeyPatch, last: str
) -> None:
    add(book)
    older = book.pieces()
    monkeypatch.setattr(schema, "STEPS", (*schema.STEPS, (*LATER, last)))
    with pytest.raises((FileError, ResourceError, DamagedError)):
        book.pieces()
    monkeypatch.undo()
    assert book.pieces() == older


def test_two_commands_bring_it_up_once(book: Journal, monkeypatch: pytest.MonkeyPatch) -> None:
    add(book)
    monkeypatch.setattr(schema, "STEPS", (*schema.STEPS, LATER))
    failed = []

    def read() -> None:
        try:
            assert len(Journal(book.path).pieces()) == 1
        except Exception as error:
            failed.append(error)

    threads = [threading.Thread(target=read) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not failed


# ------------------------------------------------------------------------ out and back in

texts = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=40)
lines = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), max_size=20)
shares = st.floats(0.0, 1.0)
parts = st.dictionaries(lines, shares, max_size=3)
places = st.dictionaries(lines, parts, max_size=3)
hashes = st.binary(min_size=1, max_size=6).map(sha256)
names = st.from_regex(r"(\.\./)?[a-z]{1,5}\.(svg|toml)", fullmatch=True)
money = st.from_regex(r"[0-9]{1,6}(\.[0-9]{1,2})?", fullmatch=True)
colours = st.lists(st.fixed_dictionaries({"hex": st.just("#1a2b3c"), "share": shares}), max_size=2)


@st.composite
def pieces_made(draw: st.DrawFn) -> tuple[Piece, list[str]]:
    base = entry()
    content = draw(st.dictionaries(names, st.binary(max_size=30), max_size=3))
    canonical = draw(texts)
    prediction = None
    if draw(st.booleans()):
        prediction = replace(
            base.prediction,
            white=draw(shares),
            by_hand=tuple(draw(st.lists(shares, min_size=1, max_size=4))),
            shares=draw(parts),
            zones=draw(places),
            seed=draw(st.integers(0, 2**63 - 1)),
            pitch=draw(st.floats(5e-4, 1e-2)),
            profile=draw(st.none() | lines),
        )
    outcome = Outcome(
        white_share=draw(shares),
        white_margin=draw(shares),
        how=draw(st.sampled_from(["photo", "by eye"])),
        shares=draw(parts),
        panels=draw(places),
        zones=draw(places),
        palette=tuple(draw(colours)),
    )
    days = st.dates(date(1990, 1, 1), date(2200, 1, 1))
    return Piece(
        **vars(
            replace(
                base,
                name=draw(lines.filter(bool)),
                made_on=draw(days),
                plan_text=draw(texts),
                canonical=canonical,
                digest=sha256(canonical.encode()),
                seed=draw(st.integers(0, 2**63 - 1)),
                outcome=outcome,
                prediction=prediction,
                costs=tuple(
                    draw(st.lists(st.builds(Cost, money, lines.map(lambda t: t[:8]), lines)))
                ),
                photos=tuple(
                    draw(
                        st.lists(
                            st.builds(Photo, hashes, lines, st.just("back"), st.none() | days),
                            max_size=3,
                        )
                    )
                ),
                kept={name: sha256(each) for name, each in content.items()},
            )
        ),
        contents={sha256(each): each for each in content.values()},
    ), draw(st.lists(texts.filter(str.strip), max_size=2))


@given(made=st.lists(pieces_made(), min_size=1, max_size=3))
@settings(max_examples=20, deadline=None)
def test_export_and_import_give_the_same_pieces(
    tmp_path_factory: pytest.TempPathFactory, made: list[tuple[Piece, list[str]]]
) -> None:
    folder = tmp_path_factory.mktemp("there")
    here, there = Journal(folder / "here.db"), Journal(folder / "there.db")
    seen: set[str] = set()
    for piece, notes in made:
        fresh = tuple(p for p in dict.fromkeys(piece.photos) if p.sha256 not in seen)
        fresh = tuple({photo.sha256: photo for photo in fresh}.values())
        seen |= {photo.sha256 for photo in fresh}
        moment = room.book.now()
        here.add(replace(piece, photos=fresh, recorded=moment), piece.contents, (), notes)
    text = as_json(here.pieces())
    read = from_json(text, "pieces.json")
    assert read == here.pieces()
    done = there.merge(read, lambda digest: None)
    assert there.pieces() == here.pieces()
    assert len(done.added) == len(made)
    again = there.merge(read, lambda digest: None)
    assert (again.added, again.known, again.notes) == ([], len(made), 0)
    assert there.pieces() == here.pieces()
    assert len(list(csv.reader(io.StringIO(as_csv(here.pieces()))))) == len(made) + 1


def test_an_import_merges_and_tells_what_was_new(book: Journal, tmp_path: Path) -> None:
    add(book, "shared", picture(1))
    text = as_json(book.pieces())
    other = Journal(tmp_path / "other.db")
    add(other, "their own")
    pictures = {sha256(picture(1).content): picture(1)}
    done = other.merge(from_json(text, "a.json"), pictures.get)
    assert done.added == [(1, 2)], "number 1 is taken there"
    assert (done.photos, done.bare) == (1, 0)
    book.note(1, "after the first wash")
    other.note(2, "on the other computer")
    done = other.merge(from_json(as_json(book.pieces()), "b.json"), pictures.get)
    assert (done.added, done.known, done.notes, done.photos) == ([], 1, 1, 0)
    back = book.merge(from_json(as_json(other.pieces()), "c.json"), lambda digest: None)
    assert (back.added, back.known, back.notes) == ([(1, 2)], 1, 1)
    assert len(book.piece(1).notes) == 3
    assert book.piece(1).notes == other.piece(2).notes


def _changed(key: str, value: object) -> object:
    def change(whole: dict) -> None:
        *way, last = key.split(".")
        for part in way:
            whole = whole[int(part)] if part.isdigit() else whole[part]
        whole[int(last) if last.isdigit() else last] = value

    return change


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (_changed("kind", "recipe"), "is not an exported journal"),
        (_changed("schema", 2), "newer than this version"),
        (_changed("schema", None), "schema, pieces or contents is missing"),
        (_changed("pieces", 3), "schema, pieces or contents is missing"),
        (_changed("pieces.0", "x"), "piece 1: it is no piece"),
        (_changed("pieces.0.number", -1), "number is no whole number"),
        (_changed("pieces.0.number", True), "number is no whole number"),
        (_changed("pieces.0.name", ""), "piece 1: name: string should have at least 1"),
        (_changed("pieces.0.name", "a\nb"), "name: it must be one line"),
        (_changed("pieces.0.made_on", "yesterday"), "made_on: input should be a valid date"),
        (_changed("pieces.0.seed", 2**63), "seed: input should be less than"),
        (_changed("pieces.0.outcome.white_share", "0.4"), "outcome.white_share: input should be"),
        (_changed("pieces.0.outcome.white_share", 1.01), "less than or equal to 1"),
        (_changed("pieces.0.outcome.shares", {"white": -0.1}), "outcome.shares.white"),
        (_changed("pieces.0.outcome.whiteness", 1), "outcome.whiteness: it is no key"),
        (_changed("pieces.0.plan_file", "../../../etc/passwd/.."), "it is no file's name"),
        (_changed("pieces.0.kept", {"a/../../b.svg": "0" * 64}), "it is no file's name"),
        (_changed("pieces.0.kept", {"/etc/passwd": "0" * 64}), "it is no file's name"),
        (_changed("pieces.0.kept", {"kite.svg": "0" * 64}), "contents lacks 000000000000"),
        (_changed("pieces.0.digest", "0" * 64), "digest is not that of canonical"),
        (_changed("pieces.0.photos", [{"sha256": "1"}]), "photos.0.sha256"),
        (_changed("pieces.0.notes", [{"at": "now", "text": "x"}]), "note 1: at"),
        (_changed("pieces.0.costs", [{"amount": "-3"}]), "costs.0.amount"),
        (_changed(f"contents.{sha256(DRAWING)}", "other"), "was changed or is damaged"),
        (_changed(f"contents.{sha256(DRAWING)}", {"base64": "?"}), "was changed or is damaged"),
        (_changed("contents.x", [1]), "was changed or is damaged"),
    ],
)
def test_a_bad_export_is_refused_in_one_line(book: Journal, change: object, said: str) -> None:
    add(book)
    whole = json.loads(as_json(book.pieces()))
    change(whole)
    with pytest.raises(FileError) as error:
        from_json(json.dumps(whole), "pieces.json")
    assert said in one_line(error)
    assert one_line(error).startswith("pieces.json")


@pytest.mark.parametrize("text", ["", "{", "[" * 100_000, "\ud800", '"x"', "[1]", "nul"])
def test_what_is_no_export_at_all(text: str) -> None:
    with pytest.raises(FileError, match=r"is not JSON|is not an exported journal"):
        from_json(text, "pieces.json")


def test_half_a_character_and_no_numbers_are_refused(book: Journal) -> None:
    add(book)
    text = as_json(book.pieces())
    for old, new in (('"name": "kite"', '"name": "\\ud800"'), ('"seed": 9', '"seed": NaN, "x": 9')):
        assert old in text
        with pytest.raises(FileError) as error:
            from_json(text.replace(old, new, 1), "pieces.json")
        one_line(error)


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "  =1", "＝1"])
def test_a_table_holds_no_formula(book: Journal, text: str) -> None:
    """A cell that a spreadsheet would reckon (CSV injection as OWASP tells it, from memory)."""
    made = replace(entry(), name=text.strip("\t"), plan_name=text.strip("\t"))
    photo = Photo("0" * 64, text.strip("\t"))
    costs = (Cost("1", text.strip("\t ")[:8], "x"),)
    number = book.add(replace(made, photos=(photo,), costs=costs), CONTENTS)
    book.note(number, text)
    table = list(csv.reader(io.StringIO(as_csv(book.pieces()), newline="")))
    assert len(table) == 2
    head, row = table
    cells = dict(zip(head, row, strict=True))
    for key in ("name", "plan", "photographs", "notes"):
        assert cells[key].startswith("'"), key
    assert cells["measured minus predicted"] == "3.0"
    assert not any(cell.lstrip().startswith(("=", "+", "@", "＝")) for cell in row)


# ------------------------------------------------------------------------------- backups


def test_a_backup_replaces_only_what_it_has_itself(book: Journal, tmp_path: Path) -> None:
    add(book, photo=picture(1))
    copy = tmp_path / "copy.db"
    backup(book, copy, TODAY)
    book.note(1, "later")
    backup(book, copy, TODAY)
    assert Journal(copy).pieces() == book.pieces()
    assert kept_photo(Journal(copy).photos, sha256(picture(1).content)) is not None
    add(Journal(copy), "only there")
    with pytest.raises(FileError, match="pieces that this one lacks, such as its piece 2"):
        backup(book, copy, TODAY)
    diary = tmp_path / "diary.txt"
    diary.write_text("dear diary")
    with pytest.raises(FileError, match="is another file"):
        backup(book, diary, TODAY)
    assert diary.read_text() == "dear diary"
    with pytest.raises(FileError, match="is the journal itself"):
        backup(book, book.path, TODAY)
    with pytest.raises(FileError, match="there is no journal yet"):
        backup(Journal(tmp_path / "none.db"), tmp_path / "x.db", TODAY)
    left = {path.name for path in tmp_path.iterdir()}
    assert not any(name.endswith(".new") for name in left), left
    assert not (tmp_path / "x.db").exists()


@pytest.mark.slow
def test_a_backup_while_another_command_writes(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    add(Journal(path))
    process = writer(path, 0, 8)
    counts = []
    while process.poll() is None:
        counts.append(backup(Journal(path, wait=60.0), tmp_path / "copy.db", TODAY).pieces)
        assert len(Journal(tmp_path / "copy.db").pieces()) == counts[-1]
    process.communicate()
    assert process.returncode == 0
    assert counts == sorted(counts)
    assert backup(Journal(path), tmp_path / "copy.db", TODAY) == room.carrying.Saved(9, 8, 0)


# --------------------------------------------------------------------- plans as they were

KITE = """<svg xmlns="http://www.w3.org/2000/svg" width="60cm" height="60cm" viewBox="0 0 60 60">
<path d="M30 0 L60 30 L30 60 L0 30 Z"/></svg>"""


@pytest.fixture
def plans(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A plan that names a drawing above it, and one beside it that names a drawing too."""
    monkeypatch.setattr("meltwick.stock.loader.own_folder", lambda: tmp_path / "own-stock")
    folder = tmp_path / "summer" / "plans"
    (folder / "more").mkdir(parents=True)
    (tmp_path / "summer" / "kite.svg").write_text(KITE)
    (folder / "more" / "kite.svg").write_text(KITE.replace("M30 0", "M30 1"))
    (folder / "big.toml").write_text(
        '[garment]\noutline = "../kite.svg"\n'
        '[[round]]\n[[round.beside]]\nplan = "more/small.toml"\n'
    )
    (folder / "more" / "small.toml").write_text('[garment]\noutline = "kite.svg"\n')
    return folder / "big.toml"


def piece_of(book: Journal, path: Path) -> Piece:
    found = gather(str(path))
    made = replace(
        entry(),
        plan_text=found.text,
        plan_file=found.file,
        canonical=found.canonical,
        digest=found.digest,
        kept=found.kept,
        kept_stock=found.kept_stock,
    )
    return book.piece(book.add(made, found.contents))


def test_a_plan_can_be_run_again_when_its_files_are_gone(
    book: Journal, plans: Path, tmp_path: Path
) -> None:
    import shutil

    from meltwick.constants import Constants
    from meltwick.plan import digest, read_plan, resolve
    from meltwick.stock import load_stock

    before = digest(resolve(read_plan(plans), load_stock()), Constants())
    piece = piece_of(book, plans)
    assert set(piece.files) == {"../kite.svg", "more/small.toml", "more/kite.svg"}
    assert piece.digest == before
    shutil.rmtree(tmp_path / "summer")
    assert digest(recipe_of(piece), Constants()) == before
    place = lay_out(piece, tmp_path / "again")
    assert digest(resolve(read_plan(place), load_stock()), Constants()) == before
    with pytest.raises(FileExistsError):
        lay_out(piece, tmp_path / "again")


def test_own_stock_is_kept_where_the_plan_needs_it(
    book: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from meltwick.constants import Constants
    from meltwick.plan import digest

    own = tmp_path / "own-stock"
    own.mkdir()
    monkeypatch.setattr("meltwick.stock.loader.own_folder", lambda: own)
    (own / "mine.toml").write_text('[pole]\nbroomstick = "24 mm"\n')
    plain, special = tmp_path / "plain.toml", tmp_path / "special.toml"
    plain.write_text('[garment]\nblank = "bandana"\n')
    special.write_text('[[round]]\nfold = [{ kind = "pole", pole = "broomstick" }]\n')
    assert piece_of(book, plain).stock == {}
    piece = piece_of(book, special)
    assert piece.stock == {"mine.toml": (own / "mine.toml").read_bytes()}
    (own / "mine.toml").write_text('[pole]\nbroomstick = "50 mm"\n')
    assert digest(recipe_of(piece), Constants()) == piece.digest


def test_a_file_from_the_root_of_the_disk_is_refused(plans: Path) -> None:
    drawing = plans.parent.parent / "kite.svg"
    plans.write_text(f"[garment]\noutline = {json.dumps(str(drawing))}\n")
    with pytest.raises(PlanError, match="put it beside the plan") as error:
        gather(str(plans))
    one_line(error)


def test_the_camera_s_date(tmp_path: Path) -> None:
    """EXIF 2.3: DateTimeOriginal is tag 9003h of the Exif part, "YYYY:MM:DD HH:MM:SS"."""
    from PIL import Image

    whole = Image.Exif()
    whole.get_ifd(0x8769)[0x9003] = "2026:11:03 10:11:12"
    Image.new("RGB", (8, 8)).save(tmp_path / "a.jpg", exif=whole)
    Image.new("RGB", (8, 8)).save(tmp_path / "b.jpg")
    assert date_taken((tmp_path / "a.jpg").read_bytes()) == date(2026, 11, 3)
    for content in ((tmp_path / "b.jpg").read_bytes(), b"", b"\xff\xd8\xff\xe1" + bytes(50)):
        assert date_taken(content) is None


def test_records_take_only_what_they_can_hold() -> None:
    good = {"at": "2026-11-03T10:00:00Z", "text": "x"}
    assert checked(Note, good, "here") == Note(**good)
    for bad in ({"at": "2026"}, good | {"text": ""}, good | {"more": 1}, [], None, 3):
        with pytest.raises(FileError, match=r"^here: "):
            checked(Note, bad, "here")
    assert Picture(b"", "x").file == "x"
    assert CANONICAL
