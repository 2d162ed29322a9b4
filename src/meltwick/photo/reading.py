"""A photograph as linear light, upright, with what is known of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from meltwick.colour.standard import FROM_XYZ, decode
from meltwick.errors import FileError, ResourceError
from meltwick.photo.opening import Opened, open_photo
from meltwick.types import Flags

_STRIP = 1 << 21  # pixels worked on at a time
_OPAQUE = 128  # alpha below which a pixel is no photograph; chosen
_TELL = 1e-3  # share of pixels from which a note is worth a line; chosen
_GREY = 0.012  # [-] largest gap of channels, encoded, in a photograph without colour; chosen

_EXIF_FOLDER, _INTEROP_FOLDER = 0x8769, 0xA005
_TAKEN, _CHANGED, _COLOUR_SPACE, _INTEROP = 0x9003, 0x0132, 0xA001, 1

# Adobe RGB (1998) colour image encoding, 4.3.5: gamma 563/256, primaries and D65
_WIDE_GAMMA = 563 / 256
_WIDE_TO_XYZ = np.array(
    [[0.57667, 0.18556, 0.18823], [0.29734, 0.62736, 0.07529], [0.02703, 0.07069, 0.99134]]
)

Light = NDArray[np.float32]
Bytes = NDArray[np.uint8]


@dataclass(frozen=True)
class Photo:
    """A photograph, upright, as linear light."""

    name: str  # as the maker named the file
    digest: str  # SHA-256 of the file's bytes, hex
    linear: Light  # (H, W, 3) linear light, sRGB primaries, D65, 0..1
    clipped: Flags  # (H, W) a channel of a source pixel is at the top of its range
    transparent: Flags | None  # (H, W) no photograph there; None where all of it is
    taken: date | None  # by EXIF
    full: tuple[int, int]  # (height, width) of the file, upright
    notes: tuple[str, ...]  # plain sentences for the maker


def read_photo(path: Path, most: int = 2_000_000) -> Photo:
    """Read a photograph.

    Parameters
    ----------
    path : Path
        JPEG, PNG, TIFF, WebP, or HEIC where pillow-heif is installed.
    most : int
        Pixels to keep at most: squares of so many source pixels are averaged, in linear light.

    Returns
    -------
    Photo
        Upright by its EXIF orientation. Colours go through the file's own profile to sRGB;
        those that sRGB cannot hold are cut to it and noted.

    Raises
    ------
    FileError
        It is no photograph, damaged, cut short, too large or too small, transparent all over, or
        its colours cannot be known.
    ResourceError
        There is not enough memory for it.
    ValueError
        ``most`` is below 1.
    """
    if most < 1:
        raise ValueError("a photograph keeps at least one pixel")
    opened = open_photo(path, most)
    try:
        return _measured(opened, most)
    except MemoryError:
        raise ResourceError(f"{opened.name} is too large for this machine's memory") from None


def _measured(opened: Opened, most: int) -> Photo:
    convert, notes = _converter(opened)
    image = opened.image
    height, width = image.height, image.width
    step = max(1, int(np.sqrt(height * width / most)))
    while -(-height // step) * -(-width // step) > most:
        step += 1
    rows = max(1, _STRIP // (width * step)) * step
    parts: list[tuple[Light, Flags, Flags | None]] = []
    vivid = 0
    for top in range(0, height, rows):
        strip = image.crop((0, top, width, min(height, top + rows)))
        light, clipped, alpha, lost = convert(strip)
        vivid += lost
        parts.append(_averaged(light, clipped, alpha, step))
    light = np.concatenate([part[0] for part in parts])
    clipped = np.concatenate([part[1] for part in parts])
    masks = [part[2] for part in parts if part[2] is not None]
    transparent = np.concatenate(masks) if masks and any(mask.any() for mask in masks) else None
    if vivid / (height * width) > _TELL:
        share = 100.0 * vivid / (height * width)
        notes.append(f"{share:.1f} % of it is more vivid than sRGB holds, and was cut to it.")
    if transparent is not None:
        if transparent.all():
            raise FileError(f"{opened.name} is transparent all over; there is nothing to measure")
        share = 100.0 * float(transparent.mean())
        notes.append(f"{share:.1f} % of it is transparent and counts as no photograph.")
    if _is_grey(light, transparent):
        notes.append("It is grey: colours cannot be told, only light and dark.")
    turn = opened.orientation
    return Photo(
        name=opened.name,
        digest=opened.digest,
        linear=_upright(light, turn),
        clipped=_upright(clipped, turn),
        transparent=None if transparent is None else _upright(transparent, turn),
        taken=_taken(opened.exif),
        full=opened.full if turn < 5 else (opened.full[1], opened.full[0]),
        notes=(*opened.notes, *notes),
    )


# --------------------------------------------------------------------------- colour

_Strip = tuple[Light, Flags, Bytes | None, int]  # light, clipped, alpha, pixels cut to sRGB
_Converter = Callable[[Image.Image], _Strip]


def _table(gamma: float | None = None, steps: int = 256) -> Light:
    """Linear light of every level; by the sRGB curve, or by a plain power."""
    level = np.arange(steps) / (steps - 1.0)
    return (decode(level) if gamma is None else level**gamma).astype(np.float32)


def _converter(opened: Opened) -> tuple[_Converter, list[str]]:
    """Return what turns a strip into linear sRGB light, and what to say of it."""
    mode = opened.image.mode
    notes: list[str] = []
    if mode.startswith("I;16"):
        levels = _table(steps=65536)
        return lambda strip: _deep_grey(strip, levels), notes
    transform = _transform(opened, notes)
    if mode == "CMYK" and transform is None:
        raise FileError(
            f"{opened.name} is in printing inks (CMYK) without a profile, so its colours cannot "
            "be known; save it in RGB"
        )
    if transform is None and mode.startswith("RGB") and _says_wide(opened.exif):
        notes.append("Its EXIF says Adobe RGB; it was taken as such.")
        table = _table(_WIDE_GAMMA)
        matrix = (FROM_XYZ @ _WIDE_TO_XYZ).astype(np.float32)
        return lambda strip: _wide(strip, table, matrix), notes
    if transform is None and opened.profile is None:
        notes.append("It has no colour profile; sRGB is assumed.")
    table = _table()
    return lambda strip: _usual(strip, table, transform), notes


def _transform(opened: Opened, notes: list[str]) -> Any:
    """Return the way from the file's own profile to sRGB, or None."""
    if opened.profile is None:
        return None
    mode = opened.image.mode.removesuffix("A")
    wanted = {"RGB": "RGB", "L": "GRAY", "CMYK": "CMYK"}[mode]
    try:
        own = ImageCms.ImageCmsProfile(BytesIO(opened.profile))
        if own.profile.xcolor_space.strip() == wanted:
            return ImageCms.buildTransform(
                own,
                ImageCms.createProfile("sRGB"),
                mode,
                "RGB",
                ImageCms.Intent.RELATIVE_COLORIMETRIC,
            )
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        pass
    if mode != "CMYK":
        notes.append("Its colour profile cannot be read; sRGB is assumed.")
    return None


