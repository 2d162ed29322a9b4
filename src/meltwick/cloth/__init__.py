"""A garment laid flat: outlines, and the raster of every panel with its seams."""

from meltwick.cloth.build import CUTS, build_cloth, coarse_cloth, details

__all__ = ["CUTS", "build_cloth", "coarse_cloth", "details"]
