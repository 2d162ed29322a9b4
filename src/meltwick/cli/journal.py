"""`journal`: look up, note, carry and keep safe what was recorded."""

from __future__ import annotations

import re
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from meltwick.cli.options import Debug, JournalFile, shortened
from meltwick.errors import FileError, PlanError

if TYPE_CHECKING:
    from meltwick.journal import Journal, Picture, Piece

Number = Annotated[str, typer.Argument(metavar="N", help="The piece's number.")]


def journal_at(name: str | None) -> Journal:
    """Return the journal that is named, or the maker's usual one.

    Raises
    ------
    PlanError
        The name cannot be a file's.
    """
    from meltwick.journal import Journal

    return Journal(None if name is None else _file(name, "--journal"))


def _file(name: str, option: str) -> Path:
    if not name.strip() or "\0" in name:
        raise PlanError(f"{option}: {shortened(name)} cannot name a file")
    return Path(name)


def read_number(text: str) -> int:
    """Read a piece's number, 3 or #3.

    Raises
    ------
    PlanError
        It is none.
    """
    found = re.fullmatch(r"#?([0-9]{1,18})", text.strip(), re.ASCII)
    if found is None:
        raise PlanError(
            f"{shortened(text)} is no piece's number; write one such as 3, as meltwick journal "
            "list shows them"
        )
    return int(found[1])


def _start(context: typer.Context) -> None:
    """Look up what you recorded, write notes to it, and keep it safe.

    Without a word more it lists the pieces.
    """
    if context.invoked_subcommand is None:
        list_()


def list_(
    fold: Annotated[
        str | None, typer.Option(metavar="FOLD", help="Only those whose last fold it is.")
    ] = None,
    name: Annotated[
        str | None, typer.Option(metavar="TEXT", help="Only those whose name has it.")
    ] = None,
    since: Annotated[
        str | None, typer.Option(metavar="DATE", help="Only those made on that day or later.")
    ] = None,
    until: Annotated[
        str | None, typer.Option(metavar="DATE", help="Only those made on that day or before.")
    ] = None,
    journal: JournalFile = None,
    debug: Debug = False,
) -> None:
    """List the pieces: number, date, name, fold, predicted and measured white.

    Example: meltwick journal list --fold spiral --since 2026-09-01
    """
    from meltwick.cli.given import read_day
    from meltwick.cli.journal_words import holdings, listed

    first = None if since is None else read_day(since, "--since")
    last = None if until is None else read_day(until, "--until")
    if first is not None and last is not None and first > last:
        raise PlanError(f"--since: {first} is after --until {last}")
    book = journal_at(journal)
    if not book.exists():
        typer.echo(f"There is no journal in {book.path} yet; meltwick record begins one.")
        return
    pieces = book.pieces()
    chosen = [each for each in pieces if _wanted(each, fold, name, first, last)]
    for line in listed(chosen) if chosen else ():
        typer.echo(line)
    if not chosen and pieces:
        folds = ", ".join(dict.fromkeys(each.fold or "none" for each in pieces))
        typer.echo(f"None of the pieces is like that; they have the folds {folds}.")
    elif len(chosen) < len(pieces):
        typer.echo(f"{len(chosen)} of {len(pieces)} pieces are shown.")
    typer.echo(holdings(book, pieces))


def _wanted(
    piece: Piece, fold: str | None, name: str | None, first: date | None, last: date | None
) -> bool:
    if fold is not None and fold.strip().casefold() != (piece.fold or "none").casefold():
        return False
    if name is not None and name.strip().casefold() not in piece.name.casefold():
        return False
    if first is not None and piece.made_on < first:
        return False
    return last is None or piece.made_on <= last


def show(
    number: Number,
    plan: Annotated[bool, typer.Option("--plan", help="Print its plan, as you wrote it.")] = False,
    out: Annotated[
        str | None,
        typer.Option(metavar="DIR", help="Write its plan, with all that it names, and its photos."),
    ] = None,
    journal: JournalFile = None,
    debug: Debug = False,
) -> None:
    """Say everything of one piece, or give its plan and its photographs back.

    Example: meltwick journal show 3 --out again
    """
    from meltwick.cli.journal_words import told

    book = journal_at(journal)
    piece = book.piece(read_number(number))
    given = () if out is None else _give_back(piece, book, _file(out, "--out"))
    if plan:
        typer.echo(piece.plan_text, nl=not piece.plan_text.endswith("\n"))
    else:
        for line in told(piece, book):
            typer.echo(line)
    for line in given:
        typer.echo(line, err=plan)


