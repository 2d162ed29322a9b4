"""What a maker made: pieces, their plans as run, what was predicted and what they measured."""

from __future__ import annotations

from meltwick.journal.book import Journal, Merged, Picture, pieces
from meltwick.journal.opening import usual_path
from meltwick.journal.records import Cost, Entry, Note, Outcome, Photo, Piece, Prediction

__all__ = [
    "Cost",
    "Entry",
    "Journal",
    "Merged",
    "Note",
    "Outcome",
    "Photo",
    "Picture",
    "Piece",
    "Prediction",
    "pieces",
    "usual_path",
]
