"""`record` and `journal` as a maker meets them; the runs are true ones, of a small cloth."""

from __future__ import annotations

import csv
import json
import os
import re
import sqlite3
import subprocess
import sys
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from PIL import Image
from tests.journalling import CONTENTS, entry

from meltwick.cli import main
from meltwick.cli.given import Given, read_costs, read_day, read_share
from meltwick.cli.journal_words import compared, listed, size
from meltwick.cli.record import outcome_of
from meltwick.errors import PlanError
from meltwick.journal import Journal, Outcome, Piece, Prediction
from meltwick.journal.records import sha256
from meltwick.plan import plan_from_text, resolve
from meltwick.stock import load_stock

QUICK = ("--hands", "1", "--detail", "10 mm")
TWO = ("--hands", "2", "--detail", "10 mm")


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    """One store of kept runs for all of these tests: the cloth is made once."""
    return tmp_path_factory.mktemp("runs")


@pytest.fixture
def run(tmp_path, monkeypatch, capsys, runs):
    """Run the command in a folder with a plan and two photographs; give code, out, err."""
    place = tmp_path / "shed"
    place.mkdir()
    monkeypatch.chdir(place)
    monkeypatch.setattr("meltwick.study.store.usual_folder", lambda: runs)
    monkeypatch.setattr("platformdirs.user_data_dir", lambda *a, **k: str(tmp_path / "data"))
    monkeypatch.setattr("platformdirs.user_log_dir", lambda *a, **k: str(tmp_path / "log"))
    Path("cloth.toml").write_text('[garment]\nblank = "bandana"\n')
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2025:11:03 10:11:12"
    Image.new("RGB", (40, 30), (200, 210, 220)).save("front.jpg", exif=exif)
    Image.new("RGB", (40, 30), (20, 21, 220)).save("back.png")

    def go(*words):
        code = main([str(word) for word in words])
        text = capsys.readouterr()
        return code, text.out, text.err

    go.book = Journal(tmp_path / "data" / "journal.db")
    return go


def complaint(done) -> str:
    code, out, err = done
    assert code in (2, 4), (out, err)
    assert out == ""
    (line,) = err.splitlines()
    assert line.startswith("meltwick: ")
    return line


def test_a_piece_judged_by_eye(run):
    code, out, err = run("record", "cloth.toml", "--by-eye", "45%", *QUICK)
    assert code == 0, err
    first, second = out.splitlines()
    assert first == f"Piece 1, cloth, made on {date.today().isoformat()}, is in the journal."
    assert re.fullmatch(
        r"Predicted \d+ % white, measured 45 % by eye, give or take 10 points: .*\.",
        second,
    )
    (piece,) = run.book.pieces()
    assert piece.outcome == Outcome(0.45, 0.1, "by eye")
    assert len(piece.prediction.by_hand) == 1
    assert piece.prediction.low == min(piece.prediction.by_hand)
    assert piece.prediction.white == piece.prediction.high == piece.prediction.low
    assert piece.prediction.least <= piece.prediction.low
    assert (piece.fold, piece.seed, piece.plan_file) == ("pole", 1, "cloth.toml")
    assert piece.plan_text == Path("cloth.toml").read_text()


@pytest.mark.slow
def test_what_is_predicted_is_what_preview_says(run):
    """The same hands at the same detail give the same shares as `preview --hands`."""
    assert run("record", "cloth.toml", "--by-eye", "45%", *TWO)[0] == 0
    code, out, err = run("preview", "cloth.toml", *TWO, "--json")
    assert code == 0, err
    said = json.loads(out)
    assert len(run.book.piece(1).prediction.by_hand) == 2
    made = run.book.piece(1).prediction
    assert made.white == pytest.approx(said["white_median"], abs=1e-6)
    assert [made.low, made.high] == pytest.approx(said["white_range"], abs=1e-6)
    assert [made.least, made.most] == pytest.approx(said["white_range_with_doubt"], abs=1e-6)
    assert run.book.piece(1).digest == said["digest"]


