"""Profiles: kept and read back, refused when they do not fit, and the doubt that they narrow."""

from __future__ import annotations

import math
from dataclasses import replace
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.learned import PROFILE

from meltwick.constants import MODEL, Constants
from meltwick.errors import ProfileError
from meltwick.journal.factors import FACTORS
from meltwick.journal.profiles import (
    Profile,
    as_toml,
    check_name,
    from_toml,
    names,
    read_profile,
)
from meltwick.plan import digest, plan_from_text
from meltwick.study import doubt_for, model_doubt, widened
from meltwick.study.doubt import read_parts
from meltwick.study.outcome import Task, order_of, run_key

PLAN = plan_from_text('[garment]\nblank = "bandana"\n', "cloth.toml")
TEXT = as_toml(PROFILE)


def close(one: Profile, other: Profile) -> bool:
    """Whether two profiles are one: shares are kept to a millionth, spans to six digits."""
    same = ("name", "model", "made_on", "hands", "values", "gain")
    near = ("before", "after", "pitch", "place", "effects")
    return (
        all(getattr(one, key) == getattr(other, key) for key in same)
        and all(np.allclose(getattr(one, k), getattr(other, k), atol=1e-6) for k in near)
        and np.allclose(one.covariance, other.covariance)
        and [each.name for each in one.pieces] == [each.name for each in other.pieces]
    )


def keep(folder: Path, text: str = TEXT, name: str = "mine") -> Path:
    folder.mkdir(exist_ok=True)
    (folder / f"{name}.toml").write_text(text, "utf-8")
    return folder


def test_a_profile_comes_back_as_it_was(tmp_path: Path) -> None:
    assert close(read_profile("mine", keep(tmp_path / "profiles")), PROFILE)
    assert names(tmp_path / "profiles") == ["mine"]
    assert names(tmp_path / "nowhere") == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("schema = 1", "schema = 2", "schema is 2"),
        ("schema = 1\n", "", "schema is missing"),
        ("[constants.grip]", "[constants.gripe]", "constants are not"),
        ("[errors]", "[error]", "errors is missing"),
        ("hands = 5", "hands = 0", "hands is 0, not a number from 1"),
        ("hands = 5", 'hands = "5"', "hands is '5'"),
        ("covariance = [[", "covariance = [[nan, ", "factors.covariance"),
        ('names = ["resist"', 'names = ["resistance"', "factors.names"),
        ("gain = true", "gain = true\nafter = 3", "twice"),
    ],
)
def test_a_damaged_profile_is_one_line(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert old in TEXT
    folder = keep(tmp_path / "profiles", TEXT.replace(old, new, 1))
    with pytest.raises(ProfileError) as fault:
        read_profile("mine", folder)
    text = str(fault.value)
    assert said in text
    assert "mine.toml" in text
    assert "\n" not in text


def test_a_constant_out_of_its_range_is_refused() -> None:
    value = f"value = {PROFILE.values['grip']!r}"
    for other in ("value = 400.0", "value = -1.0", "value = inf", "value = true", "value = 15.5"):
        with pytest.raises(ProfileError, match=r"constants\.grip\.value"):
            from_toml(TEXT.replace(value, other, 1), "mine.toml")


@given(cut=st.integers(0, len(TEXT) - 2))
def test_a_part_of_a_profile_is_refused_in_one_line(cut: int) -> None:
    if TEXT[:cut].count("[[piece]]") >= 3:
        return  # whole but for some pieces
    with pytest.raises(ProfileError) as fault:
        from_toml(TEXT[:cut], "mine.toml")
    assert "\n" not in str(fault.value)


def test_another_model_wants_it_learned_anew(tmp_path: Path) -> None:
    older = as_toml(replace(PROFILE, model=MODEL - 1))
    with pytest.raises(ProfileError, match=rf"another model \({MODEL - 1}; this is {MODEL}\)"):
        read_profile("mine", keep(tmp_path / "profiles", older))


def test_a_profile_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match="none was learned yet"):
        read_profile("mine", tmp_path / "profiles")
    with pytest.raises(ProfileError, match="did you mean 'mine'"):
        read_profile("mien", keep(tmp_path / "profiles"))


