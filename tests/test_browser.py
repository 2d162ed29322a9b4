"""Pages in a real browser, where one is installed: nothing in its console, and they print."""

from __future__ import annotations

import io
import shutil
import subprocess
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from meltwick.plan import example_plan, resolve
from meltwick.stock import load_stock
from meltwick.worksheet import sheet_html, work_sheet

BROWSER = (
    shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
)
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(BROWSER is None, reason="no Chromium is installed here"),
]
QUIET = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-quic"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)


def browse(folder: Path, page: Path, *words: str) -> str:
    """Open a page with a new profile and return what the browser logged."""
    done = subprocess.run(
        [BROWSER, *QUIET, f"--user-data-dir={folder / 'profile'}", *words, page.as_uri()],
        capture_output=True,
        timeout=120,
        check=True,
    )
    return done.stderr.decode("utf-8", "replace")


@pytest.fixture(scope="module")
def page(tmp_path_factory) -> Path:
    picture = io.BytesIO()
    Image.new("RGB", (1600, 900), (40, 90, 160)).save(picture, "PNG")
    made = work_sheet(
        resolve(example_plan(), load_stock()),
        datetime(2026, 12, 5, 10),
        dated=True,
        expect=["About half."],
        pictures={"as expected": picture.getvalue(), "folded": picture.getvalue()},
    )
    path = tmp_path_factory.mktemp("page") / "sheet.html"
    path.write_text(sheet_html(made, "0"), "utf-8")
    return path


def test_nothing_is_said_in_the_console_and_pictures_show(page, tmp_path):
    shot = tmp_path / "shot.png"
    log = browse(
        *(tmp_path, page, "--enable-logging=stderr", "--window-size=1000,1400"),
        f"--screenshot={shot}",
    )
    assert "CONSOLE" not in log, log
    with Image.open(shot) as picture:
        pixels = np.asarray(picture.convert("RGB")).reshape(-1, 3)
    blue = (np.abs(pixels.astype(int) - (40, 90, 160)) < 3).all(axis=1).mean()
    assert blue > 0.1, "the content policy lets our own pictures through"


def test_it_prints(page, tmp_path):
    paper = tmp_path / "sheet.pdf"
    browse(tmp_path, page, "--no-pdf-header-footer", f"--print-to-pdf={paper}")
    reader = PdfReader(paper)
    assert 2 <= len(reader.pages) <= 12
    words = " ".join(each.extract_text() for each in reader.pages)
    for word in ("Gather", "Steps", "Take care", "asthma", "Rinse cold"):
        assert word in words