def test_photographs_are_kept_and_outlive_their_files(run):
    words = ("--back", "back.png", "--by-eye", "10 %", "--by-eye-margin", "5%", *QUICK)
    more = ("--name", "first sea", "--note", "a warm night", "--cost", "12.50 EUR", "--cost", "€3")
    code, out, err = run("record", "cloth.toml", "front.jpg", *words, *more, "--cost-note", "blank")
    assert code == 0, err
    assert "made on 2025-11-03, as the photograph says" in out
    whole = [Path(name).read_bytes() for name in ("front.jpg", "back.png")]
    for name in ("front.jpg", "back.png", "cloth.toml"):
        Path(name).unlink()
    code, out, err = run("journal", "show", "1", "--out", "again")
    assert code == 0, err
    for said in (
        *("Piece 1: first sea, made on 2025-11-03", "Note of", "a warm night"),
        *("Cost: 12.50 EUR and 3 €, of which 12.50 EUR blank, 3 €", "front.jpg, taken on 2025"),
        *("last fold pole, seed 1", "middle white", "one hand from seed 1, cells of 10 mm"),
    ):
        assert said in out
    assert [Path("again", name).read_bytes() for name in ("front-1.jpg", "back-2.png")] == whole
    assert run("check", "again/plan/cloth.toml")[0] == 0
    assert "is here already" in complaint(run("journal", "show", "1", "--out", "again"))


def measured(**change):
    photo = {
        "file": "front.jpg",
        "sha256": sha256(Path("front.jpg").read_bytes()),
        "panel": "front",
    }
    whole = {
        "schema": 1,
        "white_share": 0.031,
        "white_margin": 0.02,
        "shares": {"white": 0.031, "pale": 0.1, "mid": 0.2, "deep": 0.669},
        "panels": {"front": {"white": 0.031}},
        "zones": {"middle": {"white": 0.01}},
        "palette": [{"hex": "#204060", "share": 0.6}],
        "photos": [photo],
        "blank": "bandana",
    }
    Path("measure.json").write_text(json.dumps(whole | change))
    return "measure.json"


def test_what_measure_wrote(run):
    code, out, err = run("record", "cloth.toml", measured(), "--on", "2025-11-04", *QUICK)
    assert code == 0, err
    assert "measured 3 % from the photograph, give or take 2 points" in out
    (piece,) = run.book.pieces()
    assert piece.outcome.how == "photo"
    assert piece.outcome.zones == {"middle": {"white": 0.01}}
    assert piece.outcome.palette == ({"hex": "#204060", "share": 0.6},)
    assert piece.made_on == date(2025, 11, 4)
    assert len(list(run.book.photos.iterdir())) == 1
    out = run("journal", "show", "1")[1]
    assert "1 colour found" in out
    assert re.search(r"deep +\d+ % +67 %", out)


