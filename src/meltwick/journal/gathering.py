"""All that a plan needs to be run again: its text, files that it names, the maker's own stock."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from meltwick.errors import FileError, PlanError, StockError
from meltwick.journal.records import Piece, plain_path, sha256
from meltwick.plan.starting import AS_FRONT, ENDINGS
from meltwick.stock import load_stock
from meltwick.stock.reading import one_line, read_text

if TYPE_CHECKING:
    from meltwick.plan import Plan
    from meltwick.types import Recipe

_DEEPEST = 8  # folders above the plan's own in which a file that it names may lie
_PLAN, _STOCK, _ABOVE = "plan", "stock", "above"


@dataclass(frozen=True)
class Gathered:
    """A plan as it was run."""

    plan: Plan
    recipe: Recipe
    text: str
    file: str  # its name, without folders
    canonical: str
    digest: str
    kept: dict[str, str]  # name from the plan's folder -> digest
    kept_stock: dict[str, str]
    contents: dict[str, bytes] = field(repr=False)  # digest -> bytes


def gather(path: str) -> Gathered:
    """Read a plan and keep all that it needs.

    Parameters
    ----------
    path : str
        The plan's file.

    Raises
    ------
    FileError
        A file cannot be read, or it changed meanwhile.
    PlanError, StockError
        The plan cannot be read or done.
    """
    from meltwick.constants import Constants
    from meltwick.plan import canonical, plan_from_text, read_plan, resolve

    if not path.strip():
        read_plan(path)  # says what is wrong
    text = read_text(Path(path), "plan")
    plan = plan_from_text(text, path)
    recipe = resolve(plan, load_stock())
    whole = canonical(recipe, Constants())
    files = {name: _bytes(file) for name, file in named_files(plan).items()}
    stock = _own_stock(plan, whole)
    both = (*files.values(), *stock.values())
    found = Gathered(
        plan=plan,
        recipe=recipe,
        text=text,
        file=_bare(path, plan.name),
        canonical=whole,
        digest=sha256(whole.encode()),
        kept={name: sha256(content) for name, content in files.items()},
        kept_stock={name: sha256(content) for name, content in stock.items()},
        contents={sha256(content): content for content in both},
    )
    _see_that_it_runs_again(found, files, stock, path)
    return found


def _bare(path: str, name: str) -> str:
    """Return a plan's file name, plain enough for every system."""
    bare = one_line(Path(path).name)
    good = bare == Path(path).name and bare.strip(". ") and not set(':\\"*?<>|') & set(bare)
    return bare if good and len(bare) <= 200 else f"{name}.toml"


def _bytes(path: Path) -> bytes:
    if path.suffix.casefold() in ENDINGS:  # a photograph, which resolving has looked at
        try:
            return path.read_bytes()
        except OSError as error:
            told = (error.strerror or "").lower()
            raise FileError(f"{one_line(str(path))} cannot be read ({told})") from None
    read_text(path, "file")  # refuses what no drawing or plan is
    return path.read_bytes()


def named_files(plan: Plan) -> dict[str, Path]:
    """Return the files that a plan names, and those that these name, by their way from its folder.

    Raises
    ------
    PlanError
        A file is named from the root of the disk, or too far above the plan.
    FileError, PlanError
        A plan among them cannot be read.
    """
    from meltwick.plan import read_plan

    home = os.path.abspath(Path(plan.beside).parent)
    found: dict[str, Path] = {}

    def name(here: str, written: str, where: str) -> Path:
        lies = os.path.normpath(os.path.join(here, written))
        if os.path.isabs(written) or os.path.splitdrive(written)[0]:
            raise PlanError(
                f"{where}: '{one_line(written)}' is named from the root of the disk, so the "
                "journal could not keep it for another computer; put it beside the plan and write "
                "its name alone"
            )
        way = Path(os.path.relpath(lies, home)).as_posix()
        if way.split("/").count("..") > _DEEPEST:
            raise PlanError(
                f"{where}: '{one_line(written)}' lies too far from the plan; put it beside it"
            )
        try:
            plain_path(way)
        except ValueError:
            raise PlanError(
                f"{where}: '{one_line(written)}' has a name that not every computer can write, so "
                "the journal could not keep it; name it with letters and digits"
            ) from None
        found[way] = Path(lies)
        return Path(lies)

    def walk(each: Plan, here: str) -> None:
        if each.garment.outline:
            name(here, each.garment.outline, each.where)
        for turn in each.round:
            others = [line.plan for line in turn.beside]
            others += [turn.liquor.plan] if turn.liquor is not None else []
            for other in others:
                file = name(here, other, each.where)
                walk(read_plan(file), str(file.parent))

    walk(plan, home)
    for photo in () if plan.start is None else (plan.start.photo, plan.start.back):
        if photo and photo != AS_FRONT:  # pieces that another plan names begin undyed
            name(home, photo, plan.where)
    return found


