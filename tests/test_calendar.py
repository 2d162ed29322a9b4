"""Pieces in a maker's days: every constraint by a checker of its own, ends against exact optima."""

from __future__ import annotations

import math
import time as clock
from dataclasses import replace
from datetime import date, datetime, time, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.days import ALL_DAY, HOUR, NAMES, OFFICE, check, small
from tests.exact import soonest
from tests.usual import Usual, usual_round

from meltwick.errors import MeltwickError, PlanError, WishError
from meltwick.workshop.busy import busy, reliefs
from meltwick.workshop.calendar import fit
from meltwick.workshop.jobs import Piece, Step, Workshop
from meltwick.workshop.marks import backwards, between, free_since, free_until, onwards, runs

MON = date(2026, 3, 2)
QUICK = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


def lay_and_batch(seconds: float = 48 * HOUR, wait: float = 0.0) -> list[Step]:
    """Lay on a rack, batch on it, rinse."""
    return [
        Step("lay", 900, True, {"rack": 1}, longest_wait=0.0),
        Step("batch", seconds - 900, False, {"rack": 1}, longest_wait=wait, goes_on=True),
        Step("rinse", 300, True),
    ]


def ready(entries) -> datetime:
    return max(e.end for e in entries)


def at(entries, step: str) -> datetime:
    return next(e.start for e in entries if e.step == step)


# ---------------------------------------------------------------------------- closed forms


@pytest.mark.parametrize("count", [1, 2, 5])
def test_one_rack_and_equal_pieces_take_so_many_periods(count):
    """Two people, all day and night: the next piece is laid as the one before is rinsed."""
    pieces = [Piece(f"p{n}", [lay_and_batch()]) for n in range(count)]
    shop = Workshop(MON, ALL_DAY, resources={"rack": 1}, hands=2)
    entries = fit(pieces, shop)
    check(pieces, shop, entries)
    took = ready(entries) - datetime(2026, 3, 2)
    assert took == count * timedelta(hours=48) + timedelta(minutes=5)


def test_one_pair_of_hands_rinses_before_it_lays():
    pieces = [Piece(f"p{n}", [lay_and_batch()]) for n in range(4)]
    entries = fit(pieces, Workshop(MON, ALL_DAY, resources={"rack": 1}))
    took = ready(entries) - datetime(2026, 3, 2)
    assert took == 4 * timedelta(hours=48, minutes=5)


@pytest.mark.parametrize(("racks", "turns"), [(2, 3), (3, 2), (6, 1)])
def test_racks_share_the_pieces_evenly(racks, turns):
    pieces = [Piece(f"p{n}", [lay_and_batch()]) for n in range(6)]
    shop = Workshop(MON, ALL_DAY, resources={"rack": racks}, hands=12)
    entries = fit(pieces, shop)
    check(pieces, shop, entries)
    took = ready(entries) - datetime(2026, 3, 2)
    assert took == turns * timedelta(hours=48) + timedelta(minutes=5)


@pytest.mark.parametrize(("most", "loads"), [(None, 2), (3, 3), (2, 4), (1, 7)])
def test_loads_are_as_few_as_their_size_allows(most, loads):
    """Five reds and two blues that may all wait: five go into 1, 2, 3, 5 loads, two into 1, 2."""
    pieces = [
        Piece(f"p{n}", [[Step("wash", 2 * HOUR, holds={"machine": 1}, washload=colour)]])
        for n, colour in enumerate(["red"] * 5 + ["blue"] * 2)
    ]
    shop = Workshop(MON, OFFICE, resources={"machine": 1}, load_pieces=most)
    assert check(pieces, shop, fit(pieces, shop))[1] == loads


def test_a_load_takes_no_more_than_its_weight():
    pieces = [
        Piece(f"p{n}", [[Step("wash", HOUR, washload="red")]], mass)
        for n, mass in enumerate([0.6, 0.6, 0.4, 0.4])
    ]
    shop = Workshop(MON, OFFICE, load_kg=1.0)
    assert check(pieces, shop, fit(pieces, shop))[1] == 2


