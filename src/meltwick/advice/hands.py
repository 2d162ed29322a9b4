"""Folding and tying in words: what hands do, seen by who stands over the cloth."""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees

from meltwick.advice.sizes import (
    Garment,
    Pile,
    disc_width,
    pack_width,
    piles,
    pleats_of,
    pushed_length,
    pushed_tube,
    rosettes_of,
)
from meltwick.advice.stringing import string_length
from meltwick.types import (
    Accordion,
    Clamps,
    Halve,
    PoleWrap,
    Rope,
    Rosettes,
    Round,
    Scrunch,
    Spiral,
    Spot,
    Stitching,
    StringTie,
    Tie,
    TiedRings,
    TubeWrap,
)
from meltwick.units import show_inches, show_length

_OTHER = {"front": "back", "back": "front", "left": "right", "right": "left"}


def fold_and_tie(turn: Round, garment: Garment) -> list[str]:
    """Say how the garment is laid, folded and tied, one step a line."""
    up, ends = _laid(turn)
    lies = f"Lay it flat, {_side(up, garment)} up"
    if not turn.folds:
        return [f"{lies}, and leave it unfolded.", *_tie(turn, garment)]
    lines = [f"{lies}, so that {_side(ends, garment)} ends outside." if up != ends else f"{lies}."]
    strip = "it"
    for fold, pile in piles(turn, garment):
        if isinstance(fold, Halve):
            lines.append(_halve(fold, strip, up))
        elif isinstance(fold, TubeWrap):
            lines += _tube(fold, pile, turn.tie, garment)
        elif isinstance(fold, PoleWrap):
            lines += _wrap(fold, pile, turn.tie, up)
        elif isinstance(fold, Accordion):
            lines.append(_pleat(fold, pile, strip, up))
            strip = "that strip"
        elif isinstance(fold, Scrunch):
            lines.append(_scrunch(fold, pile))
        elif isinstance(fold, Rope):
            lines += _rope(fold, up)
        elif isinstance(fold, Rosettes):
            lines += _rosettes(fold, pile, garment, up)
        else:
            lines += _twist(fold, pile, garment, up)
    return [*lines, *_tie(turn, garment)]


def standing(turn: Round, garment: Garment) -> str:
    """Say how a bundle lies on its rack: nothing where it lies as it must."""
    if turn.lies == "flat":
        return ", flat"
    if not any(isinstance(fold, Accordion) for fold in turn.folds):
        return ""
    if any(isinstance(fold, Halve) for fold in turn.folds):
        return ", on edge so that the pleats stand up"
    shows = _side(_OTHER[turn.outside], garment)
    return f", on edge so that the pleats stand up and {shows} shows at the creases on top"


def _laid(turn: Round) -> tuple[str, str]:
    """Which side faces up before folding, and which ends outside.

    ``Round.outside`` is the upper side of the pile. A pole is laid on the cloth and rolled up in
    it, so whoever rolls an unfolded garment lays it the other way up.
    """
    folds = turn.folds
    if folds and isinstance(folds[0], PoleWrap):
        return _OTHER[turn.outside], turn.outside
    turned = any(isinstance(fold, Halve | Accordion) for fold in folds)
    return turn.outside, _OTHER[turn.outside] if turned else turn.outside


def _side(side: str, garment: Garment) -> str:
    if garment.layers > 1:
        return f"the {side}"
    return "the right side" if side == "front" else "the wrong side"


def _hand(side: str, up: str) -> str:
    """Left or right of who stands over the cloth; plans say it as seen from the front."""
    return side if up == "front" else _OTHER[side]


def _both(metres: float) -> str:
    return f"{show_length(metres)} ({show_inches(metres)})"


def _halve(fold: Halve, what: str, up: str) -> str:
    side = f"{fold.moves} half" if fold.line == "waist" else f"half on your {_hand(fold.moves, up)}"
    return f"Fold {what} in half at the {fold.line}, the {side} over the other."


def _slant(angle: float, lean: str, up: str) -> str:
    """How a line runs on the garment."""
    slant = degrees(angle)
    if slant < 1.0:
        return "along the garment"
    if slant > 89.0:
        return "across the garment"
    return f"at {slant:.3g}° to the garment's length, leaning to your {_hand(lean, up)} at the top"


def _wrap(fold: PoleWrap, pile: Pile, tie: Tie | None, up: str) -> Iterator[str]:
    yield (
        f"Lay a pole {_both(fold.diameter)} thick on it, {_slant(fold.bias, fold.lean, up)}, "
        f"and roll the cloth on from the {fold.starts_at}."
    )
    if fold.squeeze > 1.0:
        first = "" if fold.even else f", the {fold.pushed_first} end first and tighter"
        yield (
            f"Push it together along the pole, {fold.squeeze:.2g} times shorter, to about "
            f"{_both(pushed_length(fold, pile, tie))}{first}."
        )


