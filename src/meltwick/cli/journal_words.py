"""What a journal says: one sentence on a piece, a table of many, everything of one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from meltwick.cli.words import CLASSES, number_word, percent, percents

if TYPE_CHECKING:
    from meltwick.journal import Journal, Outcome, Piece, Prediction

_WIDEST = 28  # characters of a name in the table
_NO_MARGIN = 0.005  # [share] below which a margin is no whole point


def size(count: float) -> str:
    """Write bytes as a maker reads them."""
    return f"{count / 1e6:.1f} MB" if count >= 1e5 else f"{max(count, 0) / 1e3:.1f} kB"


def counted(count: int, what: str) -> str:
    """Write 1 piece, 2 pieces."""
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _points(share: float) -> str:
    return counted(percent(share), "point")


def white_of(ground: str) -> str:
    """Say what stays: white, or left sky."""
    return "white" if ground == "white" else f"left {ground}"


def _found(outcome: Outcome) -> str:
    """Write a measured share in a table's cell."""
    off = f" ± {percent(outcome.white_margin)}" if outcome.white_margin >= _NO_MARGIN else ""
    return f"{percent(outcome.white_share)} %{off}" + (" by eye" if outcome.how == "by eye" else "")


def _verdict(expected: Prediction, outcome: Outcome) -> str:
    low, high = (outcome.white_share + sign * outcome.white_margin for sign in (-1, 1))
    gap = outcome.white_share - expected.white
    if high >= expected.low and low <= expected.high:
        return "the two agree as far as hands and eye can tell"
    way = "whiter" if gap > 0 else "darker"
    apart = f"it came out {_points(abs(gap))} {way} than predicted"
    if high >= expected.least and low <= expected.most:
        return f"{apart}, which is within what the model may be off"
    return f"{apart}, more than the model should be off: see whether the plan says what you did"


def _of_panel(expected: Prediction, panel: str) -> Prediction:
    """Return what was predicted of one panel: as far from the whole as the middle hand has it."""
    gap = expected.panels[panel].get("white", 0.0) - expected.shares.get("white", expected.white)

    def moved(share: float) -> float:
        return min(1.0, max(0.0, share + gap))

    return replace(
        expected,
        white=moved(expected.white),
        low=moved(expected.low),
        high=moved(expected.high),
        least=moved(expected.least),
        most=moved(expected.most),
    )


def compared(piece: Piece) -> str:
    """Say in one sentence what was predicted and what was measured, of the side that was."""
    outcome, kept = piece.outcome, white_of(piece.ground)
    how = "by eye" if outcome.how == "by eye" else "from the photograph"
    off = ""
    if outcome.white_margin >= _NO_MARGIN:
        off = f", give or take {_points(outcome.white_margin)}"
    measured = f"measured {percent(outcome.white_share)} % {how}{off}"
    expected = piece.prediction
    if expected is None:
        return f"{measured[0].upper()}{measured[1:]} {kept}; nothing was predicted."
    only = piece.only_panel
    if only is not None:
        expected, kept = _of_panel(expected, only), f"{kept} on the {only}"
    predicted = f"As {expected.profile}, predicted" if expected.profile else "Predicted"
    count = len(expected.by_hand)
    hands = "" if count == 1 else f" ({percents(expected.low, expected.high)} by "
    hands += "" if count == 1 else f"{number_word(count)} hands)"
    return (
        f"{predicted} {percent(expected.white)} % {kept}{hands}, {measured}: "
        f"{_verdict(expected, outcome)}."
    )


def listed(pieces: Sequence[Piece]) -> list[str]:
    """Set pieces as a table, a line each."""
    rows = [("", "made on", "name", "fold", "predicted", "measured")]
    for piece in pieces:
        name = piece.name if len(piece.name) <= _WIDEST else f"{piece.name[: _WIDEST - 3]}..."
        predicted = "" if piece.predicted is None else f"{percent(piece.predicted)} %"
        day = piece.made_on.isoformat()
        row = (str(piece.number), day, name, piece.fold or "none", predicted)
        rows.append((*row, _found(piece.outcome)))
    wide = [max(len(row[n]) for row in rows) for n in range(len(rows[0]))]
    return [
        "  ".join(
            cell.rjust(width) if n in (0, 4) else cell.ljust(width)
            for n, (cell, width) in enumerate(zip(row, wide, strict=True))
        ).rstrip()
        for row in rows
    ]


