"""Sets of marks on the clock, each a whole number whose bit n says whether mark n is in the set.

One `&` or `>>` then treats every mark of a season at once, and a set never changes.
"""

from __future__ import annotations


def between(low: int, high: int) -> int:
    """Set of the marks from low up to, but not with, high."""
    low = max(low, 0)
    return ((1 << (high - low)) - 1) << low if high > low else 0


def first(marks: int) -> int:
    """Earliest mark of a set that is not empty."""
    return (marks & -marks).bit_length() - 1


def last(marks: int) -> int:
    """Latest mark of a set that is not empty."""
    return marks.bit_length() - 1


def runs(free: int, length: int) -> int:
    """Find the marks from which so many, 1 or more, in a row are free."""
    have = 1
    while have < length and free:
        step = min(have, length - have)
        free &= free >> step
        have += step
    return free


def onwards(marks: int, free: int, wait: int) -> int:
    """Find the marks reached from a set by waiting up to so long while all is free.

    Mark t is reached from s when s <= t <= s + wait and every mark from s up to t is free. Jumps
    of 1, 2, 4 ... marks make it quick; once a jump adds nothing, no longer one does.
    """
    jump, done, clear = 1, 0, free
    while done < wait and clear:
        step = min(jump, wait - done)
        way = clear if step == jump else runs(free, step)
        grown = marks | (marks & way) << step
        if grown == marks:
            break
        marks, done = grown, done + step
        clear &= clear >> jump
        jump *= 2
    return marks


def backwards(marks: int, free: int, wait: int) -> int:
    """Find the marks from which a set is reached by waiting up to so long while all is free."""
    jump, done, clear = 1, 0, free
    while done < wait and clear:
        step = min(jump, wait - done)
        way = clear if step == jump else runs(free, step)
        grown = marks | (marks >> step) & way
        if grown == marks:
            break
        marks, done = grown, done + step
        clear &= clear >> jump
        jump *= 2
    return marks


def free_since(free: int, mark: int) -> int:
    """Earliest mark from which all is free up to a mark."""
    taken = ~free & ((1 << mark) - 1)
    return taken.bit_length()


def free_until(free: int, mark: int) -> int:
    """Latest mark up to which all is free from a mark, that mark itself where it is taken."""
    ahead = free >> mark
    gap = ~ahead & (ahead + 1)  # the lowest bit that is not set
    return mark + gap.bit_length() - 1