# ------------------------------------------------------------------------------ exact ends

PROVEN = (2, 6, 8, 10, 13, 14, 33, 36, 42, 45, 49, 57)
"""Collections for which `exact` needs about a second each. Of 56 such that it proved in 30 s, 53
end as early as any can, and the others 1.1, 1.3 and 1.6 % later; 10 of the 53 run more loads than
the fewest, nine of them one more."""


@pytest.mark.parametrize("seed", PROVEN)
def test_no_calendar_ends_much_earlier(seed):
    pieces, shop = small(seed)
    end, loads = check(pieces, shop, fit(pieces, shop))
    took = (end - datetime.combine(shop.start, time())).total_seconds() / HOUR
    best = soonest(pieces, shop, math.ceil(took))
    assert best is not None
    hours, fewest = best
    assert hours <= took <= 1.02 * hours
    if took == hours:
        assert fewest <= loads <= fewest + 1


# ---------------------------------------------------------------------- every constraint


def drawn_step(draw, number: int) -> Step:
    hands = draw(st.booleans())
    seconds = draw(st.sampled_from([300.0, 700.0, 1800.0, 5400.0] + [9 * HOUR] * (not hands)))
    holds = draw(
        st.dictionaries(st.sampled_from(["rack", "pole", "tub"]), st.integers(0, 2), max_size=2)
    )
    return Step(
        f"step {number}",
        seconds,
        hands,
        holds,
        draw(st.sampled_from([0.0, 0.0, 0.5, 1.5])),
        draw(st.sampled_from([math.inf, 24 * HOUR, 40 * HOUR])),
        goes_on=not hands and draw(st.booleans()),
    )


@st.composite
def drawn_pieces(draw) -> list[Piece]:
    pieces = []
    for n in range(draw(st.integers(1, 4))):
        rounds = []
        for _ in range(draw(st.integers(1, 2))):
            steps = [drawn_step(draw, k) for k in range(draw(st.integers(1, 4)))]
            family = draw(st.sampled_from([None, "red", "blue"]))
            if family:
                steps += [
                    Step("load", 300, True, {"machine": 1}, 0.0, 0.0, family),
                    Step("wash", HOUR, False, {"machine": 1}, 0.0, 24 * HOUR, family),
                ]
                if draw(st.booleans()):
                    steps.append(Step("hang", 300, True))
            rounds.append(steps)
        pieces.append(Piece(f"p{n}", rounds, draw(st.sampled_from([0.1, 0.2, 0.4]))))
    return pieces


workshops = st.builds(
    Workshop,
    st.dates(date(2026, 1, 1), date(2027, 12, 31)),
    st.dictionaries(
        st.sampled_from(NAMES),
        st.sampled_from(
            [
                (time(9), time(17)),
                (time(6, 30), time(9, 7)),
                (time(18), time(0)),
                (time(0), time(0)),
            ]
        ),
        min_size=1,
    ),
    st.frozensets(st.dates(date(2026, 1, 1), date(2028, 1, 31)), max_size=9),
    st.fixed_dictionaries(
        {
            "rack": st.integers(2, 3),
            "pole": st.just(2),
            "tub": st.integers(2, 4),
            "machine": st.integers(1, 2),
        }
    ),
    st.sampled_from([1.5, 2.0, math.inf]),
    st.sampled_from([0.4, 0.7, math.inf]),
    st.sampled_from([None, 1, 2]),
    st.integers(1, 3),
)


@QUICK
@given(drawn_pieces(), workshops)
def test_every_constraint_holds(pieces, shop):
    try:
        entries = fit(pieces, shop, 0.02)
    except WishError:
        assert waits_end(pieces), "a piece that may always wait was refused"
        return
    check(pieces, shop, entries)


def waits_end(pieces) -> bool:
    return any(
        math.isfinite(step.longest_wait) for p in pieces for turn in p.rounds for step in turn
    )


