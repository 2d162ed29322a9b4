"""Walk from a finished piece to its second round by the commands, for docs/first-piece.md.

Run from the repository's root: ``python docs/make_walk.py``, about a quarter of an hour. The pieces
are made, not real: plans of the gallery are dyed by the simulator, by other hands and with numbers
of the model that the commands do not know, and photographed by tests/photographs.py. With a folder
after it, what was made there is kept and not made again.
"""

from __future__ import annotations

import os
import pickle
import shlex
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from PIL import Image, ImageCms

ROOT = Path(__file__).parents[1]
GALLERY = ROOT / "gallery"
sys.path.insert(0, str(ROOT))

if TYPE_CHECKING:
    from tests.photographs import Piece

DOCS = ROOT / "docs"
FINE = 2e-3  # [m] of the made pieces: half of what the commands use
HIDDEN = (1.2, -0.8)  # resist and travel, as in docs/make_learning.py
LIGHT = {"ground": "wood", "long_side": 2000, "fill": 0.8, "tilt": 9.0, "toward": 70.0}
LIGHT |= {"turn": 4.0, "shading": 0.12, "kelvin": 5600.0, "slack": 0.008}
MADE = {  # plan: hand, day, light of its photographs
    "pole-bias-35": (1041, "2026-10-04", LIGHT | {"seed": 11}),
    "spiral": (1052, "2026-10-11", LIGHT | {"seed": 12, "ground": "concrete", "kelvin": 6100.0}),
    "accordion": (1063, "2026-10-18", LIGHT | {"seed": 13, "ground": "dark cloth", "tilt": 14.0}),
    "scrunch": (1074, "2026-10-25", LIGHT | {"seed": 14, "turn": -5.0, "kelvin": 5200.0}),
}
WIDEST = 1000  # [px] of a picture on the page
SMALL = 300_000  # [bytes] of one


@dataclass(frozen=True)
class Step:
    """A command, and what the page says before and after what it prints."""

    title: str
    before: str
    line: str
    after: str
    picture: str = ""  # where the command writes it
    kept: str = ""  # its name in docs
    shown: str = ""  # what a reader who does not see it is told


STEPS = (
    Step(
        "Measure it",
        "Wash the piece, dry it, press it, lay it flat on a plain ground, and photograph both\n"
        "sides ([measuring.md](measuring.md) tells how).",
        "meltwick measure front.jpg --back back.jpg --plan pole-bias-35.toml --out measured",
        "Look at the picture before you trust the number. The red line must run along the\n"
        "piece's edge, and the hatching must lie on undyed cloth and nowhere else. The margin\n"
        "says how far the number may be off.",
        "measured/measured.png",
        "measured.png",
        "A made photograph of a tee on boards, its outline, and undyed cloth hatched",
    ),
    Step(
        "Record it",
        "Give the plan, and what was measured. The plan is predicted by five hands, so that the\n"
        "journal holds both.",
        'meltwick record pole-bias-35.toml measured/measure.json --note "a warm night"',
        "Here the piece came out whiter than predicted, by more than hands differ. One piece does\n"
        "not tell why. Several do.",
    ),
    Step(
        "Record more",
        "Three more pieces, each from its photographs at once; `record` measures them itself.",
        "meltwick record spiral.toml spiral-front.jpg --back spiral-back.jpg",
        "The two others go the same way.",
    ),
    Step(
        "Look them up",
        "",
        "meltwick journal list",
        "Every piece came out whiter than predicted: these hands do something that the book\n"
        "does not know.",
    ),
    Step(
        "Learn",
        "",
        "meltwick learn",
        "It says what your pieces have in common, and how far predictions missed before and\n"
        "after. If the pieces taught nothing for sure, it would say so and write no profile\n"
        "([learning.md](learning.md)).",
    ),
    Step(
        "Predict with it",
        "The same plan again, now as your pieces taught:",
        "meltwick preview pole-bias-35.toml --as mine --detail draft --out as-mine",
        "Compare it with what was measured, and with what was predicted above. The pattern's\n"
        "character is right; the place of each line is not, for no two hands fold alike.",
        "as-mine/preview.png",
        "walk-as-mine.png",
        "The prediction of that tee with what was learned",
    ),
    Step(
        "Dye over it",
        "The tee is whiter than you wished. `redye` starts from the photographs, and `--as mine`\n"
        "predicts what it proposes as your pieces taught:",
        "meltwick redye front.jpg --back back.jpg --blank tee --size M --white 30% "
        '--was "coral, plum, harbour blue, ink" --dyes "plum, tide" --n 4 --as mine',
        "The first tile is the piece as it is. Choose another: its plan starts from your\n"
        "photographs, and `check`, `guide`, `preview` and `sheet` understand it\n"
        "([second-round.md](second-round.md)).",
        "front-redye/redye.png",
        "walk-redye.png",
        "The tee as it is, and four second rounds over it",
    ),
)
LATER = ("accordion", "scrunch")  # recorded as the third step says, and not shown