def test_a_measured_photograph_that_is_gone_leaves_its_hash(run):
    name = measured()
    Path("front.jpg").write_bytes(b"another")
    code, out, err = run("record", "cloth.toml", name, *QUICK)
    assert code == 0, err
    assert "front.jpg is not beside measure.json any more, or was changed" in out
    assert "of 1 photograph only the hash is known" in run("journal")[1]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"schema": 2}, "newer than this version of meltwick reads (1)"),
        ({"schema": "1"}, "schema is not 1; write it anew"),
        ({"white_share": 45}, "measure.json: white_share: input should be less than or equal to 1"),
        ({"white_share": None}, "measure.json: white_share: input should be a valid number"),
        ({"white_margin": -0.1}, "measure.json: white_margin"),
        ({"shares": {"white": 2}}, "measure.json: shares.white"),
        ({"zones": [1]}, "measure.json: zones"),
        ({"photos": [{"file": "x.jpg"}]}, "measure.json: photos.1: sha256: it is missing"),
        ({"photos": "front.jpg"}, "measure.json: photos.1"),
    ],
)
def test_a_bad_record_of_measure(run, change, said):
    name = measured(**change)
    assert said in complaint(run("record", "cloth.toml", name, *QUICK))
    assert not run.book.path.exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["cloth.toml"], "PHOTO is missing; name a photograph"),
        (["cloth.toml", "nix.jpg"], "nix.jpg does not exist"),
        (["cloth.toml", ""], "cannot name a photograph"),
        (["cloth.toml", "."], ". is a folder"),
        (["front.jpg", "cloth.toml"], "is a plan; the plan comes first"),
        (["front.jpg", "back.png", "--by-eye", "4%"], "front.jpg is not a text file, so it cannot"),
        (["nix.toml", "--by-eye", "4%"], "nix.toml does not exist"),
        (["", "--by-eye", "4%"], "the plan's file has no name"),
        (["cloth.toml", "--by-eye", "45"], "did you mean 45%?"),
        (["cloth.toml", "--by-eye", "half"], "'half' is no share; write 45%"),
        (["cloth.toml", "--by-eye", "145%"], "write one from 0% to 100%"),
        (["cloth.toml", "--by-eye", "4%", "--by-eye-margin", "x"], "--by-eye-margin: 'x' is no"),
        (["cloth.toml", "front.jpg", "--by-eye-margin", "5%"], "goes with --by-eye"),
        (
            ["cloth.toml", "--back", "back.png", "--by-eye", "4%"],
            "name the photograph of the front",
        ),
        (["cloth.toml", "front.jpg", "--back", "front.jpg", "--by-eye", "4%"], "one and the same"),
        (["cloth.toml", "words.jpg", "--by-eye", "4%"], "words.jpg is no picture"),
        (["cloth.toml", "bad.json"], "bad.json is not JSON"),
        (["cloth.toml", "list.json"], "list.json holds no record"),
        (["cloth.toml", "result.json"], "result.json has no white_share"),
        (["cloth.toml", "--by-eye", "4%", "--on", "3.11.2026"], "'3.11.2026' is no date"),
        (["cloth.toml", "--by-eye", "4%", "--on", "2026-02-30"], "is no date"),
        (["cloth.toml", "--by-eye", "4%", "--on", "2926-02-03"], "is still to come"),
        (["cloth.toml", "--by-eye", "4%", "--cost", "much"], "'much' is no amount"),
        (["cloth.toml", "--by-eye", "4%", "--cost-note", "x"], "each goes with a --cost"),
        (["cloth.toml", "--by-eye", "4%", "--name", " "], "is no name"),
        (["cloth.toml", "--by-eye", "4%", "--note", ""], "a note has 1 to 4000"),
        (["cloth.toml", "--by-eye", "4%", "--hands", "0"], "--hands: '0' is not"),
        (["cloth.toml", "--by-eye", "4%", "--journal", "cloth.toml"], "a file of another kind"),
        (["cloth.toml", "--by-eye", "4%", "--journal", ""], "--journal: '' cannot name a file"),
        (
            ["cloth.toml", "--by-eye", "4%", "--journal", "front.jpg/j.db"],
            "choose another --journal",
        ),
    ],
)
def test_mistakes_cost_one_line_and_no_run(run, monkeypatch, words, said):
    Path("words.jpg").write_text("not a picture")
    Path("bad.json").write_text("{")
    Path("list.json").write_text("[1]")
    Path("result.json").write_text('{"schema": 1}')
    monkeypatch.setattr("meltwick.cli.runs.run_settings", lambda *a: pytest.fail("it was run"))
    before = sorted(Path().iterdir())
    assert said in complaint(run("record", *words))
    assert sorted(Path().iterdir()) == before
    assert not run.book.path.exists()


def test_the_same_photograph_twice_costs_no_run(run, monkeypatch):
    words = ("record", "cloth.toml", "front.jpg", "--by-eye", "4%", *QUICK)
    assert run(*words)[0] == 0
    monkeypatch.setattr("meltwick.cli.runs.run_settings", lambda *a: pytest.fail("it was run"))
    assert "is the photograph of piece 1 already" in complaint(run(*words))