def holdings(journal: Journal, pieces: Sequence[Piece]) -> str:
    """Say how much the journal holds, and where it is."""
    from meltwick.journal.photographs import kept_size

    digests = {photo.sha256 for piece in pieces for photo in piece.photos}
    count, room = kept_size(journal.photos, digests)
    said = f"{counted(len(pieces), 'piece')} in {journal.path}, {size(journal.path.stat().st_size)}"
    if count:
        copies = "a copy" if count == 1 else "copies"
        photographs = counted(count, "photograph")
        said += f"; {copies} of {photographs} in {journal.photos}, {size(room)}"
    if len(digests) > count:
        photographs = counted(len(digests) - count, "photograph")
        said += f"; of {photographs} only the hash is known"
    return f"{said}."


def told(piece: Piece, journal: Journal) -> list[str]:
    """Say everything of one piece."""
    lines = [
        f"Piece {piece.number}: {piece.name}, made on {piece.made_on.isoformat()}",
        compared(piece),
        "",
        *_plan_lines(piece),
        *_prediction_lines(piece),
        *_table(piece),
        *_cost_lines(piece),
        *(_photo_lines(piece, journal.photos)),
    ]
    if piece.outcome.palette:
        lines.append(f"Palette: {counted(len(piece.outcome.palette), 'colour')} found.")
    for note in piece.notes:
        lines.append(f"Note of {note.at[:10]}: {' '.join(note.text.split())}")
    lines.append(f"Recorded on {piece.recorded[:10]}, mark {piece.identity[:12]}.")
    return lines


def _plan_lines(piece: Piece) -> list[str]:
    fold = f"last fold {piece.fold}" if piece.fold else "no fold"
    lines = [
        f"Plan: {piece.plan_name} ({piece.plan_file}), {fold}, seed {piece.seed}, digest "
        f"{piece.digest[:12]}"
    ]
    files = [*piece.kept, *(f"{name} of your own stock" for name in piece.kept_stock)]
    if files:
        lines.append(f"Kept with it: {', '.join(files)}")
    return lines


def _prediction_lines(piece: Piece) -> list[str]:
    made = piece.prediction
    if made is None:
        return []
    count = len(made.by_hand)
    by = f", by profile {made.profile}" if made.profile else ""
    return [
        f"Predicted by model {made.model} of meltwick {made.version}{by}, "
        f"{'one hand' if count == 1 else f'{number_word(count)} hands'} from seed {made.seed}, "
        f"cells of {made.pitch * 1e3:g} mm; with the model's own doubt "
        f"{percents(made.least, made.most)}"
    ]


def _table(piece: Piece) -> list[str]:
    """Set predicted beside measured: the classes of the whole, the white of panels and zones."""
    rows: list[tuple[str, float | None, float | None]] = []
    expected, found = piece.prediction, piece.outcome
    before = {} if expected is None else expected.shares
    for name in CLASSES:
        measured = found.shares.get(name)
        if name == "white" and measured is None:
            measured = found.white_share
        rows.append((name, before.get(name), measured))
    for kind in ("panels", "zones"):
        first = {} if expected is None else getattr(expected, kind)
        second = getattr(found, kind)
        if kind == "panels" and len(first) <= 1 and len(second) <= 1:
            continue
        for name in dict.fromkeys((*first, *second)):
            pair = (parts.get(name, {}).get("white") for parts in (first, second))
            rows.append((f"{name} white", *pair))
    rows = [row for row in rows if row[1:] != (None, None)]
    wide = max(len(row[0]) for row in rows)
    lines = ["", f"  {'':<{wide}}  predicted  measured"]
    for name, *shares in rows:
        one, other = ("" if share is None else f"{percent(share)} %" for share in shares)
        lines.append(f"  {name:<{wide}}  {one:>9}  {other:>8}".rstrip())
    return [*lines, ""]


def _cost_lines(piece: Piece) -> list[str]:
    from meltwick.journal.carrying import costs_told

    if not piece.costs:
        return []
    each = [
        f"{cost.amount} {cost.currency}".strip() + (f" {cost.note}" if cost.note else "")
        for cost in piece.costs
    ]
    if len(each) == 1:
        return [f"Cost: {each[0]}"]
    return [f"Cost: {' and '.join(costs_told(piece))}, of which {', '.join(each)}"]


def _photo_lines(piece: Piece, folder: Path) -> list[str]:
    from meltwick.journal.photographs import kept_photo

    lines = []
    for photo in piece.photos:
        day = f", taken on {photo.taken.isoformat()}" if photo.taken else ""
        found = kept_photo(folder, photo.sha256)
        copy = f"its copy is {found}" if found else f"no copy, hash {photo.sha256[:12]}"
        lines.append(f"Photograph of the {photo.panel}: {photo.file}{day}; {copy}")
    return lines
