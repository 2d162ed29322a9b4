"""Make the gallery: every plan's pictures, how it comes out at draft detail, and the page of all.

Run from the top of the repository. ``python docs/make_gallery.py`` makes everything anew, at
normal detail, in about ten minutes; with names after it, only those plans' pictures. With
``--check`` it makes nothing: it runs every plan at draft detail, and says which pictures, shares
or lines no longer agree with the program.
"""

from __future__ import annotations

import csv
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image, PngImagePlugin

from meltwick.constants import MODEL, Constants
from meltwick.plan import digest, read_plan, resolve
from meltwick.simulate import simulate
from meltwick.stock import load_stock

GALLERY = Path(__file__).parents[1] / "gallery"
PAGE = GALLERY / "README.md"
DATA = GALLERY / "draft.csv"
DRAFT = 4e-3  # [m]
NEAR = 0.1
"""Points by which a share may differ on another machine."""
SMALL = 0.6
"""Of a bundle's picture, for the gallery."""
SHARES = ("white", "pale", "mid", "deep")

HANDS = {"pole-bias-35": 3, "accordion": 3, "brick": 3, "spiral": 3}
"""Plans of which several hands are drawn: the most usual folds; README.md shows three."""
PLAIN = ("pole-bias-0", "pole-bias-35", "pole-bias-90")
"""Plans drawn a second time without light and stitching."""
SECTIONS = {
    "On the pole": ("pole-bias-35", "pole-bias-0", "pole-bias-90", "tube"),
    "Pleats": ("halved", "accordion", "fan", "diamond", "brick", "crossed"),
    "Discs, mounds and ropes": ("spiral", "rosettes", "scrunch", "rope"),
    "Clamped, tied and stitched": ("clamps", "rings", "stitching", "line", "capped", "heart"),
    "Rounds and trays": ("two-rounds", "tray"),
}


def names() -> list[str]:
    """Return every plan of the gallery, in the page's order.

    Raises
    ------
    SystemExit
        When a plan stands in no section, or a section names one that is not there.
    """
    listed = [*(name for some in SECTIONS.values() for name in some), *OTHERS]
    there = {path.stem for path in GALLERY.glob("*.toml")}
    if odd := there.symmetric_difference(listed):
        raise SystemExit(f"SECTIONS of {Path(__file__).name} and gallery/ differ in {sorted(odd)}")
    return [name for name in listed if name not in OTHERS]


def sentence(name: str) -> str:
    """Return the note at the top of a plan."""
    text = (GALLERY / f"{name}.toml").read_text("utf-8")
    lines = re.match(r"(#.*\n)+", text)
    if lines is None:
        raise SystemExit(f"gallery/{name}.toml does not begin with a sentence about it")
    return " ".join(line.strip("# ") for line in lines[0].splitlines())


def picture(name: str) -> None:
    """Make a plan's pictures by the command, as a maker would."""
    plan = GALLERY / f"{name}.toml"
    hands = ["--hands", str(HANDS[name])] if name in HANDS else []
    wanted = [(name, "preview", hands), (name, "guide", [])]
    if name in PLAIN:
        wanted.append((f"{name}-plain", "preview", ["--plain"]))
    for stem, command, options in wanted:
        with tempfile.TemporaryDirectory() as folder:
            line = [sys.executable, "-m", "meltwick", command, str(plan), "--out", folder]
            subprocess.run([*line, *options], check=True, stdout=subprocess.DEVNULL)
            for made, ending in PICTURES[command].items():
                if (Path(folder) / made).exists():
                    keep(Path(folder) / made, GALLERY / f"{stem}{ending}.png", command == "guide")


PICTURES = {
    "preview": {
        "preview.png": "",
        "rounds.png": "-by-round",
        "preview-1-tray-socks.png": "-beside",
    },
    "guide": {f"bundle{n}.png": f"-bundle{n}" for n in ("", "-1", "-2")},
}
"""Pictures that each command makes, and what is put after the plan's name."""


def keep(made: Path, kept: Path, small: bool) -> None:
    """Put a picture into the gallery, some of them smaller, with what it tells of itself."""
    if not small:
        made.replace(kept)
        return
    with Image.open(made) as picture:
        notes = PngImagePlugin.PngInfo()
        for key, value in picture.text.items():
            notes.add_itxt(key, value)
        size = (round(SMALL * picture.width), round(SMALL * picture.height))
        picture.resize(size, Image.Resampling.LANCZOS).quantize(256, kmeans=2).save(
            kept, pnginfo=notes, optimize=True
        )


def shares(name: str) -> list[str]:
    """Run a plan at draft detail: its name and its shares [%]."""
    found = simulate(read_plan(GALLERY / f"{name}.toml"), pitch=DRAFT).shares.whole
    return [name, *(f"{100.0 * found[share]:.2f}" for share in SHARES)]