@QUICK
@given(drawn_pieces(), workshops)
def test_what_may_always_wait_always_fits(pieces, shop):
    patient = [
        replace(
            piece,
            rounds=[
                [replace(s, longest_wait=math.inf) if s.washload is None else s for s in turn]
                for turn in piece.rounds
            ],
        )
        for piece in pieces
    ]
    washed = [
        replace(piece, rounds=[[s for s in turn if s.washload is None] for turn in piece.rounds])
        for piece in patient
    ]
    check(washed, shop, fit(washed, shop, 0.02))


@given(st.integers(0, 2**40), st.integers(0, 2**40), st.integers(0, 12), st.integers(1, 9))
def test_sets_of_marks_against_one_mark_after_another(start, free, wait, length):
    def is_free(low, high):
        return all(free >> n & 1 for n in range(low, high))

    def members(marks):
        return {n for n in range(70) if marks >> n & 1}

    begun = members(start)
    assert members(runs(free, length)) == {n for n in range(70) if is_free(n, n + length)}
    assert members(onwards(start, free, wait)) == {
        t for t in range(70) if any(s <= t <= s + wait and is_free(s, t) for s in begun)
    }
    assert members(backwards(start, free, wait)) == {
        s for s in range(70) if any(s <= t <= s + wait and is_free(s, t) for t in begun)
    }
    assert free_since(free, length) == min(n for n in range(length + 1) if is_free(n, length))
    assert free_until(free, length) == max(n for n in range(length, 71) if is_free(length, n))
    assert members(between(wait, length)) == set(range(wait, length))


def test_the_checker_sees_what_is_wrong():
    """Each change to a good calendar breaks one constraint."""
    pieces, shop = small(8)
    good = fit(pieces, shop)
    check(pieces, shop, good)
    lone = next(n for n, e in enumerate(good) if e.step == "soak")
    entry = good[lone]
    night = timedelta(hours=-5)
    changes = [
        replace(entry, start=entry.start + night, end=entry.end + night),
        replace(entry, end=entry.end - timedelta(minutes=5)),
        replace(entry, holds=()),
        replace(entry, hands=False),
        replace(entry, piece="nobody"),
    ]
    for change in changes:
        with pytest.raises(AssertionError):
            check(pieces, shop, sorted([*good[:lone], change, *good[lone + 1 :]], key=begins))
    for less in (
        replace(shop, resources=dict.fromkeys(shop.resources, 0)),
        replace(shop, ice_per_day=0.5),
        replace(shop, load_kg=0.1),
        replace(shop, days_off=frozenset({entry.start.date()})),
    ):
        with pytest.raises(AssertionError):
            check(pieces, less, good)


def begins(entry) -> datetime:
    return entry.start


# ------------------------------------------------------------------------ days and nights


@pytest.mark.parametrize(
    ("wait", "laid", "rinsed"),
    [
        (48, date(2026, 3, 5), date(2026, 3, 9)),  # laid on a Thursday, due on Saturday
        (24, date(2026, 3, 6), date(2026, 3, 9)),  # laid on Friday, due on Sunday at 9:15
        (12, date(2026, 3, 9), date(2026, 3, 11)),  # neither would do
    ],
)
def test_a_batch_over_the_weekend_is_rinsed_on_monday_if_it_may_wait(wait, laid, rinsed):
    piece = Piece("tee", [lay_and_batch(48.25 * HOUR, wait * HOUR)])
    shop = Workshop(date(2026, 3, 5), OFFICE, resources={"rack": 1})
    entries = fit([piece], shop)
    check([piece], shop, entries)
    assert at(entries, "lay").date() == laid
    assert at(entries, "rinse").date() == rinsed
    assert rinsed.weekday() in (0, 2)


def test_a_day_off_is_like_a_sunday():
    piece = Piece("tee", [lay_and_batch(24 * HOUR, HOUR)])
    free = Workshop(MON, OFFICE, resources={"rack": 1})
    assert at(fit([piece], free), "lay").date() == MON
    off = replace(free, days_off=frozenset({date(2026, 3, 3)}))
    assert at(fit([piece], off), "lay").date() == date(2026, 3, 4)


