"""Folds: each maps points of cloth to a place in the bundle and an order in the stack."""

from meltwick.folding.accordion import accordion
from meltwick.folding.halve import halve
from meltwick.folding.pole import wrap
from meltwick.folding.rope import rope
from meltwick.folding.rosettes import rosettes, throw
from meltwick.folding.scrunch import scrunch
from meltwick.folding.spiral import drawn_in, most_turns, ribs_angle, spiral
from meltwick.folding.stack import Disc, Stack, lay_flat
from meltwick.folding.tube import girth, pull_over

__all__ = [
    "Disc",
    "Stack",
    "accordion",
    "drawn_in",
    "girth",
    "halve",
    "lay_flat",
    "most_turns",
    "pull_over",
    "ribs_angle",
    "rope",
    "rosettes",
    "scrunch",
    "spiral",
    "throw",
    "wrap",
]
