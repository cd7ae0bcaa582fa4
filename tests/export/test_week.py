"""The week's exceptions: one row a flag that stood at any time in it, the same rows in the same order every time."""

from __future__ import annotations

import csv
import io
import tracemalloc
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.export import week as exceptions
from app.export.week import ExceptionRow, ShiftCount, exception_rows, file_name, percent_of_limit, week_csv
from app.export.week_stood import FEW
from app.rules.shifts import BadWeek, Calendar, Pattern, ShiftStart
from app.store.flags import Flag, Note
from app.store.units import Unit
from tests import factories
from tests.export.hand_made import AFTERWARDS, SECOND, TUESDAY, WEEK, WEEK_END, WEEK_START, make_flag, utc
from tests.factories import Plant

#: As the interface lists them.
COLUMNS = [
    "week", "unit", "area", "tag", "service", "rule", "end", "priority", "value", "limit", "unit_of_measure",
    "percent_of_limit", "limit_source", "first_raised", "last_seen", "times_seen", "shifts_open", "state",
    "raised_by", "seen_by", "seen_at", "action", "action_by", "action_at", "run_on_reason", "shelved_until",
    "returned_at", "closed_by", "closed_at", "hours_open", "arrived_late", "remarks"]


def rows_of(session: Session, unit: Unit, week: str = WEEK, now: datetime = AFTERWARDS) -> list[ExceptionRow]:
    return list(exception_rows(session, unit, week, now))


def row_of(session: Session, plant: Plant, week: str = WEEK, now: datetime = AFTERWARDS) -> ExceptionRow:
    [row] = rows_of(session, plant.unit, week, now)
    return row


def test_the_columns_are_those_of_the_interface(session: Session, plant: Plant) -> None:
    make_flag(session, plant.motor)
    row = row_of(session, plant)
    assert list(row.as_dict()) == COLUMNS
    assert len(row.cells()) == len(COLUMNS)
    assert list(row.as_dict().values()) == list(row.cells())


# which flags -----------------------------------------------------------------------------------------------

BEFORE, AFTER = WEEK_START - timedelta(days=3), WEEK_END + timedelta(days=3)


@pytest.mark.parametrize(("raised", "closed", "stood"), [
    (BEFORE, None, True),
    (BEFORE, WEEK_START - SECOND, False),
    (BEFORE, WEEK_START, True),  # the closing is an act of this week
    (BEFORE, TUESDAY, True),
    (BEFORE, AFTER, True),
    (WEEK_START, None, True),
    (TUESDAY, TUESDAY, True),
    (TUESDAY, AFTER, True),
    (WEEK_END - SECOND, None, True),
    (WEEK_END, None, False),
    (AFTER, None, False),
], ids=["open since before", "closed a second before it", "closed as it began", "closed in it",
        "open since before, closed after", "raised as it began", "raised and closed at once",
        "raised in it, closed after", "raised a second before its end", "raised at its end", "raised after"])
def test_a_flag_is_in_every_week_it_stood_in(session: Session, plant: Plant, raised: datetime, closed: datetime | None,
                                             stood: bool) -> None:
    make_flag(session, plant.motor, raised, closed_at=closed)
    assert bool(rows_of(session, plant.unit)) is stood