def test_work_crosses_midnight_only_where_both_days_are_worked():
    pieces = [Piece(f"p{n}", [[Step("fold", 2400, True)]]) for n in range(3)]
    shop = Workshop(MON, {"Mon": (time(23), time(0)), "Tue": (time(0), time(2))})
    entries = fit(pieces, shop)
    check(pieces, shop, entries)
    assert [e.start.strftime("%d %H:%M") for e in entries] == ["02 23:00", "02 23:40", "03 00:20"]
    gap = replace(shop, hours={**shop.hours, "Tue": (time(0, 5), time(2))})
    entries = fit(pieces, gap)
    check(pieces, gap, entries)
    assert [e.start.strftime("%d %H:%M") for e in entries] == ["02 23:00", "03 00:05", "03 00:45"]


def test_ice_counts_for_the_day_on_which_it_is_laid():
    steps = [Step("ice", 900, True, ice=2.0)]
    pieces = [Piece(f"p{n}", [steps]) for n in range(5)]
    shop = Workshop(MON, OFFICE, ice_per_day=4.0)
    entries = fit(pieces, shop)
    check(pieces, shop, entries)
    assert [e.start.day for e in entries] == [2, 2, 3, 3, 4]


def test_lots_of_ice_part_by_a_day_and_not_by_a_season():
    """Found by drawn pieces: 1.5 kg by hand, only on Mondays; 0.5 kg may go on the day before."""
    early, late = Step("early", 300, ice=0.5), Step("late", 900, True, ice=1.5)
    again = Step("again", 300, True, ice=0.5)
    mondays = {"Mon": (time(9), time(17))}
    shop = Workshop(date(2026, 1, 1), mondays, ice_per_day=1.5)
    pieces = [Piece("p", [[early, late], [again]])]
    entries = fit(pieces, shop)
    check(pieces, shop, entries)
    assert at(entries, "late").date() == date(2026, 1, 5)
    assert at(entries, "again").date() == date(2026, 1, 12)


def test_two_lots_of_ice_share_a_day_or_part():
    """More ice is laid 20 h later at the soonest: with 3 kg a day that is the next day."""
    steps = [
        Step("ice", 900, True, {"rack": 1}, 2.0, 0.0),
        Step("melt", 2 * HOUR, False, {"rack": 1}, longest_wait=30 * HOUR),
        Step("more ice", 900, True, {"rack": 1}, 2.0),
    ]
    piece = Piece("tee", [steps])
    shop = Workshop(MON, OFFICE, resources={"rack": 1}, ice_per_day=4.0)
    assert at(fit([piece], shop), "more ice").day == 2
    tight = replace(shop, ice_per_day=3.0)
    entries = fit([piece], tight)
    check([piece], tight, entries)
    assert at(entries, "more ice").day == 3
    hurried = replace(piece, rounds=[[steps[0], replace(steps[1], longest_wait=0.0), steps[2]]])
    with pytest.raises(WishError, match="2 kg of ice falls on a day that needs ice already"):
        fit([hurried], tight)


@pytest.mark.skipif(not hasattr(clock, "tzset"), reason="this system sets no zone")
def test_clocks_that_change_change_nothing(monkeypatch):
    """Central Europe went to summer time on 29 March 2026."""
    piece = Piece("tee", [lay_and_batch(24 * HOUR, 0.0)])
    shop = Workshop(date(2026, 3, 28), ALL_DAY, resources={"rack": 1})
    plain = fit([piece], shop)
    monkeypatch.setenv("TZ", "Europe/Berlin")
    clock.tzset()
    try:
        assert fit([piece], shop) == plain
    finally:
        monkeypatch.undo()
        clock.tzset()
    assert at(plain, "rinse") - at(plain, "lay") == timedelta(hours=24)


# ------------------------------------------------------------------------ the usual round


