"""What a result says in the maker's words: one sentence and a short table."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from meltwick.advice import Advice
    from meltwick.journal.profiles import Profile
    from meltwick.photo.measuring import Measured
    from meltwick.study import Spread
    from meltwick.types import Floats, Result

CLASSES = ("white", "pale", "mid", "deep")

_PALE_TOLD = 5  # [%] of pale cloth that the sentence mentions; chosen

_ALIKE = ((1 / 3, "hardly"), (2 / 3, "somewhat"))  # chosen: thirds of the likeness

_PARTS = (
    (0.025, "almost no white"),
    (0.08, "a trace of white"),
    (0.15, "about a tenth white"),
    (0.225, "about a fifth white"),
    (0.29, "about a quarter white"),
    (0.365, "about a third white"),
    (0.45, "about two fifths white"),
    (0.55, "about half white"),
    (0.63, "about three fifths white"),
    (0.705, "about two thirds white"),
    (0.78, "about three quarters white"),
    (0.85, "about four fifths white"),
    (0.93, "about nine tenths white"),
    (0.985, "almost all white"),
)


def white_words(share: float, ground: str = "white") -> str:
    """Say a share of white, 0..1, as a part; the ground's word stands for white."""
    words = next((words for most, words in _PARTS if share < most), "no colour at all")
    return words if ground == "white" else words.replace("white", f"left {ground}")


def percent(share: float) -> int:
    """Round to whole percents as `dyed_to_white` does, so that the two never differ."""
    return int(100.0 * share + 0.5)


def percents(low: float, high: float) -> str:
    """Say from which share to which, in whole percents: 6 to 9 %."""
    least, most = percent(low), percent(high)
    return f"{least} %" if least == most else f"{least} to {most} %"


def sentence(result: Result, spread: Spread | None = None) -> str:
    """Say in one sentence what to expect; where several hands ran, of the middle one."""
    from meltwick.shares import dyed_to_white

    ground = result.cloth.fabric.ground_name
    ratio = dyed_to_white(result.white_share)
    pale = round(100.0 * result.shares.whole.get("pale", 0.0))
    # The eye takes much of the palest grade for white, so it is told apart here.
    also = f"; another {pale} % is only tinted, pale" if pale >= _PALE_TOLD else ""
    if spread is None:
        return f"Expect {white_words(result.white_share, ground)}, {ratio} dyed to {ground}{also}."
    found = percents(spread.low, spread.high)
    if "to" in found and spread.hands > 2:
        found += f", {percent(spread.median)} % in the middle"
    count = number_word(spread.hands)
    return (
        f"Expect {white_words(spread.median, ground)}: {count} hands gave {found}. The piece drawn "
        f"large is {ratio} dyed to {ground}{also}."
    )


_ORDINAL = ("first", "second", "third", "fourth", "fifth", "sixth")


def rounds_lines(result: Result) -> list[str]:
    """Say what each later round did to the white, a line a round."""
    ground = result.cloth.fabric.ground_name
    kept = "white" if ground == "white" else f"left {ground}"
    lines = []
    for number in range(1, len(result.rounds)):
        before, after = (result.rounds[n].shares["white"] for n in (number - 1, number))
        old, new = (white_words(share, ground) for share in (before, after))
        start, end = percent(before), percent(after)
        round_word = f"The {_ORDINAL[number]} round"
        if start == end:
            lines.append(f"{round_word} leaves the {kept} as it was, {end} %.")
        elif old == new:
            lines.append(f"{round_word} takes the {kept} from {start} to {end} %.")
        else:
            lines.append(f"{round_word} takes the piece from {old} ({start} %) to {new} ({end} %).")
    return lines


def beside_lines(result: Result) -> list[str]:
    """Say how the pieces that shared the tray come out, a line each."""
    from meltwick.shares import dyed_to_white

    lines = []
    for piece in result.beside:
        ground = piece.cloth.fabric.ground_name
        words = white_words(piece.white_share, ground)
        ratio = dyed_to_white(piece.white_share)
        lines.append(f"Beside it, {piece.plan}: {words}, {ratio} dyed to {ground}.")
    return lines


def points_word(share: float) -> str:
    """Say a share as points of white: 1 point, 12 points."""
    points = percent(share)
    return f"{points} point{'' if points == 1 else 's'}"


def profile_lines(profile: Profile | None) -> list[str]:
    """Say what a profile rests on and what it does to the white; nothing without one."""
    if profile is None:
        return []
    whole = sum(profile.effects)
    way = "more" if whole > 0.0 else "less"
    added = f"about {points_word(abs(whole))} {way} white on them"
    if percent(abs(whole)) == 0:
        added = "hardly any other white on them"
    return [
        f"As {profile.name}, learned from {len(profile.pieces)} of your own pieces: {added} than "
        f"the book has. Each, predicted from the others, was missed by {points_word(profile.after)}"
        f" instead of {percent(profile.before)}."
    ]


