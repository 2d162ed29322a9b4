"""What a study keeps of one run: its shares, its colours, and how to write and read them back."""

from __future__ import annotations

import hashlib
import io
import json
import zlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from meltwick.constants import Constants
    from meltwick.plan import Plan
    from meltwick.types import Cloth, Dye, FixedDye, Recipe, Result, Shares

_MARK = b"meltwick run 1\n"
_ENGINES = ("numpy", "scipy", "numba", "pyamg")
"""Libraries whose version may move a number."""
_SHADES = (0.25, 1.0, 4.0)  # [% of fibre] depths at which a dye's own colour is compared
_FULL = 65535


class DamagedError(Exception):
    """Bytes that are not those that were written."""


@dataclass(frozen=True)
class Task:
    """One run to be made."""

    plan: Plan
    seed: int
    pitch: float  # [m]
    constants: Constants | None = None


@dataclass(frozen=True)
class Order:
    """One run with all that it is made from: nothing is looked up where it is made.

    Another machine may lack the maker's own stock files; their entries are in the recipe. It may
    lack photographs too; what they show is dye on the cloth by now.
    """

    recipe: Recipe
    seed: int
    pitch: float  # [m]
    constants: Constants | None
    start: FixedDye | None = None  # on the cloth before the first round


@dataclass(frozen=True)
class Outcome:
    """What one run gave."""

    plan: str
    digest: str
    seed: int
    pitch: float  # [m]
    shares: Shares
    seen: Mapping[str, float]  # area share on which each dye's colour is the nearest to the eye
    fold: str
    laid: float  # [kg] of dye
    fixed: float  # [kg]
    melt_hours: tuple[float, ...]  # of each round
    seconds: float  # that the run took
    srgb: NDArray[np.uint16]  # (N, 3) of every cell, 0..65535

    @property
    def white(self) -> float:
        """White share, 0 to 1."""
        return self.shares.whole["white"]

    def share(self, name: str) -> float:
        """Area share of a class, of one in a zone (``chest white``), or of a dye's colour.

        Raises
        ------
        KeyError
            If there is none of that name.
        """
        if name in self.shares.whole:
            return self.shares.whole[name]
        zone, _, part = name.rpartition(" ")
        if zone in self.shares.zones and part in self.shares.zones[zone]:
            return self.shares.zones[zone][part]
        return self.seen[name]


Asked = Task | Order
"""A run to be made, with its stock looked up or not yet."""


def run_key(task: Asked) -> str:
    """Name a run by all that its numbers depend on: 64 hexadecimal digits.

    The digest of the plan, its stock and the constants, the seed, the pitch, the model's number
    and the versions of the numerical libraries.
    """
    from meltwick.constants import MODEL, Constants
    from meltwick.plan import digest

    recipe = task.recipe if isinstance(task, Order) else _resolved(task.plan)
    recipe = replace(recipe, seed=task.seed)
    parts = [digest(recipe, task.constants or Constants()), task.seed, repr(task.pitch), MODEL]
    parts += [f"{name} {version(name)}" for name in _ENGINES]
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def made_of() -> dict[str, str]:
    """Return the version of each part that a run's numbers depend on."""
    from meltwick import __version__
    from meltwick.constants import MODEL

    own = {"meltwick": __version__, "meltwick's model": str(MODEL)}
    return own | {name: version(name) for name in _ENGINES}


@lru_cache(maxsize=256)
def _resolved(plan: Plan) -> Recipe:
    from meltwick.plan import resolve
    from meltwick.stock import load_stock

    return resolve(plan, load_stock())


def make(task: Asked, threads: int = 1) -> Outcome:
    """Run a task, here and now.

    Raises
    ------
    MeltwickError
        When the plan cannot be carried out.
    """
    return fulfil(order_of(task), threads)


def order_of(task: Asked) -> Order:
    """Look up in the stock what a task names; an order is whole already."""
    if isinstance(task, Order):
        return task
    recipe = _resolved(task.plan)
    return Order(recipe, task.seed, task.pitch, task.constants, start_of(recipe, task.pitch))


def start_of(recipe: Recipe, pitch: float) -> FixedDye | None:
    """Read the photographs that a recipe starts from; None where it starts undyed.

    Raises
    ------
    MeltwickError
        They cannot be read, or show no such garment.
    """
    if recipe.start is None:
        return None
    from meltwick.photo.starting import started

    found = started(recipe, pitch)
    return None if found is None else found.dye


def fulfil(order: Order, threads: int = 1) -> Outcome:
    """Make a run, here and now; raises as `make`."""
    from meltwick.simulate import simulate_recipe

    result = simulate_recipe(
        order.recipe,
        pitch=order.pitch,
        seed=order.seed,
        start=order.start,
        constants=order.constants,
        threads=threads,
    )
    return outcome_of(result, _dyes_of(order.recipe))