def _give_back(piece: Piece, book: Journal, folder: Path) -> list[str]:
    """Write a piece's plan and photographs into a new folder, all or nothing."""
    import shutil
    import tempfile

    from meltwick.cli.writing import disk_error, quoted
    from meltwick.journal.gathering import lay_out
    from meltwick.journal.photographs import kept_photo

    if folder.exists():
        raise FileError(f"{folder} is here already and was left as it is; name a new folder")
    whole = folder.absolute()
    begun = None
    try:
        whole.parent.mkdir(parents=True, exist_ok=True)
        begun = Path(tempfile.mkdtemp(prefix=".meltwick-", dir=whole.parent))
        place = lay_out(piece, begun).relative_to(begun)
        for number, photo in enumerate(piece.photos, 1):
            found = kept_photo(book.photos, photo.sha256)
            if found is not None:
                panel = photo.panel if photo.panel.isalnum() else "photo"
                shutil.copyfile(found, begun / f"{panel}-{number}{found.suffix}")
        begun.chmod(0o755)
        begun.rename(whole)
    except OSError as error:
        raise disk_error(error, folder) from error
    finally:
        if begun is not None:
            shutil.rmtree(begun, ignore_errors=True)
    lines = [f"The plan is {folder / place}. Next: meltwick preview {quoted(folder / place)}"]
    if piece.kept_stock:
        lines.append(f"Its own stock is in {folder / 'stock'}; yours may differ by now.")
    return lines


def note(
    number: Number,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What to remember, in quotes.")],
    journal: JournalFile = None,
    debug: Debug = False,
) -> None:
    """Write a note to a piece.

    Example: meltwick journal note 3 "the blue faded after five washes"
    """
    which = read_number(number)
    book = journal_at(journal)
    book.note(which, text)
    typer.echo(f"Noted to piece {which}, {book.piece(which).name}.")


def export(
    csv: Annotated[
        str | None, typer.Option("--csv", metavar="FILE", help="A table for a spreadsheet.")
    ] = None,
    json: Annotated[
        str | None,
        typer.Option("--json", metavar="FILE", help="Everything, for import and for programs."),
    ] = None,
    photos: Annotated[
        str | None, typer.Option(metavar="FOLDER", help="Copies of the photographs too.")
    ] = None,
    journal: JournalFile = None,
    debug: Debug = False,
) -> None:
    """Write the pieces as a table or as JSON; files that are there are left as they are.

    Example: meltwick journal export --json pieces.json --photos pieces-photos
    """
    from meltwick.cli.journal_words import counted
    from meltwick.cli.writing import write_new
    from meltwick.journal import carrying

    if csv is None and json is None and photos is None:
        raise PlanError("nothing to write; say --csv FILE, --json FILE or both")
    book = journal_at(journal)
    forms = (("--csv", csv, carrying.as_csv), ("--json", json, carrying.as_json))
    wanted = [(_file(name, option), form) for option, name, form in forms if name is not None]
    folder = None if photos is None else _file(photos, "--photos")
    for path, _ in wanted:
        if path.exists():
            raise FileError(f"{path} is here already and was left as it is; name another file")
    if folder is not None and folder.exists() and not folder.is_dir():
        raise FileError(f"{folder} is a file; name a folder with --photos")
    pieces = book.pieces()
    for path, form in wanted:
        write_new(path, form(pieces).encode())
        typer.echo(f"{counted(len(pieces), 'piece')} written to {path}.")
    if folder is not None:
        there, lacking = carrying.copy_photos(book, pieces, folder)
        more = f"; of {lacking} more only the hash is known"
        typer.echo(f"{counted(there, 'photograph')} copied to {folder}{more if lacking else ''}.")


def import_(
    file: Annotated[str, typer.Argument(metavar="FILE", help="What journal export --json wrote.")],
    photos: Annotated[
        str | None, typer.Option(metavar="FOLDER", help="Where export put the photographs.")
    ] = None,
    journal: JournalFile = None,
    debug: Debug = False,
) -> None:
    """Take in pieces and notes of another journal; those that you have are not doubled.

    Example: meltwick journal import pieces.json --photos pieces-photos
    """
    from meltwick.journal.carrying import from_json

    path = _file(file, "FILE")
    folder = None if photos is None else _file(photos, "--photos")
    if folder is not None and not folder.is_dir():
        raise FileError(f"--photos: {folder} is not a folder; name the one that export wrote")
    book = journal_at(journal)
    book.exists()  # refuses a file of another kind before any reading
    if _is_journal(path):
        from meltwick.journal import Journal

        other = Journal(path)
        pieces, folder = other.pieces(), folder or other.photos
    else:
        pieces = from_json(_read_export(path), str(path))

    def picture_of(digest: str) -> Picture | None:
        from meltwick.journal import Picture
        from meltwick.journal.photographs import kept_photo, read_photo

        found = None if folder is None else kept_photo(folder, digest)
        content = None if found is None else read_photo(found, digest)
        return None if found is None or content is None else Picture(content, found.name)

    done = book.merge(pieces, picture_of)
    for line in _brought(done, folder):
        typer.echo(line)


