"""Whatever stands in a plan file, the reader gives a plan or one line, and nothing else."""

import datetime
import json
import math

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meltwick.errors import MeltwickError
from meltwick.plan import canonical, example_plan, plan_from_text, read_plan, resolve, template
from meltwick.plan.folds import AccordionFold, HalveFold, PoleFold, SpiralFold
from meltwick.plan.models import (
    DyeTable,
    IceTable,
    Plan,
    RestTable,
    RoundTable,
    SodaTable,
    StartTable,
    TieTable,
)
from meltwick.stock import load_stock

QUIET = settings(
    deadline=None,
    max_examples=120,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)

KEYS = sorted(
    {"schema", "kind"}.union(
        *(
            model.model_fields
            for model in (
                Plan,
                DyeTable,
                IceTable,
                HalveFold,
                PoleFold,
                AccordionFold,
                SpiralFold,
                RestTable,
                RoundTable,
                SodaTable,
                StartTable,
                TieTable,
            )
        )
    )
)
VALID = [
    *(template("tee", fold) for fold in ("pole", "accordion", "spiral")),
    '[[round]]\nfold = [{ kind = "halve" }, { kind = "accordion", creases = "30 deg" }]\n'
    'outside = "back"\nrest = { lies = "flat" }\n',
    'schema = 1\n[[round.dye]]\ndye = "plum"\namount = "3 g"\nat = "high"\n',
]


@pytest.fixture(scope="module")
def stock(tmp_path_factory):
    return load_stock(tmp_path_factory.mktemp("none"))


def held(act):
    """Run something; whatever is wrong must be ours and one short line."""
    said, code = "", 2
    try:
        act()
    except MeltwickError as error:
        said, code = str(error) or "nothing said", error.exit_code
    assert said != "nothing said"
    assert code == 2
    assert said.isprintable()
    assert len(said) < 1500
    return said


def whole_way(text, stock):
    def act():
        recipe = resolve(plan_from_text(text, "my.toml"), stock)
        numbers = json.loads(canonical(recipe))
        assert math.isfinite(numbers["recipe"]["damp"])

    said = held(act)
    assert not said or said.startswith("my.toml")


# ------------------------------------------------------------------------------ a TOML writer