@pytest.mark.parametrize(("at", "week", "not_week"), [
    ("2026-12-28T00:00:00-06:00", "2026-W53", "2026-W52"),
    ("2027-01-01T10:00:00-06:00", "2026-W53", "2027-W01"),
    ("2027-01-03T23:59:59-06:00", "2026-W53", "2027-W01"),
    ("2027-01-04T00:00:00-06:00", "2027-W01", "2026-W53"),
    ("2024-12-30T08:00:00-06:00", "2025-W01", "2024-W52"),
    ("2026-11-22T23:30:00-06:00", "2026-W47", "2026-W48"),  # Monday already in UTC
], ids=["53 begins", "New Year's Day is in 53", "53 ends", "1 begins", "30 December 2024", "Sunday night"])
def test_weeks_are_iso_weeks_of_the_units_local_time(session: Session, plant: Plant, at: str, week: str,
                                                     not_week: str) -> None:
    # ISO 8601: week 1 is the one with the year's first Thursday; 2026 has 53 weeks.
    make_flag(session, plant.motor, utc(at), closed_at=utc(at) + timedelta(minutes=5))
    later = datetime(2028, 1, 1, tzinfo=UTC)
    assert row_of(session, plant, week, later).week == week
    assert row_of(session, plant, week, later).first_raised == at
    if utc(at) + timedelta(minutes=5) < exceptions.week_for(plant.unit, not_week).start or week > not_week:
        assert rows_of(session, plant.unit, not_week, later) == []


def test_another_units_flags_are_never_shown(session: Session, plant: Plant) -> None:
    other = factories.make_unit(session, "Unit 3")
    make_flag(session, factories.make_motor(session, other, "P-901"))
    assert rows_of(session, plant.unit) == []


def test_a_week_that_has_not_begun_has_no_rows_although_a_flag_is_open(session: Session, plant: Plant) -> None:
    make_flag(session, plant.motor)
    assert rows_of(session, plant.unit, "2026-W49", now=WEEK_END - SECOND) == []
    assert len(rows_of(session, plant.unit, "2026-W49", now=WEEK_END)) == 1


@pytest.mark.parametrize("text", ["2025-W53", "2026-W54", "2026-W00", "2026-48", "W48", "2026-w48", "", "2026-W48\n"])
def test_what_is_no_week_is_refused_before_the_first_row(session: Session, plant: Plant, text: str) -> None:
    with pytest.raises(BadWeek):
        exception_rows(session, plant.unit, text, AFTERWARDS)
    with pytest.raises(BadWeek):
        week_csv(session, plant.unit, text, AFTERWARDS)


# what a row says -------------------------------------------------------------------------------------------


def test_a_row_tells_what_where_how_long_and_who_did_what(session: Session, plant: Plant) -> None:
    reading = factories.make_reading(session, plant.motor, plant.operator, TUESDAY, remarks="- hot since the rain")
    make_flag(session, plant.motor, TUESDAY, rule="bearing_hot", end="DE", priority="act now", value=104.0, limit=100.0,
              unit_of_measure="°C", source="unit's limit", raised_cause_id=reading.id, raised_by_id=plant.operator.id,
              last_seen_at=utc("2026-11-25T19:30:00-06:00"), times_seen=3, seen_by_id=plant.head_operator.id,
              seen_at=utc("2026-11-24T08:20:00-06:00"), action="greased, watch it",
              action_by_id=plant.head_operator.id, action_at=utc("2026-11-24T09:00:00-06:00"),
              run_on_reason="no spare until Friday", shelved_until=utc("2026-12-03T06:00:00-06:00"), arrived_late=True)
    assert row_of(session, plant).as_dict() == {
        "week": WEEK, "unit": "Unit 2", "area": "Feed", "tag": "P-101A", "service": "feed pump",
        "rule": "bearing_hot", "end": "DE", "priority": "act now", "value": 104.0, "limit": 100.0,
        "unit_of_measure": "°C", "percent_of_limit": 104.0, "limit_source": "unit's limit",
        "first_raised": "2026-11-24T08:00:00-06:00", "last_seen": "2026-11-25T19:30:00-06:00", "times_seen": 3,
        "shifts_open": 4,  # Tuesday's day and night, Wednesday's day and night
        "state": "shelved", "raised_by": "Operator", "seen_by": "Head Operator",
        "seen_at": "2026-11-24T08:20:00-06:00", "action": "greased, watch it", "action_by": "Head Operator",
        "action_at": "2026-11-24T09:00:00-06:00", "run_on_reason": "no spare until Friday",
        "shelved_until": "2026-12-03T06:00:00-06:00", "returned_at": None, "closed_by": "", "closed_at": None,
        "hours_open": 136.0,  # Tuesday 08:00 to Sunday 24:00: 5 days and 16 hours
        "arrived_late": "yes", "remarks": "- hot since the rain"}