def _own_stock(plan: Plan, whole: str) -> dict[str, bytes]:
    """Return the maker's own stock files, if the plan means something else without them."""
    from meltwick.constants import Constants
    from meltwick.plan import canonical, resolve
    from meltwick.stock.loader import own_folder

    folder = own_folder()
    paths = sorted(folder.glob("*.toml")) if folder.is_dir() else []
    if not paths:
        return {}
    try:
        with tempfile.TemporaryDirectory() as empty:
            if canonical(resolve(plan, load_stock(Path(empty))), Constants()) == whole:
                return {}
    except (PlanError, StockError, FileError):
        pass  # it needs them
    return {path.name: _bytes(path) for path in paths}


def _see_that_it_runs_again(
    found: Gathered, files: dict[str, bytes], stock: dict[str, bytes], path: str
) -> None:
    from meltwick.constants import Constants
    from meltwick.plan import canonical

    with tempfile.TemporaryDirectory() as folder:
        place = _lay_out(Path(folder), found.text, found.file, files, stock)
        if canonical(_resolved(place, Path(folder)), Constants()) != found.canonical:
            raise FileError(
                f"{one_line(path)}: it or a file that it names changed while it was read, or two "
                "of them have names that differ in case alone; run the command again"
            )


def _resolved(plan: Path, folder: Path) -> Recipe:
    from meltwick.plan import read_plan, resolve

    return resolve(read_plan(plan), load_stock(folder / _STOCK))


def _lay_out(
    folder: Path, text: str, file: str, files: dict[str, bytes], stock: dict[str, bytes]
) -> Path:
    deep = max((name.split("/").count("..") for name in files), default=0)
    home = folder.joinpath(_PLAN, *[f"{_ABOVE}-{n}" for n in range(deep, 0, -1)])
    home.mkdir(parents=True, exist_ok=True)
    placed = {home / file: text.encode()}
    placed |= {Path(os.path.normpath(home / name)): each for name, each in files.items()}
    placed |= {folder / _STOCK / name: each for name, each in stock.items()}
    for path, content in placed.items():
        if not path.is_relative_to(folder):
            raise FileError(f"{one_line(str(path))}: a plan's file may not lie there")
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb") as new:
            new.write(content)
    return home / file


def lay_out(piece: Piece, folder: Path) -> Path:
    """Write a piece's plan and all that it needs, as they were, into a folder.

    Parameters
    ----------
    piece : Piece
    folder : Path
        Made if it is not there. A file that is there is never replaced.

    Returns
    -------
    Path
        The plan's file. The maker's own stock files are in ``stock`` in the folder.

    Raises
    ------
    OSError
        As the disk says; FileExistsError for a file that is there.
    """
    return _lay_out(folder, piece.plan_text, piece.plan_file, piece.files, piece.stock)


def recipe_of(piece: Piece) -> Recipe:
    """Return what a piece's plan means, with the files and the stock that it was made with.

    Raises
    ------
    PlanError, StockError
        This version cannot read or do the plan.
    FileError
        There is no room for the files.
    """
    try:
        with tempfile.TemporaryDirectory() as folder:
            return _resolved(lay_out(piece, Path(folder)), Path(folder))
    except OSError as error:
        raise FileError(f"piece {piece.number} cannot be laid out ({error.strerror})") from None
