"""The board: every piece with its picture, its numbers and its money, before it is set."""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from meltwick.collection import kinship
from meltwick.collection.costs import Bought, Cost, Needs, costs_of, needs_of, shopping, total
from meltwick.collection.reading import Piece, Whole
from meltwick.shares import CLASSES, dyed_to_white
from meltwick.types import Result
from meltwick.workshop.jobs import Entry, Workshop, day_name
from meltwick.workshop.table import plain


@dataclass(frozen=True)
class Made:
    """A piece, what the model makes of it and what it takes."""

    piece: Piece
    needs: Needs
    result: Result
    colours: kinship.Colours
    chips: tuple[tuple[float, ...], ...]  # sRGB 0..1
    family: str  # that it is washed with

    @property
    def name(self) -> str:
        """The piece's name."""
        return self.piece.name

    @property
    def colour(self) -> tuple[float, float, float]:
        """What it is marked by in the calendar: its widest dyed colour; grey where it has none."""
        if not self.chips:
            return 0.7, 0.7, 0.7
        red, green, blue = self.chips[0]
        return red, green, blue

    @property
    def ratio(self) -> str:
        """Its dyed share to its white one."""
        ground = self.piece.recipe.fabric.ground_name
        return f"{dyed_to_white(self.result.white_share)} dyed to {ground}"

    @property
    def parts(self) -> list[float]:
        """White, pale, mid and deep shares."""
        return [self.result.shares.whole.get(name, 0.0) for name in CLASSES]


@dataclass(frozen=True)
class Card:
    """A piece on the board, with its money."""

    made: Made
    costs: tuple[Cost, ...]
    cost: float  # of what has a price
    unpriced: tuple[str, ...]
    price: float | None

    @property
    def left(self) -> float | None:
        """What is left of the price, where there is one."""
        return None if self.price is None else self.price - self.cost


@dataclass(frozen=True)
class Calendar:
    """When the pieces are made."""

    entries: tuple[Entry, ...]
    workshop: Workshop
    hint: str  # what would make it quicker; empty where nothing would

    @property
    def loads(self) -> int:
        """How many wash loads there are."""
        return len({entry.load for entry in self.entries if entry.load})


@dataclass(frozen=True)
class Board:
    """A collection as it is shown."""

    whole: Whole
    cards: tuple[Card, ...]
    pairs: tuple[kinship.Pair, ...]
    bought: tuple[Bought, ...]
    calendar: Calendar | None
    near: tuple[str, ...]  # what is said of twins and strangers

    @property
    def when(self) -> str:
        """Say from when to when, and what would make it quicker."""
        if self.calendar is None:
            return ""
        entries, count = self.calendar.entries, self.calendar.loads
        first, last = min(e.start for e in entries), max(e.end for e in entries)
        days = (last.date() - first.date()).days + 1
        loads = "one wash load" if count == 1 else f"{count} wash loads"
        said = (
            f"From {day_name(first.date())} to {day_name(last.date())}, {days} days, with {loads} "
            f"by colour family. {self.calendar.hint}"
        )
        return said.strip()


def made_of(piece: Piece, result: Result) -> Made:
    """Measure a piece's colours and what it takes."""
    counted = result.cloth.dyeable
    colours = kinship.colours_of(result.look.srgb[counted])
    white = kinship.as_lab(np.array([result.look.undyed_srgb]))[0]
    return Made(
        piece=piece,
        needs=needs_of(piece),
        result=result,
        colours=colours,
        chips=tuple(kinship.chips(colours, white)),
        family=kinship.family(colours, white),
    )


def board_of(whole: Whole, made: Sequence[Made], calendar: Calendar | None) -> Board:
    """Put a board together.

    Parameters
    ----------
    whole : Whole
    made : sequence of Made
        Its pieces, in order.
    calendar : Calendar or None
        None where the pieces cannot be fitted.
    """
    prices = whole.table.prices
    wash = wash_shares(calendar.entries if calendar else ())
    cards = []
    for each in made:
        names = each.piece.copies
        share = sum(wash.get(name, 0.0) for name in names) / len(names)
        costs = costs_of(each.needs, prices, share or None)
        cards.append(Card(each, costs, *total(costs), each.piece.table.price))
    loads = calendar.loads if calendar else 0
    found = kinship.pairs([m.colours for m in made], [m.result.white_share for m in made])
    return Board(
        whole=whole,
        cards=tuple(cards),
        pairs=found,
        bought=shopping([(m.piece, m.needs) for m in made], prices, loads),
        calendar=calendar,
        near=tuple(_nearness(made, found)),
    )


def wash_shares(entries: Sequence[Entry]) -> Mapping[str, float]:
    """Count the wash loads that fall to each piece: one over the pieces in it, for every load."""
    inside: dict[int, set[str]] = defaultdict(set)
    for entry in entries:
        if entry.load:
            inside[entry.load].add(entry.piece)
    shares: dict[str, float] = defaultdict(float)
    for pieces in inside.values():
        for name in pieces:
            shares[name] += 1.0 / len(pieces)
    return dict(shares)


def _nearness(made: Sequence[Made], found: Sequence[kinship.Pair]) -> list[str]:
    said = []
    for pair in kinship.twins(found):
        one, other = made[pair.first].name, made[pair.second].name
        said.append(
            f"{one} and {other} are near-twins: their colours lie {pair.colour:.0f} apart "
            f"(CIEDE2000), their white {100 * pair.white:.0f} % of the area."
        )
    for number in kinship.strangers(found, len(made)):
        gap = min(pair.colour for pair in found if number in (pair.first, pair.second))
        said.append(
            f"{made[number].name} stands alone: the nearest piece's colours lie {gap:.0f} away."
        )
    if not said and len(made) > 1:
        said.append("No two pieces are near-twins, and none stands alone.")
    return said


# ------------------------------------------------------------------------------- money and tables


def money(amount: float | None, currency: str) -> str:
    """Write an amount in the maker's currency; nothing where there is none."""
    if amount is None:
        return ""
    text = f"{amount:.2f}"
    return f"{text} {currency}".strip()


def shopping_csv(board: Board) -> str:
    """Write the shopping list as RFC 4180."""
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\r\n")
    currency = board.whole.table.currency
    table.writerow(["what", "buy", "reckoned", "how", f"cost {currency}".strip()])
    for each in board.bought:
        cost = "" if each.price is None else f"{each.price:.2f}"
        row = (each.what, each.amount, each.exact, each.how, cost)
        table.writerow([plain(cell) for cell in row])
    return stream.getvalue()


def pieces_csv(board: Board) -> str:
    """Write a row a piece: shares in per cent, what it costs and what is left."""
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\r\n")
    table.writerow(
        [
            *("piece", "count", "blank", *(f"{name} %" for name in CLASSES), "family"),
            *("cost", "without a price", "price", "left", "digest"),
        ]
    )
    for card in board.cards:
        made = card.made
        row = [
            made.name,
            str(made.piece.table.count),
            made.needs.article,
            *(f"{100 * share:.1f}" for share in made.parts),
            made.family,
            f"{card.cost:.2f}",
            ", ".join(card.unpriced),
            money(card.price, ""),
        ]
        cells = [plain(cell) for cell in row]
        table.writerow([*cells, money(card.left, ""), made.result.digest])
    return stream.getvalue()
