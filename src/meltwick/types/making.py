"""What a piece is made of and how: materials, folds, ties, and a plan resolved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Literal

if TYPE_CHECKING:
    from meltwick.types.seen import Start

# --------------------------------------------------------------------------- materials


@dataclass(frozen=True)
class Fabric:
    """A cloth as bought. Sources stand beside the data in ``stock/fabrics.toml``."""

    name: str
    mass_per_area: float  # [kg/m2]
    thickness: float  # [m] at about 1 kPa
    fibre_density: float  # [kg/m3]
    dyeable_share: float = 1.0  # share of the fibre mass that takes reactive dye
    uptake: float = 1.0  # sorption and sites relative to bleached cotton
    wetting: float = 1.0  # 1 wets at once, 0 sheds water
    scoured: bool = True  # an unscoured cloth wets in patches
    ground: tuple[float, ...] = ()  # reflectance 400..700 nm by 10 nm; empty: bleached white
    ground_name: str = "white"
    ground_colour: str = ""  # sRGB as #rrggbb, where no reflectance is known

    BY_CELL: ClassVar = ("mass_per_area", "thickness", "fibre_density", "dyeable_share")
    """What holds every cell's own number, (N,), where several cloths lie in one tray."""

    @property
    def solid(self) -> float:
        """Share of the cloth's volume that is fibre, phi0 = m / (rho_f T) (sources: identity)."""
        return self.mass_per_area / (self.fibre_density * self.thickness)


@dataclass(frozen=True)
class Blank:
    """A garment blank at one size. ``cut`` names the outline rule in ``cloth.py``."""

    name: str
    cut: str
    size: str
    measures: Mapping[str, float]  # [m] half_chest, length, sleeve ... or width, height
    shapes: tuple[tuple[tuple[float, float], ...], ...] = ()  # [m] borders of a maker's own outline
    open: tuple[str, ...] = ()  # sides where an own outline's front and back are not sewn


@dataclass(frozen=True)
class Component:
    """One dye molecule of a mixture."""

    name: str  # a Colour Index generic name where known, else our own word
    bands: tuple[tuple[float, float, float], ...]  # (peak [nm], half width [nm], K/S per % owf)
    kd: float  # [m3/kg] sorption slope in plain water; times Constants.grip for salt and cold
    strike: float  # fixing rate relative to Constants.k_fix
    diffusivity: float  # [m2/s] in water at 25 degC
    note: str = ""  # standing of the absorption data: read, memory or invented


@dataclass(frozen=True)
class Dye:
    """A jar of powder: components by mass share of pure dye."""

    name: str
    parts: tuple[tuple[Component, float], ...]  # shares sum to 1
    solubility: float = 70.0  # [kg/m3] near 0 degC
    spoon: float = 2.5e-3  # [kg] in one level US teaspoon
    dark: float = 0.5  # 0 light .. 1 dark, for the advice on order along an incline
    splitting_known: bool = True


# --------------------------------------------------------------------------- a plan, resolved


@dataclass(frozen=True)
class Halve:
    """Reflect across a line of the garment; the moving side lands on top."""

    line: Literal["spine", "waist"] = "spine"
    moves: Literal["left", "right", "top", "bottom"] = "left"


@dataclass(frozen=True)
class PoleWrap:
    """Roll round a cylinder at a bias, then push along it into knife pleats."""

    diameter: float  # [m] outside
    bias: float  # [rad] between the pole and the garment's length
    lean: Literal["right", "left"] = "right"  # towards which shoulder the pole points
    starts_at: Literal["hem", "shoulder"] = "hem"  # the corner that is laid on the pole first
    squeeze: float = 3.0  # cloth length / pushed length
    even: bool = False  # False: tighter at the end that was pushed first
    pushed_first: Literal["low", "high"] = "low"  # the end of the pole
    pole: str = ""  # trade name, for showing; empty when the plan gives a diameter


@dataclass(frozen=True)
class Accordion:
    """Zigzag into equal pleats; a second one across the first makes a brick."""

    pleat: float  # [m] width of a pleat
    angle: float = 0.0  # [rad] between the creases and the garment's length
    lean: Literal["right", "left"] = "right"  # towards which shoulder slanting creases point