def _pleat(fold: Accordion, pile: Pile, what: str, up: str) -> str:
    across, along = pile.extent(fold.angle, fold.lean)
    again = "" if what == "it" else " again"
    count = pleats_of(fold, across)
    pleats = f"about {count} pleats" if count > 1 else "one pleat"
    return (
        f"Fold {what} back and forth{again} into pleats {_both(fold.pleat)} wide, the creases "
        f"{_slant(fold.angle, fold.lean, up)}: {pleats}, a pile "
        f"{show_length(min(across, fold.pleat))} wide and about {show_length(along)} long."
    )


def _twist(fold: Spiral, pile: Pile, garment: Garment, up: str) -> Iterator[str]:
    hands = "as a clock's hands go" if fold.sense == "right" else "against a clock's hands"
    turns = {1.0: "once", 2.0: "twice"}.get(fold.turns, f"{fold.turns:.2g} times")
    across = disc_width(fold, pile, garment.thickness)
    yield (
        f"Pinch it {_spot(fold.centre, up)} and turn it {hands}, so that about "
        f"{fold.pleats} pleats gather round the pinch."
    )
    yield (
        f"Keep turning, about {turns} round in all, and keep the pleats {_both(fold.height)} tall, "
        f"until it has drawn into a disc about {_both(across)} across."
    )


def _tube(fold: TubeWrap, pile: Pile, tie: Tie | None, garment: Garment) -> Iterator[str]:
    tube = "Pull it" if garment.layers > 1 else "Lay its long edges together and pull the tube"
    if fold.sewn:
        yield (
            f"{tube} over a pole {_both(fold.diameter)} thick, pin it close beside the pole from "
            "end to end, sew along the pins, and wind what is left over round it."
        )
    else:
        yield (
            f"{tube} over a pole {_both(fold.diameter)} thick, and lay what is too wide in gathers "
            "along the pole, all round."
        )
    if fold.squeeze > 1.0:
        first = "" if fold.even else f", the {fold.pushed_first} end first and tighter"
        yield (
            f"Push it together along the pole, {fold.squeeze:.2g} times shorter, to about "
            f"{_both(pushed_tube(fold, pile, tie))}{first}."
        )


def _rosettes(fold: Rosettes, pile: Pile, garment: Garment, up: str) -> Iterator[str]:
    # the twist is told from above, as a spiral's is
    hands = "as a clock's hands go" if fold.sense == "right" else "against a clock's hands"
    count = rosettes_of(fold, pile)
    yield (
        f"Pinch it here and there, about {_both(fold.spacing)} apart, some {count} times in all; "
        f"turn each pinch {hands}, about {fold.turns:.2g} round, so that about {fold.pleats} "
        "pleats gather round it."
    )
    yield (
        f"Keep all these small spirals {_both(fold.height)} tall and push them together side by "
        f"side, as one disc about {show_length(pack_width(fold, pile, garment.thickness))} across."
    )


def _rope(fold: Rope, up: str) -> Iterator[str]:
    wide = f", {_both(fold.gather)} wide" if fold.gather else ", as round as it will go"
    way = "along the garment" if fold.angle < 0.7 else "across the garment"
    yield (f"Gather it into a long bundle {way}, in uneven folds{wide}, and pull it straight.")
    turned = "as a screw goes in" if fold.sense == "right" else "against the way of a screw"
    yield f"Hold one end and turn the other {turned}, {fold.turns:.3g} times in all."
    if fold.doubled:
        yield "Fold it back on itself in the middle, and let the two halves wind round each other."


def _scrunch(fold: Scrunch, pile: Pile) -> str:
    wide, long = (side / fold.draw for side in sorted(pile.extent()))
    return (
        "Scrunch it up: draw it together with your fingers from every side, a little here and a "
        f"little there, into bumps that take up about {_both(fold.bump)}, until it is a low mound "
        f"about {show_length(wide)} by {show_length(long)}."
    )


def _spot(spot: Spot, up: str) -> str:
    off = []
    if spot.right:
        side = _hand("right" if spot.right > 0 else "left", up)
        off.append(f"{_both(abs(spot.right))} {side} of")
    if spot.down:
        off.append(f"{_both(abs(spot.down))} {'below' if spot.down > 0 else 'above'}")
    named = spot.place
    for side in ("left", "right"):
        if side in spot.place.split():
            named = spot.place.replace(side, _hand(side, up))
    return f"{' and '.join(off) or 'at'} the {named}"