def test_the_seam_where_photographs_are_measured(run, monkeypatch):
    """`outcome_of` hands front, back, blank and cloth on, and takes a measured record."""
    import types

    asked = []
    fake = types.ModuleType("meltwick.cli.measure")

    def measure(*given):
        asked.append(given)
        return {"schema": 1, "white_share": 0.2, "white_margin": 0.03, "shares": {}, "photos": []}

    fake.measured = measure
    monkeypatch.setitem(sys.modules, "meltwick.cli.measure", fake)
    recipe = resolve(plan_from_text("", "x.toml"), load_stock())
    found = outcome_of(Given(front=Path("f.jpg"), back=Path("b.jpg")), recipe)
    assert asked == [(Path("f.jpg"), Path("b.jpg"), recipe.blank, recipe.fabric)]
    assert found == {"white_share": 0.2, "white_margin": 0.03, "shares": {}, "how": "photo"}


# ------------------------------------------------------------------------- small readings


def test_costs_as_makers_write_them():
    said = ["12.50 EUR", "€3", "3,20 kr", "$ 7", "12", "100 Ft", "4 GBP "]
    found = [(each.amount, each.currency) for each in read_costs(said, ["blank"])]
    assert found == [
        ("12.50", "EUR"),
        ("3", "€"),
        ("3.20", "kr"),
        ("7", "$"),
        ("12", ""),
        ("100", "Ft"),
        ("4", "GBP"),
    ]
    for bad in ("-3", "1,250.00", "3 EUR €", "EUR", "", "1e9", "€3€", "3.123 EUR", "=3"):
        with pytest.raises(PlanError, match="no amount"):
            read_costs([bad], [])


def test_days_and_shares():
    assert read_day(" Yesterday ", "--on") == date.today() - timedelta(days=1)
    assert read_day("2025-1-9", "--on") == date(2025, 1, 9)
    assert read_share("45%", "--by-eye") == read_share(" 45 percent", "--by-eye") == 0.45
    assert [size(n) for n in (0, 2_500, 12_340_000)] == ["0.0 kB", "2.5 kB", "12.3 MB"]


def piece(white: float, margin: float, low: float = 0.3, high: float = 0.4, **change) -> Piece:
    made = Prediction(0.35, low, high, 0.1, 0.6, (0.35, low, high), 1, 4e-3, {}, {}, {}, 3, "0.1")
    found = vars(entry()) | {"outcome": Outcome(white, margin, "photo"), "prediction": made}
    return Piece(**(found | change))


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (piece(0.42, 0.03), "the two agree as far as hands and eye can tell."),
        (piece(0.50, 0.03), "it came out 15 points whiter than predicted, which is within what"),
        (piece(0.15, 0.03), "it came out 20 points darker than predicted, which is within what"),
        (piece(0.80, 0.03), "45 points whiter than predicted, more than the model should be off"),
        (piece(0.34, 0.0), "Predicted 35 % white (30 to 40 % by three hands), measured 34 % from"),
        (piece(0.42, 0.01, ground="sky"), "Predicted 35 % left sky (30 to 40 %"),
        (
            piece(0.42, 0.01, prediction=None),
            "Measured 42 % from the photograph, give or take 1 po",
        ),
    ],
)
def test_predicted_beside_measured_in_one_sentence(made, said):
    line = compared(made)
    assert said in line
    assert line.endswith(".")
    assert line.count(". ") == 0


