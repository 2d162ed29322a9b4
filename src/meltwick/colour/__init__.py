"""Colour: dye on fibre to spectrum, spectrum to CIELAB and sRGB, and colour differences."""

from meltwick.colour.difference import delta_e00, delta_e76
from meltwick.colour.look import colours, ground_lab, ground_srgb, render, swatch
from meltwick.colour.spectra import strengths, undyed

__all__ = [
    "colours",
    "delta_e00",
    "delta_e76",
    "ground_lab",
    "ground_srgb",
    "render",
    "strengths",
    "swatch",
    "undyed",
]
