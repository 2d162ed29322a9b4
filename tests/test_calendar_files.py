"""The calendar's forms: iCalendar by another library and by octets, the table, the picture."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, time, timedelta, timezone

import icalendar
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from tests.days import OFFICE
from tests.usual import HOUR, Usual, usual_round

from meltwick.errors import PlanError
from meltwick.picture.days import caption, days_png, draw_days
from meltwick.picture.preview import INK
from meltwick.workshop.calendar import fit
from meltwick.workshop.ics import BELL, as_ics, escaped, folded
from meltwick.workshop.jobs import Entry, Piece, Step, Workshop, together
from meltwick.workshop.table import HEAD, as_csv, plain

MON = date(2026, 3, 2)
SHOP = Workshop(MON, OFFICE, resources={"rack": 2, "pipe": 1, "tub": 2, "machine": 1}, load_kg=1.0)
NAMES = ("harbour-tee", "=1+1", 'a "long", odd; na\\me', "größe ❄ 雪", "plum\nleggings")


@pytest.fixture(scope="module")
def pieces() -> list[Piece]:
    poles = ("pipe", "", "", "pipe", "")
    return [
        Piece(name, [usual_round(Usual(pole=pole))], 0.2)
        for name, pole in zip(NAMES, poles, strict=True)
    ]


@pytest.fixture(scope="module")
def entries(pieces) -> tuple[Entry, ...]:
    return fit(pieces, SHOP)


def events(text: str) -> list[icalendar.Event]:
    calendar = icalendar.Calendar.from_ical(text.encode())
    assert all(part.errors == [] for part in calendar.walk())
    return list(calendar.walk("VEVENT"))


# ------------------------------------------------------------------------------ iCalendar


def test_every_step_by_hand_and_every_long_wait_is_an_event(entries):
    found = events(as_ics(entries, "spring"))
    shown = [
        (entry, names)
        for entry, names in together(entries)
        if entry.hands or entry.end - entry.start >= timedelta(hours=1)
    ]
    assert len(found) == len(shown)
    for event, (entry, names) in zip(found, shown, strict=True):
        assert event["DTSTART"].dt == entry.start
        assert event["DTSTART"].dt.tzinfo is None  # floating
        assert "TZID" not in event["DTSTART"].params
        assert event["DTEND"].dt == entry.end
        assert event["TRANSP"] == ("OPAQUE" if entry.hands else "TRANSPARENT")
        assert event["SUMMARY"] == f"{entry.step}: {', '.join(names)}"
        assert event.get("LOCATION", "") == entry.where
        assert event["DTSTAMP"].dt == datetime(2026, 3, 2, tzinfo=UTC)


def test_a_load_is_one_event_with_all_its_pieces(entries):
    loads = {e.load for e in entries if e.load}
    found = [e for e in events(as_ics(entries, "spring")) if e["SUMMARY"].startswith("load the")]
    assert len(found) == 2 * len(loads) < 2 * len(NAMES)


def test_a_bell_rings_before_each_wash_out(entries):
    ringing = [e for e in events(as_ics(entries, "spring")) if list(e.walk("VALARM"))]
    assert len(ringing) == len(NAMES)
    for event in ringing:
        (alarm,) = event.walk("VALARM")
        assert event["SUMMARY"].startswith("rinse tied: ")
        assert alarm["TRIGGER"].dt == -timedelta(minutes=BELL)
        assert alarm["ACTION"] == "DISPLAY"
        assert alarm["DESCRIPTION"] == event["SUMMARY"]


def test_events_keep_their_names_when_the_days_move(pieces, entries):
    later = fit(pieces, Workshop(MON + timedelta(days=7), OFFICE, frozenset(), SHOP.resources))

    def names(text: str) -> set[str]:
        found = [str(event["UID"]) for event in events(text)]
        assert len(found) == len(set(found))
        assert not any("@" in name for name in found)
        return set(found)

    first = [e for e in entries if not e.load]
    moved = [e for e in later if not e.load]
    assert names(as_ics(first, "spring")) == names(as_ics(moved, "spring"))
    assert not names(as_ics(first, "spring")) & names(as_ics(first, "autumn"))
    assert as_ics(entries, "spring") == as_ics(entries, "spring")


def test_lines_are_as_the_standard_wants_them(entries):
    text = as_ics(entries, "spring " + "❄" * 60)
    assert text.endswith("END:VCALENDAR\r\n")
    assert text.count("\n") == text.count("\r") == text.count("\r\n")
    lines = text.split("\r\n")
    assert max(len(line.encode()) for line in lines) == 75
    assert lines[1] == "VERSION:2.0"
    assert any(line.startswith(" ") for line in lines)


def test_the_stamp_is_an_instant(entries):
    east = timezone(timedelta(hours=2))
    text = as_ics(entries, "spring", datetime(2026, 1, 5, 1, 30, tzinfo=east))
    assert {e["DTSTAMP"].dt for e in events(text)} == {datetime(2026, 1, 4, 23, 30, tzinfo=UTC)}
    with pytest.raises(PlanError, match="without a zone"):
        as_ics(entries, "spring", datetime(2026, 1, 5))


def test_an_empty_calendar_is_still_one():
    assert events(as_ics((), "spring")) == []


@settings(deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_folded_within_octets_and_read_back(text):
    line = folded(f"SUMMARY:{escaped(text)}")
    parts = line.split("\r\n")
    assert all(len(part.encode()) <= 75 for part in parts)
    assert all(part.startswith(" ") for part in parts[1:])
    assert parts[0] + "".join(part[1:] for part in parts[1:]) == f"SUMMARY:{escaped(text)}"
    entry = Entry("", 1, text, datetime(2026, 3, 2, 9), datetime(2026, 3, 2, 10), True)
    (event,) = events(as_ics([entry], "x"))
    kept = text.replace("\r\n", "\n").replace("\r", "\n")
    kept = "".join(c for c in kept if c in "\n\t" or (ord(c) >= 32 and ord(c) != 127))
    assert event["SUMMARY"] == f"{kept}: "


# -------------------------------------------------------------------------------- the table


def test_the_table_is_read_back(entries):
    text = as_csv(entries)
    assert text.replace("\r\n", "").count("\r") == 0
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert tuple(rows[0]) == HEAD
    assert len(rows) == len(entries)
    for row, entry in zip(rows, entries, strict=True):
        assert datetime.fromisoformat(row["start"]) == entry.start
        assert datetime.fromisoformat(row["end"]) == entry.end
        assert row["piece"] == ("'=1+1" if entry.piece == "=1+1" else entry.piece)
        assert row["step"] == entry.step
        assert (row["by hand"] == "yes") == entry.hands
        assert row["load"] == (str(entry.load) if entry.load else "")
        assert float(row["ice kg"] or 0.0) == pytest.approx(entry.ice)


@given(st.sampled_from("=+-@\t\r\n＝＋－＠"), st.text())
def test_no_name_becomes_a_formula(first, rest):
    assert plain(first + rest) == "'" + first + rest
    assert plain(" " + first + rest).startswith("'")
    assert plain("a" + first + rest) == "a" + first + rest
    entry = Entry(first + rest, 1, "x", datetime(2026, 3, 2), datetime(2026, 3, 3), False)
    rows = list(csv.reader(io.StringIO(as_csv([entry]), newline="")))
    assert rows[1][2] == "'" + first + rest


# ------------------------------------------------------------------------------ the picture

SHADES = dict(
    zip(
        NAMES,
        [(0.1, 0.3, 0.6), (0.8, 0.2, 0.3), (0.9, 0.9, 0.9), (0, 0, 0), (1, 1, 0.2)],
        strict=True,
    )
)


def seen(picture: Image.Image, shade) -> int:
    """Pixels of a colour, to one step."""
    wanted = np.array(shade) * 255.0
    return int((np.abs(np.asarray(picture) - wanted).max(axis=2) <= 1.0).sum())


def test_every_piece_has_its_colour_over_its_batch(entries):
    picture = draw_days(entries, SHOP, SHADES, "spring")
    assert picture.width == 1600
    days = (max(e.end for e in entries).date() - MON).days + 1
    for name, shade in SHADES.items():
        (batch,) = [e for e in entries if e.piece == name and e.step == "batch"]
        wide = 1296 * (batch.end - batch.start) / timedelta(days=days)
        assert 0.6 * 26 * wide < seen(picture, shade) < 1.1 * 26 * wide + 400, name


def test_work_by_hand_is_dark_within_light_hours():
    """One step from 9 to 17 on one day: dark from 9/24 to 17/24 of the day's width."""
    piece = Piece("tee", [[Step("sew", 8 * HOUR, True)]])
    picture = draw_days(fit([piece], SHOP), SHOP, lambda name: (0.5, 0.5, 0.5), "one")
    dark = (np.abs(np.asarray(picture).astype(int) - INK).max(axis=2) == 0).sum(axis=0)
    columns = np.flatnonzero(dark > 30)
    assert columns[0] == pytest.approx(240 + 1296 * 9 / 24, abs=2)
    assert columns[-1] == pytest.approx(240 + 1296 * 17 / 24, abs=2)