def test_a_side_that_was_measured_alone_is_compared_alone():
    """The front was predicted 25 points whiter than the whole, and so are its doubts."""
    panels = {"front": {"white": 0.6}, "back": {"white": 0.1}}
    made = piece(0.0, 0.0).prediction
    made = replace(made, shares={"white": 0.35}, panels=panels)
    front = Outcome(0.62, 0.03, "photo", panels={"front": {"white": 0.62}})
    line = compared(piece(0.0, 0.0, prediction=made, outcome=front))
    assert line.startswith(
        "Predicted 60 % white on the front (55 to 65 % by three hands), measured"
    )
    assert "the two agree" in line
    both = replace(front, panels=panels)
    line = compared(piece(0.0, 0.0, prediction=made, outcome=both))
    assert line.startswith("Predicted 35 % white (30 to 40 %")


def test_the_table_lines_up():
    rows = listed([piece(0.42, 0.03, number=9), piece(1.0, 0.0, number=10, name="n" * 60)])
    assert rows[0].split() == ["made", "on", "name", "fold", "predicted", "measured"]
    assert rows[1].startswith(" 9  2026-11-03  kite")
    assert rows[2].startswith("10  2026-11-03  nnn")
    assert len({row.index("pole") for row in rows[1:]} | {rows[0].index("fold")}) == 1
    assert rows[1].endswith("35 %  42 % ± 3")
    assert rows[2].endswith("35 %  100 %")


# --------------------------------------------------------------------------- the journal


@pytest.fixture
def filled(run):
    for n, (name, fold, day) in enumerate(
        [("sea", "pole", 3), ("=dune", "spiral", 9), ("sea two", "spiral", 20)]
    ):
        made = replace(entry(name), fold=fold, made_on=date(2025, 11, day))
        run.book.add(made, CONTENTS, [], [f"note {n}"])
    return run


@pytest.mark.parametrize(
    ("words", "numbers"),
    [
        ([], [1, 2, 3]),
        (["--fold", "Spiral"], [2, 3]),
        (["--name", "SEA"], [1, 3]),
        (["--since", "2025-11-09"], [2, 3]),
        (["--until", "2025-11-9"], [1, 2]),
        (["--since", "2025-11-04", "--until", "2025-11-12", "--fold", "spiral"], [2]),
        (["--fold", "rope"], []),
    ],
)
def test_list_and_its_filters(filled, words, numbers):
    code, out, err = filled("journal", "list", *words)
    assert (code, err) == (0, "")
    assert [int(line.split()[0]) for line in out.splitlines() if " 2025-11-" in line] == numbers
    assert f"3 pieces in {filled.book.path}" in out
    if not numbers:
        assert "they have the folds pole, spiral" in out


def test_without_a_word_it_lists_and_without_a_journal_it_says_so(run, filled):
    assert filled("journal") == filled("journal", "list")
    code, out, err = run("journal", "list", "--journal", "new.db")
    assert (code, err) == (0, "")
    assert "There is no journal in" in out
    assert not Path("new.db").exists()


