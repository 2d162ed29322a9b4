"""The board as one HTML file, and as a picture."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Iterator
from io import BytesIO
from typing import Any

from PIL import Image

from meltwick.collection.board import Board, Card, money
from meltwick.collection.kinship import TWINS
from meltwick.picture.contact import TINTS, Tile, draw_contact
from meltwick.picture.days import clock
from meltwick.picture.forms import draw_form
from meltwick.worksheet.page import as_data, set_page
from meltwick.workshop.jobs import day_name, together

_WIDE = 640  # [px] of a piece's picture on the page


def draw_board(board: Board) -> Image.Image:
    """Draw every piece with its ratio, its colours and its price; 1600 px wide."""
    table = board.whole.table
    tiles = [
        Tile(
            result=card.made.result,
            label=_label(card),
            line=card.made.ratio,
            shares=card.made.parts,
            low=card.made.result.white_share,
            high=card.made.result.white_share,
            chips=card.made.chips,
            note=money(card.price, table.currency),
        )
        for card in board.cards
    ]
    return draw_contact(tiles, table.name)


def _label(card: Card) -> str:
    count = card.made.piece.table.count
    return card.made.name if count == 1 else f"{card.made.name} × {count}"


def board_html(board: Board, version: str, *, doubt: str, calendar: bytes | None = None) -> str:
    """Set the board as one HTML file that asks nothing of anyone.

    Parameters
    ----------
    board : Board
    version : str
        Of the program.
    doubt : str
        What is said of how far the pictures may be off.
    calendar : bytes, optional
        PNG of the calendar.
    """
    table = board.whole.table
    currency = table.currency
    heads = list(
        dict.fromkeys(_head(cost.what, card) for card in board.cards for cost in card.costs)
    )
    priced = [each.price for each in board.bought if each.price is not None]
    unpriced = dict.fromkeys(what for card in board.cards for what in card.unpriced)
    return set_page(
        "collection.html",
        version=version,
        title=table.name,
        notes=table.notes,
        doubt=doubt,
        cards=[_card(card, currency) for card in board.cards],
        near=board.near if len(board.cards) > 1 else (),
        matrix=list(_matrix(board)),
        bought=board.bought,
        money=lambda amount: money(amount, currency),
        together=money(sum(priced), currency) if priced else "",
        together_how="of what has a price in your list; hands are not bought",
        cost_heads=heads,
        cost_rows=[
            {"name": _label(card), "cells": _cost_cells(card, heads, currency)}
            for card in board.cards
        ],
        unpriced=", ".join(unpriced),
        calendar=list(_calendar(board)),
        calendar_picture=as_data(calendar) if calendar else "",
        when=board.when,
    )


def _head(what: str, card: Card) -> str:
    """Dyes share one column: their names differ from piece to piece."""
    return "dye" if what in card.made.needs.dyes else what


def _cost_cells(card: Card, heads: list[str], currency: str) -> list[str]:
    cells = []
    for head in heads:
        found = [cost.price for cost in card.costs if _head(cost.what, card) == head]
        known = [price for price in found if price is not None]
        cells.append(f"{sum(known):.2f}" if known else ("–" if found else ""))
    return [
        *cells,
        money(card.cost, currency),
        money(card.price, currency),
        money(card.left, currency),
    ]


def _card(card: Card, currency: str) -> dict[str, Any]:
    made, bar, at = card.made, [], 0.0
    for tint, share in zip(TINTS.values(), made.parts, strict=True):
        bar.append({"x": f"{100 * at:.2f}", "wide": f"{100 * share:.2f}", "tint": _hex(tint)})
        at += share
    picture = draw_form(made.result, f"long {_WIDE}")
    cost = f"costs you {money(card.cost, currency)}" if card.cost else ""
    return {
        "name": made.name,
        "count": made.piece.table.count,
        "ratio": made.ratio,
        "article": made.needs.article,
        "picture": _small(picture),
        "bar": bar,
        "chips": [_hex(round(255 * x) for x in chip) for chip in made.chips],
        "price": money(card.price, currency),
        "cost": cost + (" without hands" if cost and "hands" in card.unpriced else ""),
        "notes": made.piece.table.notes,
    }


def _hex(parts: Iterable[int]) -> str:
    """Write a colour as a page has it: #rrggbb."""
    return "#" + "".join(f"{part:02x}" for part in parts)


def _small(picture: Image.Image) -> str:
    stream = BytesIO()
    picture.save(stream, "JPEG", quality=88, optimize=True)
    return f"data:image/jpeg;base64,{base64.b64encode(stream.getvalue()).decode('ascii')}"


def _matrix(board: Board) -> Iterator[dict[str, Any]]:
    by_pair = {(pair.first, pair.second): pair for pair in board.pairs}
    for i, card in enumerate(board.cards):
        cells = []
        for j in range(len(board.cards)):
            pair = by_pair.get((min(i, j), max(i, j)))
            text = f"{pair.colour:.0f} / {100 * pair.white:.0f}" if pair else ""
            cells.append({"text": text, "close": pair is not None and pair.colour < TWINS})
        yield {"name": card.made.name, "cells": cells}


def _calendar(board: Board) -> Iterator[dict[str, str]]:
    if board.calendar is None:
        return
    for entry, company in together(board.calendar.entries):
        if entry.hands:
            yield {
                "when": f"{day_name(entry.start.date())}, {clock(entry.start)}",
                "piece": ", ".join(company),
                "step": entry.step,
                "where": entry.where,
            }
