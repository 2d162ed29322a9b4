"""A second round over the first: dye adds up, the cloth never grows lighter, and it is told."""

from __future__ import annotations

import itertools
import json
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from PIL import Image

from meltwick import __version__
from meltwick.cli import main
from meltwick.cli.report import as_text, report
from meltwick.cli.words import rounds_lines
from meltwick.colour import render
from meltwick.errors import PlanError
from meltwick.picture import draw_rounds, rounds_png
from meltwick.picture.rounds import MOST, deepening, ramp
from meltwick.plan import plan_from_text
from meltwick.simulate import simulate
from meltwick.types import FixedDye

PITCH = 8e-3
SCHEMA = json.loads((Path(__file__).parents[1] / "docs" / "result.schema.json").read_text("utf-8"))
FOLDS = {
    "pole": '{ kind = "pole", diameter = "33 mm", squeeze = 4 }',
    "accordion": '{ kind = "accordion", pleat = "8 cm" }',
    "spiral": '{ kind = "spiral", centre = "middle" }',
}
DYES = ("lemon", "coral", "plum", "harbour blue", "ink")


def turn(fold: str, dye: str, grams: float, soda: str = "soaked before folding") -> str:
    return f"""
[[round]]
fold = [ {FOLDS[fold]} ]
soda = {{ how = "{soda}" }}
wash = "hurried"
  [[round.ice]]
  amount = "300 g"
  [[round.dye]]
  dye = "{dye}"
  amount = "{grams:g} g"
"""


def plan(*turns: str, seed: int = 7):
    head = f'schema = 1\nname = "rounds"\nseed = {seed}\n[garment]\nblank = "bandana"\n'
    return plan_from_text(head + "".join(turns), "rounds.toml")


FIRST, SECOND = turn("pole", "harbour blue", 0.8), turn("accordion", "lemon", 0.8)


@pytest.fixture(scope="module")
def once():
    return simulate(plan(FIRST), pitch=PITCH, threads=1)


@pytest.fixture(scope="module")
def twice():
    return simulate(plan(FIRST, SECOND), pitch=PITCH, threads=1)


# ------------------------------------------------------------------------ the dye


def over(result, fixed_before):
    """What one more round may not do: take dye away, make lighter, or make more white."""
    amount = result.fixed.amount
    names = [part.name for part in result.fixed.species]
    old = [names.index(part.name) for part in fixed_before.species]
    assert (amount[:, old] >= fixed_before.amount).all()
    most = 0.12 * result.cloth.fabric.uptake
    assert amount.sum(axis=1).max() <= max(most, fixed_before.amount.sum(axis=1).max()) + 1e-9
    lightness = [look.lab[:, 0] for look in result.looks]
    for before, after in itertools.pairwise(lightness):
        assert (after <= before + 0.1).all()
    white = [each.shares["white"] for each in result.rounds]
    for before, after in itertools.pairwise(white):
        assert after <= before + 0.005  # two hues may meet at the threshold
    for each in result.rounds:
        assert each.balance.relative_error < 1e-9
        assert each.balance.fixed >= 0.0


