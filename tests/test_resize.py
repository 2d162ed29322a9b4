"""`meltwick resize`: the same recipe on another size, weighed and measured as a hand does."""

from __future__ import annotations

import re
import tomllib
from fractions import Fraction
from math import ceil
from pathlib import Path

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box

from meltwick.advice.measuring import STEPS, measured
from meltwick.advice.resize import Resized, find_size
from meltwick.advice.resize import resize as resized
from meltwick.advice.sizes import (
    bundle_length,
    folded,
    laid,
    piles,
    pleats_of,
    rosettes_of,
    strip_of,
    weigh,
)
from meltwick.cli import main
from meltwick.cli.resize import cleaned
from meltwick.cloth import build_cloth
from meltwick.cloth.flat import HEM
from meltwick.errors import PlanError
from meltwick.plan import digest, plan_from_text, read_plan, resolve
from meltwick.plan.models import SodaTable, check_name
from meltwick.plan.reader import built_in
from meltwick.stock import load_stock
from meltwick.types import Recipe, Rosettes
from meltwick.units import number_and_unit, parse, parse_one_of

STOCK = load_stock(Path(__file__).parent / "no such folder")
TEE = built_in("example.toml")
GALLERY = Path(__file__).parents[1] / "gallery"
POUND = 0.45359237  # kg (NIST SP 811)


def anew(text: str, size: str, keep: str = "width", where: str = "tee.toml") -> Resized:
    return resized(text, where, plan_from_text(text, where), STOCK, size, keep)


def recipe(text: str) -> Recipe:
    return resolve(plan_from_text(text, "tee.toml"), STOCK)


def cloth_area(done: Recipe) -> float:
    """Area of all layers as cut [m2], by shapely."""
    cloth = build_cloth(done.blank, done.fabric, 1e-2)
    return sum(shapely.area(panel.outline) for panel in cloth.panels) / 1e6


# ------------------------------------------------------------------------------- the cloth


@pytest.mark.parametrize(
    ("blank", "size"),
    [
        ("bandana", "18 in"),
        ("bandana", "27 in"),
        ("scarf", "8 x 54 in"),
        ("tea towel", "50 x 70 cm"),
    ],
)
def test_mass_of_a_hemmed_piece(blank: str, size: str) -> None:
    """A rectangle, and twice more cloth in the hem that is rolled all round it."""
    usual = f'[garment]\nblank = "{blank}"\n'
    found = anew(usual, size)
    done = recipe(found.text)
    wide, tall = done.blank.measures["width"], done.blank.measures["height"]
    whole = box(0, 0, wide, tall)
    inner = whole.buffer(-HEM / 1e3, join_style="mitre")
    mass = done.fabric.mass_per_area * (3.0 * whole.area - 2.0 * inner.area)
    assert found.masses[1] == pytest.approx(mass, rel=0.01)


@pytest.mark.parametrize("size", ["S", "2XL", "child 2", "child 6", "child 12"])
def test_a_tee_goes_by_its_cloth(size: str) -> None:
    """By the area as cut, but that a small piece has more of its cloth in hems and ribs."""
    found = anew(TEE, size)
    ratio = found.masses[1] / found.masses[0]
    area = cloth_area(recipe(found.text)) / cloth_area(recipe(TEE))
    assert ratio == pytest.approx(area, rel=0.09)
    assert (ratio - area) * (1.0 - area) > 0.0


# ------------------------------------------------------------------------------- the recipe


@pytest.mark.parametrize("size", ["S", "2XL", "child 2", "child 6"])
def test_the_depth_of_shade_stays(size: str) -> None:
    """% shade = dye mass / fabric mass x 100: 4 kg on 100 kg are 4 % (VFSTR lecture on dyeing
    calculations)."""
    found = anew(TEE, size)
    before, after = recipe(TEE).rounds[0], recipe(found.text).rounds[0]
    assert [each.what for each in found.shades] == ["coral", "plum", "harbour blue", "ink"]
    for shade, old, new in zip(found.shades, before.powder, after.powder, strict=True):
        assert shade.before == pytest.approx(100 * old.mass / found.masses[0])
        assert shade.after == pytest.approx(100 * new.mass / found.masses[1])
        wanted = old.mass * found.masses[1] / found.masses[0]
        assert abs(new.mass - wanted) <= 0.0500001e-3  # a scale that shows 0.1 g
        assert shade.moved == pytest.approx(new.mass / wanted - 1)


