"""Open a file that should be a photograph; whatever else it is, say so in one line.

Only the decoder that the first bytes call for is ever tried, and the size is looked at before
anything is unpacked, so that a file made to harm costs little.
"""

from __future__ import annotations

import hashlib
import logging
import os
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

from PIL import Image, features

from meltwick.errors import FileError, ResourceError
from meltwick.stock.reading import one_line

SMALLEST = 64
"""[px] of the short side; below it no cloth can be measured. Chosen."""

LARGEST_FILE = 500_000_000  # [bytes] chosen
MOST_PIXELS = {"JPEG": 400_000_000}  # a JPEG is unpacked at a part of its size
MOST_PIXELS_ELSE = 210_000_000  # more than any telephone takes (200 million)
LONGEST_SHAPE = 50  # long side by short side; no camera takes such a strip. Chosen
DRAFT_ABOVE = 60_000_000  # pixels from which a JPEG is unpacked smaller

_BAND = 1 << 22  # [bytes] of a colour profile; larger ones are not looked at
_RAW_CAMERA = {".dng", ".cr2", ".cr3", ".nef", ".arw", ".orf", ".rw2", ".pef", ".raf", ".srw"}
_DNG_VERSION = 50706
_ORIENTATION = 0x0112

# Pillow logs faults of a file; they reach the maker as our own line instead
logging.getLogger("PIL").addHandler(logging.NullHandler())
_limit_lock = threading.Lock()


@dataclass(frozen=True)
class Opened:
    """A decoded picture, not yet turned upright, and what was found on the way."""

    name: str
    digest: str  # SHA-256 of the file's bytes, hex
    image: Image.Image  # RGB, RGBA, L, LA, CMYK or 16 bit grey
    full: tuple[int, int]  # height, width in the file, before it is turned
    orientation: int  # of EXIF, 1 to 8
    exif: Image.Exif
    profile: bytes | None
    notes: tuple[str, ...]


def read_bytes(path: Path) -> bytes:
    """Return a file's bytes.

    Raises
    ------
    FileError
        It is missing, a folder, no ordinary file, empty, unreadable or too large.
    """
    name = one_line(str(path))[:200]
    try:
        if path.is_dir():
            raise FileError(f"{name} is a folder; name a photograph in it")
        if not path.exists():
            raise FileError(f"{name} does not exist; check the spelling of the photograph's name")
        if not path.is_file():
            raise FileError(f"{name} is not an ordinary file, so it cannot be a photograph")
        if path.stat().st_size > LARGEST_FILE:
            raise FileError(f"{name} is larger than 500 MB; save a smaller copy as JPEG")
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the name is not one a file can have"
        raise FileError(f"{name} cannot be read: {one_line(str(reason)).lower()}") from None
    if not data:
        raise FileError(f"{name} is empty (0 bytes); copy it again from the camera")
    return data


_OTHER_KINDS = (  # how a file begins, and what it then is
    (b"%pdf", "a PDF page"),
    (b"<svg", "a drawing (SVG)"),
    (b"<?xml", "a drawing or a web page"),
    (b"<!doctype", "a web page"),
    (b"<html", "a web page"),
    (b"gif8", "a GIF, which holds too few colours to measure"),
    (b"bm", "a BMP picture"),
    (b"8bps", "a layered file of a paint program"),
    (b"pk\x03\x04", "a ZIP archive"),
    (b"\x00\x00\x00\x0cjp", "a JPEG 2000 picture"),
    (b"\xff\x4f\xff\x51", "a JPEG 2000 picture"),
    (b"fujifilmccd-raw", "a camera's raw file"),
)