def test_a_long_calendar_goes_on_below_and_days_without_work_are_left_out():
    def height(wait: float) -> int:
        steps = [Step("fold", HOUR, True, longest_wait=wait), Step("hang", HOUR, True)]
        shop = Workshop(MON, OFFICE, frozenset(), {"rack": 1})
        first, last = fit([Piece("tee", [steps])], shop)
        shift = timedelta(seconds=wait)
        moved = Entry("tee", 1, "hang", last.start + shift, last.end + shift, True)
        return draw_days([first, moved], shop, lambda name: (0.5, 0.5, 0.5), "x").height

    day = 24 * HOUR
    assert height(3 * day) < height(15 * day) == height(50 * day)


def test_the_picture_is_the_same_each_time_and_says_what_it_is(entries):
    first = days_png(entries, SHOP, SHADES, title="spring", version="0.1.0")
    assert first == days_png(entries, SHOP, SHADES.__getitem__, title="spring", version="0.1.0")
    with Image.open(io.BytesIO(first)) as picture:
        assert picture.text["Title"] == "spring"
    assert "h by hand" in caption(entries)
    assert caption(entries).startswith("all ready ")


def test_a_lone_instant_of_work_and_an_endless_name_are_drawn():
    entry = Entry("n" * 400, 1, "s" * 400, datetime(2026, 3, 2), datetime(2026, 3, 2, 0, 5), True)
    shop = Workshop(MON, {"Mon": (time(0), time(1))})
    picture = draw_days([entry], shop, lambda name: (1.0, 1.0, 1.0), "t" * 400)
    assert picture.width == 1600
    assert np.asarray(picture)[:, 1580:].min() > 200  # nothing runs over the edge