@dataclass(frozen=True)
class Spot:
    """A point of the garment: a place of the body and how far from it."""

    place: str  # one of ``Cloth.places``
    right: float = 0.0  # [m] to the right, as seen from the front
    down: float = 0.0  # [m] below it


@dataclass(frozen=True)
class Spiral:
    """Twist round a point until the cloth has drawn into a disc of standing pleats."""

    centre: Spot
    pleats: int = 12  # that meet at the centre
    turns: float = 1.0  # that a pleat makes from the centre to the far edge
    height: float = 0.05  # [m] of the disc: no pleat stands taller
    sense: Literal["right", "left"] = "right"  # seen from above: right as a clock's hands


@dataclass(frozen=True)
class Scrunch:
    """Draw the cloth together from every side into a low mound."""

    draw: float = 3.0  # how much smaller the cloth becomes each way
    bump: float = 0.035  # [m] of cloth folded back in a pleat, on the mean


@dataclass(frozen=True)
class Rope:
    """Gather into a long bundle, twist it, and fold it back on itself."""

    gather: float = 0.0  # [m] width of the gathered bundle; 0: as wide as it is thick
    angle: float = 0.0  # [rad] between the rope and the garment's length
    turns: float = 2.5  # from end to end
    doubled: bool = True  # folded back on itself, so that its halves wind round each other
    sense: Literal["right", "left"] = "right"


@dataclass(frozen=True)
class Rosettes:
    """Twist round many points side by side, and hold the small spirals together as one disc."""

    spacing: float = 0.16  # [m] between neighbouring centres, on the mean
    pleats: int = 8  # that meet at each centre
    turns: float = 0.6  # that a pleat makes from its centre to the far edge
    height: float = 0.03  # [m] of the disc
    sense: Literal["right", "left"] = "right"


@dataclass(frozen=True)
class TubeWrap:
    """Pull the garment over a pole, as a tube, and push it along."""

    diameter: float  # [m] of the pole, outside
    squeeze: float = 3.0  # cloth length / pushed length
    sewn: bool = False  # to fit the pole; False: gathers along it where it is wider
    even: bool = False  # as a rolled pole's
    pushed_first: Literal["low", "high"] = "low"
    pole: str = ""  # trade name, for showing


Fold = Halve | PoleWrap | Accordion | Spiral | Scrunch | Rosettes | Rope | TubeWrap


@dataclass(frozen=True)
class StringTie:
    """String wound as a helix round the bundle."""

    spacing: float  # [m] along the pole, after pushing
    pull: float  # [N]
    thickness: float  # [m]
    word: str = ""  # loose, snug, tight, very tight, for showing; empty for a plan in newtons
    crossed: bool = False  # wound there and back again: two helices of opposite hand


@dataclass(frozen=True)
class BandTie:
    """Rubber bands round a bundle, all through its middle: they cut a disc into wedges."""

    count: int
    pull: float  # [N] of each
    width: float  # [m]
    word: str = ""  # for showing, as a string's


@dataclass(frozen=True)
class Clamps:
    """Two plates of one shape, one on each face of a flat pile, pressed together."""

    shape: Literal["square", "triangle", "disc", "bar"]
    size: float  # [m] side of a square or triangle, diameter of a disc, length of a bar
    breadth: float  # [m] of a bar
    force: float  # [N]
    at: tuple[float, float] = (0.5, 0.5)  # middle of the plates, share across and along the pile
    turn: float = 0.0  # [rad] as a clock's hands go, seen from above the pile's top face
    word: str = ""  # for showing, as a string's


@dataclass(frozen=True)
class TiedRings:
    """Peaks of a flat pile, drawn up at spots and tied off with thread."""

    spots: tuple[Spot, ...]  # where; none: scattered
    every: float  # [m] between scattered spots, at least
    from_tip: float  # [m] of cloth from a peak's tip to its first thread
    times: int  # how often a peak is tied
    apart: float  # [m] of cloth between one thread and the next
    wound: int  # turns of thread side by side
    thickness: float  # [m] of the thread
    pull: float  # [N]
    word: str = ""  # for showing, as a string's
    outline: Literal["circle", "square", "diamond", "heart"] = "circle"
    """Of a ring on the flat cloth; ``from_tip`` reaches the middle of a square's or a diamond's
    side. All but a circle are stitched round and drawn up."""
    capped: bool = False  # whether film is bound over the whole peak, down to the last ring


