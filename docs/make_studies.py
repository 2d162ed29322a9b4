"""Make the two sheets that README.md shows, by the commands as they stand there.

Run it as ``python docs/make_studies.py`` when the model changes, about two minutes; a test looks.
"""

from __future__ import annotations

import sys
import tempfile
from io import BytesIO
from pathlib import Path

from PIL import Image, PngImagePlugin

from meltwick.constants import MODEL

DOCS = Path(__file__).parent
BEGIN = "meltwick new salt-marsh"
SHEETS = {
    "compare-pole.png": 'meltwick compare salt-marsh.toml --vary "diameter=33 mm, 60 mm, 114 mm"',
    "compare-spacing.png": "meltwick compare salt-marsh.toml --vary spacing=10mm..50mm/5",
}
"""Kept pictures, and the commands that draw them."""
SMALL = 300_000  # [bytes] of one


def keep(made: Path, name: str) -> None:
    """Put a sheet into docs, in fewer colours, with the model that it is of."""
    notes = PngImagePlugin.PngInfo()
    notes.add_text("meltwick-model", str(MODEL))
    held = BytesIO()
    with Image.open(made) as picture:
        fewer = picture.convert("RGB").quantize(192, kmeans=2)
    fewer.save(held, "PNG", optimize=True, pnginfo=notes)
    if held.tell() > SMALL:
        sys.exit(f"{name} takes {held.tell()} bytes, more than {SMALL}")
    (DOCS / name).write_bytes(held.getvalue())


def main() -> None:
    """Run the commands in a folder of their own."""
    from make_walk import run

    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        run(BEGIN, folder)
        for name, line in SHEETS.items():
            run(line, folder)
            keep(folder / "salt-marsh" / "compare.png", name)


if __name__ == "__main__":
    main()
