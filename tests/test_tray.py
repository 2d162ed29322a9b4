"""Several pieces in one tray: one ice, one liquor, each with its own folds and powder."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from meltwick.bundle.tray import GAP, apart, one_bundle, one_cloth
from meltwick.cli import main
from meltwick.errors import MeltwickError
from meltwick.plan import read_plan, resolve
from meltwick.simulate import simulate
from meltwick.stock import load_stock
from meltwick.types import Result

PITCH = 8e-3
STOCK = load_stock()
PLUM = '[[round.dye]]\ndye = "plum"\namount = "2 g"\n'
SCHEMA = json.loads((Path(__file__).parents[1] / "docs" / "result.schema.json").read_text("utf-8"))


def plan(
    folder: Path,
    name: str,
    dye: str = PLUM,
    more: str = "",
    garment: str = "bandana",
    seed: int = 3,
) -> Path:
    path = folder / f"{name}.toml"
    path.write_text(
        f'seed = {seed}\n[garment]\nblank = "{garment}"\n[[round]]\n'
        f'fold = [{{ kind = "accordion", pleat = "6 cm" }}]\n{more}\n{dye}\n'
    )
    return path


def made(path: Path) -> Result:
    return simulate(read_plan(path), pitch=PITCH)


TUB = 'rest = { on = "tub", lies = "flat" }\n'
OTHER = '[[round.beside]]\nplan = "other.toml"\n'


def ice(kilograms: float) -> str:
    return f'[[round.ice]]\namount = "{kilograms} kg"\n'


def test_two_alike_under_twice_the_ice_come_out_like_one_alone(tmp_path: Path) -> None:
    """Ice is shared by area. Lumps happen to lie elsewhere, and one heap of twice the mass melts
    a quarter slower than two (its area goes with M^(2/3)), so they are alike and not the same."""
    alone = made(plan(tmp_path, "alone", more=ice(0.4) + PLUM, dye=""))
    plan(tmp_path, "other")
    both = made(plan(tmp_path, "both", more=OTHER + ice(0.8) + PLUM, dye=""))
    (other,) = both.beside
    for piece in (both, other):
        assert piece.white_share == pytest.approx(alone.white_share, abs=0.04)
        ratio = piece.fixed.amount.sum() / alone.fixed.amount.sum()
        assert ratio == pytest.approx(1.0, abs=0.10)
    assert both.rounds[0].balance.laid == pytest.approx(4e-3)
    assert both.rounds[0].balance.relative_error < 1e-9


def test_liquor_carries_dye_from_one_to_the_other_and_a_rack_does_not(tmp_path: Path) -> None:
    plan(tmp_path, "other", dye="dye = []")
    for rest, taken in ((TUB, True), ("", False)):
        both = made(plan(tmp_path, "tray", more=rest + OTHER + ice(1.2)))
        (other,) = both.beside
        assert (other.white_share < 0.9) is taken
        assert (other.white_share > 0.97) is not taken  # all are washed in one water
        assert both.rounds[0].balance.relative_error < 1e-9
        assert min(both.fixed.amount.min(), other.fixed.amount.min()) >= 0.0


def test_pieces_keep_their_own_cloth_and_folds(tmp_path: Path) -> None:
    plan(tmp_path, "other", garment="socks")
    both = made(plan(tmp_path, "tray", more=TUB + OTHER + ice(1.0)))
    (socks,) = both.beside
    assert socks.plan == "other"
    assert socks.cloth.fabric.name == "cotton sock knit"
    assert both.cloth.fabric.name == "cotton sheeting"
    assert socks.shares.whole["white"] < 1.0
    books = both.rounds[0].balance
    fixed = 0.0
    for piece in (both, socks):
        cloth = piece.cloth
        fibre = cloth.mass_per_area * PITCH**2 * cloth.dyeable * cloth.fabric.dyeable_share
        fixed += float((piece.fixed.amount * fibre[:, None]).sum())
    assert fixed == pytest.approx(books.fixed, rel=1e-9)


def test_side_by_side_and_apart_again() -> None:
    from meltwick.bundle import build_bundle
    from meltwick.cloth import build_cloth
    from meltwick.constants import Constants
    from meltwick.plan import plan_from_text

    turn = resolve(plan_from_text('[garment]\nblank = "bandana"', "t.toml"), STOCK).rounds[0]
    names = ("bandana", "tee")
    cloths = [build_cloth(STOCK.blank(name), STOCK.usual_fabric(name), PITCH) for name in names]
    bundles = [
        build_bundle(cloth, turn, neatness=0.5, seed=1, constants=Constants()) for cloth in cloths
    ]
    cloth, bundle = one_cloth(cloths), one_bundle(bundles)
    assert cloth.size == bundle.height.size == sum(each.size for each in cloths)
    first = cloths[0].size
    for pairs in (cloth.edges, cloth.seams, bundle.contacts, bundle.film):
        assert np.all((pairs[:, 0] < first) == (pairs[:, 1] < first))  # none from one to the other
    assert bundle.across[first:].min() - bundle.across[:first].max() == pytest.approx(GAP)
    assert [each.shape for each in apart(cloth.x, cloths)] == [each.x.shape for each in cloths]
    for panel in cloth.panels:
        inside = panel.index[panel.index >= 0]
        assert inside.min() == panel.first
        assert np.all(cloth.row[panel.index[0][panel.index[0] >= 0]] == 0)


def test_ice_that_a_plan_leaves_out_is_enough_for_all(tmp_path: Path) -> None:
    plan(tmp_path, "other")
    one = resolve(read_plan(plan(tmp_path, "one")), STOCK).rounds[0].ice[0].mass
    two = resolve(read_plan(plan(tmp_path, "two", more=OTHER)), STOCK).rounds[0].ice[0].mass
    assert two == pytest.approx(2.0 * one)


def test_the_command_draws_each_piece(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan(tmp_path, "other", dye="dye = []")
    path = plan(tmp_path, "tray", more=TUB + OTHER + ice(1.0))
    out = tmp_path / "out"
    assert main(["preview", str(path), "--detail", "8 mm", "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "Beside it, other: " in said
    record = json.loads((out / "result.json").read_text("utf-8"))
    jsonschema.Draft202012Validator(SCHEMA).validate(record)
    (beside,) = record["beside"]
    assert (out / beside["preview"]).is_file()
    assert main(["check", str(path)]) == 0
    assert "Lay other beside it" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("beside", "said"),
    [
        ('[[round.beside]]\nplan = "gone.toml"', "gone.toml"),
        ('[[round.beside]]\nplan = "tray.toml"', "would lie beside itself"),
        ("[[round.beside]]\n", "which piece lies beside it"),
        ('[[round.beside]]\nplan = "other"', "ends in .toml"),
        ('[[round.beside]]\nplam = "other.toml"', "did you mean 'plan'"),
        ('[[round.beside]]\nplan = "tworounds.toml"', "2 rounds; one is needed"),
        ('[[round.beside]]\nplan = "trayful.toml"', "pieces of its own"),
        (OTHER * 6, "at most 5"),
    ],
)
def test_mistakes_are_told_in_one_line(tmp_path: Path, beside: str, said: str) -> None:
    plan(tmp_path, "other")
    plan(tmp_path, "trayful", more=OTHER)
    plan(tmp_path, "tworounds", more="[[round]]")
    with pytest.raises(MeltwickError) as caught:
        resolve(read_plan(plan(tmp_path, "tray", more=beside)), STOCK)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)