def test_a_usual_collection_keeps_every_constraint():
    kinds = [
        Usual(pole="1-1/2 in pipe", colours="reds"),
        Usual(pole="3 in pipe", colours="blues", wrapped=True),
        Usual(colours="reds", ice=(1.2, 0.8), melt=(3 * HOUR, 4 * HOUR)),
    ]
    pieces = [
        Piece(f"piece {n}", [usual_round(kinds[n % 3])] * (1 + (n == 4)), 0.18) for n in range(8)
    ]
    shop = Workshop(
        MON,
        OFFICE,
        frozenset({date(2026, 3, 6)}),
        {"rack": 2, "1-1/2 in pipe": 2, "3 in pipe": 1, "tub": 3, "machine": 1},
        4.0,
        1.5,
    )
    entries = fit(pieces, shop)
    _, loads = check(pieces, shop, entries)
    assert loads < 9
    assert entries == fit(pieces, shop)  # to the minute
    again = [e for e in entries if e.piece == "piece 4"]
    assert [e.round for e in again] == sorted(e.round for e in again)
    assert any("with piece" in e.note for e in entries if e.load)
    batch = next(e for e in entries if e.step == "batch")
    assert batch.note.startswith("rinse tied from ")


def test_thirty_pieces_of_two_rounds_fit():
    pieces = [
        Piece(f"piece {n}", [usual_round(Usual(pole=("pipe", "")[n % 2]))] * 2, 0.2)
        for n in range(30)
    ]
    shop = Workshop(MON, OFFICE, resources={"rack": 6, "pipe": 4, "tub": 4, "machine": 1})
    entries = fit(pieces, shop, 0.1)
    check(pieces, shop, entries)


# ------------------------------------------------------------------------ what is lacking

TEE = Piece("tee", [lay_and_batch()], 0.2)
SHOP = Workshop(MON, OFFICE, resources={"rack": 1, "1-1/2 in pipe": 1}, ice_per_day=2.0)


def one(**changes) -> Piece:
    return Piece("tee", [[replace(Step("fold", 900, True), **changes)]], 0.2)


@pytest.mark.parametrize(
    ("piece", "shop", "words"),
    [
        (
            one(holds={"2 in pipe": 1}),
            SHOP,
            "tee, round 1, fold: needs a 2 in pipe, and the workshop has none; get one, or use"
            " the 1-1/2 in pipe",
        ),
        (one(holds={"rack": 2}), SHOP, "needs 2 of rack, and the workshop has 1; get more"),
        (
            one(seconds=9 * HOUR),
            SHOP,
            "tee, round 1, fold: 9 h by hand, but the longest day has 8 h;",
        ),
        (one(ice=2.5), SHOP, "2.5 kg of ice, but a day gives 2 kg;"),
        (
            one(washload="red"),
            replace(SHOP, load_kg=0.1),
            "tee: weighs 200 g dry, but a wash load takes 100 g;",
        ),
        (
            Piece("tee", [lay_and_batch(12 * HOUR)]),
            SHOP,
            "tee, round 1, rinse: must begin as soon as batch ends, and nobody works then on any",
        ),
        (
            Piece("tee", [lay_and_batch(20 * HOUR, 2 * HOUR)]),
            replace(SHOP, hours={"Mon": (time(9), time(17))}),
            "must begin within 2 h after batch,",
        ),
    ],
)
def test_a_wish_that_cannot_be_met_is_told_in_one_line(piece, shop, words):
    with pytest.raises(WishError) as caught:
        fit([piece], shop)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert caught.value.exit_code == 3


