"""`aim`: the setting that meets a wish, written as a new plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from meltwick.cli.options import As, Debug, Detail, Hands, OnCluster, PlanFile, shortened
from meltwick.errors import PlanError, WishError

if TYPE_CHECKING:
    from meltwick.cli.studying import Bench
    from meltwick.cli.varied import Varied
    from meltwick.plan.varying import Axis
    from meltwick.study.aim import Aimed
    from meltwick.study.outcome import Outcome

_OTHER_KEY = 3
"""Settings of a second key, over its range, for each of which the first is searched."""


@dataclass(frozen=True)
class _Wish:
    """What a share is of, and how large it should be."""

    what: str  # white, chest white, coral
    share: float


def aim(
    plan: PlanFile = None,
    white: Annotated[
        str | None, typer.Option(metavar="SHARE", help="Wished share of white, such as 50%.")
    ] = None,
    pale: Annotated[str | None, typer.Option(metavar="SHARE", help="Of pale.")] = None,
    mid: Annotated[str | None, typer.Option(metavar="SHARE", help="Of mid.")] = None,
    deep: Annotated[str | None, typer.Option(metavar="SHARE", help="Of deep.")] = None,
    dye: Annotated[
        str | None, typer.Option(metavar="NAME=SHARE", help="Of the cloth that one dye colours.")
    ] = None,
    zone: Annotated[
        str | None, typer.Option(metavar="ZONE", help="In one zone of the body, such as chest.")
    ] = None,
    vary: Annotated[
        list[str] | None,
        typer.Option(metavar="KEY=LOW..HIGH", help="What may change; pole alone: any in stock."),
    ] = None,
    hands: Hands = "5",
    detail: Detail = "draft",
    out: Annotated[
        str | None, typer.Option(metavar="FILE", help="The new plan; NAME-aimed.toml by default.")
    ] = None,
    cluster: OnCluster = None,
    profile: As = None,
    debug: Debug = False,
) -> None:
    """Find the setting of a key whose white, or another share, is nearest to a wish.

    Settings are as fine as a hand can make them: 5 mm, 1/4 in, 5 degrees. The plan found is
    written as a new file. Where the wish is out of reach it says how near it gets.

    Example: meltwick aim harbour-tee.toml --white 50% --vary spacing=10mm..60mm
    """
    from meltwick.cli.preview import read_detail, read_hands
    from meltwick.cli.studying import profile_named, studying
    from meltwick.cli.varied import place_for, write_varied
    from meltwick.cli.words import profile_lines
    from meltwick.cli.writing import quoted
    from meltwick.plan.varying import with_values

    pitch, count = read_detail(detail), read_hands(hands)
    wish = _read_wish({"white": white, "pale": pale, "mid": mid, "deep": deep}, dye, zone)
    varied = _varied(plan, vary or [])
    path = place_for(varied, "aimed", out)
    learned = profile_named(profile)
    with studying(cluster, learned) as bench:
        found, keyed = _search(varied, wish, count, pitch, bench)
    label = ", ".join(keyed.values())
    for line in (*told(found, wish, label, varied.axes), *profile_lines(learned)):
        typer.echo(line)
    if not found.met:
        raise WishError(
            f"no setting gives {100 * wish.share:.0f} % {wish.what}; {label} comes nearest, with "
            f"{100 * found.middle(found.best):.0f} %"
        )
    write_varied(with_values(varied.text, varied.where, keyed), varied, path)
    typer.echo(f"The plan is {path}. Next: meltwick preview {quoted(path)}")


def _read_wish(classes: dict[str, str | None], dye: str | None, zone: str | None) -> _Wish:
    wished = {name: text for name, text in classes.items() if text is not None}
    if len(wished) + (dye is not None) != 1:
        raise PlanError("write one wish, such as --white 50% or --dye coral=30%")
    if dye is not None:
        name, equals, share = dye.partition("=")
        if not equals or not name.strip():
            raise PlanError(f"--dye: {dye[:40]!r} is not a dye and a share such as coral=30%")
        if zone is not None:
            raise PlanError("--zone goes with white, pale, mid or deep; leave it out")
        return _Wish(" ".join(name.split()).casefold(), read_share(share, "--dye"))
    ((name, text),) = wished.items()
    place = f"{' '.join(zone.split()).casefold()} " if zone is not None else ""
    return _Wish(f"{place}{name}", read_share(str(text), f"--{name}"))


def read_share(text: str, option: str) -> float:
    """Turn 50%, 50 % or 0.5 into a share.

    Raises
    ------
    PlanError
        If it is no share from 0 to 100 %.
    """
    from meltwick.units import QuantityError, parse

    short = shortened(text)
    try:
        share = parse(text, "share") if "%" in text else float(text)
    except (QuantityError, ValueError):
        raise PlanError(f"{option}: {short} is not a share; write one such as 50%") from None
    if not 0.0 <= share <= 1.0:
        raise PlanError(f"{option}: {short} is not from 0% to 100%; write one such as 50%")
    return share


def _varied(path: str | None, vary: list[str]) -> Varied:
    from meltwick.cli.varied import read_varied
    from meltwick.plan.varying import read_choices

    if not 1 <= len(vary) <= 2:
        raise PlanError(
            "write one or two keys that may change, such as --vary tie.spacing=10mm..60mm"
        )
    return read_varied(path, vary, lambda each, of, stock: read_choices(each, of, stock.poles))


def _search(
    varied: Varied, wish: _Wish, hands: int, pitch: float, bench: Bench
) -> tuple[Aimed, dict[str, str]]:
    """Search along the first key; for some settings of a second key, and keep the nearest."""
    from meltwick.study.aim import aim as search

    axes = varied.axes
    others: list[dict[str, str]] = [{}]
    if len(axes) > 1:
        values = axes[1].values
        steps = min(_OTHER_KEY, len(values))
        picked = {round(k * (len(values) - 1) / max(steps - 1, 1)) for k in range(steps)}
        others = [{axes[1].key: values[k]} for k in sorted(picked)]
    found: list[tuple[Aimed, dict[str, str]]] = []
    for fixed in others:
        attempt = _attempt(varied, fixed, wish, hands, pitch, bench)
        aimed = search(len(axes[0].values), wish.share, attempt)
        found.append((aimed, {axes[0].key: axes[0].values[aimed.best], **fixed}))
    return min(found, key=lambda each: each[0].miss(each[0].best))


def _attempt(
    varied: Varied, fixed: dict[str, str], wish: _Wish, hands: int, pitch: float, bench: Bench
) -> Callable[[Sequence[int]], dict[int, list[float]]]:
    from meltwick.cli.runs import run_settings
    from meltwick.plan import plan_from_text
    from meltwick.plan.varying import with_values
    from meltwick.study.compare import Setting

    axis = varied.axes[0]

    def attempt(numbers: Sequence[int]) -> dict[int, list[float]]:
        settings = []
        for number in numbers:
            keyed = {axis.key: axis.values[number], **fixed}
            text = with_values(varied.text, varied.where, keyed)
            plan = plan_from_text(text, varied.where)
            settings.append(Setting({axis.word: axis.values[number]}, plan))
        groups = run_settings(settings, hands, pitch, bench)
        return {
            number: [_share(each, wish) for each in group.outcomes]
            for number, group in zip(numbers, groups, strict=True)
        }

    return attempt


def _share(outcome: Outcome, wish: _Wish) -> float:
    from meltwick.stock.reading import choices

    try:
        return outcome.share(wish.what)
    except KeyError:
        zone = wish.what.rpartition(" ")[0]
        known = list(outcome.shares.zones) if zone else list(outcome.seen)
        option = "--zone" if zone else "--dye"
        raise PlanError(
            f"{option}: {zone or wish.what!r} is not there; {choices(zone or wish.what, known)}"
        ) from None


def told(found: Aimed, wish: _Wish, label: str, axes: Sequence[Axis]) -> list[str]:
    """Say what was found, how sure it is, and what else comes close."""
    from meltwick.cli.words import number_word

    def hands(number: int) -> str:
        shares = [round(100 * share) for share in found.tried[number]]
        if len(set(shares)) == 1:
            return f"{shares[0]} %"
        return f"{min(shares)} to {max(shares)} %, {100 * found.middle(number):.0f} % in the middle"

    count = len(found.tried[found.best])
    lines = [
        f"{label}: {number_word(count)} hand{'' if count == 1 else 's'} gave {hands(found.best)} "
        f"{wish.what}; you wished {100 * wish.share:.0f} %."
    ]
    near = [f"{axes[0].values[n]} ({hands(n)})" for n in found.others()]
    if near:
        lines.append(f"Also near: {'; '.join(near)}.")
    lines.append(
        f"{len(found.tried)} settings of {axes[0].word} were tried. The model itself may be off by "
        "more than its hands differ: see docs/sensitivity.md, and dye one piece first."
    )
    return lines
