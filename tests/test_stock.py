"""The stock against published sizes and ranges, and its files against a maker's slips."""

import math

import fluids
import pytest

from meltwick.errors import MeltwickError, StockError
from meltwick.stock import load_stock, own_folder

GOOD_DYE = """
[component.sky]
bands = [[600, 40, 5.0]]
kd = "3 L/kg"
[dye.sky]
parts = { sky = 1.0 }
"""


@pytest.fixture(scope="module")
def stock(tmp_path_factory):
    return load_stock(tmp_path_factory.mktemp("none"))


def mine(tmp_path, text, name="mine.toml"):
    (tmp_path / name).write_text(text, encoding="utf-8")
    return load_stock(tmp_path)


# ------------------------------------------------------------------------------ poles


@pytest.mark.parametrize(
    ("name", "nominal"),
    [
        ("1/2 in pipe", 0.5),
        ("3/4 in pipe", 0.75),
        ("1 in pipe", 1),
        ("1-1/4 in pipe", 1.25),
        ("1-1/2 in pipe", 1.5),
        ("2 in pipe", 2),
        ("2-1/2 in pipe", 2.5),
        ("3 in pipe", 3),
        ("4 in pipe", 4),
        ("6 in pipe", 6),
    ],
)
def test_pipes_have_the_outside_diameter_of_asme_b36_10m(stock, name, nominal):
    outside = fluids.nearest_pipe(NPS=nominal, schedule="40")[2]
    # the library gives whole tenths of a millimetre
    assert stock.pole(name) == pytest.approx(outside, abs=5.1e-5)


@pytest.mark.parametrize(
    "name", ["1-1/2 in pipe", "1 1/2 in pipe", "1½ in pipe", "1.5 inch pipe", "  1-1/2 IN  PIPE"]
)
def test_a_pipe_is_found_however_its_fraction_is_written(stock, name):
    assert stock.pole(name) == 1.9 * 0.0254
    assert stock.pole_name(name) == "1-1/2 in pipe"


@pytest.mark.parametrize(
    "name", ["", "pipe", "5 in pipe", "9**9 in pipe", "1-1/2 in pip", "x" * 999]
)
def test_an_unknown_pole_is_refused_in_one_line(stock, name):
    with pytest.raises(StockError, match="no pole") as caught:
        stock.pole(name)
    assert "\n" not in str(caught.value)


def test_every_pole_can_be_held_by_hand(stock):
    assert all(0.02 < diameter < 0.17 for diameter in stock.poles.values())


# ------------------------------------------------------------------------------ cloth


def test_jersey_weighs_and_fills_as_published(stock):
    # trade texts: light 80 to 150, T-shirt 160 to 220 g/m2; porosity 1 - m/(rho T) of jersey
    assert 0.08 <= stock.fabric("light cotton jersey").mass_per_area <= 0.15
    assert 0.16 <= stock.fabric("cotton jersey").mass_per_area <= 0.22
    assert stock.fabric("heavy cotton jersey").mass_per_area >= 0.2
    # 160 g/m2, 0.55 mm, 1540 kg/m3: porosity 0.811; 140 g/m2, 0.45 mm: 0.798
    assert 1 - stock.fabric("cotton jersey").solid == pytest.approx(0.811, abs=5e-4)
    assert 1 - stock.fabric("light cotton jersey").solid == pytest.approx(0.798, abs=5e-4)


def test_every_fabric_is_a_cloth(stock):
    for fabric in stock.fabrics.values():
        assert 0.1 < fabric.solid < 0.45, fabric.name
        # fibre densities: silk about 1340, cotton 1540 to 1560 kg/m3
        assert 1300 <= fabric.fibre_density <= 1560, fabric.name
        assert (fabric.dyeable_share == 0) == (fabric.name == "polyester")