@pytest.mark.parametrize(
    ("pieces", "shop", "words"),
    [
        ([], SHOP, "there are no pieces"),
        ([TEE, TEE], SHOP, "two pieces are called 'tee'"),
        ([Piece("tee", [])], SHOP, "tee: a round has no steps"),
        ([Piece("tee", [lay_and_batch(), []])], SHOP, "tee: a round has no steps"),
        ([replace(TEE, mass=math.nan)], SHOP, "tee: mass nan kg"),
        ([replace(TEE, mass=-1.0)], SHOP, "tee: mass -1 kg"),
        ([one(seconds=0.0)], SHOP, "tee, round 1, fold: takes 0 s"),
        ([one(seconds=math.inf)], SHOP, "takes inf s"),
        ([one(longest_wait=-1.0)], SHOP, "longest wait -1 s"),
        ([one(longest_wait=math.nan)], SHOP, "longest wait nan s"),
        ([one(ice=-1.0)], SHOP, "ice -1 kg"),
        ([one(ice=1.0, washload="red")], SHOP, "ice in a wash load"),
        ([one(holds={"rack": -1})], SHOP, "holds -1 of rack"),
        ([TEE], replace(SHOP, hours={}), "no day is worked"),
        ([TEE], replace(SHOP, hours={"Mo": (time(9), time(17))}), "'Mo' is no weekday"),
        ([TEE], replace(SHOP, hours={"Mon": (time(17), time(9))}), "Mon ends at 09:00"),
        ([TEE], replace(SHOP, start=datetime(2026, 3, 2)), "is not a day"),
        ([TEE], replace(SHOP, start=date(9999, 1, 1)), "9999 is too late"),
        ([TEE], replace(SHOP, resources={"rack": 1.5}), "rack: 1.5 is not how many"),
        ([TEE], replace(SHOP, resources={"rack": True}), "rack: True is not how many"),
        ([TEE], replace(SHOP, hands=0), "hands: 0 people"),
        ([TEE], replace(SHOP, load_pieces=0), "load: 0 pieces"),
        ([TEE], replace(SHOP, load_kg=math.nan), "load: nan kg"),
        ([TEE], replace(SHOP, ice_per_day=-1.0), "ice a day: -1 kg"),
        ([TEE], replace(SHOP, days_off=frozenset({date(2199, 1, 1)})), "2199-01-01 is more than"),
    ],
)
def test_what_cannot_be_read_is_told_in_one_line(pieces, shop, words):
    with pytest.raises(PlanError) as caught:
        fit(pieces, shop)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert isinstance(caught.value, MeltwickError)


# ------------------------------------------------------------------------------ how busy


def test_shares_of_use_are_those_counted_by_hand():
    """One of two racks for 48 of 48 h 5 min, 20 min by hand, 1 kg of ice of 2 on each of 3 days."""
    steps = lay_and_batch()
    steps[0] = replace(steps[0], ice=1.0)
    shop = Workshop(MON, ALL_DAY, resources={"rack": 2, "tub": 1}, ice_per_day=2.0)
    uses = {use.name: use for use in busy(fit([Piece("tee", [steps])], shop), shop)}
    span = 48 * HOUR + 300
    assert uses["rack"].share == pytest.approx(48 * HOUR / (2 * span))
    assert uses["tub"].share == 0.0
    assert uses["hands"].share == pytest.approx(1200 / span)
    assert uses["ice"].share == pytest.approx(1.0 / (3 * 2.0))
    assert uses["rack"].count == 2


def test_a_machine_that_a_load_shares_is_busy_once():
    pieces = [
        Piece(
            f"p{n}",
            [
                [
                    Step("load", 300, True, {"machine": 1}, 0.0, 0.0, "red"),
                    Step("wash", 2 * HOUR - 300, False, {"machine": 1}, washload="red"),
                ]
            ],
        )
        for n in range(3)
    ]
    shop = Workshop(MON, ALL_DAY, resources={"machine": 1})
    uses = {use.name: use.share for use in busy(fit(pieces, shop), shop)}
    assert uses["machine"] == pytest.approx(1.0)
    assert uses["hands"] == pytest.approx(300 / (2 * HOUR))


def test_what_holds_things_up_is_named_with_its_gain():
    pieces = [Piece(f"p{n}", [lay_and_batch()]) for n in range(4)]
    shop = Workshop(MON, ALL_DAY, resources={"rack": 1, "tub": 1}, hands=4)
    entries = fit(pieces, shop)
    assert busy(entries, shop)[0].name == "rack"
    first, *others = reliefs(pieces, shop, entries)
    assert first.name == "rack"
    assert first.sooner == timedelta(hours=96)
    assert first.line == "a second rack would finish four days sooner"
    assert {each.name for each in others} == {"hands"}  # the tub is not used
    assert others[0].line == "a fifth pair of hands would finish no sooner"
