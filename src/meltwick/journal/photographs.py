"""Copies of the photographs, in a folder beside the journal, each named by its content.

They lie outside the journal's file, so that this stays small enough to check at every opening. A
copy is in its place, whole, before the piece that shows it is saved; and it is taken out only while
nobody can save one.
"""

from __future__ import annotations

import contextlib
import io
import re
from collections.abc import Iterable
from datetime import date
from pathlib import Path, PurePath

from meltwick.journal.backups import put_whole, sync_folder
from meltwick.journal.records import sha256

LARGEST = 200_000_000
"""Bytes of a photograph that is kept."""
_OURS = re.compile(r"([0-9a-f]{64})(\.[a-z0-9]{1,5})?")
_BEGUN = re.compile(r"\.[0-9a-f]{64}(\.[a-z0-9]{1,5})?-[0-9]+\.new")


def photo_folder(journal: Path) -> Path:
    """Where the copies lie."""
    return journal.with_name(journal.name + "-photos")


def ending_of(name: str) -> str:
    """Return the ending of a picture's name, such as ``.jpg``, or none."""
    found = PurePath(name).suffix.lower()
    return found if re.fullmatch(r"\.[a-z0-9]{1,5}", found) else ""


def kept_photo(folder: Path, digest: str) -> Path | None:
    """Return the copy of a photograph, if there is one."""
    with contextlib.suppress(OSError):
        found = sorted(path for path in folder.glob(f"{digest}*") if _OURS.fullmatch(path.name))
        return found[0] if found else None
    return None


def keep_photo(folder: Path, content: bytes, name: str) -> bool:
    """Keep a copy; say whether it is a new one. One that was damaged is put right.

    Raises
    ------
    OSError
        As the disk says.
    """
    digest = sha256(content)
    found = kept_photo(folder, digest)
    if found is not None and found.read_bytes() == content:
        return False
    if not folder.is_dir():
        folder.mkdir(parents=True, exist_ok=True)
        sync_folder(folder.parent)
    put_whole(found or folder / (digest + ending_of(name)), content)
    return True


def read_photo(path: Path, digest: str) -> bytes | None:
    """Return a file's bytes if they are those of a photograph."""
    try:
        if not path.is_file() or path.stat().st_size > LARGEST:
            return None  # a pipe or a device might never end
        content = path.read_bytes()
    except (OSError, ValueError):
        return None
    return content if sha256(content) == digest else None


def kept_size(folder: Path, digests: Iterable[str]) -> tuple[int, int]:
    """Count the copies of some photographs, and their bytes."""
    count = size = 0
    for digest in set(digests):
        found = kept_photo(folder, digest)
        with contextlib.suppress(OSError):
            if found is not None:
                size += found.stat().st_size
                count += 1
    return count, size


def drop_photos(folder: Path, digests: Iterable[str]) -> None:
    """Take out the copies of some photographs."""
    for digest in digests:
        found = kept_photo(folder, digest)
        with contextlib.suppress(OSError):
            if found is not None:
                found.unlink()
    with contextlib.suppress(OSError):
        folder.rmdir()  # only where it is empty


def sweep(folder: Path, wanted: Iterable[str]) -> int:
    """Take out the copies that no piece shows; count them. Other files are left alone."""
    keep, gone = set(wanted), 0
    for path in sorted(folder.iterdir()) if folder.is_dir() else ():
        found = _OURS.fullmatch(path.name)
        if _BEGUN.fullmatch(path.name) or (found and found[1] not in keep):
            with contextlib.suppress(OSError):
                path.unlink()
                gone += 1
    with contextlib.suppress(OSError):
        folder.rmdir()  # only where it is empty
    return gone


def date_taken(content: bytes) -> date | None:
    """Return the day on which a photograph was taken, as the camera wrote it (EXIF 2.3, 9003h)."""
    from PIL import Image

    exif_part, original, changed = 0x8769, 0x9003, 0x0132
    try:
        with Image.open(io.BytesIO(content)) as picture:
            exif = picture.getexif()
            said = exif.get_ifd(exif_part).get(original) or exif.get(changed)
        found = re.match(r"(\d{4}):(\d\d):(\d\d)", str(said))
        return date(*map(int, found.groups())) if found else None
    except Exception:  # whatever a hostile picture brings about: it has no date
        return None
