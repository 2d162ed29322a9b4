"""What is mirrored comes out mirrored, what is turned half round comes out so; and the limits.

The random fields are made even, so that they are their own mirror images, and hands tidy; single
draws stand at the middle of their range. Nothing else in the program knows left from right.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from meltwick import chance
from meltwick.colour import delta_e00
from meltwick.constants import Constants
from meltwick.plan import plan_from_text, resolve
from meltwick.seep.powder import EDGE
from meltwick.simulate import run, simulate
from meltwick.stock import load_stock
from meltwick.types import Floats, Result

PITCH = 4e-3
BLUR = 10e-3  # [m]
CLOSE = 1.0
"""Mean CIEDE2000 below which two pictures count as one: about a difference that is just seen."""


@pytest.fixture
def even(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fields that are alike on all sides of the middle, and draws without chance."""
    field = chance.smooth_field

    def mirrored(code: np.uint64, x: Floats, y: Floats, length: float) -> Floats:
        away = (np.abs(place - 0.5 * (place.min() + place.max())) for place in (x, y))
        return field(code, *away, length)

    monkeypatch.setattr(chance, "smooth_field", mirrored)
    monkeypatch.setattr(chance, "uniforms", lambda code, count, stream=0: np.full(count, 0.5))


def made(turn: str, garment: str, number: int = 1) -> Result:
    text = f"neatness = 0\nseed = {number}\n[garment]\n{garment}\n[[round]]\n{turn}\n"
    return simulate(plan_from_text(text, "mirror.toml"), pitch=PITCH)


def blurred(result: Result, turned: str) -> list[Floats]:
    """CIELAB of every panel, blurred by 10 mm; turned as asked, outside the cloth nan."""
    found = []
    for panel in result.cloth.panels:
        inside = panel.index >= 0
        lab = result.look.lab[np.maximum(panel.index, 0)] * inside[..., None]
        sigma = BLUR / PITCH
        share = gaussian_filter(inside.astype(float), sigma)
        soft = np.stack([gaussian_filter(lab[..., k], sigma) for k in range(3)], axis=-1)
        soft = np.where(inside[..., None], soft / np.maximum(share, 1e-9)[..., None], np.nan)
        if turned:
            soft = soft[:, ::-1]
        if turned == "half":
            soft = soft[::-1]
        found.append(soft)
    return found


def apart(one: Result, other: Result, turned: str) -> float:
    """Mean CIEDE2000 between a piece and another one, turned."""
    gaps = []
    for a, b in zip(blurred(one, ""), blurred(other, turned), strict=True):
        both = np.isfinite(a[..., 0]) & np.isfinite(b[..., 0])
        assert both.mean() > 0.98 * np.isfinite(a[..., 0]).mean()
        gaps.append(delta_e00(a[both], b[both]))
    return float(np.concatenate(gaps).mean())


TWO = (
    '[[round.dye]]\ndye = "lemon"\namount = "1.5 g"\nat = "{high}"\n'
    '[[round.dye]]\ndye = "plum"\namount = "1.5 g"\nat = "{low}"\n'
)
UP = TWO.format(high="high", low="low")

MIRRORED = {
    "pole": ('fold = [{{ kind = "pole", bias = "40 deg", lean = "{}" }}]', ("right", "left")),
    "spiral": (
        'fold = [{{ kind = "spiral", centre = "middle", twist = "{}" }}]',
        ("right", "left"),
    ),
    "halve": ('fold = [{{ kind = "halve", moves = "{}" }}]', ("right", "left")),
    "halve and pole": (
        'fold = [{{ kind = "halve", line = "waist" }}, {{ kind = "pole", bias = "30 deg", '
        'lean = "{}" }}]',
        ("right", "left"),
    ),
    "rings": (
        'fold = []\ntie = {{ kind = "rings", spots = "5 cm {} of the middle", from_tip = "3 cm" }}',
        ("right", "left"),
    ),
}


@pytest.mark.parametrize("name", MIRRORED)
@pytest.mark.usefixtures("even")
def test_a_mirrored_plan_gives_the_mirrored_piece(name: str) -> None:
    turn, words = MIRRORED[name]
    right, left = (made(f"{turn.format(word)}\n{UP}", 'blank = "bandana"') for word in words)
    assert right.look.delta.std() > 5.0  # there is a pattern to compare
    assert apart(right, left, "mirror") < CLOSE


@pytest.mark.usefixtures("even")
def test_the_picture_is_not_its_own_mirror_image() -> None:
    """The comparison can fail: a slanting pole's stripes are not those of the other slant."""
    turn, (right, _) = MIRRORED["pole"]
    piece = made(f"{turn.format(right)}\n{UP}", 'blank = "bandana"')
    assert apart(piece, piece, "mirror") > 4.0 * CLOSE


@pytest.mark.parametrize("pleats", [8])
@pytest.mark.usefixtures("even")
def test_a_half_turn_gives_the_piece_turned_half_round(pleats: int) -> None:
    turn = (
        f'fold = [{{ kind = "spiral", centre = "middle", pleats = {pleats} }}]\n'
        'tie = { kind = "bands", count = 2 }\nrest = { on = "flat rack" }\n'
    )
    one, other = (
        made(turn + TWO.format(high=high, low=low), 'blank = "bandana"')
        for high, low in (("high", "low"), ("low", "high"))
    )
    assert apart(one, other, "half") < CLOSE


# ------------------------------------------------------------------------------- the limits

FLAT = 'fold = []\nrest = { on = "flat rack" }\n'


def test_flat_cloth_covered_all_over_keeps_no_white() -> None:
    full = '[[round.dye]]\ndye = "plum"\namount = "20 g"\nat = "all"\n'
    assert made(FLAT + full, 'blank = "bandana"').white_share < 0.01


def test_no_dye_leaves_all_of_it_white() -> None:
    assert made("dye = []", 'blank = "bandana"').white_share == 1.0


def without_ice(turn: str) -> Result:
    """Run a bandana's round whose ice was taken away, which no plan may ask for."""
    text = f'[garment]\nblank = "bandana"\n[[round]]\n{turn}\n'
    recipe = resolve(plan_from_text(text, "dry.toml"), load_stock())
    rounds = tuple(replace(each, ice=()) for each in recipe.rounds)
    return run(
        replace(recipe, rounds=rounds),
        "",
        pitch=PITCH,
        start=None,
        constants=Constants(),
        observer=lambda stage, done, total: None,
        threads=1,
    )


def test_without_ice_nothing_drains_and_dye_stays_where_it_lay() -> None:
    spot = '[[round.dye]]\ndye = "{}"\namount = "0.03 g"\nat = { radius = "5 cm" }\n'
    for dye in ("plum", "lemon"):
        piece = without_ice(FLAT + spot.replace("{}", dye))
        (turn,) = piece.rounds
        assert turn.balance.drained == 0.0
        assert turn.balance.ran_off == 0.0
        cloth = piece.cloth
        middle = cloth.places["middle"]
        away = np.hypot(cloth.x - middle[0], cloth.y - middle[1])
        dyed = piece.look.delta > 4.3
        assert dyed.any()
        assert away[dyed].max() < 0.05 + EDGE + 0.030  # a sprinkled edge fades over EDGE