@settings(
    max_examples=4,
    deadline=None,
    derandomize=True,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
@given(
    folds=st.tuples(st.sampled_from(sorted(FOLDS)), st.sampled_from(sorted(FOLDS))),
    dyes=st.tuples(st.sampled_from(DYES), st.sampled_from(DYES)),
    grams=st.tuples(st.floats(0.1, 3.0), st.floats(0.1, 3.0)),
    seed=st.integers(0, 99),
)
def test_a_round_only_adds(folds, dyes, grams, seed):
    one, two = (turn(*each) for each in zip(folds, dyes, grams, strict=True))
    first = simulate(plan(one, seed=seed), pitch=1e-2, threads=1)
    second = simulate(plan(two, seed=seed + 1), pitch=1e-2, threads=1, start=first.fixed)
    joined = replace(second, looks=first.looks + second.looks, rounds=first.rounds + second.rounds)
    over(joined, first.fixed)


def test_the_first_of_two_rounds_is_the_round_alone(once, twice):
    """Dye that another round lays changes nothing, but the rounding of sums over more species."""
    assert np.allclose(twice.looks[0].lab, once.look.lab, rtol=0.0, atol=1e-6)
    assert twice.rounds[0].shares == pytest.approx(once.shares.whole, abs=1e-9)
    assert once.rounds[0].shares == once.shares.whole
    assert twice.rounds[0].balance.fixed == pytest.approx(once.rounds[0].balance.fixed, rel=1e-9)


def test_the_last_look_is_the_piece(twice):
    assert twice.looks[-1] is twice.look
    assert twice.rounds[-1].shares == twice.shares.whole
    assert twice.rounds[1].shares["white"] < twice.rounds[0].shares["white"]
    over(twice, FixedDye((), np.zeros((twice.cloth.size, 0))))


def test_fixed_dye_of_every_round_adds_up(twice):
    """Books over rounds: what lies on the fibre is what the rounds' balances say together."""
    cloth = twice.cloth
    fibre = cloth.mass_per_area * cloth.pitch**2 * cloth.dyeable
    mass = float((twice.fixed.amount * fibre[:, None]).sum())
    told = sum(each.balance.fixed for each in twice.rounds)
    assert mass == pytest.approx(told, rel=1e-9)


def test_colours_of_rounds_add_by_kubelka_and_munk(twice):
    """K/S adds over dyes, whenever they came: the piece's colour is that of all its dye."""
    assert np.array_equal(render(twice.cloth, twice.fixed).lab, twice.look.lab)


def test_a_round_without_soda_adds_next_to_nothing(twice):
    """No soda ash, almost no colour on cellulose (below 2 % of laid): the wash took the old."""
    bare = simulate(
        plan(FIRST, turn("accordion", "lemon", 0.8, soda="none")), pitch=PITCH, threads=1
    )
    assert bare.rounds[1].balance.fixed < 0.02 * bare.rounds[1].balance.laid
    assert twice.rounds[1].balance.fixed > 0.05 * twice.rounds[1].balance.laid


def test_sites_that_are_taken_are_not_free(once):
    """On cloth whose sites are all but full, less is fixed than on bare cloth."""
    species = once.fixed.species
    full = FixedDye(species, np.full_like(once.fixed.amount, 0.97 * _sites(once) / len(species)))
    crowded = simulate(plan(FIRST), pitch=PITCH, threads=1, start=full)
    assert crowded.rounds[0].balance.fixed < 0.2 * once.rounds[0].balance.fixed
    assert crowded.rounds[0].balance.relative_error < 1e-9
    assert (crowded.fixed.amount >= full.amount).all()


def _sites(result) -> float:
    from meltwick.constants import Constants

    return Constants().sites * result.cloth.fabric.uptake


def test_a_start_by_another_jar_stays_under(once):
    """Dye of a jar that the plan does not hold is kept, and the plan's own comes on top."""
    other = simulate(plan(SECOND), pitch=PITCH, threads=1, start=once.fixed)
    names = [part.name for part in other.fixed.species]
    assert names[: len(once.fixed.species)] == [part.name for part in once.fixed.species]
    over(other, once.fixed)
    assert other.rounds[0].balance.fixed > 0.0


def test_each_round_is_folded_by_a_hand_of_its_own():
    """The same words twice: the second folding wanders elsewhere, so new cloth is coloured."""
    again = simulate(plan(FIRST, FIRST), pitch=PITCH, threads=1)
    white = [each.shares["white"] for each in again.rounds]
    assert white[1] < white[0] - 0.01


# ------------------------------------------------------------------------ the plan


def test_six_rounds_are_read_and_a_seventh_is_not():
    assert len(plan(*[FIRST] * 6).round) == 6
    with pytest.raises(PlanError, match=r"7 rounds are written; at most 6 may be"):
        plan(*[FIRST] * 7)


def test_a_fault_in_the_second_round_names_it():
    with pytest.raises(PlanError, match=r"round\.2\.wash"):
        plan(FIRST, SECOND.replace("hurried", "hurred"))


# ------------------------------------------------------------------------ what is told


def heard(result_plan):
    said = []
    simulate(result_plan, pitch=1e-2, threads=1, observer=lambda *word: said.append(word))
    return said


def test_stages_carry_the_round_and_never_fall():
    said = heard(plan(FIRST, SECOND))
    stages = list(dict.fromkeys(stage for stage, _, _ in said))
    assert stages[0] == "round 1: folding"
    assert "round 2: folding" in stages
    for stage in stages:
        done = [d for s, d, _ in said if s == stage]
        assert done == sorted(done)


def test_the_sentence_tells_what_the_later_round_did(twice):
    def made(*white):
        rounds = tuple(
            replace(twice.rounds[0], shares={"white": each, "deep": 1 - each}) for each in white
        )
        return rounds_lines(replace(twice, rounds=rounds))

    assert made(0.66) == []
    assert made(0.66, 0.5) == [
        "The second round takes the piece from about two thirds white (66 %) to about half white "
        "(50 %)."
    ]
    assert made(0.66, 0.64) == ["The second round takes the white from 66 to 64 %."]
    assert made(0.66, 0.66) == ["The second round leaves the white as it was, 66 %."]
    assert made(0.9, 0.66, 0.66)[1].startswith("The third round leaves")


def test_the_record_tells_each_round(twice):
    record = json.loads(
        as_text(
            report(
                twice,
                __version__,
                {**twice.seconds, "picture": 0.1},
                files={"preview": "preview.png", "rounds": "rounds.png"},
            )
        )
    )
    faults = jsonschema.Draft202012Validator(SCHEMA).iter_errors(record)
    assert [fault.message for fault in faults] == []
    assert record["rounds"][-1]["white_share"] == record["white_share"]
    assert record["rounds"][-1]["shares"] == record["shares"]
    assert record["rounds"][0]["white_share"] > record["rounds"][1]["white_share"]
    assert record["rounds"][1]["dyed_to_white"] == record["dyed_to_white"]


# ------------------------------------------------------------------------ the picture


def test_the_change_is_the_cielab_difference_of_two_looks(twice):
    """Delta E*ab of CIE 1976 (ISO 11664-4), the first round against the undyed cloth."""
    moved = deepening(twice.looks)
    assert np.array_equal(moved[0], twice.looks[0].delta)
    apart = np.linalg.norm(twice.looks[1].lab - twice.looks[0].lab, axis=1)
    assert np.allclose(moved[1], apart)


def test_the_ramp_only_darkens():
    colours = ramp(np.linspace(0.0, 2.0 * MOST, 200))
    assert (np.diff(colours, axis=0) <= 1e-12).all()
    assert (colours[100:] == colours[-1]).all()
    assert (ramp(np.zeros(1)) * 255.0).min() > 225.0


@pytest.mark.parametrize(("blank", "count"), [("tee", 2), ("bandana", 6), ("scarf", 3)])
def test_every_round_is_on_the_sheet(make_result, blank, count):
    one = make_result(lambda x, y, panel: np.full((len(x), 3), (0.1, 0.2, 0.7)), 8e-3, blank)
    faint = [
        replace(one.look, lab=one.look.lab - [4.0 * n, 0.0, 0.0], delta=one.look.delta)
        for n in range(count)
    ]
    result = replace(one, looks=tuple(faint), rounds=one.rounds * count)
    picture = draw_rounds(result)
    assert max(picture.size) == 1600
    assert min(picture.size) >= 300
    # every row has a piece with colour on the left
    rows = np.asarray(picture.convert("HSV"))[:, : picture.width // 2, 1].max(axis=1) > 120
    starts = int((np.diff(rows.astype(int)) == 1).sum() + rows[0])
    assert starts == count


def test_the_picture_knows_its_rounds(twice):
    content = rounds_png(twice, version=__version__)
    assert content == rounds_png(twice, version=__version__)
    picture = Image.open(BytesIO(content))
    white = [float(share) for share in picture.info["meltwick-rounds"].split()]
    told = [each.shares["white"] for each in twice.rounds]
    assert white == pytest.approx(told, abs=1e-4)


def test_the_command_writes_the_rounds(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    text = 'schema = 1\nname = "rounds"\n[garment]\nblank = "bandana"\n' + FIRST + SECOND
    Path("rounds.toml").write_text(text)
    assert main(["preview", "rounds.toml", "--detail", "10 mm"]) == 0
    said = capsys.readouterr().out
    assert "The second round " in said
    assert "rounds.png" in said
    assert sorted(path.name for path in Path("rounds").iterdir()) == [
        "preview.png",
        "result.json",
        "rounds.png",
    ]
    record = json.loads(Path("rounds/result.json").read_text())
    assert record["files"] == {"preview": "preview.png", "rounds": "rounds.png"}
    assert main(["check", "rounds.toml"]) == 0
    said = capsys.readouterr().out
    assert "Round 1: " in said
    assert "Round 2: " in said