def _is_journal(path: Path) -> bool:
    """Whether a file is a SQLite file, which must then be a journal."""
    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            return file.read(16) == b"SQLite format 3\0"
    except OSError:
        return False  # said in words when it is read as JSON


def _read_export(path: Path) -> str:
    from meltwick.journal.carrying import LARGEST

    try:
        if path.is_dir():
            raise FileError(f"{path} is a folder; name a file that journal export --json wrote")
        if not path.exists():
            raise FileError(f"{path} does not exist; check the spelling of its name")
        if not path.is_file():
            raise FileError(f"{path} is not an ordinary file, so it cannot be an exported journal")
        if path.stat().st_size > LARGEST:
            raise FileError(f"{path} is larger than {LARGEST / 1e9:g} GB, which no export is")
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FileError(
            f"{path} is not text; name a file that meltwick journal export --json wrote"
        ) from None
    except OSError as error:
        raise FileError(f"{path} cannot be read ({(error.strerror or '').lower()})") from None


def _brought(done: Any, folder: Path | None) -> list[str]:
    from meltwick.cli.journal_words import counted

    lines = []
    if done.added:
        numbers = ", ".join(str(ours) for _, ours in done.added[:12])
        numbers += ", ..." if len(done.added) > 12 else ""
        what = counted(len(done.added), "new piece")
        lines.append(f"{what}, number {numbers}.")
        moved = [f"{theirs} is {ours}" for theirs, ours in done.added if theirs != ours]
        if moved:
            more = f" and {len(moved) - 6} more" if len(moved) > 6 else ""
            lines.append(f"Some have other numbers here: {', '.join(moved[:6])}{more}.")
    if done.known:
        was = "was" if done.known == 1 else "were"
        lines.append(f"{counted(done.known, 'piece')} {was} here already.")
    if done.notes:
        lines.append(f"{counted(done.notes, 'new note')} to them.")
    if not (done.added or done.notes or done.photos):
        lines.append("Nothing was new.")
    if done.photos:
        lines.append(f"{counted(done.photos, 'photograph')} copied.")
    if done.bare:
        hint = "" if folder is not None else "; name the folder of the export with --photos"
        lines.append(f"Of {counted(done.bare, 'photograph')} only the hash is known{hint}.")
    return lines


def backup(
    file: Annotated[str, typer.Argument(metavar="FILE", help="Where the copy goes.")],
    journal: JournalFile = None,
    debug: Debug = False,
) -> None:
    """Copy the whole journal and its photographs, while other commands may use it.

    A backup of before is replaced, unless it has pieces that the journal lacks.

    Example: meltwick journal backup /media/stick/journal.db
    """
    from meltwick.cli.journal_words import counted
    from meltwick.journal.carrying import backup as copy
    from meltwick.journal.photographs import photo_folder

    book, path = journal_at(journal), _file(file, "FILE")
    if path.is_dir() or file.endswith(("/", "\\")):
        path = path / book.path.name
    saved = copy(book, path, date.today())
    photographs = ""
    if saved.photos:
        photographs = f", {counted(saved.photos, 'photograph')} to {photo_folder(path)}"
    lacking = f"; of {saved.lacking} only the hash is known" if saved.lacking else ""
    typer.echo(f"{counted(saved.pieces, 'piece')} copied to {path}{photographs}{lacking}.")


def forget(
    number: Number,
    yes: Annotated[bool, typer.Option("--yes", help="Do it without asking.")] = False,
    journal: JournalFile = None,
    debug: Debug = False,
) -> None:
    """Delete a piece, its notes and its photographs' copies, for good.

    Example: meltwick journal forget 3 --yes
    """
    from meltwick.cli.journal_words import counted
    from meltwick.journal.faults import DamagedError

    book, which = journal_at(journal), read_number(number)
    try:
        called = f"piece {which}, {book.piece(which).name}"
    except DamagedError:
        called = f"piece {which}, which is damaged"
    if not yes:
        if not sys.stdin.isatty():
            raise PlanError(f"this deletes {called}, for good; say --yes if that is meant")
        if not typer.confirm(f"Delete {called}, for good?", err=True):
            typer.echo("Nothing was deleted.")
            return
    gone = book.forget(which)
    copies = f", and {counted(gone, 'photograph')}" if gone else ""
    typer.echo(f"Deleted {called}{copies}.")


def build_journal() -> typer.Typer:
    """Return the commands under ``journal``."""
    app = typer.Typer(invoke_without_command=True)
    app.callback()(_start)
    app.command("list", short_help="List the pieces.")(list_)
    app.command("show", short_help="Say everything of one piece.")(show)
    app.command("note", short_help="Write a note to a piece.")(note)
    app.command("export", short_help="Write the pieces as CSV or JSON.")(export)
    app.command("import", short_help="Take in pieces of another journal.")(import_)
    app.command("backup", short_help="Copy the journal and its photographs.")(backup)
    app.command("forget", short_help="Delete a piece for good.")(forget)
    return app
