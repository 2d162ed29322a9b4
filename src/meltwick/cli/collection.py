"""`collection`: a board of pieces, what they take and cost, and the days they need."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meltwick.cli.options import Debug, Detail, Show
from meltwick.errors import PlanError, WishError

if TYPE_CHECKING:
    from meltwick.collection.board import Board, Calendar, Made
    from meltwick.collection.reading import Whole

_BOARD, _PAGE, _BUY, _PIECES = "board.png", "board.html", "shopping.csv", "pieces.csv"
_DAYS = ("calendar.png", "calendar.csv", "calendar.ics")


def collection(
    path: Annotated[
        str, typer.Argument(metavar="FOLDER|FILE", help="A folder of plans, or a collection file.")
    ],
    out: Annotated[
        str | None, typer.Option(metavar="DIR", help="Where to write; ./NAME/ by default.")
    ] = None,
    detail: Detail = "draft",
    form: Annotated[
        list[str] | None,
        typer.Option(
            metavar="FORM", help="Also each piece alone: square 1080, 4:5 1080, long 2048."
        ),
    ] = None,
    names: Annotated[
        str | None,
        typer.Option(metavar="PATTERN", help="Their names, of {number}, {name} and {form}."),
    ] = None,
    show: Show = False,
    debug: Debug = False,
) -> None:
    """Show pieces together: a board, a shopping list, what each costs, and a calendar.

    A folder may hold collection.toml, which names the pieces, prices, racks, poles and hours.

    Example: meltwick collection first-frost --form "square 1080"
    """
    from meltwick.cli.failing import say
    from meltwick.cli.machine import show_picture
    from meltwick.cli.preview import read_detail, read_folder
    from meltwick.cli.writing import check_folder, write_together
    from meltwick.collection.reading import read_collection
    from meltwick.stock import load_stock

    if not path.strip():
        raise PlanError("write a folder of plans, or a collection file such as collection.toml")
    pitch, stock = read_detail(detail), load_stock()
    whole = read_collection(Path(path), stock)
    wanted = _forms(form or [], whole)
    pattern = names if names is not None else whole.table.export.names
    named = _named(pattern, whole, wanted, "--names" if names is not None else "export.names")
    folder = read_folder(out) if out is not None else Path(whole.table.name)
    files = (_BOARD, _PAGE, _BUY, _PIECES, *_DAYS, *(each for row in named for each in row))
    check_folder(folder, files)

    made = _made(whole, pitch)
    try:
        calendar, trouble = calendar_of(whole, made), None
    except WishError as error:  # the board is worth having without its calendar
        calendar, trouble = None, error
    content, board = _content(whole, made, calendar)
    content |= _exported(board, wanted, named)
    write_together(folder, content)
    for line in _told(board, folder):
        typer.echo(line)
    if trouble is not None:
        say("The board was written without a calendar.")
        raise trouble
    if show:
        show_picture(folder / _PAGE)


def _forms(texts: Sequence[str], whole: Whole) -> list[str]:
    from pydantic_core import PydanticCustomError

    from meltwick.collection.models import check_form

    if not texts:
        return list(dict.fromkeys(whole.table.export.forms))
    try:
        return list(dict.fromkeys(check_form(text) for text in texts))
    except PydanticCustomError as error:
        raise PlanError(f"--form: {error.message()}") from None


def _named(pattern: str, whole: Whole, forms: Sequence[str], where: str) -> list[list[str]]:
    """Name every exported picture, form after form; none may take the place of another file."""
    from meltwick.collection.filenames import check_pattern, names_of

    check_pattern(pattern, where)
    pieces = [piece.name for piece in whole.pieces]
    rows = [[f"{name}.png" for name in names_of(pattern, pieces, form)] for form in forms]
    flat = [name.casefold() for row in rows for name in row]
    if len(set(flat)) < len(flat) or {_BOARD, _DAYS[0]} & set(flat):
        raise PlanError(
            f"{where}: {pattern[:40]!r} gives two pictures one name; write {{name}} and {{form}} "
            "in it"
        )
    return rows


def _made(whole: Whole, pitch: float) -> list[Made]:
    """Predict every piece that is not kept, by its plan's own hand, and measure it."""
    from meltwick.cli.runs import results_of

    plans, recipes = zip(*((piece.plan, piece.recipe) for piece in whole.pieces), strict=True)
    results = results_of(plans, recipes, pitch)

    from meltwick.collection.board import made_of

    return [made_of(*each) for each in zip(whole.pieces, results, strict=True)]


