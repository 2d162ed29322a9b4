"""What lies on what: columns of a bundle, and the faces that water runs along."""

from meltwick.stacking.columns import PASSES, Columns, Stacked, column_film, columns, stack_up
from meltwick.stacking.pairs import merge_pairs, side_by_side

__all__ = [
    "PASSES",
    "Columns",
    "Stacked",
    "column_film",
    "columns",
    "merge_pairs",
    "side_by_side",
    "stack_up",
]