HEAD = """# A first piece, from photograph to second round

This is the whole way once: a finished tee is measured and recorded, four pieces teach the
program what your hands do, and the tee is dyed over.

**The pieces here are made, not real.** Plans of the [gallery](../gallery/README.md) were dyed by
the simulator, by hands and with numbers that the commands below do not know, and photographed by a
program, with slant, shade, a cast of light and the coding of a JPEG. So the page shows how the
commands are used and read. It does not show how well they do on real cloth.
`python docs/make_walk.py` makes all of it anew.

![Made photographs of the front and the back](walk-photographs.jpg)

The plan is [pole-bias-35.toml](../gallery/pole-bias-35.toml): a tee rolled on a pole.
"""


def made_piece(name: str, folder: Path) -> Piece:
    """Dye a plan of the gallery by a hidden hand."""
    import numpy as np
    from tests.photographs import Piece

    from meltwick.journal.factors import moved
    from meltwick.plan import read_plan, resolve
    from meltwick.simulate import simulate
    from meltwick.stock import load_stock

    kept = folder / f"{name}.pickle"
    if kept.exists():
        found: Piece = pickle.loads(kept.read_bytes())
        return found
    plan = read_plan(GALLERY / f"{name}.toml")
    blank = resolve(plan, load_stock()).blank
    result = simulate(plan, pitch=FINE, seed=MADE[name][0], constants=moved(np.array(HIDDEN)))
    piece = Piece(name, blank.name, blank.size, result)
    kept.write_bytes(pickle.dumps(piece))
    return piece


def photographs(folder: Path) -> None:
    """Photograph every piece, and lay its plan beside."""
    from tests.photographs import Conditions, photograph

    for name, (_, day, light) in MADE.items():
        piece = made_piece(name, folder)
        print(name, {side: round(piece.white(side), 3) for side in ("front", "back")}, flush=True)
        (folder / f"{name}.toml").write_bytes((GALLERY / f"{name}.toml").read_bytes())
        before = "" if name == next(iter(MADE)) else f"{name}-"
        for side in ("front", "back"):
            turned = {"seed": light["seed"] + 100, "toward": -light["toward"]}
            here = light if side == "front" else light | turned
            shot = photograph(piece, side, Conditions(**here))
            save(shot.image, day, folder / f"{before}{side}.jpg")


def save(picture: Image.Image, day: str, path: Path) -> None:
    """Write a photograph as a telephone does, with its day and its colour profile."""
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = f"{day.replace('-', ':')} 15:20:00"
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    picture.save(path, "JPEG", quality=88, exif=exif, icc_profile=profile)