@pytest.mark.parametrize(
    "name", ["", " ", "../mine", "a/b", "a" * 41, ".hidden", "na\0me", "x\ny/"]
)
def test_names_that_no_file_should_have(name: str) -> None:
    with pytest.raises(ProfileError, match="cannot name a profile"):
        check_name(name)


# ------------------------------------------------------------------------------- the doubt

PARTS = read_parts(
    "schema = 1\n[doubt]\nwhite = 0.3\nparts = { film = 0.2, contact = -0.15, grip = 0.1 }\n"
)


def like(covariance: np.ndarray, after: float = 0.0) -> Profile:
    rows = tuple(tuple(float(x) for x in row) for row in covariance)
    return replace(PROFILE, covariance=rows, after=after)


def test_what_is_known_no_better_leaves_the_doubt_as_it_was() -> None:
    """The posterior that is the prior gives the book's doubt back (an identity)."""
    for fold in ("", "pole", "accordion", "spiral"):
        assert doubt_for(fold, like(np.eye(2))) == pytest.approx(model_doubt(fold))
        assert doubt_for(fold) == model_doubt(fold)


def test_what_is_known_for_sure_takes_its_part_out() -> None:
    """By hand: resist takes (0.2 + 0.15)^2 / 2, travel 0.1^2 / 3 out of 0.3^2."""
    wanted = math.sqrt(0.3**2 - 0.35**2 / 2.0 - 0.1**2 / 3.0)
    assert like(np.zeros((2, 2))).doubt(0.3, PARTS) == pytest.approx(wanted)


def test_the_doubt_is_never_below_what_was_missed() -> None:
    assert like(np.zeros((2, 2)), after=0.2).doubt(0.3, PARTS) == pytest.approx(1.7 * 0.2)
    assert like(np.eye(2), after=0.9).doubt(0.3, PARTS) == 1.0


@given(st.floats(0.01, 1.0), st.floats(0.01, 1.0), st.floats(-0.9, 0.9))
def test_knowing_more_never_widens_it(wide: float, narrow: float, tie: float) -> None:
    first, second = max(wide, narrow), min(wide, narrow)
    shape = np.array([[1.0, tie], [tie, 1.0]])
    doubts = [like(scale * shape).doubt(0.3, PARTS) for scale in (first, second)]
    assert doubts[0] >= doubts[1] - 1e-12


def test_a_profile_narrows_a_shown_range() -> None:
    bare, narrow = widened(0.4, 0.5, "pole"), widened(0.4, 0.5, "pole", PROFILE)
    assert bare[0] < narrow[0] <= 0.4
    assert 0.5 <= narrow[1] < bare[1]
    assert narrow[1] - 0.5 == pytest.approx(PROFILE.doubt(model_doubt("pole"), kept_parts("pole")))
    assert narrow[1] - 0.5 >= PROFILE.after


def kept_parts(fold: str) -> dict[str, float]:
    text = resources.files("meltwick.study").joinpath("doubt.toml").read_text("utf-8")
    return read_parts(text, fold)


def test_the_kept_parts_are_within_the_kept_doubt() -> None:
    """Every part of a root of a sum of squares is no greater than the whole."""
    for fold in ("", "pole", "accordion", "spiral", "scrunch", "halve", "rope"):
        parts = kept_parts(fold)
        assert set(parts) == {name for factor in FACTORS for name in factor.constants}
        assert math.sqrt(sum(each**2 for each in parts.values())) <= model_doubt(fold)
        # powder in heaps on a piece that is laid flat leaves no way past the film and the contacts
        assert fold == "halve" or parts["film"] > 0.0 > parts["contact"]


# -------------------------------------------------------------------------- what hangs on it


def test_constants_are_in_the_digest_and_in_the_run_s_key() -> None:
    constants = PROFILE.constants()
    changed = {f for f in vars(constants) if getattr(constants, f) != getattr(Constants(), f)}
    assert changed == {name for factor in FACTORS for name in factor.constants}
    recipe = order_of(Task(PLAN, 1, 8e-3)).recipe
    assert digest(recipe, constants) != digest(recipe, Constants())
    book, mine = Task(PLAN, 1, 8e-3), Task(PLAN, 1, 8e-3, constants)
    assert run_key(book) != run_key(mine)
    assert run_key(book) == run_key(order_of(book))  # looked up in the stock or not yet
    assert run_key(mine) == run_key(order_of(mine))
