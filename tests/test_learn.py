"""`meltwick learn`, and the commands that predict as a maker's own pieces taught."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import jsonschema
import pytest
from tests.learned import PROFILE, TRUE, StandIn

from meltwick.cli import machine, main
from meltwick.constants import MODEL
from meltwick.errors import FileError
from meltwick.journal import Journal, evidence, profiles
from meltwick.journal.factors import moved
from meltwick.journal.profiles import as_toml, read_profile
from meltwick.plan import plan_from_text, resolve
from meltwick.stock import load_stock
from meltwick.study import model_doubt, store, workers
from meltwick.study.outcome import Order, make

CLOTH = 'name = "cloth"\n[garment]\nblank = "bandana"\n'
SCHEMA = Path(__file__).parents[1] / "docs" / "result.schema.json"
Run = Callable[..., tuple[int, str, str]]


def piece(name: str, white: float, number: int, text: str = CLOTH) -> SimpleNamespace:
    """A piece as the journal gives it: of what it holds, what learning looks at."""
    outcome = SimpleNamespace(white_share=white, white_margin=0.03, shares={}, how="photo")
    return SimpleNamespace(
        name=name, seed=number, number=number, outcome=outcome, text=text, only_panel=None
    )


@pytest.fixture
def shelf() -> list[SimpleNamespace]:
    """What the journal holds."""
    return []


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, shelf: list[SimpleNamespace]) -> Path:
    """An empty folder; the journal is a list, for its files are tested elsewhere."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(machine, "prepare_kernels", lambda announce=True: None)
    monkeypatch.setattr(workers, "usable_cores", lambda: 1)  # no processes for so few runs
    monkeypatch.setattr(store, "usual_folder", lambda: tmp_path / "cache")
    monkeypatch.setattr(profiles, "usual_folder", lambda: tmp_path / "profiles")
    (tmp_path / "cloth.toml").write_text(CLOTH)
    monkeypatch.setattr(evidence, "pieces", lambda path: tuple(shelf))
    monkeypatch.setattr(
        evidence,
        "recipe_of",
        lambda each: resolve(plan_from_text(each.text, "cloth.toml"), load_stock()),
    )
    return tmp_path