def toml(value):
    """Write a value as TOML, inline."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=True).replace("\\ud", "\\u00")
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml(k)} = {toml(v)}" for k, v in value.items()) + "}"
    return str(value)


def document(tree):
    return "\n".join(f"{toml(key)} = {toml(value)}" for key, value in tree.items())


FOLDS = ["pole", "halve", "accordion", "spiral", "along", "across", "chest", "left", "front"]
WORDS = st.sampled_from(
    [*FOLDS, "tee", "M", "tight", "bands", "coral", "high", "careful", "cubes", "none", "3 g"]
)
QUANTITIES = st.sampled_from(
    [
        "10 cm below the neck",
        "25 mm",
        "1 1/2 in",
        "35 deg",
        "24 h",
        "20 degC",
        "0.5 cup",
        "70 cm to 25 cm",
        "20 N",
        "50 %",
    ]
)
LEAVES = st.one_of(
    WORDS,
    QUANTITIES,
    st.text(max_size=12),
    st.integers(),
    st.floats(),
    st.booleans(),
    st.dates(),
    st.times(),
)
TREES = st.recursive(
    LEAVES,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.one_of(st.sampled_from(KEYS), st.text(max_size=6)), inner, max_size=4),
    ),
    max_leaves=12,
)


# ------------------------------------------------------------------------------ the fuzzing


@QUIET
@given(st.binary(max_size=300))
def test_random_bytes(tmp_path, content):
    path = tmp_path / "x.toml"
    path.write_bytes(content)
    said = held(lambda: read_plan(path))
    assert not said or said.startswith(str(path))


@QUIET
@given(st.text(max_size=300))
def test_random_text(stock, text):
    whole_way(text, stock)


@QUIET
@given(st.text(alphabet="[]{}=.,\"'#\\\n \tabe1", max_size=80))
def test_random_punctuation(stock, text):
    whole_way(text, stock)


@QUIET
@given(st.dictionaries(st.sampled_from(KEYS), TREES, max_size=5))
def test_random_trees(stock, tree):
    whole_way(document(tree), stock)


def _leaves(tree, path=()):
    if isinstance(tree, dict):
        for key, value in tree.items():
            yield from _leaves(value, (*path, key))
    elif isinstance(tree, list) and tree and isinstance(tree[0], dict):
        for number, value in enumerate(tree):
            yield from _leaves(value, (*path, number))
    else:
        yield path


@QUIET
@given(st.data())
def test_one_value_of_a_valid_plan_replaced(stock, data):
    import tomllib

    tree = tomllib.loads(data.draw(st.sampled_from(VALID)))
    path = data.draw(st.sampled_from(list(_leaves(tree))))
    inner = tree
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = data.draw(TREES)
    whole_way(document(tree), stock)


@QUIET
@given(st.data())
def test_a_valid_plan_cut_and_pasted(stock, data):
    text = data.draw(st.sampled_from(VALID))
    a, b, c = (data.draw(st.integers(0, len(text))) for _ in range(3))
    a, b = min(a, b), max(a, b)
    whole_way(
        text[:c] + text[a:b] + text[c:] if data.draw(st.booleans()) else text[:a] + text[b:], stock
    )


@QUIET
@given(st.data())
def test_a_valid_plan_with_a_few_characters_changed(stock, data):
    text = list(data.draw(st.sampled_from(VALID)))
    for _ in range(data.draw(st.integers(1, 4))):
        text[data.draw(st.integers(0, len(text) - 1))] = data.draw(st.characters(codec="utf-8"))
    whole_way("".join(text), stock)


@QUIET
@given(st.text(max_size=80))
def test_any_name_for_a_template(text):
    held(lambda: template(text))


@QUIET
@given(
    neatness=st.floats(0, 1),
    damp=st.floats(0.05, 3),
    bias=st.floats(0, 90),
    squeeze=st.floats(1, 6),
    spacing=st.floats(6, 300),
    pull=st.floats(0.5, 200),
    zone=st.tuples(st.floats(0, 0.49), st.floats(0.5, 1)),
)
def test_every_value_within_bounds_is_kept_exactly(
    stock, neatness, damp, bias, squeeze, spacing, pull, zone
):
    text = f"""
    neatness = {neatness!r}
    garment = {{ damp = {damp!r} }}
    [[round]]
    fold = [{{ bias = "{bias:.12f} deg", squeeze = {squeeze!r} }}]
    tie = {{ spacing = "{spacing:.12f} mm", pull = "{pull:.12f} N" }}
    dye = [{{ amount = "3 g", at = [{zone[0]!r}, {zone[1]!r}] }}]
    """
    recipe = resolve(plan_from_text(text, "my.toml"), stock)
    one = recipe.rounds[0]
    assert (recipe.neatness, recipe.damp) == (neatness, damp)
    assert math.degrees(one.folds[0].bias) == pytest.approx(bias, abs=1e-9)
    assert one.folds[0].squeeze == squeeze
    assert one.tie.spacing == pytest.approx(spacing / 1000, rel=1e-9)
    assert one.tie.pull == pytest.approx(pull, abs=1e-9)
    assert one.powder[0].zone == zone


@QUIET
@given(
    pleat=st.floats(8, 600),
    creases=st.floats(0, 90),
    pleats=st.integers(4, 60),
    turns=st.floats(0.5, 5),
    height=st.floats(15, 200),
    count=st.integers(1, 24),
    width=st.floats(1, 30),
)
def test_every_value_of_an_accordion_a_spiral_and_bands_is_kept_exactly(
    stock, pleat, creases, pleats, turns, height, count, width
):
    text = f"""
    [[round]]
    tie = {{ count = {count}, width = "{width:.12f} mm" }}
    fold = """
    folded = (
        f"""[{{ kind = "accordion", pleat = "{pleat:.12f} mm", creases = "{creases:.12f} deg" }}]"""
    )
    one = resolve(plan_from_text(text + folded, "my.toml"), stock).rounds[0]
    assert one.folds[0].pleat == pytest.approx(pleat / 1000, rel=1e-9)
    assert math.degrees(one.folds[0].angle) == pytest.approx(creases, abs=1e-9)
    assert (one.tie.count, one.tie.width) == (count, pytest.approx(width / 1000, rel=1e-9))
    kind = f'kind = "spiral", pleats = {pleats}, turns = {turns!r}'
    twisted = f'[{{ {kind}, height = "{height:.12f} mm" }}]'
    one = resolve(plan_from_text(text + twisted, "my.toml"), stock).rounds[0]
    assert (one.folds[0].pleats, one.folds[0].turns) == (pleats, turns)
    assert one.folds[0].height == pytest.approx(height / 1000, rel=1e-9)
    assert (one.tie.count, one.tie.width) == (count, pytest.approx(width / 1000, rel=1e-9))


def test_the_example_is_valid(stock):
    assert resolve(example_plan(), stock).name == "harbour-tee"