@dataclass(frozen=True)
class Stitching:
    """Rows of running stitch through a flat pile, drawn up so that it gathers into pleats."""

    rows: float  # [rad] between the rows and the garment's length, unless they go through spots
    spacing: float  # [m] from row to row
    stitch: float  # [m] length of a stitch: the width of a gather
    thickness: float  # [m] of the thread
    pull: float  # [N]
    word: str = ""  # for showing, as a string's
    through: tuple[Spot, ...] = ()  # two spots: one row runs through them, and there is no other


Tie = StringTie | BandTie | Clamps | TiedRings | Stitching


@dataclass(frozen=True)
class Soda:
    """Soda ash that the cloth carries; ``strength`` 0 means none."""

    how: str
    strength: float  # [kg/m3] sodium carbonate in the water that wets the cloth
    minutes: float = 20.0
    mass: float = 0.0  # [kg] of soda ash in the soak, for showing
    water: float = 0.0  # [m3] of the soak, for showing
    kind: str = "light"


@dataclass(frozen=True)
class Ice:
    """One load of ice."""

    mass: float  # [kg]
    chunk: float  # [m] typical piece
    kind: str = "cubes"
    after: float = 0.0  # [s] since the first ice went on, or since the bundle was turned over
    beside: float | None = None  # share that falls beside the bundle; None: as a mound's
    heap: str = ""  # mounded, level, fenced, in a trough; empty: mounded
    turned: bool = False  # laid once the bundle is turned over


@dataclass(frozen=True)
class Sector:
    """A slice of a bundle seen from above, round its middle."""

    first: float  # [turns] as a clock's hands go, from the high end
    last: float


@dataclass(frozen=True)
class Patch:
    """A round patch of a bundle seen from above."""

    up: float  # share of the way from the low end to the high one
    right: float  # [m] of the middle line, looking up the incline
    radius: float  # [m]


@dataclass(frozen=True)
class Powder:
    """One dye laid in one zone."""

    dye: str
    mass: float  # [kg]
    zone: tuple[float, float]  # along the incline, 0 low end .. 1 high end
    over_ice: bool = False
    side: Literal["top", "sides", "underneath", "all round"] = "top"
    place: Sector | Patch | None = None  # within the zone, seen from above; None: all of it
    turned: bool = False  # laid once the bundle is turned over


@dataclass(frozen=True)
class Round:
    """One dyeing from fold to wash."""

    folds: tuple[Fold, ...]
    tie: Tie | None
    soda: Soda
    ice: tuple[Ice, ...]
    powder: tuple[Powder, ...]
    incline: float  # [rad] of the pole or rack
    rest_on: str
    room: float  # [K] while the ice melts
    batch_time: float  # [s] counted from when the ice is gone
    batch_temperature: float  # [K]
    batch_cover: str  # wrapped, open
    wash: str  # careful, ordinary, hurried
    outside: Literal["front", "back"] = "front"  # the side that faces up before folding
    lies: Literal["", "pleats up", "flat"] = ""  # a bundle without a pole; empty: as is usual
    tub: float = 0.0  # [m2] floor of the tub it stands in; 0: a rack, where water runs away
    liquor: Caught | None = None  # run-off of another piece that goes over it before its own ice
    beside: tuple[Recipe, ...] = ()  # pieces of one round each that share its tray, ice and liquor


@dataclass(frozen=True)
class Caught:
    """Run-off of another piece, caught for the one below."""

    recipe: Recipe  # of that piece
    share: float  # of its liquor
    seconds: float  # that it takes to run over the piece below; 0: as long as that ice melts


@dataclass(frozen=True)
class Recipe:
    """A plan with its words and stock names turned into numbers."""

    name: str
    seed: int
    neatness: float  # 0 tidy .. 1 loose
    blank: Blank
    fabric: Fabric
    damp: float  # [kg/kg] water held at the start over dry cloth mass
    rounds: tuple[Round, ...]
    dyes: tuple[Dye, ...]
    notes: str = ""
    start: Start | None = None  # a piece that is dyed over; None: undyed cloth