def test_a_flag_the_clock_raised_has_no_name_and_no_remarks(session: Session, plant: Plant) -> None:
    make_flag(session, plant.motor, raised_cause="round")
    row = row_of(session, plant)
    assert (row.raised_by, row.remarks, row.arrived_late, row.value, row.percent_of_limit) == ("", "", "", None, None)


def test_only_the_remarks_of_the_reading_that_raised_it_are_told(session: Session, plant: Plant) -> None:
    first = factories.make_reading(session, plant.motor, plant.operator, TUESDAY, remarks="first")
    factories.make_reading(session, plant.motor, plant.operator, TUESDAY + timedelta(hours=1), remarks="second")
    make_flag(session, plant.motor, raised_cause_id=first.id)
    assert row_of(session, plant).remarks == "first"


@pytest.mark.parametrize(("columns", "now", "state"), [
    ({}, AFTERWARDS, "active"),
    ({"improving_at": TUESDAY}, AFTERWARDS, "improving"),
    ({"returned_at": TUESDAY}, AFTERWARDS, "returned to normal"),
    ({"shelved_until": AFTERWARDS + SECOND}, AFTERWARDS, "shelved"),
    ({"shelved_until": AFTERWARDS}, AFTERWARDS, "active"),
    ({"closed_at": TUESDAY}, AFTERWARDS, "closed"),
    ({"closed_at": WEEK_END + timedelta(hours=1)}, AFTERWARDS, "closed"),
], ids=["active", "improving", "returned", "shelved", "woke this second", "closed", "closed after the week"])
def test_the_state_is_as_it_stands_when_exported(session: Session, plant: Plant, columns: dict[str, Any],
                                                 now: datetime, state: str) -> None:
    make_flag(session, plant.motor, **columns)
    assert row_of(session, plant, now=now).state == state


@pytest.mark.parametrize(("value", "limit", "percent"), [
    (87.0, 87.0, 100.0), (91.5, 87.0, 105.2), (0.0, 10.0, 0.0), (-5.0, 90.0, -5.6), (5.0, 0.0, None), (5.0, -1.0, None),
    (None, 90.0, None), (5.0, None, None),
])
def test_percent_of_limit_needs_both_and_a_limit_above_zero(value: float | None, limit: float | None,
                                                            percent: float | None) -> None:
    # 91.5 / 87 = 1.05172; -5 / 90 = -0.05556
    assert percent_of_limit(value, limit) == percent


def test_figures_are_rounded_as_limits_are_compared(session: Session, plant: Plant) -> None:
    # 145 °F is 62.7777... °C: six decimals
    make_flag(session, plant.motor, value=(145.0 - 32.0) / 1.8, limit=60.0, unit_of_measure="°C")
    assert row_of(session, plant).value == 62.777778


@pytest.mark.parametrize(("raised", "closed", "hours"), [
    ("2026-11-24T08:00:00-06:00", "2026-11-24T09:06:00-06:00", 1.1),
    ("2026-11-24T08:00:00-06:00", None, 136.0),  # to Sunday 24:00
    ("2026-11-24T08:00:00-06:00", "2026-12-01T08:00:00-06:00", 168.0),  # closed after the week: to the closing
    ("2026-10-31T18:00:00-05:00", "2026-11-01T06:00:00-06:00", 13.0),  # the night the clocks go back
    ("2027-03-13T18:00:00-06:00", "2027-03-14T06:00:00-05:00", 11.0),  # the night they go forward
], ids=["66 minutes", "still open", "closed next week", "13 h night", "11 h night"])
def test_hours_open_are_elapsed_hours(session: Session, plant: Plant, raised: str, closed: str | None,
                                      hours: float) -> None:
    make_flag(session, plant.motor, utc(raised), closed_at=utc(closed) if closed else None)
    week = exceptions.week_for(plant.unit, WEEK)
    text = {"2026-10": "2026-W44", "2027-03": "2027-W10"}.get(raised[:7], week.text)
    row = row_of(session, plant, text, datetime(2028, 1, 1, tzinfo=UTC))
    assert (row.first_raised, row.closed_at, row.hours_open) == (raised, closed, hours)


