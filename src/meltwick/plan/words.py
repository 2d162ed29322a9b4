"""The words a plan may use for numbers. Values are chosen unless a source stands beside them."""

from __future__ import annotations

import math

CELSIUS = 273.15  # [K] at 0 degC

NEATNESS = {"tidy": 0.2, "relaxed": 0.65, "loose": 1.0}

DAMP = {  # water held over dry cloth mass [kg/kg]
    "dry": 0.08,  # cotton's regain: 7 to 8 % at 65 % humidity, ASTM D1909
    "spun": 0.5,  # after centrifuging 0.45 to 0.55, textile handbooks, from memory
    "wrung": 1.15,  # by hand 1.0 to 1.5, common practice
    "dripping": 2.0,
}

ZONES = {  # along the incline, 0 low end, 1 high end
    "low": (0.0, 1 / 3),
    "middle": (1 / 3, 2 / 3),
    "high": (2 / 3, 1.0),
    "all": (0.0, 1.0),
}

SPRINKLE = {"dusting": 1e-3, "covered": 3e-3, "heavy": 6e-3}
"""Powder [kg] on a third of the length of a bundle made of `SPRINKLE_CLOTH` of cloth."""

SPRINKLE_CLOTH = 0.81  # [m2] both layers of a medium tee as cut

SODA_BULK = {"light": 610.0, "dense": 1025.0}
"""Bulk density of soda ash [kg/m3]: makers' sheets give 570 to 650 and 1000 to 1050."""

SODA_LIMIT = 215.0
"""Soda ash that water takes up [kg per m3 of water] at 20 degC: a maker's sheet, 17.7 wt %."""

ICE_BULK = {"cubes": 500.0, "crushed": 550.0, "snow": 300.0}
"""Bulk density of ice [kg/m3]: cubes 450 to 550, from memory; the others chosen."""

ICE_CHUNK = {"cubes": 0.025, "crushed": 0.008, "snow": 0.002}
"""Typical piece of ice [m]."""

ICE_PER_CLOTH = 6.5
"""Ice over dry cloth mass when a plan names none: about 7 US cups for a tee (common practice)."""

WASH = ("careful", "ordinary", "hurried")
COVER = ("wrapped", "open")

SODA_SOAKED = ("soaked before folding", "soaked after tying", "dried in")
SODA_DRY = ("sprinkled", "with the dye")
SODA_HOW = (*SODA_SOAKED, *SODA_DRY, "none")

SODA_SPOONS = 6e-3
"""Soda ash [kg] that goes on dry if a plan does not say: about two level teaspoons; chosen."""
TIES = ("string", "bands", "clamps", "rings", "stitching", "none")
TIES_LATER: tuple[str, ...] = ()
ROWS = {"across": math.radians(90), "along": 0.0}
"""Angle between rows of stitches and the garment's length [rad]."""
OUTLINES = ("circle", "square", "diamond", "heart")
PLATES = ("square", "triangle", "disc", "bar")

CLAMPED = {"loose": 50.0, "snug": 150.0, "tight": 500.0, "very tight": 1500.0}
"""Force of the clamps on a plate [N]: spring clamps hold 50 to 200 N, screw clamps turned by
hand 500 to 2000 N; from memory, the words chosen."""
FOLDS = ("pole", "halve", "accordion", "spiral", "scrunch", "rosettes", "rope", "tube")
FOLDS_LATER: tuple[str, ...] = ()
TRADITIONAL = {
    "arashi": "pole",
    "bomaki": "tube",
    "mura kumo": "tube",
    "itajime": "accordion",
}
"""Names of resists that Japanese dyers use, and the fold that each is made by; from memory."""
TRADITIONAL_TIES = {
    "itajime": "clamps",
    "kanoko": "rings",
    "kumo": "rings",
    "nui": "stitching",
    "mokume": "stitching",
}
"""The same for ties; from memory."""
STARTS = ("pole", "accordion", "spiral")
"""Folds that a new plan may start from."""

LIES = ("pleats up", "flat")

ROPE_WAYS = {"along": 0.0, "across": math.radians(90)}
"""Angle between a rope and the garment's length [rad]."""

CREASES = {"along": 0.0, "slanting": math.radians(45), "across": math.radians(90)}
"""Angle between an accordion's creases and the garment's length [rad]."""

TUBS = {"tub": 0.45, "bucket": 0.28}
"""What water gathers in, and how wide the floor is [m]: a washing tub, a household bucket."""

RESTS = ("rack", "flat rack", *TUBS)

HEAPS: dict[str, float | None] = {
    "mounded": None,
    "level": 0.05,
    "fenced": 0.0,
    "in a trough": 0.0,
}
"""Share of the melt that falls beside the bundle; a mound's is `Constants.ice_beside`. Chosen."""

SIDES = {"top": 1.0, "sides": 1.0, "underneath": 1.0, "all round": 3.0}
"""Sides of a bundle, and powder for each over that for the top."""

PATCH = 0.02
"""Top of a third of a usual bundle [m2], which `SPRINKLE` is for; chosen."""

POWDER: dict[str, bool | None] = {
    "under the ice": False,
    "over the ice": True,
    "both": None,
    "under": False,
    "over": True,
}

_FLAT_PLACES = (
    "middle",
    "top",
    "bottom",
    "top left corner",
    "top right corner",
    "bottom left corner",
    "bottom right corner",
)
PLACES: dict[str, tuple[str, ...]] = {
    "tee": (
        "neck",
        "chest",
        "navel",
        "middle",
        "hem",
        "left shoulder",
        "right shoulder",
        "left sleeve",
        "right sleeve",
    ),
    "square": _FLAT_PLACES,
    "scarf": _FLAT_PLACES,
    "tote": _FLAT_PLACES,
    "pillowcase": (*_FLAT_PLACES, "hem"),
    "tank": ("neck", "chest", "navel", "middle", "hem", "left shoulder", "right shoulder"),
    "leggings": (
        "waist",
        "middle",
        "left thigh",
        "right thigh",
        "left knee",
        "right knee",
        "left ankle",
        "right ankle",
    ),
    "socks": ("middle", "top", "heel", "toe"),
    "own": ("middle", "top edge", "bottom edge", "left edge", "right edge"),
}
"""Places that a blank has, by its cut. Left and right are as seen from the front."""
