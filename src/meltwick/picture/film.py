"""The film: colour spreading on the opened cloth through the hours, with a clock."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from meltwick.picture import draw, shading
from meltwick.picture.preview import BETWEEN, INK, bare_paper
from meltwick.picture.turning import cloth_across

if TYPE_CHECKING:
    from collections.abc import Collection

    from numpy.typing import NDArray

    from meltwick.picture.draw import Canvas, View
    from meltwick.types import Cloth, Floats, Moment, Observer, Panel

WIDTH, TALLEST = 720, 640  # [px] of a frame
_MARGIN, _GAP, _TOP, _FOOT = 30, 34, 26, 104  # [px]
MOST_FRAMES = 96
"""Frames of a whole film at most; with many rounds each is shown at fewer moments."""

RINSES = (0.5, 0.75, 0.875)
"""Share of what is loose that has left after each rinse: half of it in each; for show."""

NOTE = "Wet dye and powder are drawn as they would look held on the cloth."

_STEPS = 80  # moments of a round: of its melt, its wait and its wash
_BAR = {"melting": (0.0, 0.7), "turned": (0.0, 0.7), "waiting": (0.7, 0.92), "washed": (0.92, 1.0)}
"""Part of the bar under the clock that a stage takes; chosen, for the eye and not to scale."""

_LAID, _ICE = "powder laid, ice on it", "ice melting"
_FIX, _RINSE, _DONE = "ice gone: fixing", "rinsing out", "washed and dry"


def clock(hours: float) -> str:
    """Write hours as a clock does: ``3 h 20 min``."""
    minutes = round(hours * 60.0)
    if minutes < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60:02d} min"


@dataclass(frozen=True)
class _Place:
    """Where one panel lies in the frame; its view covers the whole frame."""

    panel: Panel
    view: View
    mask: Canvas
    inside: Panel | None  # what is seen through its neck


class _Stage:
    """The cloth laid out once, so that a frame is only its colours."""

    def __init__(self, cloth: Cloth) -> None:
        self.cloth = cloth_across(cloth)
        panels = self.cloth.panels
        bounds = np.array([panel.outline.bounds for panel in panels])
        (x0, y0), (x1, y1) = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
        wide, tall, count = float(x1 - x0), float(y1 - y0), len(panels)
        across = WIDTH - 2 * _MARGIN - _GAP * (count - 1)
        scale = min(across / (count * wide), (TALLEST - _TOP - _FOOT) / tall)
        self.height = 2 * round((scale * tall + _TOP + _FOOT) / 2.0)  # even, as films want it
        aside = (WIDTH - scale * wide * count - _GAP * (count - 1)) / 2.0
        self.ground = bare_paper(WIDTH, self.height)
        self.places: list[_Place] = []
        for number, panel in enumerate(panels):
            flip = panel.name.endswith("back")
            left = aside + number * (scale * wide + _GAP) + scale * (x1 if flip else -x0)
            view = draw.View(scale, float(left), _TOP - scale * y0, WIDTH, self.height, flip=flip)
            mask = draw.panel_mask(view, panel)
            behind = [each for each in panels if each.name == "back" and panel.name == "front"]
            below = mask
            if behind:
                below = np.maximum(mask, draw.panel_mask(view, behind[0]))
            self.ground *= 1.0 - 0.35 * shading.rim(below)[..., None]
            if behind:
                self.places.append(_Place(behind[0], view, below, behind[0]))
            self.places.append(_Place(panel, view, mask, None))

    def paint(self, srgb: Floats) -> Canvas:
        """Lay colours on the cloth, (N, 3) sRGB."""
        canvas = self.ground.copy()
        for place in self.places:
            light = draw.panel_light(place.view, self.cloth, place.panel, srgb)
            draw.lay(canvas, light if place.inside is None else 0.86 * light, place.mask)
        return canvas


class Reel:
    """A watcher that draws a frame of the dye at moments of the march.

    It holds at most about `MOST_FRAMES` small pictures, packed, whatever the detail.

    Parameters
    ----------
    rounds : int
        How many the plan has.
    title : str
        Written under the clock.
    hear : callable, optional
        Told of progress.
    turned : collection of int
        Rounds, counted from 1, whose bundle is turned over and takes ice twice.
    """

    def __init__(
        self,
        rounds: int,
        title: str,
        hear: Observer | None = None,
        turned: Collection[int] = (),
    ) -> None:
        self._rounds, self._title, self._hear = rounds, title, hear
        self._turned = frozenset(turned)
        steps = _STEPS * (rounds + len(self._turned))
        self._every = max(1, -(-steps // MOST_FRAMES))
        self._stage: _Stage | None = None
        self._wet: Floats | None = None
        self._frames: list[bytes] = []
        self.lengths: list[float] = []  # how long each frame is shown, over the others
        self.ice_gone: list[float] = []  # [h] of each round

    def __call__(self, stage: str, done: int, total: int) -> None:
        """Hear of progress."""
        if self._hear is not None:
            self._hear(stage, done, total)

    def watch(self, moment: Moment) -> None:
        """Draw the dye of a moment, or let it pass."""
        if moment.stage == "washed":
            self._rinse(moment)
            return
        if moment.done % self._every and moment.done != moment.total:
            return
        amount = moment.amount()
        last = moment.stage == "waiting" and moment.done == moment.total
        self._wet = amount if last else None
        part = moment.done / max(moment.total, 1)
        if moment.round in self._turned and moment.stage != "waiting":
            part = 0.5 * (part + (moment.stage == "turned"))
        word = _FIX if moment.stage == "waiting" else _ICE if moment.done else _LAID
        self._draw(moment, amount, part, word, 1.0)

    def _rinse(self, moment: Moment) -> None:
        """Show the rinses, each of which takes half of what is loose, and the dry piece."""
        clean = moment.amount()
        if self._wet is not None:
            for n, gone in enumerate(RINSES):
                left = clean + (1.0 - gone) * (self._wet - clean)
                self._draw(moment, left, (n + 1) / (len(RINSES) + 1), _RINSE, 2.0)
        self._wet = None
        self._draw(moment, clean, 1.0, _DONE, 14.0)
        self.ice_gone.append(moment.ice_gone)

    def _draw(self, moment: Moment, amount: Floats, part: float, word: str, length: float) -> None:
        from meltwick.colour import render
        from meltwick.types import FixedDye

        if self._stage is None:
            self._stage = _Stage(moment.cloth)
        look = render(moment.cloth, FixedDye(moment.species, np.maximum(amount, 0.0)))
        canvas = self._stage.paint(look.srgb)
        _write(canvas, moment, part, word, self._heading(moment))
        self._frames.append(zlib.compress(draw.encode(canvas).tobytes(), 1))
        self.lengths.append(length)

    def _heading(self, moment: Moment) -> str:
        if self._rounds == 1:
            return self._title
        return BETWEEN.join((self._title, f"round {moment.round} of {self._rounds}"))

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of a frame [px]."""
        return WIDTH, (self._stage.height if self._stage else 0)

    @property
    def count(self) -> int:
        """Number of frames."""
        return len(self._frames)

    def frame(self, number: int) -> NDArray[np.uint8]:
        """Unpack a frame, (H, W, 3) sRGB."""
        wide, tall = self.size
        flat = np.frombuffer(zlib.decompress(self._frames[number]), dtype=np.uint8)
        return flat.reshape(tall, wide, 3)