def test_both_half_past_ones_of_the_autumn_night_are_told_apart_and_in_order(session: Session, plant: Plant) -> None:
    first, second = utc("2026-11-01T01:30:00-05:00"), utc("2026-11-01T01:30:00-06:00")
    assert second - first == timedelta(hours=1)
    for at in (second, first):
        make_flag(session, plant.motor, at)
    rows = rows_of(session, plant.unit, "2026-W44")
    assert [r.first_raised for r in rows] == ["2026-11-01T01:30:00-05:00", "2026-11-01T01:30:00-06:00"]
    assert [r.shifts_open for r in rows] == [1, 1]


@pytest.mark.parametrize(("last_seen", "closed", "shifts"), [
    ("2026-11-24T08:00:00-06:00", None, 1),
    ("2026-11-24T17:59:59-06:00", None, 1),
    ("2026-11-24T18:00:00-06:00", None, 2),
    ("2026-11-25T02:00:00-06:00", None, 2),
    ("2026-11-24T08:00:00-06:00", "2026-11-26T07:00:00-06:00", 5),
], ids=["same instant", "same shift", "next shift begins", "after midnight", "closed two days on"])
def test_shifts_open_counts_the_first_and_the_last(session: Session, plant: Plant, last_seen: str, closed: str | None,
                                                   shifts: int) -> None:
    make_flag(session, plant.motor, last_seen_at=utc(last_seen), closed_at=utc(closed) if closed else None)
    assert row_of(session, plant).shifts_open == shifts


def test_shifts_are_counted_as_the_calendar_counts_them() -> None:
    change = utc("2026-11-15T06:00:00-06:00")
    calendar = Calendar("America/Chicago", (Pattern(factories.TWELVE_HOURS), Pattern(factories.EIGHT_HOURS, change)))
    counting = ShiftCount(calendar)
    instants = [utc("2026-10-30T00:30:00-05:00") + timedelta(hours=7.3) * i for i in range(80)]
    for i, first in enumerate(instants):
        for last in instants[i::9]:
            assert counting.count(first, last) == calendar.count(first, last)


def test_shifts_with_names_alone_are_counted_too() -> None:
    calendar = Calendar("Australia/Lord_Howe", (Pattern((ShiftStart("All day", "00:00"),)),))
    assert ShiftCount(calendar).count(utc("2026-11-01T10:00:00+11:00"), utc("2026-11-04T10:00:00+11:00")) == 4


# what was done ---------------------------------------------------------------------------------------------


def test_words_given_at_closing_are_the_action_where_there_was_none(session: Session, plant: Plant) -> None:
    at = utc("2026-11-25T10:00:00-06:00")
    flag = make_flag(session, plant.motor, closed_at=at, closed_by_id=plant.head_operator.id)
    for kind, text in (("note", "looked at it"), ("done", "called the mechanics"), ("closed", "bearing changed")):
        session.add(Note(flag_id=flag.id, person_id=plant.head_operator.id, at=at, kind=kind, text=text))
        session.flush()
    row = row_of(session, plant)
    assert (row.action, row.action_by) == ("bearing changed", "Head Operator")
    assert row.action_at == "2026-11-25T10:00:00-06:00"
    assert (row.closed_by, row.closed_at) == ("Head Operator", "2026-11-25T10:00:00-06:00")


def test_a_mere_note_is_no_action(session: Session, plant: Plant) -> None:
    flag = make_flag(session, plant.motor)
    session.add(Note(flag_id=flag.id, person_id=plant.operator.id, at=TUESDAY, kind="note", text="looked at it"))
    session.flush()
    assert row_of(session, plant).action == ""


