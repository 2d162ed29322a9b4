"""`record`: save a finished piece beside what was predicted of it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any

import typer

from meltwick.cli.given import Given, photos_of, read_costs, read_day, read_given
from meltwick.cli.options import As, Debug, Detail, Hands, JournalFile, shortened
from meltwick.errors import FileError, PlanError

if TYPE_CHECKING:
    from meltwick.journal import Journal, Outcome, Photo, Prediction
    from meltwick.journal.gathering import Gathered
    from meltwick.journal.profiles import Profile
    from meltwick.types import Recipe

_OUTCOME = ("white_share", "white_margin", "shares", "panels", "zones", "palette")


def outcome_of(given: Given, recipe: Recipe) -> dict[str, Any]:
    """Turn what a maker gave into the outcome that the journal keeps.

    Parameters
    ----------
    given : Given
        A share by eye, a record of ``meltwick measure``, or photographs to be measured.
    recipe : Recipe
        The plan, resolved: its blank and its cloth.

    Returns
    -------
    dict
        ``white_share``, ``white_margin``, ``shares``, ``panels``, ``zones``, ``palette``, ``how``.
    """
    if given.by_eye is not None:
        return {"white_share": given.by_eye, "white_margin": given.margin, "how": "by eye"}
    found = given.measured
    if found is None:
        from meltwick.cli.failing import say
        from meltwick.cli.measure import measured

        assert given.front is not None
        found = measured(given.front, given.back, recipe.blank, recipe.fabric)
        if any("--white" in note for note in found.get("notes", ())):
            say(
                "--white is a word of meltwick measure: measure with it, look at the picture, and "
                "record the measure.json that it writes in place of the photograph"
            )
    kept = {key: found[key] for key in _OUTCOME if key in found}
    return kept | {"how": "photo"}


def record(
    plan: Annotated[str, typer.Argument(metavar="PLAN", help="The plan that you made.")],
    photo: Annotated[
        str | None,
        typer.Argument(metavar="PHOTO", help="Of the front, or what measure wrote of it."),
    ] = None,
    back: Annotated[
        str | None, typer.Option(metavar="PHOTO", help="A photograph of the back.")
    ] = None,
    by_eye: Annotated[
        str | None,
        typer.Option("--by-eye", metavar="SHARE", help="The white as you judge it, such as 45%."),
    ] = None,
    by_eye_margin: Annotated[
        str | None,
        typer.Option(metavar="SHARE", help="How far you may be off; 10% if left out."),
    ] = None,
    name: Annotated[
        str | None, typer.Option(metavar="NAME", help="What you call it; the plan's name if none.")
    ] = None,
    on: Annotated[
        str | None,
        typer.Option(metavar="DATE", help="When it was made, such as 2026-11-03 or yesterday."),
    ] = None,
    note: Annotated[
        list[str] | None, typer.Option(metavar="TEXT", help="Anything to remember.")
    ] = None,
    cost: Annotated[
        list[str] | None,
        typer.Option(metavar="AMOUNT", help='What it cost, such as "12.50 EUR"; may be repeated.'),
    ] = None,
    cost_note: Annotated[
        list[str] | None,
        typer.Option(metavar="TEXT", help="What each cost was for, in the same order."),
    ] = None,
    hands: Hands = "5",
    detail: Detail = "draft",
    profile: As = None,
    journal: JournalFile = None,
    debug: Debug = False,
) -> None:
    """Save a finished piece in your journal: its plan, what was predicted, what it measured.

    Copies of photographs are kept. Without a photograph, --by-eye 45% says how white it is.

    Example: meltwick record harbour-tee.toml front.jpg --back back.jpg --note "a warm night"
    """
    from meltwick.cli.journal import journal_at
    from meltwick.cli.journal_words import compared
    from meltwick.cli.preview import read_detail, read_hands
    from meltwick.cli.studying import profile_named
    from meltwick.journal.book import now
    from meltwick.journal.gathering import gather
    from meltwick.journal.records import LONGEST_NOTE, Entry, Outcome, Piece, checked

    pitch, count = read_detail(detail), read_hands(hands)
    given = read_given(photo, back, by_eye, by_eye_margin)
    costs = read_costs(cost or [], cost_note or [])
    made_on = None if on is None else read_day(on, "--on")
    for text in note or []:
        if not text.strip() or len(text) > LONGEST_NOTE:
            raise PlanError(f"--note: a note has 1 to {LONGEST_NOTE} characters")
    if name is not None and not (0 < len(name.strip()) <= 100 and name.isprintable()):
        raise PlanError(
            f"--name: {shortened(name)} is no name; write 1 to 100 characters, one line"
        )
    learned = profile_named(profile)
    gathered = gather(plan)
    book = journal_at(journal)
    photos, pictures, lacking = photos_of(given)
    _see_that_it_is_after(gathered, photos)
    _see_that_it_can_be_saved(book, photos)
    outcome: Outcome = checked(
        Outcome, outcome_of(given, gathered.recipe), given.where or "the measured outcome"
    )
    taken = next((each.taken for each in photos if each.taken is not None), None)
    prediction, fold = predicted(gathered, count, pitch, learned)

    entry = Entry(
        recorded=now(),
        name=name.strip() if name is not None else gathered.plan.name,
        made_on=made_on or taken or date.today(),
        plan_name=gathered.plan.name,
        plan_file=gathered.file,
        plan_text=gathered.text,
        canonical=gathered.canonical,
        digest=gathered.digest,
        seed=gathered.plan.seed,
        fold=fold,
        ground=gathered.recipe.fabric.ground_name,
        outcome=outcome,
        prediction=prediction,
        costs=costs,
        photos=photos,
        kept=gathered.kept,
        kept_stock=gathered.kept_stock,
    )
    number = book.add(entry, gathered.contents, pictures, note or [])
    day = f"made on {entry.made_on.isoformat()}"
    if made_on is None and taken is not None:
        day += ", as the photograph says"
    typer.echo(f"Piece {number}, {entry.name}, {day}, is in the journal.")
    typer.echo(compared(Piece(**vars(entry), number=number)))
    for line in lacking:
        typer.echo(line)


def _see_that_it_can_be_saved(book: Journal, photos: Sequence[Photo]) -> None:
    """Find out before the work whether the journal can be written."""
    from meltwick.cli.writing import check_folder

    if book.exists():
        book.check_adding(photos)
    else:
        check_folder(book.path.parent, (book.path.name,), "--journal")


def _see_that_it_is_after(gathered: Gathered, photos: Sequence[Photo]) -> None:
    """Refuse a photograph that the plan starts from: it shows the piece before its round."""
    start = gathered.recipe.start
    before = {} if start is None else {content: panel for panel, content in start.contents}
    for photo in photos:
        if photo.sha256 in before:
            raise FileError(
                f"{photo.file} is the photograph that the plan starts from; name one of the piece "
                "after it was dyed over"
            )


def predicted(
    gathered: Gathered, hands: int, pitch: float, profile: Profile | None = None
) -> tuple[Prediction, str]:
    """Predict a plan by several hands, from kept runs where there are some; give its fold too."""
    from meltwick import __version__
    from meltwick.cli.preview import by_key
    from meltwick.cli.runs import run_settings
    from meltwick.cli.studying import studying
    from meltwick.constants import MODEL
    from meltwick.journal import Prediction
    from meltwick.study.compare import Setting
    from meltwick.study.doubt import widened

    with studying(None, profile) as bench, by_key(gathered.recipe):
        (group,) = run_settings([Setting({}, gathered.plan)], hands, pitch, bench)
    white, typical = group.shares(), group.typical
    least, most = widened(min(white), max(white), typical.fold, profile)
    shares = typical.shares
    made = Prediction(
        white=group.median(),
        low=min(white),
        high=max(white),
        least=least,
        most=most,
        by_hand=tuple(white),
        seed=group.outcomes[0].seed,
        pitch=pitch,
        shares=dict(shares.whole),
        panels={name: dict(parts) for name, parts in shares.panels.items()},
        zones={name: dict(parts) for name, parts in shares.zones.items()},
        model=MODEL,
        version=__version__,
        profile=None if profile is None else profile.name,
    )
    return made, typical.fold
