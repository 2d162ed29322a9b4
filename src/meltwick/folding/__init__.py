"""Folds: each maps points of cloth to a place in the bundle and an order in the stack."""

from meltwick.folding.halve import halve
from meltwick.folding.pole import wrap
from meltwick.folding.stack import Stack, lay_flat

__all__ = ["Stack", "halve", "lay_flat", "wrap"]