# order and repeat ------------------------------------------------------------------------------------------


def test_rows_come_gravest_first_then_oldest_then_by_tag_rule_and_end(session: Session, plant: Plant) -> None:
    b, a, umlaut = (factories.make_motor(session, plant.unit, tag) for tag in ("b-1", "A-1", "Ä-1"))
    early = TUESDAY - timedelta(hours=1)
    make_flag(session, b, early, priority="watch", rule="step")
    make_flag(session, b, TUESDAY, priority="act now", rule="smoke")
    make_flag(session, umlaut, early, priority="this shift", rule="dirty")
    make_flag(session, b, early, priority="this shift", rule="dirty")
    for rule, end in (("lubricant", "ODE"), ("lubricant", "DE"), ("bearings_uneven", "DE"), ("bearing_hot", "DE")):
        make_flag(session, a, early, priority="this shift", rule=rule, end=end)
    make_flag(session, a, early - timedelta(days=9), priority="this shift", rule="vibration", end="DE")
    # Tags and rules by code point, whatever language the database sorts in: A before b before Ä, _ before s.
    assert [(r.tag, r.rule, r.end) for r in rows_of(session, plant.unit)] == [
        ("b-1", "smoke", ""), ("A-1", "vibration", "DE"), ("A-1", "bearing_hot", "DE"),
        ("A-1", "bearings_uneven", "DE"), ("A-1", "lubricant", "DE"),
        ("A-1", "lubricant", "ODE"), ("b-1", "dirty", ""), ("Ä-1", "dirty", ""),
        ("b-1", "step", "")]


def test_the_same_week_twice_is_the_same_file(session: Session, plant: Plant) -> None:
    for i in range(40):
        make_flag(session, plant.motor, TUESDAY, priority=("act now", "this shift", "watch")[i % 3], value=i / 7)
    first, second = (b"".join(week_csv(session, plant.unit, WEEK, AFTERWARDS)) for _ in range(2))
    assert first == second


def test_a_week_costs_one_query_whatever_its_rows(session: Session, plant: Plant) -> None:
    for i in range(30):
        reading = factories.make_reading(session, plant.motor, plant.operator, TUESDAY + timedelta(minutes=i))
        make_flag(session, plant.motor, TUESDAY, raised_by_id=plant.operator.id, raised_cause_id=reading.id)
    unit = plant.unit
    _ = unit.calendar
    asked: list[str] = []

    def note(_c: object, _cursor: object, statement: str, *_rest: object) -> None:
        asked.append(statement)

    sa.event.listen(session.get_bind(), "before_cursor_execute", note)
    assert len(rows_of(session, unit)) == 30
    assert len(asked) == 1


def many_closed(plant: Plant, count: int, cause: uuid.UUID, says: str) -> list[dict[str, object]]:
    """The columns of so many flags raised by one entry and closed in the same moment."""
    return [{"unit_id": plant.unit.id, "motor_id": plant.motor.id, "rule": "dirty", "end": "", "priority": "watch",
             "raised_at": TUESDAY, "raised_cause": "reading", "raised_cause_id": cause, "last_seen_at": TUESDAY,
             "times_seen": 1, "source": "general practice", "says": says, "good_rounds": 0, "arrived_late": False,
             "version": 1, "closed_at": TUESDAY} for _ in range(count)]


def test_a_flag_is_told_alike_in_a_short_week_and_in_one_read_piece_by_piece(session: Session, plant: Plant) -> None:
    reading = factories.make_reading(session, plant.motor, plant.operator, remarks="belt worn")
    make_flag(session, plant.motor, TUESDAY, priority="act now", raised_by_id=plant.operator.id, value=93.6, limit=90.0,
              raised_cause_id=reading.id, seen_at=TUESDAY + timedelta(hours=1), seen_by_id=plant.supervisor.id,
              owner="Shop", due_at=TUESDAY + timedelta(hours=2), arrived_late=True)
    [short] = rows_of(session, plant.unit)
    assert (short.raised_by, short.seen_by, short.remarks, short.days_late) == (
        "Operator", "Supervisor", "belt worn", 5.6)  # 10:00 on Tuesday to midnight after Sunday: 134 h
    session.execute(sa.insert(Flag), many_closed(plant, FEW, reading.id, "Dusty."))
    first, *others = rows_of(session, plant.unit)
    assert first == short
    assert [row.says for row in others] == ["Dusty."] * FEW