def test_blends_have_the_mean_density_of_their_fibres(stock):
    for share, name in ((0.6, "cotton polyester 60/40"), (0.5, "cotton polyester 50/50")):
        fabric = stock.fabric(name)
        assert fabric.dyeable_share == share
        assert fabric.fibre_density == pytest.approx(
            1 / (share / 1540 + (1 - share) / 1380), abs=0.6
        )


# ------------------------------------------------------------------------------ blanks


def test_tees_are_graded_and_go_round_the_body_they_are_labelled_for(stock):
    # EN 13402-3, chest girth by letter, from memory [m]
    body = {"S": (0.86, 0.94), "M": (0.94, 1.02), "L": (1.02, 1.10), "XL": (1.10, 1.18)}
    sizes = [stock.blank("tee", size).measures for size in ("S", "M", "L", "XL", "2XL")]
    for measure in sizes[0]:
        values = [s[measure] for s in sizes]
        assert values == sorted(values)
    for size, (low, high) in body.items():
        assert 2 * stock.blank("tee", size).measures["half_chest"] > (low + high) / 2


def test_medium_tee_has_the_measures_of_common_trade_practice(stock):
    # common trade practice, from memory: half chest 51, length 74, sleeve 21 cm
    m = stock.blank("tee").measures
    assert stock.blank("tee").size == "M"
    assert (m["half_chest"], m["length"], m["sleeve"]) == (0.51, 0.74, 0.21)


def test_every_blank_size_can_be_cut(stock):
    from meltwick.cloth import build_cloth

    for line in stock.blanks.values():
        for size in line.sizes:
            cloth = build_cloth(stock.blank(line.name, size), stock.usual_fabric(line.name), 8e-3)
            assert cloth.size > 500


def test_a_bandana_is_square(stock):
    m = stock.blank("bandana").measures
    assert m["width"] == m["height"] == pytest.approx(22 * 0.0254)


# ------------------------------------------------------------------------------ pulls and dyes


def test_pulls_rise_and_a_hand_can_pull_them(stock):
    pulls = [stock.tie_pull(word) for word in ("loose", "snug", "tight", "very tight")]
    assert pulls == sorted(pulls)
    # mean greatest pull over several tasks, 29 men: at least 74 N (Ergonomics 1980)
    assert pulls[0] > 0
    assert pulls[-1] < 74


def test_every_component_lies_in_the_published_ranges(stock):
    for component in stock.components.values():
        # cold reactive dyes without salt: 1 to 10 L/kg (Shore, Cellulosics Dyeing, from memory)
        assert 1e-3 <= component.kd <= 1e-2, component.name
        # dyes in water at 25 degC: 2e-10 to 8e-10 m2/s (Coo et al. 1999 and estimates)
        assert 2e-10 <= component.diffusivity <= 8e-10, component.name
        assert any(400 <= peak <= 700 for peak, _, _ in component.bands), component.name
        assert component.note


def test_every_dye_is_whole(stock):
    assert len(stock.dyes) >= 16
    assert sum(len(dye.parts) > 1 for dye in stock.dyes.values()) >= 8
    for dye in stock.dyes.values():
        assert math.fsum(share for _, share in dye.parts) == pytest.approx(1, abs=1e-12)
        # reactive black 5 dissolves at 550 g/L, which few dyes reach
        assert 1 <= dye.solubility <= 550
        # a US teaspoon is 4.93 mL and dry powders lie between 0.3 and 1 g/mL
        assert 1.4e-3 <= dye.spoon <= 5e-3


# Absorption maxima in water [nm], as read in the papers.
READ = {
    # Machado and Matheus 2006, Braz. J. Microbiol. 37, 468-473
    "reactive blue 19": (592, "Machado and Matheus 2006, Braz. J. Microbiol. 37, 468-473"),
    # Bhatt and Patel 2020, "Photocatalytic degradation of Reactive Black 5 using Ag3PO4 under
    # visible light", abstract: "characteristic wavelength from 595 nm initially"
    "reactive black 5": (595, "Bhatt and Patel 2020, J. Phys. Chem. Solids"),
}