@pytest.fixture
def run(home: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    def go(*words: str) -> tuple[int, str, str]:
        code = main(list(words))
        text = capsys.readouterr()
        return code, text.out, text.err

    return go


def keep(home: Path, text: str = "", name: str = "mine") -> None:
    (home / "profiles").mkdir(exist_ok=True)
    (home / "profiles" / f"{name}.toml").write_text(text or as_toml(PROFILE), "utf-8")


# ------------------------------------------------------------------------------- learning


@pytest.fixture
def lighter(monkeypatch: pytest.MonkeyPatch, shelf: list[SimpleNamespace]) -> StandIn:
    """Eight pieces of a maker whose bundles keep out more; runs are the stand-in's."""
    place = StandIn(8, hand=0.1)
    for each in place.pieces(TRUE, classes=False):
        made = piece(f"piece {each.number}", each.white, each.number)
        made.text = CLOTH.replace("cloth", str(each.number), 1)
        shelf.append(made)

    def run_all(orders: list[Order], **_: object) -> list[SimpleNamespace]:
        found = place.make(orders)
        return [SimpleNamespace(shares=SimpleNamespace(whole=shares)) for shares in found]

    monkeypatch.setattr("meltwick.study.queue.run_all", run_all)
    return place


def test_pieces_become_a_profile(run: Run, home: Path, lighter: StandIn) -> None:
    code, out, err = run("learn", "--detail", "8 mm")
    assert (code, err) == (0, "")
    assert "On 8 pieces of yours the book was off by about" in out
    assert "Your bundles keep out more than the book says: about" in out
    assert "\n  film " in out
    assert "piece 3" in out
    assert f"The doubt of a usual plan goes from {100 * model_doubt():.0f} points to" in out
    assert out.splitlines()[-1].endswith("Next: meltwick preview PLAN --as mine")
    profile = read_profile("mine", home / "profiles")
    assert profile.gain
    assert profile.after < 0.6 * profile.before
    assert profile.pitch == 8e-3
    assert [each.name for each in profile.pieces] == [f"piece {k}" for k in range(8)]
    assert [path.name for path in (home / "profiles").iterdir()] == ["mine.toml"]


def test_noise_leaves_the_profile_as_it_was(
    run: Run, home: Path, lighter: StandIn, shelf: list[SimpleNamespace]
) -> None:
    """Exit code 3: a wish that is not met, as `aim` says it; nothing is written."""
    keep(home)
    before = (home / "profiles" / "mine.toml").read_bytes()
    for each, made in zip(lighter.pieces(0.0 * TRUE, classes=False), shelf, strict=True):
        made.outcome.white_share = each.white
    code, out, err = run("learn", "--detail", "8 mm")
    assert code == 3
    assert "say nothing surely" in out
    assert "no profile was written" in err
    assert len(err.splitlines()) == 1
    assert (home / "profiles" / "mine.toml").read_bytes() == before
    code, out, _ = run("learn", "--detail", "8 mm", "--anyway")
    assert code == 0
    assert not read_profile("mine", home / "profiles").gain


def test_pieces_that_no_constants_explain(
    run: Run, lighter: StandIn, shelf: list[SimpleNamespace]
) -> None:
    for made in shelf:
        made.outcome.white_share = 0.98
    _, out, _ = run("learn", "--detail", "8 mm")
    assert "times as far as hands and measures explain: see whether each was folded" in out


@pytest.mark.parametrize("count", [0, 1, 2])
def test_too_few_pieces(run: Run, home: Path, shelf: list[SimpleNamespace], count: int) -> None:
    """Exit code 2: what was given is not enough to begin with."""
    shelf += [piece(f"p{n}", 0.4, n) for n in range(count)]
    code, out, err = run("learn")
    assert (code, out) == (2, "")
    assert "learning needs 3 or more" in err
    assert len(err.splitlines()) == 1
    assert not (home / "profiles").exists()


def test_a_piece_that_cannot_teach_is_named(run: Run, shelf: list[SimpleNamespace]) -> None:
    shelf += [piece(f"p{n}", 0.4, n) for n in range(3)]
    shelf.append(piece("old dye", 0.4, 9, CLOTH + '[[round]]\n[[round.dye]]\ndye = "gone"\n'))
    code, out, err = run("learn", "--dry-run", "--detail", "8 mm")
    assert code == 0
    assert err.startswith("old dye was passed over: ")
    assert "gone" in err
    assert out.startswith("3 pieces: about ")


def test_a_side_that_was_measured_alone_is_compared_alone(
    run: Run, lighter: StandIn, shelf: list[SimpleNamespace], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fronts are as white as the stand-in makes them, and the rest of the cloth has none."""
    for made in shelf:
        made.only_panel = "front"

    def run_all(orders: list[Order], **_: object) -> list[SimpleNamespace]:
        bare = {"white": 0.0, "pale": 0.3, "mid": 0.3, "deep": 0.4}
        found = [{"front": shares} for shares in lighter.make(orders)]
        return [SimpleNamespace(shares=SimpleNamespace(whole=bare, panels=f)) for f in found]

    monkeypatch.setattr("meltwick.study.queue.run_all", run_all)
    code, out, err = run("learn", "--detail", "8 mm")
    assert (code, err) == (0, "")
    assert "Your bundles keep out more than the book says: about" in out


def test_a_piece_over_a_dyed_one_is_passed_over(
    run: Run, home: Path, shelf: list[SimpleNamespace]
) -> None:
    shelf += [piece(f"p{n}", 0.4, n) for n in range(3)]
    (home / "front.jpg").write_bytes(b"it is not looked at")
    shelf.append(piece("second sea", 0.2, 9, f'start = {{ photo = "front.jpg" }}\n{CLOTH}'))
    code, out, err = run("learn", "--dry-run", "--detail", "8 mm")
    assert code == 0
    assert err == (
        "second sea was passed over: its plan starts from a dyed piece, and learning needs pieces "
        "that began undyed\n"
    )
    assert out.startswith("3 pieces: about ")


def test_a_dry_run_counts_and_makes_nothing(
    run: Run, home: Path, shelf: list[SimpleNamespace]
) -> None:
    shelf += [piece(f"p{n}", 0.4, n) for n in range(3)]
    code, out, _ = run("learn", "--dry-run", "--detail", "8 mm", "--hands", "2")
    assert code == 0
    # three levels of two hands, and two slopes of two factors by two hands, of three pieces
    assert f"about {3 * (3 * 2 + 2 * 2 * 2)} runs; " in out
    assert not (home / "profiles").exists()
    assert not (home / "cache").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--hands", "1"], "--hands"),
        (["--as", "a/b"], "cannot name a profile"),
        (["--detail", "tiny"], "--detail"),
        (["--list", "--forget", "mine"], "do not go together"),
        (["--forget", "mine"], "none was learned yet"),
        (["--journal", " "], "--journal"),
    ],
)
def test_wrong_words_end_in_one_line(run: Run, words: list[str], said: str) -> None:
    code, out, err = run("learn", *words)
    assert (code, out) == (2, "")
    assert said in err
    assert len(err.splitlines()) == 1


def test_a_journal_that_cannot_be_read(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def pieces(path: Path) -> None:
        raise FileError(f"{path} is no journal")

    monkeypatch.setattr(evidence, "pieces", pieces)
    code, _, err = run("learn", "--journal", "cat.jpg")
    assert code == 2
    assert "cat.jpg is no journal" in err


def test_profiles_are_listed_and_forgotten(run: Run, home: Path) -> None:
    assert run("learn", "--list")[1] == "No profile was learned yet.\n"
    keep(home)
    keep(home, as_toml(replace(PROFILE, name="old", model=MODEL - 1)), "old")
    code, out, _ = run("learn", "--list")
    mine, old = out.splitlines()
    assert code == 0
    assert mine.startswith("mine: learned on 2026-11-03 from 12 pieces, off by about ")
    assert "learn it anew with meltwick learn --as old" in old
    assert run("learn", "--forget", "old")[1] == "Profile old is thrown away.\n"
    assert [path.name for path in (home / "profiles").iterdir()] == ["mine.toml"]


def test_a_data_folder_that_cannot_be_written(
    run: Run, home: Path, shelf: list[SimpleNamespace]
) -> None:
    shelf += [piece(f"p{n}", 0.4, n) for n in range(3)]
    (home / "profiles").write_text("in the way")
    code, _, err = run("learn", "--detail", "8 mm")
    assert code == 2
    assert "profiles are kept there" in err
    assert len(err.splitlines()) == 1
    assert not (home / "cache").exists()  # told before any run


# ---------------------------------------------------------------------------- using it


def test_a_preview_as_a_profile(run: Run, home: Path) -> None:
    keep(home)
    code, out, err = run("preview", "cloth.toml", "--detail", "8 mm", "--as", "mine")
    assert (code, err) == (0, "")
    assert "checked against 12 of your own pieces, which missed each by about" in out
    assert "not yet checked" not in out
    assert "As mine, learned from 12 of your own pieces: about" in out
    record = json.loads((home / "cloth" / "result.json").read_text("utf-8"))
    jsonschema.Draft202012Validator(json.loads(SCHEMA.read_text("utf-8"))).validate(record)
    assert record["profile"]["name"] == "mine"
    recipe = resolve(plan_from_text(CLOTH, "cloth.toml"), load_stock())
    wanted = make(Order(recipe, recipe.seed, 8e-3, PROFILE.constants()))
    assert record["white_share"] == pytest.approx(wanted.white, abs=1e-6)
    assert record["digest"] == wanted.digest
    bare = make(Order(recipe, recipe.seed, 8e-3, None))
    assert wanted.white > bare.white  # its bundles keep out more


def test_several_hands_as_a_profile(run: Run, home: Path) -> None:
    keep(home)
    words = ("preview", "cloth.toml", "--detail", "10 mm", "--hands", "2", "--as", "mine", "--json")
    code, out, _ = run(*words)
    record = json.loads(out)
    assert code == 0
    recipe = resolve(plan_from_text(CLOTH, "cloth.toml"), load_stock())
    for each in record["white_by_hand"]:
        wanted = make(Order(recipe, each["seed"], 10e-3, PROFILE.constants()))
        assert each["white_share"] == pytest.approx(wanted.white, abs=1e-6)


@pytest.mark.parametrize(
    "words",
    [
        ("compare", "cloth.toml", "--vary", "squeeze=2,4", "--hands", "1"),
        ("explore", "cloth.toml", "--vary", "squeeze=2..4", "--n", "2"),
        ("aim", "cloth.toml", "--white", "50%", "--vary", "squeeze=2..4", "--hands", "1"),
    ],
)
def test_studies_as_a_profile(run: Run, home: Path, words: tuple[str, ...]) -> None:
    keep(home)
    _, out, _ = run(*words, "--detail", "10 mm", "--as", "mine")
    assert "As mine, learned from 12 of your own pieces" in out
    mine = {path.name for path in (home / "cache").rglob("*.run")}
    (home / "cloth-aimed.toml").unlink(missing_ok=True)
    _, out, _ = run(*words, "--detail", "10 mm")
    assert "As mine" not in out
    both = {path.name for path in (home / "cache").rglob("*.run")}
    assert mine < both  # runs by the book are others


def test_a_piece_is_recorded_as_a_profile(run: Run, home: Path) -> None:
    """The prediction kept is the profile's, with its smaller doubt, and its name stands by it."""
    keep(home)
    words = ("cloth.toml", "--by-eye", "45%", "--hands", "1", "--detail", "10 mm")
    for more in (("--as", "mine"), ()):
        code, out, _ = run("record", *words, *more, "--journal", "own.db")
        assert code == 0
        assert ("\nAs mine, predicted " in out) == bool(more)
    mine, book = (each.prediction for each in Journal(home / "own.db").pieces())
    assert (mine.profile, book.profile) == ("mine", None)
    recipe = resolve(plan_from_text(CLOTH, "cloth.toml"), load_stock())
    wanted = make(Order(recipe, recipe.seed, 10e-3, PROFILE.constants()))
    assert mine.white == pytest.approx(wanted.white, abs=1e-6)
    assert mine.white > book.white
    assert mine.most - mine.least < book.most - book.least
    shown = [run("journal", "show", str(n), "--journal", "own.db")[1] for n in (1, 2)]
    assert ["by profile mine" in each for each in shown] == [True, False]


@pytest.mark.parametrize("command", ["preview", "compare", "explore", "aim", "record", "redye"])
def test_a_profile_that_is_not_there(run: Run, command: str) -> None:
    extra = {"compare": ["--vary", "squeeze=2,4"], "explore": ["--vary", "squeeze=2..4"]}
    extra["aim"] = ["--white", "50%", "--vary", "squeeze=2..4"]
    extra["redye"] = ["--white", "50%"]
    extra["record"] = ["--by-eye", "45%", "--journal", "own.db"]
    code, out, err = run(command, "cloth.toml", *extra.get(command, []), "--as", "winter")
    assert (code, out) == (2, "")
    assert "there is no profile 'winter'" in err
    assert len(err.splitlines()) == 1


def test_a_profile_of_another_model(run: Run, home: Path) -> None:
    keep(home, as_toml(replace(PROFILE, model=MODEL + 1)))
    code, _, err = run("preview", "cloth.toml", "--as", "mine")
    assert code == 2
    assert "learned with another model" in err
    assert err.strip().endswith("learn it anew with meltwick learn")


# ------------------------------------------------------------------------- the real model

GAPS = ("15 mm", "40 mm")
FOLDS = (
    '{ kind = "pole", pole = "1-1/2 in pipe" }',
    '{ kind = "accordion", pleat = "6 cm" }',
)


@pytest.mark.slow
def test_real_runs_give_hidden_constants_back(
    run: Run, home: Path, shelf: list[SimpleNamespace]
) -> None:
    """Four pieces by hands that the fit never sees; the error of each, left out, falls."""
    hidden = moved(1.2 * TRUE / TRUE[0])
    for number, (fold, gap) in enumerate((f, g) for f in FOLDS for g in GAPS):
        text = (
            CLOTH + f'[[round]]\nfold = [{fold}]\ntie = {{ kind = "string", spacing = "{gap}" }}\n'
        )
        recipe = resolve(plan_from_text(text, "cloth.toml"), load_stock())
        true = make(Order(recipe, 900 + number, 8e-3, hidden))
        made = piece(f"p{number}", true.white, number + 1, text)
        made.outcome.shares = dict(true.shares.whole)
        shelf.append(made)
    code, out, err = run("learn", "--detail", "8 mm", "--hands", "2")
    assert code == 0, out + err
    profile = read_profile("mine", home / "profiles")
    assert profile.after < 0.7 * profile.before
    for number, wanted in enumerate(1.2 * TRUE / TRUE[0]):
        off = profile.covariance[number][number] ** 0.5
        assert abs(profile.place[number] - wanted) < 2.5 * off
