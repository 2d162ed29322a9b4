"""Write several files into one folder: all of them whole, or none."""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Mapping
from pathlib import Path

from meltwick.errors import FileError, MeltwickError, ResourceError, no_room


def disk_error(
    error: OSError, path: Path, advice: str = "; choose another folder with --out"
) -> MeltwickError:
    """Word a failure of the disk as ours: no room left, or a file that is in the way."""
    if no_room(error):
        return ResourceError(f"{path}: the disk is full; nothing was written")
    reason = (error.strerror or str(error)).lower()
    shown = str(path) if len(str(path)) <= 80 else f"{str(path)[:77]}..."
    return FileError(f"{shown} cannot be written ({reason}){advice}")


def check_folder(folder: Path, names: tuple[str, ...], option: str = "--out") -> None:
    """Refuse, before the work starts, a folder that the files cannot go into.

    Parameters
    ----------
    folder : Path
    names : tuple of str
        The files.
    option : str
        With which a maker names another.

    Raises
    ------
    FileError
        If a file stands where the folder or one above it should be, a folder stands where a file
        should be, or we may not write there.
    """
    import tempfile

    try:
        above = folder
        while not above.exists() and above != above.parent:
            above = above.parent
        if not above.is_dir():
            raise FileError(
                f"{above} is a file, so no folder can be there; choose another {option}"
            )
        if not os.access(above, os.W_OK | os.X_OK):
            raise FileError(f"{above} may not be written to; choose another folder with {option}")
        for name in names:
            if (folder / name).is_dir():
                raise FileError(f"{folder / name} is a folder where a file should go")
        # What the rights promise the file system may still refuse, as under /proc.
        os.rmdir(tempfile.mkdtemp(prefix=".meltwick-", dir=above))
    except OSError as error:
        raise disk_error(error, folder, f"; choose another folder with {option}") from error
    except ValueError as error:
        raise FileError(f"{str(folder)!r} cannot be a folder ({error})") from error


def _make(folder: Path) -> list[Path]:
    """Make a folder; return those that were new, the deepest last."""
    missing = []
    above = folder
    while not above.exists():
        missing.append(above)
        above = above.parent
    made: list[Path] = []
    try:
        for path in reversed(missing):
            path.mkdir(exist_ok=True)
            made.append(path)
    except BaseException:
        _unmake(made)
        raise
    return made


def _unmake(folders: list[Path]) -> None:
    for path in reversed(folders):
        with contextlib.suppress(OSError):
            path.rmdir()  # only ever removes an empty folder


def _keep(path: Path, kept: Path) -> bool:
    """Hold on to the old file under another name, until all the new ones are in place."""
    if not path.exists():
        return False
    try:
        os.link(path, kept)
    except OSError:
        shutil.copy2(path, kept)  # a file system without links
    return True


def _fill(path: Path, content: bytes) -> None:
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _swap(folder: Path, files: Mapping[str, Path], olds: Mapping[str, Path]) -> None:
    """Put the new files in place; on any failure, put the old ones back."""
    done: list[tuple[str, bool]] = []
    try:
        for name, new in files.items():
            had = _keep(folder / name, olds[name])
            done.append((name, had))
            os.replace(new, folder / name)
    except BaseException:
        for name, had in reversed(done):
            if had:
                os.replace(olds[name], folder / name)
            elif not files[name].exists():  # ours had already taken the empty place
                (folder / name).unlink(missing_ok=True)
        raise


def quoted(path: Path) -> str:
    """Write a path as a word of the command line."""
    return f'"{path}"' if " " in str(path) else str(path)


def write_new(path: Path, content: bytes) -> None:
    """Write a file that is not there yet; leave nothing of it behind on failure.

    Raises
    ------
    FileError
        If there is a file of that name, which is left as it is, or it cannot be written.
    ResourceError
        The disk is full.
    """
    try:
        # "x" refuses an existing file in the same step that makes the new one.
        file = path.open("xb")
    except FileExistsError:
        raise FileError(f"{path} is here already and was left as it is") from None
    except OSError as error:
        raise disk_error(error, path, "") from error
    try:
        with file:
            file.write(content)
    except BaseException as error:
        path.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise disk_error(error, path, "") from error
        raise


def write_together(
    folder: Path, contents: Mapping[str, bytes], advice: str = "; choose another folder with --out"
) -> None:
    """Write files into a folder, both or neither; other files there are not touched.

    Parameters
    ----------
    folder : Path
        Made if it is not there, and removed again on failure.
    contents : mapping of str to bytes
        File names and what goes in.
    advice : str
        What to do when the folder cannot be written to.

    Raises
    ------
    ResourceError
        The disk is full.
    FileError
        The folder cannot be written to.
    """
    mark = f".{os.getpid()}"
    news = {name: folder / f".{name}{mark}.new" for name in contents}
    olds = {name: folder / f".{name}{mark}.old" for name in contents}
    made: list[Path] = []
    whole = False
    try:
        made = _make(folder)
        for name, content in contents.items():
            _fill(news[name], content)
        _swap(folder, news, olds)
        whole = True
    except OSError as error:
        raise disk_error(error, folder, advice) from error
    finally:
        for path in (*news.values(), *olds.values()):
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)
        if not whole:
            _unmake(made)