@pytest.mark.parametrize("size", ["S", "XL", "child 2", "child 8"])
@pytest.mark.parametrize(
    "soda",
    [
        'amount = "1/2 cup", water = "1 gal"',
        'amount = "80 g", water = "3 L"',
        'amount = "2 tbsp", kind = "dense"',
        'time = "10 min"',
        'how = "dried in", amount = "3 oz", water = "2.5 qt"',
    ],
)
def test_soda_keeps_its_strength(size: str, soda: str) -> None:
    text = f"[[round]]\nsoda = {{ {soda} }}\n"
    found = anew(text, size)
    before, after = recipe(text).rounds[0].soda, recipe(found.text).rounds[0].soda
    assert after.strength == pytest.approx(before.strength, rel=0.006)  # three figures of water
    ratio = found.masses[1] / found.masses[0]
    assert after.mass / before.mass == pytest.approx(ratio, rel=0.35)
    assert before.mass != after.mass or abs(ratio - 1) < 0.26


def test_the_usual_soak_is_the_plans_default() -> None:
    from meltwick.advice import resize

    usual = SodaTable()
    assert parse_one_of(resize._SODA, ("mass", "volume")) == usual.amount
    assert parse(resize._WATER, "volume") == usual.water


def test_soda_that_goes_on_dry_scales_alone() -> None:
    found = anew('[[round]]\nsoda = "x"\n'.replace('"x"', '{ how = "sprinkled" }'), "child 6")
    said = tomllib.loads(found.text)["round"][0]["soda"]
    assert said == {"how": "sprinkled", "amount": "2.8 g"}  # 6 g of about 141 g, to 66 g


def test_every_load_of_ice_and_every_round() -> None:
    text = """[[round]]
ice = [{ amount = "2.5 lb" }, { amount = "12 cups", after = "2 h" }, { kind = "snow" }]
dye = [{ dye = "rose", amount = "4 g", powder = "both" }, { dye = "rose", amount = "1/2 tsp" }]
[[round]]
ice = { amount = "800 g" }
soda = { how = "none" }
dye = { dye = "ink", amount = "dusting" }
"""
    found = anew(text, "child 6")
    ratio = found.masses[1] / found.masses[0]
    for old, new in zip(recipe(text).rounds, recipe(found.text).rounds, strict=True):
        for one, other in zip(old.ice, new.ice, strict=True):
            # words by area; to 50 g, a quarter of a pound or of a cup
            assert other.mass == pytest.approx(ratio * one.mass, rel=0.04, abs=POUND / 8)
    said = tomllib.loads(found.text)["round"]
    units = [load["amount"].split()[-1] for load in said[0]["ice"][:2]]
    assert units == ["lb", "cups"]
    assert said[0]["ice"][2] == {"kind": "snow"}
    assert said[1]["dye"] == {"dye": "ink", "amount": "dusting"}
    assert said[1]["soda"] == {"how": "none"}
    names = ["round 1: rose (1)", "round 1: rose (2)", "round 2: ink"]
    assert [each.what for each in found.shades] == names
    assert found.shades[2].moved == pytest.approx(0.0, abs=0.06)  # words go by area
    assert found.shades[0].before == pytest.approx(0.4 / found.masses[0])


def test_a_piece_beside_keeps_its_size(tmp_path: Path) -> None:
    (tmp_path / "sock.toml").write_text('[garment]\nblank = "socks"\n')
    text = '[[round]]\nice = { amount = "2 kg" }\nbeside = [{ plan = "sock.toml" }]\n'
    where = str(tmp_path / "tee.toml")
    found = resized(text, where, plan_from_text(text, where), STOCK, "child 2")
    sock = resolve(read_plan(tmp_path / "sock.toml"), STOCK)
    mass = sock.fabric.mass_per_area * cloth_area(sock)
    tray = (found.masses[1] + mass) / (found.masses[0] + mass)
    new = parse(tomllib.loads(found.text)["round"][0]["ice"]["amount"], "mass")
    assert new == pytest.approx(2.0 * tray, abs=0.05)
    assert any("sock lies beside it and keeps its own size" in note for note in found.notes)


@pytest.mark.parametrize("path", sorted(GALLERY.glob("*.toml")), ids=lambda path: path.stem)
def test_the_same_size_changes_nothing(path: Path) -> None:
    text, plan = path.read_text("utf-8"), read_plan(path)
    size = resolve(plan, STOCK).blank
    for words in (size.size, f"{size.name} {size.size}"):
        found = resized(text, str(path), plan, STOCK, words, "count")
        assert found.text == text
        assert not found.changes
        assert found.masses[0] == found.masses[1]