def page() -> str:
    """Write the page of all pictures."""
    lines = [
        "# Gallery",
        "",
        "Every picture was made by the plan under it, at normal detail; the ratio is that of the",
        "picture's first hand. Where small pieces stand beside it they are the lightest and the",
        "darkest of three hands. `python docs/make_gallery.py` makes all of it.",
    ]
    for title, some in SECTIONS.items():
        lines += ["", f"## {title}"]
        for name in some:
            with Image.open(GALLERY / f"{name}.png") as made:
                white = round(100 * float(made.text["meltwick-white-share"]))
            links = [f"[plan]({name}.toml)"]
            links += [
                f"[{word}]({name}-{ending}.png)"
                for ending, word in MORE.items()
                if (GALLERY / f"{name}-{ending}.png").exists()
            ]
            lines += [
                "",
                f"**{name}**, {100 - white} : {white} dyed to white. {sentence(name)}",
                " · ".join(links),
                "",
                f"![{sentence(name)}]({name}.png)",
            ]
    lines += [
        "",
        "## A collection",
        "",
        "Eight pieces with prices, two racks and three poles, by",
        f"[{COLLECTION}/collection.toml]({COLLECTION}/collection.toml): the",
        f"[board]({COLLECTION}/board.html) as a page,",
        f"its [calendar]({COLLECTION}/calendar.png), also as",
        f"[ICS]({COLLECTION}/calendar.ics) and [CSV]({COLLECTION}/calendar.csv), what to",
        f"[buy]({COLLECTION}/shopping.csv) and what each [costs]({COLLECTION}/pieces.csv).",
        "",
        f"![Eight pieces on a board]({COLLECTION}/board.png)",
    ]
    return "\n".join(lines) + "\n"


def collection() -> None:
    """Make the board and the calendar of the collection."""
    folder = str(GALLERY / COLLECTION)
    words = ["collection", folder, "--detail", "normal", "--out", folder]
    subprocess.run([sys.executable, "-m", "meltwick.cli", *words], check=True)


COLLECTION = "first-frost"
OTHERS = ("tray-socks",)
"""Plans that others name, and that have no picture of their own."""
MORE = {
    "bundle": "the bundle",
    "bundle-1": "the first bundle",
    "bundle-2": "the second bundle",
    "plain": "plain",
    "beside": "the socks beside it",
    "by-round": "round by round",
}
"""Endings of pictures beside the first, and what the page calls them."""


def known() -> dict[str, list[str]]:
    """Read the shares that were found before, by plan; none of another model."""
    with DATA.open(newline="", encoding="utf-8") as file:
        head, *rows = list(csv.reader(file))
    return {row[0]: row[1:] for row in rows} if head[0] == f"model {MODEL}" else {}


def faults() -> list[str]:
    """Say what no longer agrees with the program."""
    found, before = [], known()
    if not before:
        found.append(f"draft.csv was not made by model {MODEL}")
    for name in names():
        wanted = digest(resolve(read_plan(GALLERY / f"{name}.toml"), load_stock()), Constants())
        # a piece beside it has its own plan's digest, which a test compares
        for made in (name, *(f"{name}-{ending}" for ending in MORE if ending != "beside")):
            if (path := GALLERY / f"{made}.png").exists() or made == name:
                with Image.open(path) as opened:
                    if opened.text["meltwick-digest"] != wanted:
                        found.append(f"{made}.png was made by another plan or stock")
        now, then = shares(name)[1:], before.get(name, ["nan"] * len(SHARES))
        print(f"{name}: " + ", ".join(f"{s} {v} %" for s, v in zip(SHARES, now, strict=True)))
        if not all(abs(float(a) - float(b)) <= NEAR for a, b in zip(now, then, strict=True)):
            found.append(f"{name} gives {now} at draft detail, draft.csv says {then}")
    if PAGE.read_text("utf-8") != page():
        found.append("README.md is not what the pictures and plans say")
    return found


def main() -> None:
    """Make or check the gallery."""
    asked = sys.argv[1:]
    if asked == ["--check"]:
        if found := faults():
            raise SystemExit("\n".join([*found, "run python docs/make_gallery.py, and look at it"]))
        return
    for name in asked or names():
        print(name, flush=True)
        if name == COLLECTION:
            collection()
        else:
            picture(name)
    if not asked:
        collection()
    kept = known() if asked else {}
    rows = [
        [name, *kept[name]] if name in kept and name not in asked else shares(name)
        for name in names()
    ]
    with DATA.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file, lineterminator="\n").writerows([[f"model {MODEL}", *SHARES], *rows])
    PAGE.write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