def _write(canvas: Canvas, moment: Moment, part: float, word: str, heading: str) -> None:
    """Write the clock, the bar with the moment when the ice is gone, and the note."""
    height, width = canvas.shape[:2]
    ink, size = draw.decode(np.array(INK) / 255.0), (width, height)
    tint = (float(ink[0]), float(ink[1]), float(ink[2]))

    def write(at: tuple[float, float], text: str, px: int, anchor: str, cover: float) -> None:
        draw.lay(canvas, tint, cover * draw.text_mask(size, at, text, px, anchor))

    base = float(height - _FOOT + 38)
    wide = float(width - 2 * _MARGIN)
    write((_MARGIN, base), clock(moment.hours), 22, "ls", 1.0)
    taken = draw.type_face(22).getlength("000 h 00 min")
    write((_MARGIN + taken + 14, base), word, 15, "ls", 0.8)
    room = wide - taken - 14 - draw.type_face(15).getlength(_FIX) - 24
    write((width - _MARGIN, base), draw.fit_text(heading, 14, room), 14, "rs", 0.7)
    _bar(canvas, (base + 14.0, wide), moment.stage, part, tint)
    gone = _MARGIN + wide * _BAR["melting"][1]
    write((gone, base + 36), f"ice gone after {clock(moment.ice_gone)}", 12, "ms", 0.7)
    write((_MARGIN, base + 54), NOTE, 12, "ls", 0.6)


def _bar(
    canvas: Canvas,
    at: tuple[float, float],
    stage: str,
    part: float,
    ink: tuple[float, float, float],
) -> None:
    """Draw how far the round is: a hairline that fills, ticks where the ice is gone and rinsed."""
    top, wide = round(at[0]), at[1]
    low, high = _BAR[stage]
    now = round(_MARGIN + wide * (low + part * (high - low)))
    end = round(_MARGIN + wide)
    canvas[top : top + 2, _MARGIN:end] += 0.25 * (
        np.array(ink, np.float32) - canvas[top : top + 2, _MARGIN:end]
    )
    canvas[top - 1 : top + 3, _MARGIN:now] = ink
    for share in (_BAR["melting"][1], _BAR["waiting"][1]):
        x = round(_MARGIN + wide * share)
        canvas[top - 4 : top + 6, x : x + 1] = ink
