"""A piece as it was found: what a plan starts from, and the colours that photographs show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from meltwick.types.making import Dye


@dataclass(frozen=True)
class Start:
    """The piece that is dyed over, before anybody looked at its photographs."""

    photos: tuple[tuple[str, str], ...]  # panel and file, as it is opened
    contents: tuple[tuple[str, str], ...]  # panel and SHA-256 of the file
    dyes: tuple[Dye, ...]  # that are known to be on it
    unseen: Literal["undyed", "front"] = "undyed"  # what a back without a photograph is like

    @property
    def names(self) -> str:
        """The files' own names, for showing."""
        return " and ".join(file.replace("\\", "/").rpartition("/")[2] for _, file in self.photos)


@dataclass(frozen=True)
class PhotoCloth:
    """The colour of every cell, as photographs show it. N cells."""

    linear: NDArray[np.float64]
    """(N, 3) linear sRGB, D65, 1 for the perfect white, so balanced that undyed cloth has the
    undyed colour of the plan's cloth."""
    known: NDArray[np.bool_]  # (N,) cells that a photograph shows
    digest: Mapping[str, str]  # panel -> SHA-256 of its photograph
    notes: tuple[str, ...] = ()  # what the maker should know of the photographs
