"""The work sheet as one picture, for a telephone at the bench or a wall."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from io import BytesIO

from PIL import Image, ImageDraw

from meltwick.picture import draw
from meltwick.picture.preview import DPI, INK, LONG_SIDE, MARGIN, PAPER
from meltwick.worksheet.cautions import CAUTIONS
from meltwick.worksheet.sheet import Drawn, Row, Sheet

_FAINT = (122, 110, 98)
_RULE = (217, 207, 193)
_TEXT, _SMALL = 19, 16  # [px] of type
_ROOM = LONG_SIDE - 2 * MARGIN
_GATHER = (0.28, 0.30, 0.42)  # shares of the width
_STEPS = (0.14, 0.54, 0.09, 0.23)


def draw_sheet(sheet: Sheet) -> Image.Image:
    """Draw a work sheet.

    Returns
    -------
    PIL.Image.Image
        RGB, 1600 px wide and as long as it takes; the same bytes for the same sheet.
    """
    strips = list(_strips(sheet))
    tall = sum(strip.height for strip in strips) + 2 * MARGIN
    whole = Image.new("RGB", (LONG_SIDE, tall), PAPER)
    y = MARGIN
    for strip in strips:
        whole.paste(strip, ((LONG_SIDE - strip.width) // 2, y))
        y += strip.height
    whole.info["dpi"] = (DPI, DPI)
    return whole


def _strips(sheet: Sheet) -> Iterator[Image.Image]:
    yield _line(sheet.title, 34, INK, 56)
    yield _line(f"Work sheet: {sheet.subtitle}", _SMALL, _FAINT, 34)
    yield from (_words(line) for line in sheet.notes.splitlines() if line.strip())
    if sheet.expect:
        yield _heading("What to expect")
        yield from (_words(line) for line in sheet.expect)
    yield from (_picture(each) for each in sheet.pictures[:1])
    yield _heading("Gather")
    for group in sheet.gatherings:
        yield _line(group.title, _TEXT, INK, 44)
        for item in group.items:
            cells = [(item.what, INK), (item.amount, INK), (item.how, _FAINT)]
            yield _table_row(cells, _GATHER)
    yield _heading("Take care")
    for title, text in CAUTIONS:
        yield _table_row([(title, INK), (text, INK)], (0.14, 0.86))
    yield _heading("Steps")
    last = 0
    for row in sheet.rows:
        if sheet.rounds > 1 and row.step.round != last:
            yield _line(f"Round {row.step.round}", _TEXT, INK, 44)
            last = row.step.round
        yield _step(row)
    if sheet.pictures[1:]:
        yield _heading("Fold guide")
        yield from (_picture(each) for each in sheet.pictures[1:])
    yield _heading("Watch")
    yield from (_words(f"– {line}") for line in sheet.watch)


def _line(text: str, px: int, colour: tuple[int, int, int], tall: int) -> Image.Image:
    strip = Image.new("RGB", (LONG_SIDE, tall), PAPER)
    said = draw.fit_text(text, px, _ROOM)
    pen = ImageDraw.Draw(strip)
    pen.text((MARGIN, tall - 10), said, fill=colour, font=draw.type_face(px), anchor="ls")
    return strip


def _heading(text: str) -> Image.Image:
    strip = _line(text, 24, INK, 76)
    pen = ImageDraw.Draw(strip)
    pen.line((MARGIN, 75, LONG_SIDE - MARGIN, 75), fill=INK, width=2)
    return strip


def _words(text: str) -> Image.Image:
    return _cells([(draw.wrap_text(text, _TEXT, _ROOM), INK, _TEXT)], (1.0,), ruled=False)


def _table_row(
    cells: Sequence[tuple[str, tuple[int, int, int]]], shares: Sequence[float]
) -> Image.Image:
    set_cells = []
    for (text, colour), share in zip(cells, shares, strict=True):
        px = _SMALL if colour == _FAINT else _TEXT
        set_cells.append((draw.wrap_text(text, px, share * _ROOM - 24), colour, px))
    return _cells(set_cells, shares)


def _step(row: Row) -> Image.Image:
    wide = _STEPS[1] * _ROOM - 24
    said = [row.step.title.upper() if row.step.hands else row.step.title]
    for line in row.step.lines:
        first, *rest = draw.wrap_text(line, _TEXT, wide - 24)
        said += [f"– {first}", *(f"   {each}" for each in rest)]
    colour = INK if row.step.hands else _FAINT
    return _cells(
        [
            (draw.wrap_text(row.when, _TEXT, _STEPS[0] * _ROOM - 12), INK, _TEXT),
            (said, colour, _TEXT),
            ([row.lasting], INK, _TEXT),
            (draw.wrap_text(row.step.how, _SMALL, _STEPS[3] * _ROOM - 12), _FAINT, _SMALL),
        ],
        _STEPS,
    )


def _cells(
    cells: Sequence[tuple[Sequence[str], tuple[int, int, int], int]],
    shares: Sequence[float],
    *,
    ruled: bool = True,
) -> Image.Image:
    """Set lines of type side by side, each in its share of the width."""
    tall = max(len(lines) * (px + 9) for lines, _, px in cells) + 14
    strip = Image.new("RGB", (LONG_SIDE, tall), PAPER)
    pen, left = ImageDraw.Draw(strip), float(MARGIN)
    for (lines, colour, px), share in zip(cells, shares, strict=True):
        for n, line in enumerate(lines):
            at = (left, 7 + px + n * (px + 9))
            pen.text(at, line, fill=colour, font=draw.type_face(px), anchor="ls")
        left += share * _ROOM
    if ruled:
        pen.line((MARGIN, tall - 1, LONG_SIDE - MARGIN, tall - 1), fill=_RULE, width=1)
    return strip


def _picture(drawn: Drawn) -> Image.Image:
    with Image.open(BytesIO(drawn.png)) as file:
        picture = file.convert("RGB")
    if picture.width > _ROOM:
        size = (_ROOM, round(picture.height * _ROOM / picture.width))
        picture = picture.resize(size, Image.Resampling.LANCZOS)
    framed = Image.new("RGB", (LONG_SIDE, picture.height + 24), PAPER)
    framed.paste(picture, ((LONG_SIDE - picture.width) // 2, 12))
    return framed
