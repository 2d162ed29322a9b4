"""From a plan in a maker's words to a recipe in numbers, with the stock at hand."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Literal

from meltwick.errors import PlanError
from meltwick.plan import words
from meltwick.plan.area import cloth_area
from meltwick.plan.folded import fold_of
from meltwick.plan.garment import dress
from meltwick.plan.laying import DyeTable, IceTable, LiquorTable
from meltwick.plan.models import Plan, RoundTable, SodaTable
from meltwick.plan.place import Place
from meltwick.plan.reader import read_plan
from meltwick.plan.reading import Amount
from meltwick.plan.starting import resolve_start
from meltwick.plan.ties import TieTable
from meltwick.stock import Stock
from meltwick.stock.reading import choices
from meltwick.types import (
    BandTie,
    Blank,
    Caught,
    Clamps,
    Dye,
    Fabric,
    Ice,
    Patch,
    Powder,
    Recipe,
    Round,
    Sector,
    Soda,
    Spot,
    Stitching,
    StringTie,
    Tie,
    TiedRings,
)
from meltwick.units import GALLON, show_length, show_mass

_TEASPOON = float(GALLON / 768)  # [m3] US
_TALLEST = 3  # pieces above one
_NO_START = "starts from a photograph; a piece that another plan names begins undyed"
_USUAL_BAND = "snug"
_USUAL_THREAD = 0.0008  # [m] strong sewing thread; chosen


def resolve(plan: Plan, stock: Stock, *, below: tuple[str, ...] = ()) -> Recipe:
    """Turn a plan's words and stock names into numbers.

    Parameters
    ----------
    plan : Plan
    stock : Stock
    below : tuple of str
        Files of the pieces that this one's run-off is caught for.

    Returns
    -------
    Recipe
        Everything in SI units. Dyes come in the order in which the plan first names them.

    Raises
    ------
    PlanError
        If a name is not in stock, or an amount cannot be: one line naming the key.
    """
    place = Place(plan.where, "")
    garment = place.key("garment")

    def refuse(key: str, said: str) -> PlanError:
        return garment.key(key).error(said)

    asked = plan.garment
    blank, fabric = dress(asked, stock, plan.beside, refuse)
    start = None
    if plan.start is not None:
        start = resolve_start(plan.start, stock, plan.beside, place.key("start"))
        if asked.scoured is False:
            raise refuse("scoured", "a piece that was dyed and washed is scoured; leave it out")
        fabric = replace(fabric, scoured=True)
    rounds, dyes = [], dict[str, Dye]()
    for number, table in enumerate(plan.round, 1):
        here = place.key("round").key(number)
        for n, line in enumerate(table.dye, 1):
            dye = here.key("dye").key(n).key("dye").ask(stock.dye, line.dye)
            dyes.setdefault(dye.name, dye)
        rounds.append(_round(table, stock, here, blank, fabric))
        if table.liquor is not None:
            chain = (*below, _real(plan.where))
            above = _above(table.liquor, stock, plan.where, here.key("liquor"), chain)
            rounds[-1] = replace(rounds[-1], liquor=above)
            for dye in above.recipe.dyes:
                dyes.setdefault(dye.name, dye)
        if table.beside:
            rounds[-1] = _in_one_tray(rounds[-1], table, plan, stock, here, blank, fabric, below)
            for piece in rounds[-1].beside:
                for dye in piece.dyes:
                    dyes.setdefault(dye.name, dye)
    return Recipe(
        name=plan.name,
        seed=plan.seed,
        neatness=plan.neatness,
        blank=blank,
        fabric=fabric,
        damp=asked.damp,
        rounds=tuple(rounds),
        dyes=tuple(dyes.values()),
        notes=plan.notes,
        start=start,
    )


def _real(where: str) -> str:
    return str(Path(where).absolute())


def _above(
    liquor: LiquorTable, stock: Stock, where: str, place: Place, below: tuple[str, ...]
) -> Caught:
    """Read the plan of the piece above."""
    file = Path(where).parent / liquor.plan
    if _real(str(file)) in below:
        raise place.key("plan").error(f"'{liquor.plan}' would catch its own run-off")
    if len(below) > _TALLEST:
        raise place.key("plan").error(f"at most {_TALLEST + 1} pieces may hang in a row")
    recipe = resolve(read_plan(file), stock, below=below)
    if recipe.start:
        raise place.key("plan").error(f"'{liquor.plan}' {_NO_START}")
    return Caught(recipe=recipe, share=liquor.share, seconds=liquor.over or 0.0)


def _in_one_tray(
    turn: Round,
    table: RoundTable,
    plan: Plan,
    stock: Stock,
    place: Place,
    blank: Blank,
    fabric: Fabric,
    below: tuple[str, ...],
) -> Round:
    """Read the plans of the pieces that lie beside this one, and give all of them enough ice."""
    pieces, mass = [], cloth_area(blank) * fabric.mass_per_area
    chain = (*below, _real(plan.where))
    for n, line in enumerate(table.beside, 1):
        here = place.key("beside").key(n).key("plan")
        file = Path(plan.where).parent / line.plan
        if _real(str(file)) in chain:
            raise here.error(f"'{line.plan}' would lie beside itself")
        other = read_plan(file)
        if any(each.beside or each.liquor for each in other.round):
            raise here.error(f"'{line.plan}' has pieces of its own; name them all in this plan")
        if other.start:
            raise here.error(f"'{line.plan}' {_NO_START}")
        if len(other.round) > 1:
            raise here.error(f"'{line.plan}' has {len(other.round)} rounds; one is needed here")
        piece = resolve(other, stock, below=chain)
        if piece.fabric.uptake != fabric.uptake:
            raise here.error(
                f"'{line.plan}' is of {piece.fabric.name}, which takes dye unlike {fabric.name}; "
                "pieces of one tray must be alike in that"
            )
        pieces.append(piece)
        mass += cloth_area(piece.blank) * piece.fabric.mass_per_area
    ice = tuple(
        _ice(load, mass, place.key("ice").key(n)) if load.amount is None else laid
        for n, (load, laid) in enumerate(zip(table.ice, turn.ice, strict=True), 1)
    )
    return replace(turn, ice=ice, beside=tuple(pieces))


def _round(table: RoundTable, stock: Stock, place: Place, blank: Blank, fabric: Fabric) -> Round:
    area = cloth_area(blank)
    return Round(
        folds=tuple(
            fold_of(fold, stock, blank, place.key("fold").key(n))
            for n, fold in enumerate(table.fold, 1)
        ),
        tie=_tie(table, stock, blank, place.key("tie")),
        soda=_soda(table.soda, area * fabric.mass_per_area, place.key("soda")),
        ice=tuple(
            _ice(load, area * fabric.mass_per_area, place.key("ice").key(n))
            for n, load in enumerate(table.ice, 1)
        ),
        powder=tuple(
            powder
            for n, line in enumerate(table.dye, 1)
            for powder in _powder(line, stock, area, place.key("dye").key(n))
        ),
        incline=table.rest.slope,
        rest_on=table.rest.on,
        room=table.rest.room,
        batch_time=table.batch.time,
        batch_temperature=table.batch.temperature,
        batch_cover=table.batch.cover,
        wash=table.wash,
        outside=_up(table),
        lies=table.rest.lies,  # type: ignore[arg-type]
        tub=table.rest.floor,
    )


def _up(table: RoundTable) -> Literal["front", "back"]:
    """Which side faces up before folding, so that the side asked for ends outside.

    What is folded in half shows the side that lay below. So does the edge of an accordion that
    is turned up: its first pleat lies below the second.
    """
    kinds = {fold.kind for fold in table.fold}
    under = "back" if table.outside == "front" else "front"
    turned = "halve" in kinds or "accordion" in kinds
    return under if turned else table.outside  # type: ignore[return-value]


def _tie(table: RoundTable, stock: Stock, blank: Blank, place: Place) -> Tie | None:
    tie = table.tie
    kind = tie.kind_after(table.fold[-1].kind if table.fold else "")
    if kind == "none":
        return None
    if kind == "clamps":
        return _clamps(tie)
    word, pull = "", tie.pull
    if kind == "bands" and "pull" not in tie.model_fields_set:
        pull = _USUAL_BAND
    if isinstance(pull, str):
        word, pull = " ".join(pull.casefold().split()), place.key("pull").ask(stock.tie_pull, pull)
    if kind == "bands":
        return BandTie(count=tie.count, pull=pull, width=tie.width, word=word)
    if kind == "string" and tie.thickness > tie.spacing:
        raise place.key("spacing").error(
            f"string {show_length(tie.thickness)} thick every {show_length(tie.spacing)} would lie "
            "on top of itself; a spacing greater than the string's thickness is needed"
        )
    if kind == "stitching":
        thick = tie.thickness if "thickness" in tie.model_fields_set else _USUAL_THREAD
        _known_places(tie.line or (), blank, place.key("line"))
        return Stitching(
            words.ROWS[tie.rows], tie.spacing, tie.stitch, thick, pull, word, tie.line or ()
        )
    if kind == "rings":
        return _rings(tie, pull, word, blank, place)
    return StringTie(
        spacing=tie.spacing,
        pull=pull,
        thickness=tie.thickness,
        word=word,
        crossed=tie.crossed,
    )


def _known_places(spots: tuple[Spot, ...], blank: Blank, key: Place) -> None:
    """Refuse a place that the blank does not have."""
    known = words.PLACES.get(blank.cut, ())
    for spot in spots:
        if spot.place not in known:
            raise key.error(f"'{spot.place}' is no place of {blank.name}; {choices('', known)}")


def _rings(tie: TieTable, pull: float, word: str, blank: Blank, place: Place) -> TiedRings:
    _known_places(tie.spots or (), blank, place.key("spots"))
    wide = tie.wound * tie.thickness
    least = wide if tie.times > 1 else 0.0
    if tie.apart < least:
        raise place.key("apart").error(
            f"rings of thread {show_length(wide)} wide every {show_length(tie.apart)} would lie on "
            "each other; write more, or fewer turns"
        )
    if tie.from_tip < 0.5 * wide:
        raise place.key("from_tip").error(
            f"a ring of thread {show_length(wide)} wide does not fit {show_length(tie.from_tip)} "
            "from the tip; write more, or fewer turns"
        )
    reach = tie.from_tip + (tie.times - 1) * tie.apart + 0.5 * wide
    reach *= 1.0 if tie.outline == "circle" else math.sqrt(2.0)  # to a corner
    if tie.every is not None and tie.every < 2.0 * reach:
        raise place.key("every").error(
            f"each peak takes the cloth for {show_length(reach)} round its tip, so peaks every "
            f"{show_length(tie.every)} would share it; at least {show_length(2.0 * reach)} is "
            "needed"
        )
    spots = tie.spots or (() if tie.every is not None else (Spot("middle"),))
    return TiedRings(
        spots=spots,
        every=tie.every or 0.0,
        from_tip=tie.from_tip,
        times=tie.times,
        apart=tie.apart,
        wound=tie.wound,
        thickness=tie.thickness,
        pull=pull,
        word=word,
        outline=tie.outline,  # type: ignore[arg-type]
        capped=tie.capped,
    )


def _clamps(tie: TieTable) -> Clamps:
    breadth = tie.breadth if tie.breadth is not None else 0.25 * tie.size
    return Clamps(
        shape=tie.shape,  # type: ignore[arg-type]
        size=tie.size,
        breadth=breadth if tie.shape == "bar" else tie.size,
        force=tie.force,
        at=tie.at,
        turn=tie.turn,
        word=next((word for word, force in words.CLAMPED.items() if force == tie.force), ""),
    )


def _weight(amount: Amount, bulk: float) -> float:
    """Return a weight [kg], a measure [m3] turned into one by its bulk density [kg/m3]."""
    return amount.value if amount.dimension == "mass" else amount.value * bulk


def _soda(soda: SodaTable, cloth_mass: float, place: Place) -> Soda:
    minutes = soda.time / 60
    if soda.how == "none":
        return Soda(how="none", strength=0.0, minutes=minutes, kind=soda.kind)
    mass = _weight(soda.amount, words.SODA_BULK[soda.kind])
    if soda.how in words.SODA_DRY:
        mass = mass if "amount" in soda.model_fields_set else words.SODA_SPOONS
        held = words.DAMP["wrung"] * cloth_mass * 1e-3  # [m3] as a soak that leaves as much
        return Soda(how=soda.how, strength=mass / held, minutes=0.0, mass=mass, kind=soda.kind)
    strength = mass / soda.water
    if strength > words.SODA_LIMIT:
        most = show_mass(words.SODA_LIMIT * soda.water)
        raise place.key("amount").error(
            f"{show_mass(mass)} of soda ash does not dissolve in this water; at most {most} does"
        )
    return Soda(
        how=soda.how,
        strength=strength,
        minutes=minutes,
        mass=mass,
        water=soda.water,
        kind=soda.kind,
    )


def _ice(load: IceTable, cloth_mass: float, place: Place) -> Ice:
    if load.amount is None:
        mass = words.ICE_PER_CLOTH * cloth_mass
    else:
        mass = _weight(load.amount, words.ICE_BULK[load.kind])
        if not 0.00999 <= mass <= 100.1:
            raise place.key("amount").error(
                f"comes to {show_mass(mass)} of ice; it must lie from 10 g to 100 kg"
            )
    chunk = load.chunk if load.chunk is not None else words.ICE_CHUNK[load.kind]
    return Ice(
        mass=mass,
        chunk=chunk,
        kind=load.kind,
        after=load.after,
        beside=words.HEAPS[load.heap],
        heap="" if load.heap == "mounded" else load.heap,
        turned=load.turned,
    )


def _powder(line: DyeTable, stock: Stock, area: float, place: Place) -> tuple[Powder, ...]:
    dye = stock.dye(line.dye)
    zone = line.at if isinstance(line.at, tuple) else words.ZONES["all"]
    spot = None if isinstance(line.at, tuple) else line.at
    if isinstance(line.amount, str):
        scale = _part(line) * words.SIDES[line.side] * 3.0 * area / words.SPRINKLE_CLOTH
        mass = words.SPRINKLE[line.amount] * scale
    else:
        mass = _weight(line.amount, dye.spoon / _TEASPOON)
    if not 1e-5 <= mass <= 0.5:
        raise place.key("amount").error(
            f"comes to {show_mass(mass)} of powder; it must lie from 10 mg to 500 g"
        )
    over = words.POWDER[line.powder]
    laid = Powder(
        dye=dye.name,
        mass=mass,
        zone=zone,
        over_ice=bool(over),
        side=line.side,  # type: ignore[arg-type]
        place=spot,
        turned=line.turned,
    )
    if over is None:
        half = replace(laid, mass=0.5 * mass)
        return (half, replace(half, over_ice=True))
    return (laid,)


def _part(line: DyeTable) -> float:
    """Share of the bundle's top that a dye is laid on."""
    if isinstance(line.at, Sector):
        return line.at.last - line.at.first
    if isinstance(line.at, Patch):
        return min(1.0, math.pi * line.at.radius**2 / (3.0 * words.PATCH))
    low, high = line.at
    return high - low