def doubt_sentence(
    result: Result,
    spread: Spread | None = None,
    hint: bool = True,
    profile: Profile | None = None,
) -> str:
    """Say how far the hands and the model itself may be off, with a hint how to see more hands."""
    from meltwick.study import doubt_for, model_doubt, widened

    doubt = model_doubt(result.fold) if profile is None else doubt_for(result.fold, profile)
    off = f"it may be off by about {points_word(doubt)} either way"
    model = f"a model not yet checked against your own pieces: {off}"
    if profile is not None:
        count = len(profile.pieces)
        missed = f"missed each by about {points_word(profile.after)}"
        model = f"a model checked against {count} of your own pieces, which {missed}: {off}"
    ground = result.cloth.fabric.ground_name
    kept = "white" if ground == "white" else f"left {ground}"
    if spread is None:
        more = "; --hands 5 shows how far others differ" if hint else ""
        least_most = percents(
            *widened(result.white_share, result.white_share, result.fold, profile)
        )
        return (
            f"No two hands fold alike, and this is {model}, so say {least_most} {kept} for "
            f"this hand{more}."
        )
    between = percents(*widened(spread.low, spread.high, result.fold, profile))
    return f"This is {model}, so say {between} {kept}."


def show_hex(lab: Floats | Sequence[float]) -> str:
    """Return the nearest colour that a screen can show, ``#rrggbb``."""
    import numpy as np

    from meltwick.colour.standard import to_srgb

    red, green, blue = np.rint(255.0 * to_srgb(np.atleast_2d(lab))[0]).astype(int).tolist()
    return f"#{red:02x}{green:02x}{blue:02x}"


def number_word(count: int) -> str:
    """Write small numbers as words."""
    words = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    return words[count] if 0 <= count < len(words) else str(count)


def _alike(likeness: float) -> str:
    word = next((word for most, word in _ALIKE if likeness < most), "very")
    return f"{word} alike ({percent(likeness)} %)"


def likeness_line(result: Result) -> str:
    """Say how alike front and back, and left and right, are."""
    shares = result.shares
    sides = f"eft and right are {_alike(shares.left_right_likeness)}."
    if shares.front_back_likeness is None:
        return f"L{sides}"
    return f"Front and back are {_alike(shares.front_back_likeness)}; l{sides}"


def told(advice: Sequence[Advice], level: Literal["note", "warning"]) -> list[str]:
    """Lines of the advice of one level, such as ``Warning: No dye is laid.``."""
    return [f"{level.capitalize()}: {item.text}" for item in advice if item.level == level]


def percentages(shares: Mapping[str, float]) -> list[int]:
    """Round shares to whole percents that add up to 100 (largest remainder)."""
    exact = [100.0 * shares.get(key, 0.0) for key in CLASSES]
    whole = [int(value) for value in exact]
    left = round(sum(exact)) - sum(whole)
    order = sorted(range(len(exact)), key=lambda i: whole[i] - exact[i])
    for i in order[: max(left, 0)]:
        whole[i] += 1
    return whole


def table(result: Result | Measured) -> list[str]:
    """Lines of a plain table: the whole, each panel, each zone."""
    ground = result.cloth.fabric.ground_name
    shares = result.shares
    rows: list[tuple[str, Mapping[str, float]]] = [("whole", shares.whole)]
    if len(shares.panels) > 1:
        rows += list(shares.panels.items())
    rows += list(shares.zones.items())
    first = ground if len(ground) <= 8 else "undyed"
    wide = max(len(name) for name, _ in rows) + 2
    lines = ["  " + " " * wide + "".join(f"{word:>9}" for word in (first, *CLASSES[1:]))]
    for name, values in rows:
        cells = "".join(f"{value:>7} %" for value in percentages(values))
        lines.append("  " + f"{name:<{wide}}{cells}")
    return lines


def length_unit(plan: str) -> Literal["cm", "in"]:
    """Choose the unit of the scale bar: the one that the plan's lengths are mostly written in.

    A pipe's trade name ("1-1/2 in pipe") says nothing about the maker's habit.
    """
    inches = re.findall(r"[\d½¼¾⅛⅜⅝⅞] ?(?:in|inch|inches|ft|feet)\b(?! pipe)", plan)
    metric = re.findall(r"\d ?(?:mm|cm|m)\b", plan)
    return "in" if len(inches) > len(metric) else "cm"
