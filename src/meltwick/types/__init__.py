"""Every frozen record that travels the corridor, in SI units.

Arrays are flat, panel after panel; species (dye components) come last. Records are never
modified: each room takes some and returns new ones.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from meltwick.types.making import (
    Accordion,
    BandTie,
    Blank,
    Caught,
    Clamps,
    Component,
    Dye,
    Fabric,
    Fold,
    Halve,
    Ice,
    Patch,
    PoleWrap,
    Powder,
    Recipe,
    Rope,
    Rosettes,
    Round,
    Scrunch,
    Sector,
    Soda,
    Spiral,
    Spot,
    Stitching,
    StringTie,
    Tie,
    TiedRings,
    TubeWrap,
)

if TYPE_CHECKING:
    from shapely.geometry import Polygon

__all__ = [
    "Accordion",
    "Balance",
    "BandTie",
    "Blank",
    "Bundle",
    "Caught",
    "Clamps",
    "Cloth",
    "Component",
    "Detail",
    "Dye",
    "Fabric",
    "FixedDye",
    "Flags",
    "Floats",
    "Fold",
    "Halve",
    "Ice",
    "Ints",
    "Liquor",
    "Look",
    "Moment",
    "Observer",
    "Panel",
    "Patch",
    "PoleWrap",
    "Powder",
    "Recipe",
    "Result",
    "Rope",
    "Rosettes",
    "Round",
    "RoundReport",
    "Scrunch",
    "Sector",
    "Seepage",
    "Shares",
    "Soda",
    "Spiral",
    "Spot",
    "Stitching",
    "StringTie",
    "Tie",
    "TiedRings",
    "TubeWrap",
    "Watch",
    "Watcher",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Flags = NDArray[np.bool_]

Observer = Callable[[str, int, int], None]
"""``observer(stage, done, total)``; ``done`` never falls within a stage."""


@dataclass(frozen=True)
class Moment:
    """The dye of a round at one moment. It costs nothing until ``amount`` is called."""

    cloth: Cloth
    round: int  # counted from 1
    stage: str  # melting, turned (melting again, turned over), waiting or washed
    hours: float  # since the round's ice went on
    ice_gone: float  # [h] when it is
    done: int  # steps of the stage that are over
    total: int
    amount: Callable[[], Floats]
    """All dye on the cloth, as powder, dissolved, held, hydrolysed or fixed, as far as the fibre
    has sites for it, (N, K) [kg per kg of all fibre]: what `meltwick.colour.render` takes."""
    species: tuple[Component, ...]


Watch = Callable[[Moment], None]


@runtime_checkable
class Watcher(Protocol):
    """An observer that also looks at the dye, as a film does: see `Moment`."""

    def __call__(self, stage: str, done: int, total: int) -> None:
        """Hear of progress."""

    def watch(self, moment: Moment) -> None:
        """Look at the dye after a step; between two calls nothing is kept for the watcher."""


# --------------------------------------------------------------------------- cloth


@dataclass(frozen=True)
class Panel:
    """One piece of the garment laid flat; the back is stored as seen through the front."""

    name: str
    outline: Polygon  # [mm] x right from the spine, y down from the high point of the shoulder
    origin: tuple[float, float]  # [m] x, y of the raster's upper left corner
    index: Ints  # (rows, cols): cell number, or -1 outside
    first: int  # number of the panel's first cell
    count: int


@dataclass(frozen=True)
class Cloth:
    """The raster of every panel. N cells, all of one square pitch."""

    pitch: float  # [m]
    panels: tuple[Panel, ...]
    fabric: Fabric
    panel: Ints  # (N,) which panel
    row: Ints  # (N,)
    col: Ints  # (N,)
    x: Floats  # (N,) [m] right of the spine, as seen from the front
    y: Floats  # (N,) [m] down from the shoulder's high point
    thickness: Floats  # (N,) [m], more at hems, ribs and seams
    mass_per_area: Floats  # (N,) [kg/m2]
    dyeable: Flags  # (N,) False under stitching and label: outside the white share
    edges: Ints  # (E, 2) in-plane neighbours: right and below, within one panel
    seams: Ints  # (S, 2) cells joined across a seam
    zone: Ints  # (N,) index into zones
    zones: tuple[str, ...]
    details: tuple[Detail, ...] = ()  # lines that a picture draws
    places: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """Points of the body by name, [m] right of the spine and down from the shoulder."""
    wets: Floats = field(default_factory=lambda: np.zeros(0))
    """(N,) share of the fibre that water reaches; empty: all of it, everywhere."""

    @property
    def taking(self) -> float | Floats:
        """Share of the fibre mass that takes dye: one number, or (N, 1) for unscoured cloth."""
        share = np.asarray(self.fabric.dyeable_share)  # of each cell where cloths lie in one tray
        if self.wets.size:
            share = share * self.wets
        return share[:, None] if share.ndim else float(share)

    @property
    def size(self) -> int:
        """Number of cells."""
        return len(self.x)


@dataclass(frozen=True)
class Detail:
    """A line of the garment that a picture draws: a rib's edge, a row of stitching, a seam."""

    kind: str  # rib edge, hem stitching, sleeve seam, label, cuff rib, handle edge and the like
    panel: str
    points: Floats  # (n, 2) [mm] x right of the spine, y down from the shoulder's high point


