"""`learn`: what the maker's own pieces say of the model, kept as a profile."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meltwick.cli.options import Debug, Detail, DryRun, JournalFile, OnCluster
from meltwick.errors import FileError, PlanError, ProfileError, WishError

if TYPE_CHECKING:
    from meltwick.cli.studying import Bench
    from meltwick.journal.evidence import Evidence
    from meltwick.journal.learning import Learned
    from meltwick.journal.profiles import Profile
    from meltwick.study.outcome import Order

_SAID = 1.0
"""Standard deviations by which a factor must have moved to be told as a finding; chosen."""

_FAR = 2.0
"""Factor on hands' and measurements' errors beyond which a maker is told to look; chosen."""


def learn(
    name: Annotated[
        str, typer.Option("--as", metavar="NAME", help="What to call the profile.")
    ] = "mine",
    journal: JournalFile = None,
    hands: Annotated[
        str, typer.Option("--hands", metavar="N", help="How many hands make each, 2 to 25.")
    ] = "3",
    detail: Detail = "draft",
    anyway: Annotated[
        bool, typer.Option("--anyway", help="Write the profile even where nothing is gained.")
    ] = False,
    dry_run: DryRun = False,
    cluster: OnCluster = None,
    names: Annotated[
        bool, typer.Option("--list", help="Say which profiles there are, and learn nothing.")
    ] = False,
    forget: Annotated[
        str | None, typer.Option("--forget", metavar="NAME", help="Throw a profile away.")
    ] = None,
    debug: Debug = False,
) -> None:
    """Learn from three or more recorded pieces what the book cannot say of your hands and dyes.

    Fits how much your bundles keep out and how far dye goes from where it lands; with --as
    other commands then predict so. Runs are kept, so it goes on where it was.

    Example: meltwick learn --as winter-dyes
    """
    from meltwick.cli.preview import read_detail, read_hands
    from meltwick.journal.profiles import check_name

    if names and forget is not None:
        raise PlanError("--list and --forget do not go together; write one of them")
    if names or forget is not None:
        for line in _listed() if forget is None else [_forgotten(forget)]:
            typer.echo(line)
        return
    word = check_name(name)
    pitch, count = read_detail(detail), read_hands(hands)
    if count < 2:
        raise PlanError("--hands: one hand does not show how hands differ; use 2 to 25, try 3")
    evidence = _evidence(journal)
    if not dry_run:
        _require_place()
    _learn(evidence, word, count, pitch, anyway=anyway, dry_run=dry_run, cluster=cluster)


def _evidence(journal: str | None) -> Sequence[Evidence]:
    """Read the journal, and say on standard error what it holds that cannot teach."""
    from meltwick.cli.failing import one_line, say
    from meltwick.journal.evidence import recorded
    from meltwick.journal.learning import require_enough

    if journal is not None and not journal.strip():
        raise PlanError("--journal: '' cannot name a file; leave --journal away for your own")
    found, passed = recorded(None if journal is None else Path(journal))
    for each in passed:
        say(one_line(f"{each.name} was passed over: {each.reason}"))
    require_enough(len(found))
    return found


def _learn(
    evidence: Sequence[Evidence],
    name: str,
    hands: int,
    pitch: float,
    *,
    anyway: bool,
    dry_run: bool,
    cluster: str | None,
) -> None:
    from datetime import date

    from meltwick.cli.machine import prepare_kernels
    from meltwick.cli.studying import studying
    from meltwick.journal.learning import learn as fitted
    from meltwick.journal.profiles import profile_of

    with studying(cluster) as bench:
        if dry_run:
            typer.echo(_forecast(evidence, hands, pitch, bench))
            return
        prepare_kernels(announce=bench.cluster is None)
        with _Making(evidence, hands, pitch, bench) as make:
            learned = fitted(evidence, make, hands=hands, pitch=pitch)
    profile = profile_of(name, learned, date.today())
    for line in (*_told(learned, profile), ""):
        typer.echo(line)
    if not learned.gain and not anyway:
        raise WishError(
            "your pieces do not surely teach more than the book says, and no profile was written; "
            "record more pieces, or write it all the same with --anyway"
        )
    path = _write(profile)
    typer.echo(f"The profile is {path}. Next: meltwick preview PLAN --as {_word(name)}")


def _word(name: str) -> str:
    return f'"{name}"' if " " in name else name


# ------------------------------------------------------------------------------- the runs


class _Making:
    """Make the runs that learning asks for, with one bar over all of them."""

    def __init__(
        self, evidence: Sequence[Evidence], hands: int, pitch: float, bench: Bench
    ) -> None:
        from meltwick.cli.progress import Tally
        from meltwick.cli.runs import crew
        from meltwick.journal.learning import first_orders, most_runs

        self._bench, self._tally, self._done = bench, Tally(), 0
        self._total = most_runs(len(evidence), hands)
        first = first_orders(evidence, hands, pitch)
        self._part = {id(piece.plan): piece.part for piece in evidence}
        self._workers = crew(first, [piece.plan for piece in evidence], pitch, bench)

    def __enter__(self) -> Callable[[Sequence[Order]], list[Mapping[str, float]]]:
        self._tally.__enter__()
        return self._make

    def __exit__(self, *fault: object) -> None:
        self._tally.__exit__(*fault)  # type: ignore[arg-type]

    def _make(self, orders: Sequence[Order]) -> list[Mapping[str, float]]:
        from meltwick.study.queue import run_all

        there = self._bench.cluster
        outcomes = run_all(
            orders,
            store=self._bench.store,
            executor=None if there is None else there.executor,
            workers=self._workers,
            tally=self._note,
        )
        self._done += len(orders)
        return [
            self._part[id(order.recipe)](each.shares)
            for order, each in zip(orders, outcomes, strict=True)
        ]

    def _note(self, done: int, _: int) -> None:
        so_far = self._done + done  # a step that is halved takes more runs than were foreseen
        self._tally(so_far, max(self._total, so_far))


def _forecast(evidence: Sequence[Evidence], hands: int, pitch: float, bench: Bench) -> str:
    """Say how many runs it takes and about how long."""
    from meltwick.cli.machine import cells_of
    from meltwick.cli.runs import about, crew
    from meltwick.journal.learning import first_orders, most_runs
    from meltwick.study.outcome import run_key
    from meltwick.study.queue import expected_seconds

    first, recipes = first_orders(evidence, hands, pitch), [piece.plan for piece in evidence]
    workers = crew(first, recipes, pitch, bench)
    known = [found for each in first if (found := bench.store.get(run_key(each))) is not None]
    total = most_runs(len(evidence), hands)
    loads = [cells_of(recipe, pitch) * len(recipe.rounds) for recipe in recipes]
    share = (total - len(known)) / total
    work = [round(load * share * total / len(loads)) for load in loads]
    kept = f", of which {len(known)} or more are kept from before" if known else ""
    cores = "1 core" if workers == 1 else f"{workers} cores"
    return (
        f"{len(evidence)} pieces: about {total} runs{kept}; "
        f"{about(expected_seconds(work, known, workers))} on {cores}."
    )


# ------------------------------------------------------------------------------ the words


def _told(learned: Learned, profile: Profile) -> list[str]:
    """Say what was learned: how far off it was and is, what changed, and each piece."""
    from meltwick.cli.words import percent, points_word
    from meltwick.study import doubt_for

    count, hand = len(learned.evidence), points_word(learned.hand_spread)
    lines = [
        f"On {count} pieces of yours the book was off by about {points_word(learned.before)} of "
        f"white; each predicted from the others, {points_word(learned.after)}.",
        f"One hand differs from the next by about {hand}, which nothing can learn away.",
        "",
        *_findings(learned, profile),
        "",
    ]
    if learned.excess > _FAR:
        lines[-1:] = [
            f"Your pieces scatter {learned.excess:.0f} times as far as hands and measures explain: "
            "see whether each was folded and dyed as its plan says.",
            "",
        ]
    wide = max(12, *(len(piece.name) for piece in learned.evidence))
    lines.append(f"{'':<{wide}}  measured  book  from the others")
    for piece, book, others in zip(learned.evidence, learned.book, learned.others, strict=True):
        lines.append(
            f"{piece.name:<{wide}}  {percent(piece.white):>6} %  {percent(book):>2} %  "
            f"{percent(others):>13} %"
        )
    if learned.gain:
        lines += [
            "",
            f"The doubt of a usual plan goes from {points_word(doubt_for())} to "
            f"{points_word(doubt_for('', profile))} either way.",
        ]
    return lines


def _findings(learned: Learned, profile: Profile) -> list[str]:
    """Say what each factor came to, in words and numbers."""
    import numpy as np

    from meltwick.cli.words import points_word
    from meltwick.constants import Constants
    from meltwick.journal.factors import FACTORS

    lines, units = [], {row["name"]: row["unit"] for row in Constants.table()}
    for number, factor in enumerate(FACTORS):
        at, off = learned.place[number], float(np.sqrt(learned.covariance[number, number]))
        effect = learned.effects[number]
        way = "more" if effect > 0.0 else "less"
        if abs(at) < _SAID * off:
            said = f"Of {factor.name} your pieces say nothing surely"
        else:
            said = factor.more if at > 0.0 else factor.less
            said = said[0].upper() + said[1:]
        parts = []
        for key in factor.constants:
            low, high = profile.spans[key]
            scale, unit = (1e3, " mm") if units[key] == "m" else (1.0, "")
            book, value = getattr(Constants(), key), profile.values[key]
            parts.append(
                f"{key} {scale * value:.3g}{unit} ({scale * low:.3g} to {scale * high:.3g}), "
                f"by the book {scale * book:.3g}"
            )
        lines.append(f"{said}: about {points_word(abs(effect))} {way} white.")
        lines += [f"  {part}" for part in parts]
    return lines


# ---------------------------------------------------------------------------- the profiles


def _listed() -> list[str]:
    """Say which profiles there are."""
    from meltwick.cli.words import percent, points_word
    from meltwick.journal.profiles import names, read_profile

    lines = []
    for name in names():
        try:
            found = read_profile(name)
        except ProfileError as error:
            lines.append(f"{name}: cannot be used: {error}")
            continue
        lines.append(
            f"{name}: learned on {found.made_on} from {len(found.pieces)} pieces, off by about "
            f"{points_word(found.after)} instead of {percent(found.before)}"
        )
    return lines or ["No profile was learned yet."]


def _forgotten(name: str) -> str:
    from meltwick.journal.profiles import path_of

    path = path_of(name)
    try:
        path.unlink()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise FileError(f"{path} cannot be thrown away ({reason})") from error
    return f"Profile {path.stem} is thrown away."


def _require_place() -> None:
    """Refuse, before the work, when the maker's data folder cannot be written."""
    import tempfile

    from meltwick.cli.writing import disk_error
    from meltwick.journal.profiles import usual_folder

    folder = usual_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(prefix=".meltwick-", dir=folder):
            pass
    except OSError as error:
        raise disk_error(error, folder, "; profiles are kept there") from error


def _write(profile: Profile) -> Path:
    from meltwick.cli.writing import write_together
    from meltwick.journal.profiles import as_toml, path_of, usual_folder

    path = path_of(profile.name, new=True)
    write_together(usual_folder(), {path.name: as_toml(profile).encode()})
    return path