@pytest.mark.parametrize("path", sorted(GALLERY.glob("*.toml")), ids=lambda path: path.stem)
def test_there_and_back(path: Path) -> None:
    """Every fold and tie in another size and back: all but what is rounded is as it was."""
    text, plan = path.read_text("utf-8"), read_plan(path)
    done = resolve(plan, STOCK)
    line = STOCK.blanks[done.blank.name].sizes
    size = next(each for each in line if each != done.blank.size)
    there = resized(text, str(path), plan, STOCK, size, "count")
    other = plan_from_text(there.text, str(path))
    assert resolve(other, STOCK).blank.size == size
    back = resized(there.text, str(path), other, STOCK, done.blank.size, "count")
    again = resolve(plan_from_text(back.text, str(path)), STOCK)
    assert again.blank == done.blank
    for one, two in zip(done.rounds, again.rounds, strict=True):
        for old, new in zip(one.powder, two.powder, strict=True):
            assert new.mass == pytest.approx(old.mass, rel=0.12, abs=0.11e-3)
        assert two.soda.strength == pytest.approx(one.soda.strength, rel=0.01)
        for old_fold, new_fold in zip(one.folds, two.folds, strict=True):
            assert type(new_fold) is type(old_fold)
            pleats = getattr(old_fold, "pleat", 0.0), getattr(new_fold, "pleat", 0.0)
            assert pleats[1] == pytest.approx(pleats[0], rel=0.06)


# ------------------------------------------------------------------------------- the count


@pytest.mark.parametrize("size", ["S", "2XL", "child 2", "child 6"])
def test_string_keeps_its_turns(size: str) -> None:
    """On a pole string is wound along the roll: turns are its length over the spacing."""
    found = anew(TEE, size, "count")
    turns = []
    for text in (TEE, found.text):
        done = recipe(text)
        turn = done.rounds[0]
        turns.append(bundle_length(turn, weigh(done)) / turn.tie.spacing)
    assert turns[1] == pytest.approx(turns[0], abs=0.6)
    kept = recipe(anew(TEE, size).text)
    assert kept.rounds[0].tie == recipe(TEE).rounds[0].tie
    fewer = bundle_length(kept.rounds[0], weigh(kept)) / kept.rounds[0].tie.spacing
    assert (fewer - turns[0]) * (found.masses[1] - found.masses[0]) > 0


@pytest.mark.parametrize("creases", ["along", "slanting", "across"])
@pytest.mark.parametrize("size", ["2XL", "child 2", "child 8"])
def test_pleats_keep_their_number(size: str, creases: str) -> None:
    text = (
        f'[[round]]\nfold = [{{ kind = "halve" }}, {{ kind = "accordion", creases = "{creases}",'
        ' pleat = "2 in" }, { kind = "accordion", pleat = "7 cm", creases = "across" }]\n'
        'tie = { spacing = "1-1/2 in" }\n'
    )
    if creases == "across":
        text = text.replace(', { kind = "accordion", pleat = "7 cm", creases = "across" }', "")
    counts, turns = [], []
    for each in (text, anew(text, size, "count").text):
        done = recipe(each)
        turn, garment = done.rounds[0], weigh(done)
        found = []
        for fold, pile in piles(turn, garment):
            if hasattr(fold, "pleat"):
                across = pile.extent(fold.angle, fold.lean)[0]
                assert pleats_of(fold, across) == ceil(across / fold.pleat - 1e-9)
                found.append(ceil(across / fold.pleat - 1e-9))
        counts.append(found)
        turns.append(strip_of(turn, garment)[1] / turn.tie.spacing)
    assert counts[0] == counts[1]
    assert turns[1] == pytest.approx(turns[0], rel=0.06, abs=0.3)


def test_rosettes_rings_and_rows_keep_their_number() -> None:
    text = '[[round]]\nfold = [{ kind = "rosettes", spacing = "16 cm" }]\n'
    numbers = []
    for each in (text, anew(text, "child 6", "count").text):
        done = recipe(each)
        fold = done.rounds[0].folds[0]
        assert isinstance(fold, Rosettes)
        numbers.append(rosettes_of(fold, laid(weigh(done))))
    assert numbers[0] == numbers[1]

    text = '[[round]]\nfold = []\ntie = { every = "18 cm", from_tip = "5 cm", times = 2 }\n'
    after = anew(text, "child 6", "count")
    old, new = recipe(text), recipe(after.text)
    root = (cloth_area(new) / cloth_area(old)) ** 0.5
    for key in ("every", "from_tip", "apart"):
        ratio = getattr(new.rounds[0].tie, key) / getattr(old.rounds[0].tie, key)
        assert ratio == pytest.approx(root, rel=0.03)

    for rows, side in (("across", 1), ("along", 0)):
        text = f'[[round]]\nfold = [{{ kind = "halve" }}]\ntie = {{ rows = "{rows}" }}\n'
        pair = [recipe(text), recipe(anew(text, "child 6", "count").text)]
        counts = []
        for done in pair:
            turn, garment = done.rounds[0], weigh(done)
            left, top, right, low = folded(laid(garment), turn.folds[0]).outline.bounds
            counts.append((right - left, low - top)[side] / turn.tie.spacing)
        assert counts[1] == pytest.approx(counts[0], rel=0.04)