def _says_wide(exif: Image.Exif) -> bool:
    """Tell Adobe RGB as cameras do that embed no profile (DCF 2.0: R03, uncalibrated)."""
    try:
        space = exif.get_ifd(_EXIF_FOLDER).get(_COLOUR_SPACE)
        interop = exif.get_ifd(_INTEROP_FOLDER).get(_INTEROP)
    except Exception:  # EXIF that is damaged in any way says nothing
        return False
    return space == 0xFFFF and str(interop).strip("\0 ") == "R03"


def _split(strip: Image.Image) -> tuple[Image.Image, Bytes | None]:
    """Take the transparency off."""
    if not strip.mode.endswith("A"):
        return strip, None
    alpha = np.asarray(strip.getchannel("A"))
    return strip.convert(strip.mode[:-1]), alpha


def _usual(strip: Image.Image, table: Light, transform: Any) -> _Strip:
    """Read 8 bits a channel, through a profile where there is one."""
    strip, alpha = _split(strip)
    source = np.asarray(strip)
    grey = source.ndim == 2
    top = source == 255 if grey else (source == 255).any(axis=-1)
    lost = 0
    if transform is not None:
        out = np.asarray(ImageCms.applyTransform(strip, transform))
        if strip.mode == "RGB":
            # a channel that only the profile drove to its end was cut
            cut_high = ((out == 255) & (source < 255)).any(axis=-1)
            cut = cut_high | ((out == 0) & (source > 0)).any(axis=-1)
            lost = int(np.count_nonzero(cut))
            top = top | cut_high
        elif strip.mode == "CMYK":
            top = (out == 255).any(axis=-1)
        source, grey = out, False
    light = table[source]
    if grey:
        light = np.repeat(light[..., None], 3, axis=-1)
    return light, top, alpha, lost