def _dyes_of(recipe: Recipe) -> tuple[Dye, ...]:
    """Dyes that may be seen: those that are laid, and those known to be on the piece before."""
    before = recipe.start.dyes if recipe.start else ()
    return tuple({dye.name: dye for dye in (*recipe.dyes, *before)}.values())


def outcome_of(result: Result, dyes: tuple[Dye, ...]) -> Outcome:
    """Keep of a result what a study needs."""
    balances = [turn.balance for turn in result.rounds]
    return Outcome(
        plan=result.plan,
        digest=result.digest,
        seed=result.seed,
        pitch=result.detail_pitch,
        shares=result.shares,
        seen=seen(result, dyes),
        fold=result.fold,
        laid=sum(each.laid for each in balances),
        fixed=sum(each.fixed for each in balances),
        melt_hours=tuple(turn.melt_hours for turn in result.rounds),
        seconds=sum(result.seconds.values()),
        srgb=np.rint(np.clip(result.look.srgb, 0.0, 1.0) * _FULL).astype(np.uint16),
    )


def seen(result: Result, dyes: tuple[Dye, ...]) -> dict[str, float]:
    """Area share on which each dye is what the eye would name.

    Of the cells that are not white, each goes to the dye to whose own colour, at one of three
    depths on the same cloth, its colour is nearest by CIEDE2000. Where two dyes mix, the one that
    the mixture looks like more gets the cell.
    """
    from meltwick.colour import colours, delta_e00
    from meltwick.shares import WHITE

    cloth, look = result.cloth, result.look
    counted = cloth.dyeable & (look.delta > WHITE)
    lab = look.lab[counted]
    gaps = []
    for dye in dyes:
        parts, amounts = [part for part, _ in dye.parts], [share for _, share in dye.parts]
        depths = np.array([[share * depth / 100.0 for share in amounts] for depth in _SHADES])
        own = colours(parts, depths, cloth.fabric)
        each = [delta_e00(lab, np.broadcast_to(shade, lab.shape)) for shade in own]
        gaps.append(np.min(each, axis=0))
    if not gaps:
        return {}
    nearest = np.bincount(np.argmin(gaps, axis=0), minlength=len(dyes))
    whole = max(1, int(cloth.dyeable.sum()))
    return {dye.name: float(count / whole) for dye, count in zip(dyes, nearest, strict=True)}


def as_result(outcome: Outcome, cloth: Cloth) -> Result:
    """Return a result that pictures can be drawn from: its colours and shares, not its dye."""
    from meltwick.colour import ground_srgb
    from meltwick.types import FixedDye, Look, Result

    none, bare = np.zeros((cloth.size, 0)), ground_srgb(cloth.fabric)
    look = Look(outcome.srgb / _FULL, np.zeros((0, 3)), np.zeros(0), bare)
    return Result(
        plan=outcome.plan,
        digest=outcome.digest,
        seed=outcome.seed,
        detail_pitch=outcome.pitch,
        cloth=cloth,
        fixed=FixedDye((), none),
        look=look,
        shares=outcome.shares,
        rounds=(),
        seconds={},
        fold=outcome.fold,
    )


# ------------------------------------------------------------------------------- as bytes


def as_bytes(outcome: Outcome) -> bytes:
    """Write an outcome with a checksum; the same bytes for the same outcome."""
    said = {**asdict(replace(outcome, srgb=np.zeros((0, 3), np.uint16))), "srgb": None}
    head = json.dumps(said, sort_keys=True, allow_nan=False).encode()
    body = io.BytesIO()
    body.write(len(head).to_bytes(8, "big") + head)
    body.write(np.ascontiguousarray(outcome.srgb, dtype=">u2").tobytes())
    packed = zlib.compress(body.getvalue(), 1)
    return _MARK + hashlib.sha256(packed).digest() + packed


def from_bytes(data: bytes) -> Outcome:
    """Read what `as_bytes` wrote.

    Raises
    ------
    DamagedError
        If it is not that: another file, a part of it, or changed since.
    """
    start = len(_MARK) + 32
    packed = data[start:]
    whole = data.startswith(_MARK) and hashlib.sha256(packed).digest() == data[start - 32 : start]
    if not whole:
        raise DamagedError
    try:
        body = zlib.decompress(packed)
        long = int.from_bytes(body[:8], "big")
        said: dict[str, Any] = json.loads(body[8 : 8 + long])
        srgb = np.frombuffer(body[8 + long :], dtype=">u2").reshape(-1, 3).astype(np.uint16)
        return _outcome(said, srgb)
    except (ValueError, KeyError, TypeError, zlib.error) as error:
        raise DamagedError from error


def _outcome(said: dict[str, Any], srgb: NDArray[np.uint16]) -> Outcome:
    from meltwick.types import Shares

    shares = Shares(**said.pop("shares"))
    hours = tuple(said.pop("melt_hours"))
    return Outcome(**{**said, "shares": shares, "melt_hours": hours, "srgb": srgb})