# ------------------------------------------------------------------------------- the hand


@pytest.mark.parametrize(
    ("written", "ratio", "what", "new"),
    [
        ("2.2 g", 0.47, "powder", "1 g"),
        ("0.2 g", 0.1, "powder", "0.1 g"),
        ("25 g", 0.5, "powder", "12 g"),
        ("1 tsp", 0.47, "powder", "1/2 tsp"),
        ("1/2 tsp", 0.3, "powder", "1/8 tsp"),
        ("1/4 tsp", 0.1, "powder", "1/8 tsp"),
        ("1 tsp", 1.3, "powder", "1-1/4 tsp"),
        ("0.5 cup", 0.47, "powder", "0.25 cup"),
        ("½ cup", 3.0, "powder", "1-1/2 cups"),
        ("8 cups", 0.1, "ice", "3/4 cup"),
        ("1.2 kg", 0.47, "ice", "0.55 kg"),
        ("800 g", 0.47, "ice", "400 g"),
        ("300 g", 0.47, "ice", "140 g"),
        ("1 gal", 0.44, "water", "0.44 gal"),
        ("3 L", 1 / 3, "water", "1 L"),
        ("25 mm", 0.65, "length", "16 mm"),
        ("1 in", 0.65, "length", "5/8 in"),
        ("4in", 0.65, "length", "2-5/8 in"),
        ("2 ft", 0.5, "length", "1 ft"),
    ],
)
def test_amounts_are_rounded_as_a_hand_measures(
    written: str, ratio: float, what: str, new: str
) -> None:
    assert measured(written, ratio, what) == new
    assert measured(written, 1.0, what) == written


@settings(deadline=None)
@given(
    number=st.fractions(Fraction(1, 8), 200, max_denominator=8),
    unit=st.sampled_from(["g", "kg", "oz", "lb", "tsp", "tbsp", "cup", "mL", "L", "qt"]),
    ratio=st.floats(0.2, 5.0),
    what=st.sampled_from(["powder", "ice"]),
)
def test_rounding_is_never_more_than_half_a_step(
    number: Fraction, unit: str, ratio: float, what: str
) -> None:
    old = f"{float(number)} {unit}"
    kind = ("mass", "volume")
    now, _, same = number_and_unit(measured(old, ratio, what), kind)
    assert same.spellings[0] == unit
    wanted = float(number) * ratio
    steps = [Fraction(step) for _, step in STEPS[what].get(unit, ())]
    coarsest = float(max(steps)) if steps else 0.01 * wanted
    least = float(min(steps)) if steps else 0.0
    assert now > 0
    assert abs(float(now) - wanted) <= max(coarsest / 2, least) + 1e-9
    if steps:
        assert any((now / step).denominator == 1 for step in steps)


# ------------------------------------------------------------------------------- the sizes


@pytest.mark.parametrize(
    ("blank", "words", "found"),
    [
        ("tee", "child 6", ("child 6", "child tee", "6")),
        ("tee", " Child  6 ", ("child 6", "child tee", "6")),
        ("tee", "6", ("child 6", "child tee", "6")),
        ("tee", "child tee 6", ("child 6", "child tee", "6")),
        ("tee", "2xl", ("2XL", "tee", "2XL")),
        ("child tee", "10", ("10", "child tee", "10")),
        ("child tee", "child 10", ("10", "child tee", "10")),
        ("child tee", "M", ("M", "tee", "M")),
        ("socks", "child", ("child", "socks", "child")),
        ("scarf", "8 x 54 in", ("8 x 54 in", "scarf", "8 x 54 in")),
    ],
)
def test_sizes_are_found(blank: str, words: str, found: tuple[str, str, str]) -> None:
    plan = plan_from_text(f'[garment]\nblank = "{blank}"\n', "x.toml")
    assert find_size(words, plan, STOCK) == found


