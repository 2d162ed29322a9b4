"""Where a spiral is centred, as a maker writes it. An inch is 25.4 mm (NIST SP 811)."""

from typing import Annotated

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from meltwick.plan.reading import spot
from meltwick.plan.words import PLACES
from meltwick.types import Spot

READ = TypeAdapter(Annotated[Spot, spot()]).validate_python
EVERY = sorted({place for places in PLACES.values() for place in places})
WAYS = {"above": (0, -1), "below": (0, 1), "left of": (-1, 0), "right of": (1, 0)}


def told(found):
    """The one line that a spot is refused with: the plan's fault and nothing else."""
    with pytest.raises(ValidationError) as caught:
        READ(found)
    (fault,) = caught.value.errors()
    assert fault["type"] == "plan"
    assert "\n" not in fault["msg"]
    return fault["msg"]


@pytest.mark.parametrize(
    ("text", "place", "right", "down"),
    [
        ("chest", "chest", 0, 0),
        (" The  Navel ", "navel", 0, 0),
        ("10 cm below the neck", "neck", 0, 0.1),
        ("10cm below neck", "neck", 0, 0.1),
        ("2 in left of the middle", "middle", -0.0508, 0),
        ("2 in to the left of the middle", "middle", -0.0508, 0),
        ('1-1/2" Right Of The Middle', "middle", 0.0381, 0),
        ("3 in above the hem", "hem", 0, -0.0762),
        ("5 cm below the left shoulder", "left shoulder", 0, 0.05),
        ("5 cm right of the top left corner", "top left corner", 0.05, 0),
        ("1 in right of and 10 cm below the neck", "neck", 0.0254, 0.1),
        ("10 cm below and 1 in to the left of the neck", "neck", -0.0254, 0.1),
    ],
)
def test_a_spot_is_read_as_a_maker_writes_it(text, place, right, down):
    found = READ(text)
    assert found.place == place
    assert (found.right, found.down) == pytest.approx((right, down), abs=1e-12)


@given(
    place=st.sampled_from(EVERY),
    way=st.sampled_from(sorted(WAYS)),
    millimetres=st.integers(0, 2000),
    the=st.sampled_from(["", "the ", "The "]),
)
def test_any_place_and_way_is_understood(place, way, millimetres, the):
    across, down = WAYS[way]
    found = READ(f"{millimetres} mm {way} {the}{place}")
    assert found.place == place
    assert found.right == pytest.approx(across * millimetres / 1000)
    assert found.down == pytest.approx(down * millimetres / 1000)
    assert READ(the + place.upper()) == Spot(place)


@pytest.mark.parametrize(
    ("found", "parts"),
    [
        ("chst", ("'chst'", "did you mean 'chest'?", "10 cm below the neck")),
        ("collar", ("did you mean 'neck'?",)),
        ("10 cm below the belly button", ("did you mean 'navel'?",)),
        ("shoulder", ("did you mean 'left shoulder'?",)),
        ("10 below the neck", ("'10' has no unit", "25 mm")),
        ("10 kg below the neck", ("'10 kg' is a weight",)),
        ("-2 in below the neck", ("'-2 in' is negative",)),
        ("9 m below the neck", ("'9 m'", "0 to 2 m")),
        ("10 cm under the neck", ("above, below, left of or right of", "10 cm below the neck")),
        ("below the neck", ("how far", "10 cm below the neck")),
        ("10 cm below", ("names no place", "'chest'")),
        ("2 in below and 3 in above the neck", ("twice", "10 cm below the neck")),
        ("", ("'chest'", "10 cm below the neck")),
        ("chest" + 300 * " " + "or not", ("not a place", "'chest'")),
        (5, ("5 is not a place", "'chest'")),
        (True, ("true is not a place",)),
        (["chest"], ("not a place", "'chest'")),
    ],
)
def test_a_bad_spot_is_told_what_to_write(found, parts):
    said = told(found)
    for part in parts:
        assert part in said


PIECES = st.sampled_from(
    ["10 cm", "2 in", " ", "below", "above", "left of", "r\u0131ght of", "the", "and", "to the",
     "neck", "hem", "LEFT OF", "1/0 in", "\n", "9e9", "\u017f"]
)  # fmt: skip


@given(st.one_of(st.text(max_size=250), st.lists(PIECES, max_size=12).map(" ".join)))
@example("2 in r\u0131ght of the neck")
@example("9" * 200 + " cm below the neck")
def test_any_text_is_a_spot_or_the_plans_fault(text):
    try:
        found = READ(text)
    except ValidationError as error:
        faults = error.errors()
        assert [fault["type"] for fault in faults] == ["plan"]
        assert "\n" not in faults[0]["msg"]
        return
    assert found.place in EVERY
    assert max(abs(found.right), abs(found.down)) <= 2.0 + 1e-6
