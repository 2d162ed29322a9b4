"""docs/result.schema.json against JSON Schema draft 2020-12 and what the program writes."""

import copy
import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from meltwick import __version__
from meltwick.cli.report import as_text, report
from meltwick.study import Spread

SCHEMA = json.loads((Path(__file__).parents[1] / "docs" / "result.schema.json").read_text("utf-8"))
CHECK = jsonschema.Draft202012Validator(SCHEMA)
SECONDS = {"fold": 0.1, "percolate": 0.2, "march": 0.3, "colour": 0.1, "picture": 0.2}


def written(result, spread=None):
    """What the file holds, read back from its text."""
    seconds = SECONDS if spread is None else SECONDS | {"hands": 1.0}
    return json.loads(as_text(report(result, __version__, seconds, spread)))


def several(result, count=5):
    seeds = tuple(range(7, 7 + count))
    white = tuple(0.4 + 0.02 * (k % 4) for k in range(count))
    return Spread(seeds, white, result, replace(result, seed=8), replace(result, seed=7))


@pytest.fixture(scope="module", params=["tee", "bandana"])
def record(request, make_result):
    return written(make_result(blank=request.param))


def faults(record):
    return [fault.message for fault in CHECK.iter_errors(record)]


def test_the_schema_is_one():
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_one_hand(record):
    assert faults(record) == []


@pytest.mark.parametrize("blank", ["tee", "bandana"])
@pytest.mark.parametrize("count", [2, 5, 25])
def test_several_hands(make_result, blank, count):
    result = make_result(blank=blank)
    record = written(result, several(result, count))
    assert faults(record) == []
    assert record["hands"] == len(record["white_by_hand"]) == count


def change(record, path, value):
    *way, last = path
    for step in way:
        record = record[step]
    if value is None:
        del record[last]
    else:
        record[last] = value


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("schema",), 2),
        (("digest",), "abc"),
        (("white_share",), 1.2),
        (("white_share",), "0.5"),
        (("seed",), -1),
        (("seed",), 2**63),
        (("cells",), 1.5),
        (("hands",), 26),
        (("hands",), 2),  # and yet no median
        (("white_median",), 0.5),  # and yet one hand
        (("white_range_with_doubt",), [0.1]),
        (("white_by_hand",), []),
        (("dyed_to_white",), "62/38"),
        (("shares", "white"), None),
        (("shares", "grey"), 0.1),
        (("panels",), {}),
        (("panels", "lid"), {"white": 1.0}),
        (("likeness", "left_right"), None),
        (("likeness", "left_right"), -0.1),
        (("rounds",), []),
        (("rounds", 0, "balance", "laid_g"), None),
        (("rounds", 0, "balance", "lost_g"), 1.0),
        (("rounds", 0, "note"), "x"),
        (("seconds", "lunch"), 3600.0),
        (("files", "preview"), None),
        (("extra",), 1),
    ],
)
def test_a_broken_record_fails(record, path, value):
    broken = copy.deepcopy(record)
    change(broken, path, value)
    assert faults(broken)


def resolve(schema):
    if "$ref" in schema:
        name = schema["$ref"].removeprefix("#/$defs/")
        return SCHEMA["$defs"][name] | {k: v for k, v in schema.items() if k != "$ref"}
    for each in schema.get("anyOf", ()):
        if each.get("type") != "null":
            return resolve(each) | {k: v for k, v in schema.items() if k != "anyOf"}
    return schema


def undescribed(value, schema, where="result"):
    """Places of a record that the schema does not tell of."""
    schema = resolve(schema)
    found = [] if schema.get("description") else [where]
    if isinstance(value, dict):
        named, others = schema.get("properties", {}), schema.get("additionalProperties", True)
        assert others is False or "$ref" in others, where
        for key, each in value.items():
            part = named.get(key, others)
            spot = f"{where}.{key}"
            found += [spot] if part is False else undescribed(each, part, spot)
    elif isinstance(value, list):
        for each in value:
            found += undescribed(each, schema["items"], f"{where}[]")
    return found


def test_every_key_that_is_written_is_described(make_result):
    for blank in ("tee", "bandana"):
        result = make_result(blank=blank)
        for spread in (None, several(result)):
            assert undescribed(written(result, spread), SCHEMA) == []


def test_quantities_carry_their_units():
    balance = SCHEMA["properties"]["rounds"]["items"]["properties"]["balance"]["properties"]
    assert all("[g]" in each["description"] for key, each in balance.items() if key.endswith("_g"))
    for key, each in SCHEMA["properties"]["rounds"]["items"]["properties"].items():
        assert ("[h]" in each["description"]) == ("hours" in key)
    assert "[mm]" in SCHEMA["properties"]["pitch_mm"]["description"]
    seconds = SCHEMA["properties"]["seconds"]["properties"]
    assert all("[s]" in each["description"] for each in seconds.values())


def test_likeness_is_null_without_a_back(make_result):
    assert written(make_result(blank="bandana"))["likeness"]["front_back"] is None
    tee = make_result(blank="tee")
    assert written(tee)["likeness"] == {
        "front_back": pytest.approx(tee.shares.front_back_likeness, abs=1e-6),
        "left_right": pytest.approx(tee.shares.left_right_likeness, abs=1e-6),
    }


def test_what_is_left_of_a_difference_reads_as_nothing(make_result):
    result = make_result()
    turn = result.rounds[0]
    balance = replace(turn.balance, washed_out=-1e-20, undissolved=-1e-19)
    record = written(replace(result, rounds=(replace(turn, balance=balance),)))
    assert record["rounds"][0]["balance"]["washed_out_g"] == 0.0
    assert faults(record) == []


def test_a_profile(make_result):
    from tests.learned import PROFILE

    result = make_result()
    text = as_text(report(result, __version__, SECONDS, None, None, PROFILE))
    record = json.loads(text)
    assert faults(record) == []
    assert record["profile"]["name"] == PROFILE.name
    assert record["profile"]["constants"]["grip"] == pytest.approx(PROFILE.values["grip"])
    low, high = record["white_range_with_doubt"]
    bare = written(result)
    assert bare["profile"] is None
    assert high - low < bare["white_range_with_doubt"][1] - bare["white_range_with_doubt"][0]
    change(record, ("profile", "pieces"), 2)
    assert faults(record)