def standing(component):
    """Where a component's peak comes from, by the first such word of its note."""
    found = [
        word for word in ("read", "memory", "invented") if word in component.note.split(";")[0]
    ]
    assert len(found) == 1, component
    return found[0]


def test_a_peak_that_was_read_is_the_papers(stock):
    parts = stock.components.values()
    assert {part.name for part in parts if standing(part) == "read"} == set(READ)
    for name, (published, source) in READ.items():
        part = stock.components[name]
        peak, _, _ = max(part.bands, key=lambda band: band[2])
        assert peak == published
        assert part.note.startswith(f"peak read, {published} nm: {source}")


def test_a_peak_from_memory_says_which(stock):
    for part in stock.components.values():
        peak, _, _ = max(part.bands, key=lambda band: band[2])
        if standing(part) == "memory":
            assert f"{peak:g} nm" in part.note, part
        # a Colour Index name is a claim, so nothing invented goes by one
        assert part.name.startswith("reactive ") == (standing(part) != "invented"), part


def test_at_least_six_components_have_a_peak_read_or_remembered(stock):
    assert sum(standing(part) != "invented" for part in stock.components.values()) >= 6


def test_names_are_found_whatever_their_capitals(stock):
    assert stock.fabric("Cotton Jersey").name == "cotton jersey"
    assert stock.dye(" Harbour  Blue ").name == "harbour blue"
    assert stock.blank("tee", "xl").size == "XL"


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda s: s.dye("corel"), "did you mean 'coral'"),
        (lambda s: s.fabric("coton jersey"), "did you mean 'cotton jersey'"),
        (lambda s: s.blank("te"), "did you mean 'tee'"),
        (lambda s: s.blank("tee", "XXL"), "S, M, L, XL or 2XL"),
        (lambda s: s.tie_pull("tigt"), "did you mean 'tight'"),
    ],
)
def test_an_unknown_name_gets_the_nearest(stock, ask, said):
    with pytest.raises(StockError, match=said):
        ask(stock)


# ------------------------------------------------------------------------------ a maker's own


def test_a_makers_file_adds_to_the_stock_and_is_read_once(tmp_path):
    own = mine(tmp_path, 'schema = 1\n[pole]\n"my pole" = "1 1/8 in"\n' + GOOD_DYE)
    assert own.pole("my pole") == pytest.approx(0.028575)
    assert own.dye("sky").parts[0][1] == 1.0
    assert own.dye("coral")
    assert load_stock(tmp_path) is own


def test_a_makers_entry_takes_the_place_of_ours(tmp_path):
    own = mine(tmp_path, '[tie]\ntight = "25 N"\n')
    assert own.tie_pull("tight") == 25.0
    assert own.tie_pull("snug") == 10.0


def test_a_makers_dye_may_use_our_components(tmp_path):
    own = mine(
        tmp_path, '[dye.mine]\nparts = { "reactive red 2" = 0.5, "reactive blue 19" = 0.5 }\n'
    )
    assert [c.name for c, _ in own.dye("mine").parts] == ["reactive red 2", "reactive blue 19"]


def test_the_same_name_twice_in_a_makers_files_is_refused(tmp_path):
    (tmp_path / "a.toml").write_text('[tie]\nfirm = "15 N"\n')
    (tmp_path / "b.toml").write_text('[tie]\nfirm = "16 N"\n')
    with pytest.raises(StockError, match=r"b\.toml: the tie 'firm' is also in .*a\.toml"):
        load_stock(tmp_path)


def test_the_makers_folder_is_the_platforms():
    import platformdirs

    assert own_folder().parent == platformdirs.user_data_path("meltwick", appauthor=False)


