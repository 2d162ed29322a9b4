"""Pictures of long pieces, and every blank through the whole corridor."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from meltwick.picture import draw_preview
from meltwick.picture.preview import PAPER
from meltwick.picture.turning import LONG, laid_across, lies_across
from meltwick.plan import plan_from_text
from meltwick.simulate import simulate
from meltwick.stock import load_stock

STOCK = load_stock(Path(__file__).parent / "no such folder")
DEEP, BARE = (0.10, 0.20, 0.45), (0.95, 0.95, 0.94)


def pixels(picture: Image.Image) -> np.ndarray:
    return np.asarray(picture).astype(int)


def dark(picture: Image.Image) -> np.ndarray:
    p = pixels(picture)
    return p[: p.shape[0] - 130].sum(axis=-1) < 350


def test_a_scarf_lies_across_with_its_top_at_the_left(make_result):
    def top_right(x, y, panel):
        return np.where(((y < 0.3) & (x > 0.05))[:, None], DEEP, BARE)

    result = make_result(top_right, blank="scarf")
    picture = draw_preview(result, plain=True)
    assert picture.size[0] == 1600 > 2 * picture.size[1]
    rows, cols = np.nonzero(dark(picture))
    # upright its top right corner; a quarter turn to the left takes that to the top left
    assert cols.max() < 0.3 * picture.size[0]
    assert rows.max() < 0.5 * (picture.size[1] - 130) + 30
    share = 0.3 * (0.254 - 0.05) / (0.508 * 1.778)  # of its 20 by 70 in
    scarf = (np.abs(pixels(picture) - PAPER).max(axis=-1) > 3)[: picture.size[1] - 130].sum()
    assert len(rows) / scarf == pytest.approx(share, rel=0.05)


def test_turning_moves_cells_and_leaves_colours(make_result):
    result = make_result(blank="scarf")
    turned = laid_across(result)
    before, after = result.cloth, turned.cloth
    assert turned.look is result.look
    panel = after.panels[0]
    np.testing.assert_array_equal(panel.index[after.row, after.col], np.arange(after.size))
    left, top = panel.origin
    np.testing.assert_allclose(left + (after.col + 0.5) * after.pitch, after.x, atol=1e-12)
    np.testing.assert_allclose(top + (after.row + 0.5) * after.pitch, after.y, atol=1e-12)
    np.testing.assert_allclose((after.x, -after.y), (before.y, before.x), atol=1e-12)
    x0, y0, x1, y1 = panel.outline.bounds
    assert (after.x.min(), after.x.max()) == pytest.approx((x0 / 1e3, x1 / 1e3), abs=5e-3)
    assert (after.y.min(), after.y.max()) == pytest.approx((y0 / 1e3, y1 / 1e3), abs=5e-3)
    for line in after.details:
        assert panel.outline.buffer(0.5).contains(type(panel.outline)(line.points))
    assert after.places["top"] == pytest.approx((0.0, 0.0))


@pytest.mark.parametrize("blank", ["tee", "bandana", "tote", "pillowcase"])
def test_other_pieces_stay_upright(make_result, blank):
    result = make_result(blank=blank)
    assert not lies_across(result.cloth)
    assert laid_across(result) is result
    assert LONG > 1


@pytest.mark.parametrize("size", STOCK.blanks["scarf"].sizes)
def test_every_scarf_is_long_enough_to_lie_across(size):
    m = STOCK.blank("scarf", size).measures
    assert m["height"] > LONG * m["width"]


@pytest.mark.parametrize("blank", STOCK.blanks)
def test_words_under_a_picture_are_never_cut_short(make_result, blank, monkeypatch):
    from meltwick.picture import draw

    seen = []
    fit = draw.fit_text
    monkeypatch.setattr(draw, "fit_text", lambda *a: seen.append((a[0], fit(*a))) or seen[-1][1])
    picture = draw_preview(make_result(blank=blank, name="a-name-of-thirty-letters-or-so"))
    assert max(picture.size) == 1600
    assert seen
    assert all(asked == given for asked, given in seen)


@pytest.mark.parametrize("blank", STOCK.blanks)
def test_every_blank_can_be_wrapped_and_dyed(blank):
    result = simulate(plan_from_text(f"[garment]\nblank = '{blank}'", "plan.toml"), pitch=8e-3)
    assert result.rounds[0].balance.relative_error < 1e-9
    assert 0.0 < result.white_share < 1.0
    assert set(result.shares.zones) == set(result.cloth.zones)
    assert np.isfinite(result.look.srgb).all()
