"""What a maker who mistypes is told: the word they meant, and what to write instead.

That these are a maker's other words for a thing is common practice, no source.
"""

import pytest

from meltwick.errors import FileError, MeltwickError
from meltwick.plan import plan_from_text, read_plan, resolve
from meltwick.plan.folds import AccordionFold, PoleFold, SpiralFold
from meltwick.plan.models import TieTable
from meltwick.stock import load_stock
from meltwick.stock.reading import nearest
from meltwick.stock.synonyms import SYNONYMS

STOCK = load_stock()


def told(text):
    """The one line that a plan is refused with."""
    with pytest.raises(MeltwickError) as caught:
        resolve(plan_from_text(text, "my.toml"), STOCK)
    said = str(caught.value)
    assert said.startswith("my.toml")
    assert "\n" not in said
    return said


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ('[garment]\nsize = "XXL"', "2XL"),
        ('[garment]\nsize = "xx-large"', "2XL"),
        ('[garment]\nsize = "medium"', "M"),
        ('[garment]\nblank = "t-shirt"', "tee"),
        ('[garment]\nblank = "long sleeve tee"', "long-sleeve tee"),
        ('[garment]\nblank = "kids tee"', "child tee"),
        ('[garment]\nblank = "tote bag"', "tote"),
        ('[garment]\nblank = "pillow case"', "pillowcase"),
        ('[garment]\nblank = "shawl"', "scarf"),
        ('[garment]\nblank = "scarf"\nsize = "20x70 in"', "20 x 70 in"),
        ('[garment]\nfabric = "canvas"', "cotton canvas"),
        ('[garment]\nfabric = "cotton"', "cotton jersey"),
        ('[garment]\nfabric = "rayon"', "viscose jersey"),
        ('[garment]\nfabric = "silk"', "silk habotai"),
        ('[garment]\nfabric = "50/50"', None),
        ('[garment]\ndamp = "wet"', "dripping"),
        ('[[round]]\ndye = [{ dye = "black" }]', "ink"),
        ('[[round]]\ndye = [{ dye = "blue" }]', "harbour blue"),
        ('[[round]]\ndye = [{ dye = "corl" }]', "coral"),
        ('[[round]]\ndye = [{ at = "top" }]', "high"),
        ('[[round]]\ntie = { pull = "hard" }', "tight"),
        ('[[round]]\nfold = [{ kind = "accordian" }]', "accordion"),
        ('[[round]]\ntie = { kind = "rubber bands" }', "bands"),
        ('[[round]]\ntie = { kind = "elastic" }', "bands"),
        ('[[round]]\nfold = [{ kind = "concertina" }]', "accordion"),
        ('[[round]]\nfold = [{ kind = "fan fold" }]', "accordion"),
        ('[[round]]\nfold = [{ kind = "swirl" }]', "spiral"),
        ('[[round]]\nfold = [{ kind = "spirale" }]', "spiral"),
        ('[[round]]\nfold = [{ kind = "accordion", creases = "diagonal" }]', "slanting"),
        ('[[round]]\nfold = [{ kind = "accordion", creases = "lengthwise" }]', "along"),
        ('[[round]]\nfold = [{ kind = "accordion", angle = "30 deg" }]', "creases"),
        ('[[round]]\nfold = [{ kind = "spiral", twist = "clockwise" }]', "right"),
        ('[[round]]\nfold = [{ kind = "spiral", twist = "anticlockwise" }]', "left"),
        ('[[round]]\nfold = [{ kind = "spiral", center = "chest" }]', "centre"),
        ('[[round]]\nfold = [{ kind = "spiral", centre = "belly button" }]', "navel"),
        ('[[round]]\nfold = [{ kind = "spiral", direction = "left" }]', "twist"),
        ('[[round]]\nfold = [{ kind = "spiral", arms = 8 }]', "pleats"),
        ('[[round]]\nfold = [{ kind = "accordion" }]\nrest = { lies = "on edge" }', "pleats up"),
        ('[[round]]\noutside = "bak"', "back"),
    ],
)
def test_a_makers_other_word_is_understood_and_the_right_one_named(text, meant):
    said = told(text)
    if meant is None:
        assert "did you mean" not in said
    else:
        assert said.endswith(f"did you mean '{meant}'?")