def test_note_export_import_forget(filled):
    assert filled("journal", "note", "#2", "fades") == (0, "Noted to piece 2, =dune.\n", "")
    code, out, _ = filled("journal", "export", "--csv", "a.csv", "--json", "a.json")
    assert (code, out.count("3 pieces written to")) == (0, 2)
    with Path("a.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["name"] for row in rows] == ["sea", "'=dune", "sea two"]
    assert rows[1]["notes"] == "note 1 / fades"
    assert "is here already" in complaint(filled("journal", "export", "--csv", "a.csv"))
    assert filled("journal", "forget", "2", "--yes") == (0, "Deleted piece 2, =dune.\n", "")
    code, out, _ = filled("journal", "import", "a.json")
    assert out.splitlines() == [
        "1 new piece, number 4.",
        "Some have other numbers here: 2 is 4.",
        "2 pieces were here already.",
    ]
    assert filled("journal", "import", "a.json")[1].endswith("Nothing was new.\n")
    assert [note.text for note in filled.book.piece(4).notes] == ["note 1", "fades"]


def test_backup_and_back(filled):
    assert filled("journal", "backup", "stick/")[1].startswith(
        "3 pieces copied to stick/journal.db"
    )
    assert Journal(Path("stick/journal.db")).pieces() == filled.book.pieces()
    code, out, _ = filled("journal", "import", "stick/journal.db", "--journal", "new.db")
    assert (code, out) == (0, "3 new pieces, number 1, 2, 3.\n")
    filled.book.path.write_bytes(b"spoilt")
    said = complaint(filled("journal", "list"))
    assert f"its last backup is {Path('stick/journal.db').absolute()}, of {date.today()}" in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["show", "9"], "there is no piece 9"),
        (["show", "x"], "'x' is no piece's number"),
        (["show", "-1"], "No such option: -1"),
        (["show"], "N is missing"),
        (["note", "1"], "TEXT is missing"),
        (["note", "1", " "], "a note has 1 to 4000"),
        (["forget", "1"], "this deletes piece 1, sea, for good; say --yes"),
        (["forget", "12", "--yes"], "there is no piece 12"),
        (["export"], "nothing to write"),
        (["export", "--csv", "no/such/a.csv"], "cannot be written"),
        (["export", "--json", ""], "--json: '' cannot name a file"),
        (["export", "--photos", "front.jpg"], "front.jpg is a file; name a folder"),
        (["import", "nix.json"], "nix.json does not exist"),
        (["import", "."], ". is a folder"),
        (["import", "front.jpg"], "front.jpg is not text"),
        (["import", "cloth.toml"], "cloth.toml is not JSON"),
        (["import", "other.db"], "a SQLite file of another program"),
        (["import", "x.json", "--photos", "nix"], "nix is not a folder"),
        (["backup", "cloth.toml"], "is another file"),
        (["list", "--since", "tomorrow"], "'tomorrow' is no date"),
        (["list", "--since", "2025-11-09", "--until", "2025-11-08"], "is after --until"),
        (["list", "--journal", "front.jpg"], "a file of another kind"),
        (["list", "--journal", "other.db"], "a SQLite file of another program"),
        (["lst"], "Did you mean"),
    ],
)
def test_mistakes_in_the_journal(filled, words, said):
    connection = sqlite3.connect("other.db")
    connection.execute("CREATE TABLE stitch (n)")
    connection.commit()
    connection.close()
    before = filled.book.pieces()
    there = {path: path.read_bytes() for path in Path().iterdir()}
    assert said in complaint(filled("journal", *words))
    assert filled.book.pieces() == before
    assert {path: path.read_bytes() for path in Path().iterdir()} == there


@pytest.mark.parametrize("word", ["list", "show", "note", "export", "import", "backup", "forget"])
def test_every_command_has_help_with_an_example(run, word):
    code, out, err = run("journal", word, "--help")
    assert (code, err) == (0, "")
    assert f"Example: meltwick journal {word}" in " ".join(out.split())
    assert "..." not in run("journal", "--help")[1].partition("Commands:")[2]


def test_forget_asks_at_a_terminal(filled, monkeypatch):
    monkeypatch.setattr("sys.stdin", type("Terminal", (), {"isatty": lambda self: True})())
    answers = iter([False, True])
    monkeypatch.setattr("typer.confirm", lambda *a, **k: next(answers))
    assert filled("journal", "forget", "1")[1] == "Nothing was deleted.\n"
    assert filled("journal", "forget", "1")[1] == "Deleted piece 1, sea.\n"


def test_show_prints_the_plan_alone(filled):
    assert filled("journal", "show", "1", "--plan")[1] == entry().plan_text


def test_the_help_loads_no_numbers(run):
    """What takes long to import waits until it is needed."""
    code = "import sys; from meltwick.cli.app import build; build(); print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not {"numpy", "pydantic", "sqlite3", "PIL"} & set(done.stdout.split())


def test_the_pages_commands_work_in_a_shell(filled, tmp_path):
    """The command as a process, with the journal where this system keeps data."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "meltwick", "journal", "list"],
        env={**os.environ, "XDG_DATA_HOME": str(tmp_path / "home")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert "There is no journal in" in done.stdout