def _kind(data: bytes, path: Path, name: str) -> str:
    """Return the format by the first bytes; refuse all others."""
    head = data[:64]
    if head.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    raw = path.suffix.casefold() in _RAW_CAMERA or head[8:10] == b"CR" or head[4:12] == b"ftypcrx "
    if raw:
        raise FileError(f"{name} is a camera's raw file; save it as JPEG or TIFF first")
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "TIFF"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        if not features.check("webp"):
            raise FileError(f"{name} is a WebP, which this machine's Pillow cannot read; save JPEG")
        return "WEBP"
    if head[4:8] == b"ftyp":
        if head[8:12] in (b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1"):
            return "HEIF"
        raise FileError(f"{name} is a film or a picture of a kind not read here; save it as JPEG")
    lower = data[:512].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    what = next((words for start, words in _OTHER_KINDS if lower.startswith(start)), None)
    if what is None:
        text = bool(data[:512].strip(b"\0")) and not any(b < 9 for b in data[:512])
        what = "text" if text and _is_text(data[:512]) else "no picture that is known here"
    raise FileError(f"{name} is {what}; a photograph is JPEG, PNG, TIFF, WebP or HEIC")


def _is_text(head: bytes) -> bool:
    try:
        head[:500].decode("utf-8", "strict" if len(head) <= 500 else "ignore")
    except UnicodeDecodeError:
        return False
    return True


def _heif(data: bytes, name: str) -> Image.Image:
    """Decode a HEIC, as telephones write them; turned upright by the library itself."""
    try:
        import pillow_heif
    except ImportError:
        raise FileError(
            f"{name} is a HEIC; pip install 'meltwick[photo]' to read it, or save it as JPEG"
        ) from None
    file: Any = pillow_heif.open_heif(BytesIO(data), convert_hdr_to_8bit=True)
    _check_size(file.size, "HEIF", name)
    image: Image.Image = file.to_pillow()
    return image


def _check_size(size: tuple[int, int], kind: str, name: str) -> None:
    width, height = size
    most = MOST_PIXELS.get(kind, MOST_PIXELS_ELSE)
    if width * height > most:
        raise FileError(
            f"{name} has {width} x {height} pixels, over {most // 10**6} million; "
            "save a smaller copy as JPEG"
        )
    if min(width, height) < SMALLEST:
        raise FileError(
            f"{name} has {width} x {height} pixels; its short side needs {SMALLEST} or more, "
            "so send the photograph itself, not its small picture"
        )
    if max(width, height) > LONGEST_SHAPE * min(width, height):
        raise FileError(
            f"{name} has {width} x {height} pixels, a strip that no camera takes; send the "
            "photograph itself"
        )


@contextmanager
def _own_limit() -> Iterator[None]:
    """Lift the library's limit of pixels, which ours takes the place of, and keep it quiet."""
    with _limit_lock, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        before = Image.MAX_IMAGE_PIXELS
        Image.MAX_IMAGE_PIXELS = None
        try:
            yield
        finally:
            Image.MAX_IMAGE_PIXELS = before


@contextmanager
def _muted(kind: str) -> Iterator[None]:
    """Keep the TIFF library, which writes past Python, from speaking beside our own line."""
    try:
        kept = os.dup(2) if kind == "TIFF" else None
        hush = os.open(os.devnull, os.O_WRONLY) if kept is not None else None
    except OSError:  # standard error is closed: nobody would hear it
        kept = hush = None
    if kept is None or hush is None:
        yield
        return
    try:
        os.dup2(hush, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(hush)


def _plain(image: Image.Image, name: str) -> Image.Image:
    """Return the picture in one of the few modes that are measured."""
    mode = image.mode
    clear = "transparency" in image.info
    if mode in ("RGB", "L") and clear:
        return image.convert("RGBA" if mode == "RGB" else "LA")
    if mode in ("RGB", "RGBA", "L", "LA", "CMYK") or mode.startswith("I;16"):
        return image
    if mode == "P":
        return image.convert("RGBA" if clear else "RGB")
    if mode in ("RGBX", "YCbCr"):
        return image.convert("RGB")
    if mode in ("RGBa", "PA"):
        return image.convert("RGBA")
    if mode == "La":
        return image.convert("LA")
    if mode == "1":
        raise FileError(f"{name} has only black and white, no shades; save it in colour")
    raise FileError(f"{name} keeps its colours in a way not read here ({mode}); save it as JPEG")


def _decode(data: bytes, kind: str, name: str, most: int) -> tuple[Image.Image, Any, list[str]]:
    """Return the decoded picture, its full size and notes."""
    if kind == "HEIF":
        image = _heif(data, name)
        return image, image.size, []
    image = Image.open(BytesIO(data), formats=[kind])
    size = image.size
    _check_size(size, kind, name)
    if kind == "TIFF" and _DNG_VERSION in getattr(image, "tag_v2", {}):
        raise FileError(f"{name} is a camera's raw file; save it as JPEG or TIFF first")
    notes = []
    count = getattr(image, "n_frames", 1)
    if count > 1 and image.format != "MPO":  # telephones hide a second picture in those
        notes.append(f"It holds {count} pictures; only the first is read.")
    image.seek(0)
    if kind == "JPEG" and size[0] * size[1] > max(DRAFT_ABOVE, 4 * most):
        share = (4 * most / (size[0] * size[1])) ** 0.5
        image.draft(None, (max(1, int(size[0] * share)), max(1, int(size[1] * share))))
        notes.append("It is very large, so it was unpacked smaller; lone clipped points are lost.")
    image.load()
    return image, size, notes


def _turned(exif: Image.Exif) -> int:
    value = exif.get(_ORIENTATION, 1)
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def open_photo(path: Path, most: int) -> Opened:
    """Decode a photograph.

    Parameters
    ----------
    path : Path
    most : int
        Pixels that are wanted in the end; a very large JPEG is unpacked to no less than these.

    Returns
    -------
    Opened

    Raises
    ------
    FileError
        It is no photograph, damaged, cut short, too large or too small: one line with the name.
    ResourceError
        There is not enough memory for it.
    """
    data = read_bytes(path)
    name = one_line(path.name)[:120]
    kind = _kind(data, path, name)
    try:
        with _own_limit(), _muted(kind):
            found, (width, height), notes = _decode(data, kind, name, most)
            exif, profile = found.getexif(), found.info.get("icc_profile")
            image = _plain(found, name)
            orientation = _turned(exif)
    except FileError:
        raise
    except MemoryError:
        raise ResourceError(f"{name} is too large for this machine's memory") from None
    except Exception as fault:  # a decoder raises anything at all on a file made to break it
        raise _damaged(name, kind, fault) from None
    good = isinstance(profile, bytes) and 0 < len(profile) <= _BAND
    return Opened(
        name=name,
        digest=hashlib.sha256(data).hexdigest(),
        image=image,
        full=(height, width),
        orientation=orientation,
        exif=exif,
        profile=profile if good else None,
        notes=tuple(notes),
    )


def _damaged(name: str, kind: str, fault: Exception) -> FileError:
    said = str(fault).casefold()
    kind = "HEIC" if kind == "HEIF" else kind
    if "truncated" in said or "not enough" in said or "end of file" in said:
        return FileError(f"{name} is cut short; copy it again from the camera")
    return FileError(f"{name} is damaged and cannot be read as {kind}; copy it again")