def test_a_size_is_written_as_text_and_the_fabric_stays() -> None:
    found = anew('[garment]\nblank = "tee"\nfabric = "linen"\n', "child 6")
    assert tomllib.loads(found.text)["garment"] == {
        "blank": "child tee",
        "fabric": "linen",
        "size": "6",
    }
    assert recipe(anew("", "child 6").text).fabric == recipe("").fabric


@pytest.mark.parametrize("blank", [line.name for line in STOCK.blanks.values()])
def test_sizes_make_safe_names(blank: str) -> None:
    for size in STOCK.blanks[blank].sizes:
        name = f"my-{cleaned(size)}"
        assert check_name(name) == name
        assert re.fullmatch(r"[\w-]+", name)
    assert cleaned('18"/2 : <x>') == "18-2-x"
    assert cleaned("///") == "resized"


# ------------------------------------------------------------------------------- the command


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tee.toml").write_text(TEE)
    return tmp_path


def test_the_command_writes_a_plan_and_says_each_change(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = TEE.replace('"1.1 g"', '"0.3 g"')
    (home / "tee.toml").write_text(text)
    assert main(["resize", "tee.toml", "--size", "child 6"]) == 0
    out = capsys.readouterr().out
    path = home / "harbour-tee-child-6.toml"
    plan = read_plan(path)
    assert plan.name == "harbour-tee-child-6"
    lines = [" ".join(line.split()) for line in out.splitlines()]
    assert any(line.startswith("coral 2.2 g -> 1 g 1.5") for line in lines)
    assert "soda ash 0.5 cup -> 0.25 cup 19.1 -> 19.1 g/L" in lines
    assert "ice 1.2 kg -> 0.55 kg" in lines
    assert len([line for line in lines if line.startswith("Warning: rounding makes")]) <= 1
    assert "Next: meltwick preview harbour-tee-child-6.toml" in out
    assert "so there are fewer of them" in out
    kept = path.read_text("utf-8")
    assert kept.startswith(text.splitlines()[0])  # its note
    assert main(["resize", "tee.toml", "--size", "child 6"]) == 2
    assert "is here already" in capsys.readouterr().err
    assert path.read_text("utf-8") == kept


def test_rounding_that_moves_the_shade_is_warned_of(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "tee.toml").write_text('[[round]]\ndye = [{ dye = "ink", amount = "1/8 tsp" }]\n')
    assert main(["resize", "tee.toml", "--size", "child 2", "--out", "small.toml"]) == 0
    out = capsys.readouterr().out
    (said,) = re.findall(r"Warning: rounding makes ink (\d+) % deeper", out)
    found = anew((home / "tee.toml").read_text(), "child 2")
    assert int(said) == round(100 * (found.masses[0] / found.masses[1] - 1))


def test_the_same_size_is_told_and_runs_the_same(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["resize", "tee.toml", "--size", "m", "--keep", "count"]) == 0
    assert "It is size M already" in capsys.readouterr().out
    same = [digest(resolve(read_plan(home / name), STOCK)) for name in ("tee.toml",)]
    assert digest(resolve(read_plan(home / "harbour-tee-M.toml"), STOCK)) in same


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "--size: no size '' of the tee; it may be S, M, L, XL, 2XL, child 2"),
        (["--size", "large"], "did you mean 'L'?"),
        (["--size", "child 7"], "child 6, child 8"),
        (["--size", "L", "--keep", "widht"], "write width or count"),
        (["--size", "L", "--out", ""], "--out"),
        (["--size", "L", "--out", "a?b.toml"], "cannot name a plan"),
        (["--size", "L", "--out", "tee.toml"], "is here already"),
        (["--size", "L", "--out", "no/where.toml"], "cannot be written"),
    ],
)
def test_mistakes_are_told_in_one_line(
    home: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    assert main(["resize", "tee.toml", *words]) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.err.count("\n") == 1
    assert sorted(path.name for path in home.iterdir()) == ["tee.toml"]


def test_an_own_outline_has_no_sizes(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (home / "own.toml").write_text("[garment]\npoints = [[0, 0], [40, 0], [40, 60]]\n")
    assert main(["resize", "own.toml", "--size", "L"]) == 2
    assert "comes in no sizes" in capsys.readouterr().err


def test_what_a_size_cannot_hold_names_the_size() -> None:
    text = (
        '[[round]]\nfold = [{ kind = "spiral", centre = "60 cm below the neck" }]\n'
        'tie = { kind = "bands" }\n'
    )
    with pytest.raises(PlanError, match=r"in size child 2, .*centre.*no cloth to pinch"):
        anew(text, "child 2")