def test_every_synonym_leads_to_a_word_that_a_plan_may_hold():
    from meltwick.plan import words

    known = {*STOCK.blanks, *STOCK.fabrics, *STOCK.poles, *STOCK.ties, *STOCK.dyes}
    known |= {size for line in STOCK.blanks.values() for size in line.sizes}
    known |= {*words.NEATNESS, *words.DAMP, *words.ZONES, *words.FOLDS, "shoulder"}
    known |= {place for places in words.PLACES.values() for place in places}
    known |= {*words.FOLDS_LATER, *words.TIES, *words.TIES_LATER, *words.LIES, *words.CREASES}
    known |= {"left", "right"}
    tables = (PoleFold, AccordionFold, SpiralFold, TieTable)
    known |= {key for table in tables for key in table.model_fields}
    for other, meant in SYNONYMS.items():
        assert other == other.casefold()
        assert set(meant) <= known, other
        assert other not in meant


def test_spelling_still_decides_where_nothing_else_does():
    assert nearest("carefull", ("careful", "hurried")) == "careful"
    assert nearest("  XXL ", ("S", "2xl")) == "2xl"
    assert nearest("XXL", ("S", "XL")) == "XL"
    assert nearest("zzz", ("S", "XL")) is None


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ('garment = "tee"', ("garment: 'tee'", '{ blank = "tee" }')),
        ('[[round]]\ntie = "string"', ("round.1.tie", '{ kind = "string" }')),
        ('[[round]]\nsoda = "none"', ("round.1.soda", '{ how = "none" }')),
        ('[[round]]\ndye = "coral"', ("round.1.dye", '[{ dye = "coral" }]')),
        ('[[round]]\ndye = ["plum"]', ("round.1.dye.1", '{ dye = "plum" }')),
        ('[[round]]\nfold = "pole"', ("round.1.fold", '[{ kind = "pole" }]')),
        ('[[dye]]\ndye = "coral"', ("dye: no such key", "'dye' goes inside the [[round]]")),
        ('size = "M"', ("size: no such key", "'size' goes inside the [garment]")),
        ('[[round]]\nfold = ["brick"]', ("round.1.fold.1", '{ kind = "accordion" }')),
        ("[[round]]\nice = []", ("round.1.ice", "at least 1 is needed")),
        ('[[round]]\nfold = [{ kind = "rosette" }]', ("did you mean 'rosettes'", "pole")),
        ('[[round]]\nfold = [{ kind = "crumple" }]', ("did you mean 'scrunch'", "pole")),
        ('[[round]]\ntie = { kind = "clamped plates" }', ("string", "did you mean 'clamps'")),
        ('[[round]]\nfold = [{ pole = "38 mm" }]', ("no pole '38 mm'", "diameter = '38 mm'")),
        ('[[round]]\nfold = [{ squeeze = "25 cm to 70 cm" }]', ("the longer length comes first",)),
        ('[[round]]\nfold = [{ squeeze = "70 to 25 cm" }]', ("'70 to 25 cm'", "70 cm to 25 cm'")),
        (
            '[[round]]\nice = [{ amount = "0.001 tsp" }]',
            ("round.1.ice.1.amount", "2.46 mg of ice", "10 g to 100 kg"),
        ),
        (
            '[[round]]\ntie = { spacing = "3 mm", thickness = "5 mm" }',
            ("round.1.tie.spacing", "5 mm", "3 mm"),
        ),
        ("[[round]]\nbatch = { time = 24 h }", ("line 2", "quotes")),
        (f'[garment]\nfabric = "{"x" * 99}"', ("garment.fabric", "1 to 60 characters")),
    ],
)
def test_the_line_says_what_to_write_instead(text, parts):
    said = told(text)
    for part in parts:
        assert part in said


def test_a_file_of_nearly_that_name_is_offered(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "salt-marsh.toml").write_text("seed = 1")
    (tmp_path / "salt-marsh").mkdir()
    for name in ("salt-marsh", "salt-mash.toml"):
        with pytest.raises(FileError, match=r"did you mean 'salt-marsh\.toml'\?"):
            read_plan(name)
    with pytest.raises(FileError, match="check the spelling"):
        read_plan("quite-another-name")
    with pytest.raises(FileError, match="has no name"):
        read_plan("")
