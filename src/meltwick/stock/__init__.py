"""What a plan may name: blanks, fabrics, poles, pulls and dyes, as data that makers may add to."""

from meltwick.stock.loader import (
    BlankLine,
    Stock,
    load_stock,
    load_stock_with,
    own_dyes,
    own_folder,
    stock_components,
)

__all__ = [
    "BlankLine",
    "Stock",
    "load_stock",
    "load_stock_with",
    "own_dyes",
    "own_folder",
    "stock_components",
]