WRONG = {
    "not toml": ("[tie", "line 1"),
    "unknown section": ("[pol]\nx = '1 in'", "did you mean 'pole'"),
    "not a table": ("pole = 3", "must be a table"),
    "newer": ("schema = 2", "newer"),
    "schema word": ("schema = 'one'", "schema is a whole number"),
    "pole no unit": ("[pole]\nbig = '80'", "no unit"),
    "pole number of nothing": ("[pole]\nbig = nan", "nan"),
    "pole too big": ("[pole]\nbig = '80 in'", "must lie from"),
    "pole negative": ("[pole]\nbig = '-8 in'", "negative"),
    "pull list": ("[tie]\nfirm = [1]", "a number is wanted"),
    "fabric key": ("[fabric.x]\nmass_per_aera = 1", "needs the key 'mass_per_area'"),
    "fabric extra": (
        "[fabric.x]\nmass_per_area='160 g/m2'\nthickness='0.5 mm'\nweting=1",
        "did you mean 'wetting'",
    ),
    "fabric too dense": ("[fabric.x]\nmass_per_area='500 g/m2'\nthickness='0.1 mm'", "% fibre"),
    "fabric flag": (
        "[fabric.x]\nmass_per_area='160 g/m2'\nthickness='0.5 mm'\nscoured='no'",
        "true or false",
    ),
    "ground short": (
        "[fabric.x]\nmass_per_area='160 g/m2'\nthickness='0.5 mm'\nground=[0.5]",
        "31 numbers",
    ),
    "blank no sizes": ("[blank.x]\ncut='tee'", "needs the key 'sizes'"),
    "blank cut": ("[blank.x]\ncut='tea'\nsizes={M={half_chest='50 cm'}}", "did you mean 'tee'"),
    "blank measure": ("[blank.x]\nsizes={M={half_chest='50 g'}}", "a length such as"),
    "blank sizes text": ("[blank.x]\nsizes={M='big'}", "must be a table"),
    "blank usual": ("[blank.x]\nusual_size='L'\nsizes={M={half_chest='50 cm'}}", "it may be M"),
    "blank fabric": (
        "[blank.x]\nusual_fabric='cotton jersy'\nsizes={M={half_chest='50 cm'}}",
        "did you mean 'cotton jersey'",
    ),
    "dye parts": ("[dye.x]\nparts = 3", "must name one to twelve"),
    "dye unknown part": ("[dye.x]\nparts={'reactive red 3'=1}", "did you mean 'reactive red 2'"),
    "dye share": ("[dye.x]\nparts={'reactive red 2'=2}", "a share from 0 to 1"),
    "dye sum": ("[dye.x]\nparts={'reactive red 2'=0.5}", "add up to 0.5"),
    "dye spoon": ("[dye.x]\nparts={'reactive red 2'=1}\nspoon_g=1e9", "must lie from"),
    "bands": ("[component.x]\nkd=0.003\nbands=[[600, 40]]", "each is"),
    "bands none": ("[component.x]\nkd=0.003\nbands=[]", "one to twelve"),
    "bands text": ("[component.x]\nkd=0.003\nbands=[['a', 'b', 'c']]", "each is"),
    "kd": ("[component.x]\nkd='3 kg'\nbands=[[600, 40, 5]]", "volume per weight"),
    "note": ("[component.x]\nkd=0.003\nbands=[[600, 40, 5]]\nnote=3", "a short text"),
    "name": ("[tie]\n'' = '3 N'", "is not a name"),
    "entry not table": ("[dye]\nx = 3", "must be a table"),
}


@pytest.mark.parametrize("case", WRONG, ids=lambda c: c.replace(" ", "-"))
def test_a_slip_in_a_makers_file_gives_one_line_that_names_the_file(tmp_path, case):
    text, said = WRONG[case]
    with pytest.raises(MeltwickError) as caught:
        mine(tmp_path, text)
    message = str(caught.value)
    assert message.startswith(str(tmp_path / "mine.toml"))
    assert said in message
    assert message.isprintable()
    assert caught.value.exit_code == 2


def test_a_makers_file_that_is_not_text_is_refused(tmp_path):
    (tmp_path / "x.toml").write_bytes(b"\x89PNG\r\n\x1a\n\0\0")
    with pytest.raises(MeltwickError, match="not a text file"):
        load_stock(tmp_path)