def calendar_of(whole: Whole, made: Sequence[Made]) -> Calendar:
    """Fit the pieces into the maker's days, and see what holds them up.

    Raises
    ------
    WishError
        A piece cannot be made with what there is.
    """
    from meltwick.collection.board import Calendar
    from meltwick.collection.plans import jobs_of, workshop_of
    from meltwick.stock import load_stock
    from meltwick.workshop.busy import reliefs
    from meltwick.workshop.calendar import fit

    jobs = jobs_of([(each.piece, each.needs, each.family) for each in made])
    needs = [each.needs for each in made]
    shop = workshop_of(whole.table.workshop, needs, load_stock(), date.today())
    entries = fit(jobs, shop)
    best = reliefs(jobs, shop, entries)[0]
    hint = f"{best.line[0].upper()}{best.line[1:]}." if best.sooner else ""
    return Calendar(entries, shop, hint)


def _content(
    whole: Whole, made: Sequence[Made], calendar: Calendar | None
) -> tuple[dict[str, bytes], Board]:
    from meltwick import __version__
    from meltwick.collection.board import board_of, pieces_csv, shopping_csv
    from meltwick.collection.page import board_html, draw_board
    from meltwick.picture.preview import as_file
    from meltwick.study import model_doubt

    board = board_of(whole, made, calendar)
    doubt = max(model_doubt(each.result.fold) for each in made)
    said = (
        f"The share of white may be off by up to {100 * doubt:.0f} points: the model has not been "
        "checked against your own pieces."
    )
    name = whole.table.name
    content: dict[str, bytes] = {}
    if calendar is not None:
        content |= _calendar_files(board, calendar)
    page = board_html(board, __version__, doubt=said, calendar=content.get(_DAYS[0]))
    return {
        _BOARD: as_file(draw_board(board), name, __version__),
        _PAGE: page.encode(),
        _BUY: shopping_csv(board).encode(),
        _PIECES: pieces_csv(board).encode(),
        **content,
    }, board


def _exported(
    board: Board, forms: Sequence[str], named: Sequence[Sequence[str]]
) -> dict[str, bytes]:
    """Draw every piece alone in each form."""
    from meltwick import __version__
    from meltwick.picture.forms import draw_form
    from meltwick.picture.preview import as_png

    plain = board.whole.table.export.plain
    content = {}
    for form, row in zip(forms, named, strict=True):
        for card, name in zip(board.cards, row, strict=True):
            words = "" if plain else f"{card.made.name} · {card.made.ratio}"
            drawn = draw_form(card.made.result, form, words)
            content[name] = as_png(drawn, card.made.result, __version__)
    return content


def _told(board: Board, folder: Path) -> list[str]:
    from meltwick.collection.board import money

    currency = board.whole.table.currency
    wide = max(len(card.made.name) for card in board.cards)
    lines = []
    for card in board.cards:
        costs = f", costs {money(card.cost, currency)}" if card.cost else ""
        price = f", sells for {money(card.price, currency)}" if card.price is not None else ""
        lines.append(f"  {card.made.name:<{wide}}  {card.made.ratio}{costs}{price}")
    lines += ["", *board.near]
    if board.calendar is not None:
        lines.append(board.when)
    lines.append(f"The board is {folder / _PAGE}, as a picture {folder / _BOARD}.")
    lines.append(f"What to buy is {folder / _BUY}, the numbers are {folder / _PIECES}.")
    if board.calendar is not None:
        lines.append(f"The calendar is {folder / _DAYS[2]}, as a table {folder / _DAYS[1]}.")
    return lines


def _calendar_files(board: Board, calendar: Calendar) -> dict[str, bytes]:
    from meltwick import __version__
    from meltwick.picture.days import days_png
    from meltwick.workshop.ics import as_ics
    from meltwick.workshop.table import as_csv

    name = board.whole.table.name
    colours = {copy: card.made.colour for card in board.cards for copy in card.made.piece.copies}
    picture = days_png(
        calendar.entries, calendar.workshop, colours, title=name, version=__version__
    )
    return {
        _DAYS[0]: picture,
        _DAYS[1]: as_csv(calendar.entries).encode(),
        _DAYS[2]: as_ics(calendar.entries, name).encode(),
    }
