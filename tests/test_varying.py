"""Keys by their dotted names, values and ranges, and the plan file with some of them changed."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meltwick.errors import PlanError
from meltwick.plan import plan_from_text, resolve
from meltwick.plan.naming import find_key, keys
from meltwick.plan.reader import built_in, template
from meltwick.plan.varying import (
    MOST,
    read_axis,
    read_span,
    split_values,
    with_values,
)
from meltwick.stock import load_stock

TEXT = built_in("example.toml")
PLAN = plan_from_text(TEXT, "tee.toml")
BARE = plan_from_text("", "bare.toml")
TWICE = plan_from_text("[[round]]\n[[round]]\n", "twice.toml")
STOCK = load_stock()


@pytest.mark.parametrize(
    ("short", "whole"),
    [
        ("spacing", "round.1.tie.spacing"),
        ("tie.spacing", "round.1.tie.spacing"),
        ("Round.1.Tie.Spacing", "round.1.tie.spacing"),
        ("round.tie.spacing", "round.1.tie.spacing"),
        ("pole", "round.1.fold.1.pole"),
        ("fold.bias", "round.1.fold.1.bias"),
        ("fold.1.bias", "round.1.fold.1.bias"),
        ("dye.2.amount", "round.1.dye.2.amount"),
        ("size", "garment.size"),  # the plan writes it; clamps have one too
        ("neatness", "neatness"),
        ("seed", "seed"),
        ("fold", "round.1.fold"),
    ],
)
def test_a_key_may_be_written_short(short: str, whole: str) -> None:
    assert find_key(short, PLAN) == whole


def test_a_key_that_is_left_out_is_found_too() -> None:
    assert find_key("diameter", BARE) == "round.1.fold.1.diameter"


@pytest.mark.parametrize(
    ("plan", "key", "said"),
    [
        (PLAN, "spacin", "did you mean spacing?"),
        (PLAN, "tie.spasing", "did you mean tie.spacing?"),
        (PLAN, "dye.amount", "round.1.dye.1.amount, round.1.dye.2.amount"),
        (TWICE, "spacing", "round.1.tie.spacing, round.2.tie.spacing"),
        (PLAN, "qqq", "docs/plan-file.md"),
        (PLAN, "round.2.tie.spacing", "has no key"),
    ],
)
def test_a_wrong_key_is_told_in_one_line(plan, key: str, said: str) -> None:
    with pytest.raises(PlanError) as caught:
        find_key(key, plan)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)
    assert plan.where in str(caught.value)


def test_a_range_steps_evenly_with_its_ends() -> None:
    axis = read_axis("spacing=10mm..50mm/5", PLAN)
    assert axis.values == ("10 mm", "20 mm", "30 mm", "40 mm", "50 mm")
    assert axis.word == "tie.spacing"


@given(st.integers(1, 500), st.integers(1, 500), st.integers(2, MOST))
def test_ranges_are_those_of_linspace(low: int, wide: int, count: int) -> None:
    """Against numpy.linspace, to the six figures that are written."""
    axis = read_axis(f"spacing={low}mm..{low + wide}mm/{count}", PLAN)
    found = [float(value.split()[0]) for value in axis.values]
    wanted = np.linspace(low, low + wide, count)
    assert len(found) == count
    np.testing.assert_allclose(found, wanted, rtol=5e-6)


def test_values_split_at_commas_outside_brackets() -> None:
    text = "[{ kind = 'pole', bias = '0 deg' }], 1-1/2 in,\"a, b\""
    assert split_values(text) == ["[{ kind = 'pole', bias = '0 deg' }]", "1-1/2 in", '"a, b"']


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("spacing", "not a key and its values"),
        ("spacing=", "not a key and its values"),
        ("=3", "not a key and its values"),
        ("spacing=10mm,,20mm", "empty value"),
        ("spacing=50mm..10mm", "write low..high"),
        ("spacing=10mm..5cm", "two units"),
        ("spacing=10mm..50mm/1", "2 to 60"),
        ("spacing=10mm..50mm/999", "2 to 60"),
        ("spacing=" + ",".join(f"{n} mm" for n in range(1, 80)), "at most 60"),
        ("spacing=" + "1" * 3000, "not a key and its values"),
    ],
)
def test_wrong_values_are_told_in_one_line(text: str, said: str) -> None:
    with pytest.raises(PlanError) as caught:
        read_axis(text, PLAN)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_span_keeps_its_unit() -> None:
    span = read_span("spacing=10mm..60mm", PLAN)
    assert (span.low, span.high, span.value(25.0)) == (10.0, 60.0, "25 mm")
    with pytest.raises(PlanError, match="not a key and a range"):
        read_span("spacing=10mm,20mm", PLAN)


# ------------------------------------------------------------------------------- the file


def test_only_what_is_asked_changes_and_notes_stay() -> None:
    text = template("salt-marsh", "accordion")
    plan = plan_from_text(text, "salt-marsh.toml")
    key = find_key("tie.spacing", plan)
    changed = with_values(text, "salt-marsh.toml", {key: "33 mm"})
    assert [line for line in changed.splitlines() if line.lstrip().startswith("#")] == [
        line for line in text.splitlines() if line.lstrip().startswith("#")
    ]
    before, after = tomllib.loads(text), tomllib.loads(changed)
    assert after["round"][0]["tie"].pop("spacing") == "33 mm"
    before["round"][0]["tie"].pop("spacing", None)
    assert after == before


@pytest.mark.parametrize("text", [TEXT, "", "[garment]\nsize = 'S'\n", "[[round]]\n"])
@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("round.1.tie.spacing", "3 cm"),
        ("round.1.fold.1.diameter", "40 mm"),
        ("round.1.fold.1.pole", "1 in pipe"),
        ("garment.size", "L"),
        ("neatness", "0.3"),
        ("seed", "99"),
        ("round.1.ice.1.amount", "2 kg"),
        ("round.1.batch.time", "30 h"),
        ("round.1.fold", "[{ kind = 'accordion', pleat = '5 cm' }]"),
    ],
)
def test_every_kind_of_key_can_be_set_in_any_plan(text: str, key: str, value: str) -> None:
    changed = plan_from_text(with_values(text, "p.toml", {key: value}), "p.toml")
    base = plan_from_text(text, "p.toml")
    assert resolve(changed, STOCK) != resolve(base, STOCK)


def test_what_is_set_to_what_it_was_changes_nothing() -> None:
    values = {"round.1.tie.spacing": "1 in", "garment.size": "M"}
    once = with_values(TEXT, "p.toml", values)
    assert with_values(once, "p.toml", values) == once


def test_every_key_of_a_plan_is_found_by_its_own_name() -> None:
    for key in keys(PLAN):
        assert find_key(key, PLAN) == key


@pytest.mark.parametrize("key", ["round.9.tie.spacing", "garment.size.x", "round.1.fold.3.bias"])
def test_a_way_that_leads_nowhere_is_refused(key: str) -> None:
    with pytest.raises(PlanError, match=r"p\.toml"):
        with_values(TEXT, "p.toml", {key: "1"})
