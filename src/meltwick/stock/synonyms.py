"""Words that makers use for what the stock, or the plan, calls by another name.

They only ever steer a hint ("did you mean ...?"); nothing is taken for something else unasked.
Common practice, no source.
"""

from __future__ import annotations

from types import MappingProxyType

SYNONYMS = MappingProxyType(
    {
        # sizes
        "small": ("S",),
        "medium": ("M",),
        "med": ("M",),
        "large": ("L",),
        "extra large": ("XL",),
        "x-large": ("XL",),
        "1xl": ("XL",),
        "xxl": ("2XL",),
        "xx-large": ("2XL",),
        "xs": ("S",),
        "xxxl": ("2XL",),
        "3xl": ("2XL",),
        # blanks
        "t-shirt": ("tee",),
        "tshirt": ("tee",),
        "t shirt": ("tee",),
        "tee shirt": ("tee",),
        "shirt": ("tee",),
        "scarf": ("bandana",),
        "square": ("bandana",),
        "handkerchief": ("bandana",),
        # fabrics
        "cotton": ("cotton jersey",),
        "jersey": ("cotton jersey",),
        "rayon": ("viscose jersey",),
        "viscose": ("viscose jersey",),
        "flax": ("linen",),
        # dyes, by the nearest hue
        "yellow": ("lemon",),
        "gold": ("marigold",),
        "orange": ("tangerine",),
        "red": ("rose", "brick"),
        "pink": ("rose",),
        "magenta": ("rose",),
        "purple": ("plum",),
        "violet": ("heather",),
        "lilac": ("heather",),
        "blue": ("harbour blue", "cornflower"),
        "navy": ("harbour blue",),
        "turquoise": ("tide",),
        "teal": ("tide",),
        "cyan": ("tide",),
        "green": ("fern",),
        "olive": ("moss",),
        "grey": ("slate",),
        "gray": ("slate",),
        "brown": ("peat",),
        "black": ("ink",),
        # hands and water
        "hard": ("tight",),
        "firm": ("tight",),
        "medium pull": ("snug",),
        "gentle": ("loose",),
        "messy": ("loose",),
        "neat": ("tidy",),
        "wet": ("dripping",),
        "soaked": ("dripping",),
        "damp": ("wrung",),
        "moist": ("wrung",),
        # places
        "top": ("high",),
        "bottom": ("low",),
        "center": ("middle",),
        "centre": ("middle",),
        "everywhere": ("all",),
        "neck": ("shoulder",),
        "half": ("halve",),
        "fold in half": ("halve",),
        "arashi": ("pole",),  # the traditional resist name
        "pole wrap": ("pole",),
    }
)
