"""A film's frames as one file: a GIF within a size, or an MP4."""

from __future__ import annotations

import tempfile
from contextlib import closing
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from meltwick.errors import ResourceError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meltwick.picture.film import Reel

Bytes = NDArray[np.uint8]

LARGEST = 5_000_000
"""Bytes of a GIF at most: what goes through most letter boxes; chosen."""

LEAST_HOLD = 0.04  # [s]: players show shorter frames as they like
_SAMPLES = 16  # frames that the common colours are taken from
_COLOURS = 255  # of a GIF's frame; one more place is left for "as before"
_SMALLEST = 80  # [px] below which a film shows nothing
_KEPT = 6  # colours that are kept just as they are
_RATE = 25  # frames a second of an MP4


def holds(lengths: Sequence[float], seconds: float) -> list[int]:
    """Milliseconds that each frame is shown, whole hundredths as GIF has them.

    They add up to ``seconds`` unless so many frames would then be shown for too short a time.
    """
    ends = np.cumsum(lengths) / float(np.sum(lengths)) * seconds
    marks = np.append(0, np.rint(100.0 * ends)).astype(int)
    return [max(round(1000 * LEAST_HOLD), 10 * int(step)) for step in np.diff(marks)]


def _pictures(reel: Reel, scale: float) -> list[Image.Image]:
    wide, tall = reel.size
    size = (round(wide * scale), round(tall * scale))
    frames = (Image.fromarray(reel.frame(n)) for n in range(reel.count))
    if scale == 1.0:
        return list(frames)
    return [frame.resize(size, Image.Resampling.LANCZOS) for frame in frames]


@dataclass(frozen=True)
class _Colours:
    """Colours for all frames together, so that nothing flickers."""

    table: Bytes  # (C, 3) sRGB; fewer than 256, so that a place is free for "as before"
    near: Bytes  # (64, 64, 64) the colour for each pixel, by the upper six bits

    def index(self, pixels: Bytes) -> Bytes:
        """Find the colour of each pixel."""
        part = pixels >> 2
        return np.asarray(self.near[part[..., 0], part[..., 1], part[..., 2]])


def _code(pixels: NDArray[np.integer[Any]]) -> NDArray[np.int32]:
    """Make each pixel (N, 3) one number, which sorts as the three do and far quicker."""
    places = np.array([1 << 16, 1 << 8, 1], dtype=np.int32)
    codes: NDArray[np.int32] = (pixels * places).sum(axis=1, dtype=np.int32)
    return codes


def _common_colours(pictures: Sequence[Image.Image]) -> _Colours:
    """Choose the colours.

    Every colour counts once, however much of the frame it fills; the ones that fill most of it,
    paper and undyed cloth, are kept just as they are.
    """
    from scipy.spatial import cKDTree

    picks = np.unique(np.linspace(0, len(pictures) - 1, _SAMPLES).round().astype(int))
    pixels = np.concatenate([np.asarray(pictures[n])[::2, ::2].reshape(-1, 3) for n in picks])
    codes, many = np.unique(_code(pixels), return_counts=True)
    found = np.stack([codes >> 16, codes >> 8 & 255, codes & 255], axis=-1).astype(np.uint8)
    most = found[np.argsort(-many, kind="stable")[:_KEPT]]
    _, first = np.unique(_code(found >> 2), return_index=True)
    room = _COLOURS - len(most)
    rest = Image.fromarray(found[np.sort(first)][None])
    mixed = rest.quantize(room, method=Image.Quantize.MEDIANCUT, kmeans=1).getpalette() or []
    chosen = np.array(mixed[: 3 * room], dtype=np.uint8).reshape(-1, 3)
    table = np.concatenate([most, chosen])
    middles = np.stack(np.meshgrid(*[4 * np.arange(64) + 2] * 3, indexing="ij"), axis=-1)
    near = cKDTree(table.astype(float)).query(middles.reshape(-1, 3))[1].astype(np.uint8)
    near = near.reshape(64, 64, 64)
    for number in range(len(most) - 1, -1, -1):  # the commonest has the last word
        near[tuple(most[number] >> 2)] = number
    return _Colours(table, near)


def _gif(pictures: Sequence[Image.Image], times: Sequence[int], note: str) -> bytes:
    colours = _common_colours(pictures)
    frames = []
    for picture in pictures:
        frame = Image.fromarray(colours.index(np.asarray(picture)))
        frame.putpalette(colours.table.tobytes())
        frames.append(frame)
    stream = BytesIO()
    frames[0].save(
        stream,
        "GIF",
        save_all=True,
        append_images=frames[1:],
        duration=list(times),
        loop=0,
        optimize=False,
        comment=note.encode("ascii", "replace"),
    )
    return stream.getvalue()


def gif(reel: Reel, seconds: float, note: str, largest: int = LARGEST) -> bytes:
    """Write the frames as a GIF, made smaller until it fits.

    Parameters
    ----------
    reel : Reel
        The frames.
    seconds : float
        Length of the film [s].
    note : str
        Kept in the file as its comment.
    largest : int
        Bytes at most.

    Raises
    ------
    ResourceError
        Even the smallest picture makes a larger file.
    """
    times, scale = holds(reel.lengths, seconds), 1.0
    while scale * min(reel.size) >= _SMALLEST:
        content = _gif(_pictures(reel, scale), times, note)
        if len(content) <= largest:
            return content
        scale *= min(0.9, 0.97 * float(np.sqrt(largest / len(content))))
    raise ResourceError(f"the film takes more than {largest / 1e6:g} MB however small it is drawn")


def mp4_missing() -> bool:
    """Tell whether the extra that MP4 needs is not installed."""
    from importlib.util import find_spec

    return find_spec("imageio_ffmpeg") is None


def mp4(reel: Reel, seconds: float) -> bytes:
    """Write the frames as an MP4; the extra ``film`` must be installed."""
    from imageio.v2 import get_writer

    times = np.cumsum(holds(reel.lengths, seconds)) / 1000.0
    ticks = np.arange(round(float(times[-1]) * _RATE)) / _RATE
    with tempfile.TemporaryDirectory(prefix="meltwick-") as folder:
        path = Path(folder) / "film.mp4"
        settings: dict[str, Any] = {"codec": "libx264", "quality": 8, "macro_block_size": 2}
        with closing(get_writer(path, format="FFMPEG", fps=_RATE, **settings)) as writer:
            for number in np.searchsorted(times, ticks, side="right"):
                writer.append_data(reel.frame(min(int(number), reel.count - 1)))
        return path.read_bytes()