# the file --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("tag", ["00123", "5E10", "1E05", "3-4", "a/b?c#d", "Pumpe №2", "P\u2011102A"])
def test_tags_are_written_as_typed(session: Session, plant: Plant, tag: str) -> None:
    make_flag(session, factories.make_motor(session, plant.unit, tag), value=-2.5)
    [row] = read(session, plant)
    assert (row["tag"], row["value"]) == (tag, "-2.5")


@pytest.mark.parametrize("remarks", ["=1+1", "+cmd", "-2+3", "@SUM(1)", "\t=1", "\r=1", '=HYPERLINK("x"),"y"\nz'],
                         ids=repr)
def test_remarks_a_spreadsheet_would_run_are_made_harmless_and_nothing_else_is(session: Session, plant: Plant,
                                                                                remarks: str) -> None:
    reading = factories.make_reading(session, plant.motor, plant.operator, TUESDAY, remarks=remarks)
    make_flag(session, plant.motor, value=-5.0, limit=90.0, raised_cause_id=reading.id)
    [row] = read(session, plant)
    assert (row["remarks"], row["value"], row["percent_of_limit"]) == ("'" + remarks, "-5", "-5.6")
    session.refresh(reading)
    assert reading.remarks == remarks


def test_the_file_begins_with_the_mark_and_the_columns_even_when_nothing_stood(session: Session, plant: Plant) -> None:
    assert b"".join(week_csv(session, plant.unit, WEEK, AFTERWARDS)) == (
        b"\xef\xbb\xbf" + ",".join(COLUMNS).encode() + b"\r\n")


def read(session: Session, plant: Plant) -> list[dict[str, str]]:
    data = b"".join(week_csv(session, plant.unit, WEEK, AFTERWARDS))
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


@pytest.mark.parametrize(("name", "slug"), [
    ("Unit 2", "unit-2"), ("Crude / Vacuum: North*", "crude-vacuum-north"), ("Übergabe", "ubergabe"),
    ("../../etc/passwd", "etc-passwd"), ("x" * 200, "x" * 40),
])
def test_the_files_name_suits_any_shared_drive(session: Session, name: str, slug: str) -> None:
    unit = factories.make_unit(session, name)
    assert file_name(unit, WEEK, AFTERWARDS, "xlsx") == f"exceptions_{slug}_2026-W48_made-20261201T1500Z.xlsx"


def test_a_unit_named_in_other_letters_still_has_a_files_name(session: Session) -> None:
    unit = factories.make_unit(session, "装置")
    assert file_name(unit, WEEK, AFTERWARDS, "csv") == f"exceptions_unit-{unit.id}_2026-W48_made-20261201T1500Z.csv"


@pytest.mark.slow
def test_ten_times_the_rows_take_no_more_memory(session: Session, plant: Plant) -> None:
    def peak(flags: int) -> int:
        session.execute(sa.insert(Flag), many_closed(plant, flags, plant_key, "Dusty. " * 20))
        session.flush()
        session.expunge_all()
        tracemalloc.start()
        lines = sum(piece.count(b"\r\n") for piece in week_csv(session, unit, WEEK, AFTERWARDS))
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        counts.append(lines - 1)
        return most

    unit, counts = plant.unit, []
    _ = unit.calendar
    plant_key = factories.make_reading(session, plant.motor, plant.operator).id
    small = peak(1_000)
    large = peak(9_000)
    assert counts == [1_000, 10_000]
    assert large < small * 1.5