def _wide(strip: Image.Image, table: Light, matrix: Light) -> _Strip:
    """Read Adobe RGB without a profile."""
    strip, alpha = _split(strip)
    source = np.asarray(strip)
    light = table[source] @ matrix.T
    cut = ((light < -2e-3) | (light > 1.0 + 2e-3)).any(axis=-1)
    top = (source == 255).any(axis=-1) | (light > 1.0 + 2e-3).any(axis=-1)
    return np.clip(light, 0.0, 1.0), top, alpha, int(np.count_nonzero(cut))


def _deep_grey(strip: Image.Image, table: Light) -> _Strip:
    """Read 16 bit grey."""
    source = np.asarray(strip).astype(np.uint16)
    light = np.repeat(table[source][..., None], 3, axis=-1)
    return light, source == 65535, None, 0


def _is_grey(light: Light, transparent: Flags | None) -> bool:
    seen = light if transparent is None else light[~transparent]
    gap = np.sqrt(seen.max(axis=-1)) - np.sqrt(seen.min(axis=-1))  # roughly as encoded
    return bool(np.quantile(gap, 0.999) < _GREY)


# --------------------------------------------------------------------------- size and turn


def _averaged(
    light: Light, clipped: Flags, alpha: Bytes | None, step: int
) -> tuple[Light, Flags, Flags | None]:
    """Average squares of step x step; those at the right and lower edge may be smaller."""
    clear = None if alpha is None else alpha < _OPAQUE
    if step == 1:
        return light, clipped, clear
    down, across = (np.arange(0, size, step) for size in clipped.shape)
    weight = np.ones(clipped.shape, np.float32) if clear is None else (~clear).astype(np.float32)
    total = _summed(weight, down, across)
    plain = total == 0  # nothing but transparency: its colour does not matter
    out = np.empty((len(down), len(across), 3), np.float32)
    for channel in range(3):
        part = _summed(light[..., channel] * weight, down, across)
        out[..., channel] = np.where(plain, 0.0, part / np.where(plain, 1.0, total))
    any_top = _summed(clipped.astype(np.float32), down, across) > 0
    any_clear = None if clear is None else _summed(clear.astype(np.float32), down, across) > 0
    return out, any_top, any_clear


def _summed(values: Light, down: NDArray[Any], across: NDArray[Any]) -> Light:
    out: Light = np.add.reduceat(np.add.reduceat(values, down, axis=0), across, axis=1)
    return out


def _upright(array: NDArray[Any], orientation: int) -> Any:
    """Undo the turn that EXIF orientation 1 to 8 tells of (EXIF 2.3, 4.6.4, tag 274)."""
    if orientation >= 5:
        array = array.swapaxes(0, 1)
    if orientation in (2, 3, 6, 7):
        array = array[:, ::-1]
    if orientation in (3, 4, 7, 8):
        array = array[::-1]
    return np.ascontiguousarray(array)


def _taken(exif: Image.Exif) -> date | None:
    """Return the day on which it was taken, if the camera knew."""
    try:
        said = exif.get_ifd(_EXIF_FOLDER).get(_TAKEN) or exif.get(_CHANGED)
        day = datetime.strptime(str(said)[:10], "%Y:%m:%d").date()
    except Exception:  # EXIF that is damaged in any way says nothing
        return None
    return day if day.year >= 1990 else None  # a camera whose clock was never set