def _tie(turn: Round, garment: Garment) -> Iterator[str]:
    tie = turn.tie
    if tie is None:
        return
    if isinstance(tie, Clamps):
        yield _clamp(tie)
        return
    if isinstance(tie, Stitching):
        yield from _stitch(tie, _laid(turn)[0])
        return
    if isinstance(tie, TiedRings):
        yield from _rings(tie, _laid(turn)[0])
        return
    pull = f"{tie.pull:.2g} N ({tie.pull / 9.80665:.2g} kg)"
    pulled = f"pulled {tie.word}, about {pull}" if tie.word else f"pulled at about {pull}"
    if isinstance(tie, StringTie):
        back = " and back again, so that it makes diamonds" if tie.crossed else ""
        long = show_length(string_length(turn, garment))
        yield (
            f"Wind string {show_length(tie.thickness)} thick round it every "
            f"{_both(tie.spacing)}{back}, {pulled}: some {long} of it, with its ends and knots."
        )
        return
    if tie.count == 1:
        yield f"Stretch a band {show_length(tie.width)} wide over its middle, {pulled}."
        return
    wedges = f", like spokes: {2 * tie.count} wedges" if _is_disc(turn) else ", crossing there"
    yield (
        f"Stretch {tie.count} bands {show_length(tie.width)} wide over its middle{wedges}. Each is "
        f"{pulled}."
    )


def _clamp(tie: Clamps) -> str:
    sized = {
        "square": f"square plates with sides of {_both(tie.size)}",
        "triangle": f"plates, triangles with sides of {_both(tie.size)}",
        "disc": f"round plates {_both(tie.size)} across",
        "bar": f"bars {_both(tie.size)} long and {_both(tie.breadth)} wide",
    }[tie.shape]
    across, along = (round(100.0 * share) for share in tie.at)
    middle = abs(across - 50) + abs(along - 50) < 1
    where = "its middle" if middle else f"{across} % of its width and {along} % of its length"
    turned = f", turned {degrees(tie.turn):.3g}° as a clock's hands go" if tie.turn else ""
    force = f"{tie.force:.0f} N ({tie.force / 9.80665:.0f} kg)"
    pressed = f"{tie.word}, with about {force}" if tie.word else f"with about {force}"
    return (
        f"Lay two {sized} over each other, one on each face of the pile at {where}{turned}, and "
        f"clamp them {pressed}."
    )


def _rings(tie: TiedRings, up: str) -> Iterator[str]:
    if tie.spots:
        where = "; ".join(_spot(spot, up) for spot in tie.spots)
        yield f"Pull up a peak through all layers {where}."
    else:
        yield (
            "Pull up peaks here and there all over it, through all layers, no two nearer than "
            f"{_both(tie.every)}."
        )
    pull = f"{tie.pull:.2g} N ({tie.pull / 9.80665:.2g} kg)"
    pulled = f"pulled {tie.word}, about {pull}" if tie.word else f"pulled at about {pull}"
    wide = f"{tie.wound} turns side by side, a ring {show_length(tie.wound * tie.thickness)} wide"
    again = ""
    if tie.times > 1:
        again = f", and again every {_both(tie.apart)} down from it, {tie.times} rings in all"
    if tie.outline == "circle":
        how = f"Gather each evenly and tie it off {_both(tie.from_tip)} from the tip"
    else:
        sized = (
            f"{_both(2.0 * tie.from_tip)} wide"
            if tie.outline == "heart"
            else (f"with sides of {_both(2.0 * tie.from_tip)}")
        )
        how = (
            f"For each, stitch a {tie.outline} {sized} round its tip, draw the stitches up and tie "
            "it off there"
        )
    yield (
        f"{how} with thread {show_length(tie.thickness)} thick, {pulled}: {wide}{again}. Let the "
        "peaks fall over."
    )
    if tie.capped:
        yield "Bind film over each peak, down to its last ring, so that no water gets in."


def _stitch(tie: Stitching, up: str) -> Iterator[str]:
    way = "across" if tie.rows > 0.7 else "along"
    pull = f"{tie.pull:.2g} N ({tie.pull / 9.80665:.2g} kg)"
    pulled = f"{tie.word}, about {pull}" if tie.word else f"at about {pull}"
    if tie.through:
        ends = " and ".join(_spot(spot, up).removeprefix("at ") for spot in tie.through)
        yield (
            "Sew one row of running stitch from edge to edge through all layers, by way of "
            f"{ends}, with doubled thread and stitches {_both(tie.stitch)} long."
        )
        yield f"Draw the thread up, pulled {pulled}, until the pleats lie close, and knot it."
        return
    yield (
        f"Sew rows of running stitch {way} it through all layers, every {_both(tie.spacing)}, with "
        f"doubled thread and stitches {_both(tie.stitch)} long, the stitches of all rows in line."
    )
    yield f"Draw the threads up, pulled {pulled}, until the pleats lie close, and knot them."


def _is_disc(turn: Round) -> bool:
    return bool(turn.folds) and isinstance(turn.folds[-1], Spiral | Rosettes)