# --------------------------------------------------------------------------- bundle


@dataclass(frozen=True)
class Bundle:
    """Folded and tied cloth: who touches whom, and where each cell lies in the room."""

    contacts: Ints  # (C, 2) cells of consecutive layers
    contact_area: Floats  # (C,) [m2]
    film: Ints  # (F, 2) cells whose outsides are neighbours on the bundle's surface
    film_width: Floats  # (F,) shared width over distance [-]
    exposed: Floats  # (N,) share of the cell that lies on the outside
    upward: Floats  # (N,) share of the cell that rain from above would strike
    covered: Floats  # (N,) share of the exposed part that lies under string
    along: Floats  # (N,) [m] from the low end, along the pole or rack
    across: Floats  # (N,) [m] sideways from the pole's axis
    height: Floats  # (N,) [m] z in the room
    depth: Floats  # (N,) [m] of cloth between the cell and the outside
    layers: Floats  # (N,) layers in the cell's column
    pressure: Floats  # (N,) [Pa]
    solid: Floats  # (N,) phi, compressed
    thickness: Floats  # (N,) [m], compressed
    length: float  # [m] along the pole or rack
    strain99: float  # 99th percentile of the hand's stretch of the map
    downward: Floats | None = None  # (N,) share that rain from below would strike; None: nothing


# --------------------------------------------------------------------------- water and dye


@dataclass(frozen=True)
class Seepage:
    """Steady flow at several melt levels, and what it reports."""

    levels: Floats  # (Q,) melt rate over the first melt rate
    w: Floats  # (Q, N) exp(alpha H)
    melt: Floats  # (N,) [m3/s] at level 1
    over_full_share: float
    ran_off_share: float


@dataclass(frozen=True)
class Balance:
    """Where the dye went [kg]. It closes to 1e-9 of what was laid."""

    laid: float
    fixed: float
    hydrolysed: float
    ran_off: float
    drained: float
    washed_out: float
    undissolved: float

    @property
    def relative_error(self) -> float:
        """Laid less all that it became, over laid (0 when nothing was laid)."""
        found = (
            self.fixed
            + self.hydrolysed
            + self.ran_off
            + self.drained
            + self.washed_out
            + self.undissolved
        )
        return abs(self.laid - found) / self.laid if self.laid else abs(found)


@dataclass(frozen=True)
class FixedDye:
    """Dye bound to the fibre after wash-out, (N, K) [kg per kg of fibre]."""

    species: tuple[Component, ...]
    amount: Floats


@dataclass(frozen=True)
class Look:
    """The colour of every cell, dry."""

    srgb: Floats  # (N, 3) 0..1, encoded
    lab: Floats  # (N, 3) CIELAB, D65, 2 degrees
    delta: Floats  # (N,) Delta E*ab to the undyed cloth
    undyed_srgb: tuple[float, float, float]


@dataclass(frozen=True)
class Shares:
    """Area shares of the dyeable cloth."""

    whole: Mapping[str, float]  # white, pale, mid, deep
    white_at: Mapping[str, float]  # white share by threshold
    panels: Mapping[str, Mapping[str, float]]
    zones: Mapping[str, Mapping[str, float]]
    front_back_likeness: float | None  # None where there is no back
    left_right_likeness: float


@dataclass(frozen=True)
class Liquor:
    """What ran off or dripped from a bundle while its ice melted, mixed."""

    species: tuple[Component, ...]
    active: Floats  # (K,) [kg] of dye that can still fix
    spent: Floats  # (K,) [kg] hydrolysed
    volume: float  # [m3]
    seconds: float  # that it took to gather


@dataclass(frozen=True)
class RoundReport:
    """What one round did, for the table and the JSON."""

    layers_mean: float
    exposed_share: float
    melt_hours: float
    melt_hours_90: float
    ran_off_share: float
    over_full_share: float
    strain99: float
    steps: int
    balance: Balance
    liquor: Liquor | None = field(default=None, compare=False)  # what ran off, for a piece below
    shares: Mapping[str, float] = field(default_factory=dict)
    """Area shares after the round, the dye of earlier ones included: white, pale, mid, deep."""


@dataclass(frozen=True)
class Result:
    """Everything that a preview shows. The cloth and its look come along for pictures."""

    plan: str
    digest: str
    seed: int
    detail_pitch: float  # [m]
    cloth: Cloth
    fixed: FixedDye
    look: Look
    shares: Shares
    rounds: tuple[RoundReport, ...]
    seconds: Mapping[str, float]
    fold: str = ""  # the last round's last fold, by its word in a plan
    looks: tuple[Look, ...] = ()  # after each round; the last is ``look``
    beside: tuple[Result, ...] = ()  # pieces that shared the last round's tray

    @property
    def white_share(self) -> float:
        """Area share of undyed cloth."""
        return self.shares.whole["white"]