def environment(folder: Path) -> dict[str, str]:
    """Give the commands a home of their own, so that they touch no maker's journal."""
    home = folder / "home"
    found = os.environ | {"HOME": str(home), "LC_ALL": "C.UTF-8", "COLUMNS": "100"}
    for key, place in (("DATA", ".local/share"), ("CACHE", ".cache"), ("STATE", ".local/state")):
        found[f"XDG_{key}_HOME"] = str(home / place)
    home.mkdir(exist_ok=True)
    source = str(ROOT / "src")
    found["PYTHONPATH"] = os.pathsep.join(filter(None, (source, os.environ.get("PYTHONPATH"))))
    return found


def run(line: str, folder: Path) -> str:
    """Run a command in the folder, and return all that it prints, its home as ~."""
    words = [sys.executable, "-m", "meltwick", *shlex.split(line)[1:]]
    print(line, flush=True)
    done = subprocess.run(
        words, cwd=folder, env=environment(folder), text=True, encoding="utf-8",
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False,
    )  # fmt: skip
    print(done.stdout, flush=True)
    if done.returncode:
        sys.exit(f"{line} ended with {done.returncode}")
    return done.stdout.replace(str(folder / "home"), "~").replace(str(folder), "~/dyes")


def see_that_it_is_apart(folder: Path) -> None:
    """Stop if the commands would use the journal of whoever runs this."""
    if "~" not in (said := run("meltwick journal", folder)):
        sys.exit(f"the journal would be elsewhere: {said}")


def fitted(picture: Image.Image) -> Image.Image:
    """Make a picture as wide as the page."""
    scale = min(1.0, WIDEST / picture.width)
    size = (round(scale * picture.width), round(scale * picture.height))
    return picture.resize(size, Image.Resampling.LANCZOS)


def keep(made: Path, name: str) -> None:
    """Put a picture of a command into docs, small enough for a page."""
    with Image.open(made) as picture:
        small = fitted(picture.convert("RGB")).quantize(256, kmeans=2)
    held = BytesIO()
    small.save(held, "PNG", optimize=True)
    if held.tell() > SMALL:
        sys.exit(f"{name} takes {held.tell()} bytes, more than {SMALL}")
    (DOCS / name).write_bytes(held.getvalue())


def both_sides(folder: Path) -> None:
    """Put the two photographs side by side, as they are."""
    sides = [Image.open(folder / f"{side}.jpg") for side in ("front", "back")]
    high = min(side.height for side in sides)
    sides = [side.resize((round(side.width * high / side.height), high)) for side in sides]
    whole = Image.new("RGB", (sum(side.width for side in sides) + 20, high), "white")
    whole.paste(sides[0], (0, 0))
    whole.paste(sides[1], (sides[0].width + 20, 0))
    fitted(whole).save(DOCS / "walk-photographs.jpg", "JPEG", quality=82)


def told(step: Step, printed: str) -> str:
    """Write one step of the page."""
    parts = [f"## {step.title}", step.before, f"```sh\n{step.line}\n```"]
    parts.append(f"```text\n{printed.rstrip()}\n```")
    parts += [f"![{step.shown}]({step.kept})"] if step.kept else []
    return "\n\n".join(part for part in (*parts, step.after) if part)


def walk(folder: Path) -> None:
    """Make the pieces, run the commands, and write the page and its pictures."""
    for left in ("home/.local", "measured", "as-mine", "front-redye"):
        if (folder / left).exists():
            shutil.rmtree(folder / left)
    photographs(folder)
    both_sides(folder)
    see_that_it_is_apart(folder)
    run('meltwick preview --detail "10 mm" --out first', folder)  # it compiles, and says so
    parts = [HEAD.strip()]
    for step in STEPS:
        parts.append(told(step, run(step.line, folder)))
        if step.picture:
            keep(folder / step.picture, step.kept)
        if step.title == "Record more":
            for name in LATER:
                run(step.line.replace("spiral", name), folder)
    (DOCS / "first-piece.md").write_text("\n\n".join(parts) + "\n", "utf-8")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        walk(Path(sys.argv[1]).resolve())
    else:
        with tempfile.TemporaryDirectory() as place:
            walk(Path(place).resolve())
