"""This week against the one before, the mean of the four before, and rates per 100 readings."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app.export.week import week_for
from app.export.week_compare import SHOWN, Compared, from_counts
from app.export.week_events import COUNT, events_in
from app.store.base import new_id
from app.store.changes import note_change
from app.store.flags import Finding
from app.store.lubrication import Greasing
from app.store.people import Token
from app.store.starts import Start, Trip
from tests import factories
from tests.export.hand_made import SECOND, TUESDAY, WEEK, WEEK_END, WEEK_START, make_flag, utc
from tests.factories import Plant

ONE_WEEK = timedelta(weeks=1)
#: Week 44 begins on 26 October, in summer time; the clocks go back on 1 November.
FOUR_BEFORE = utc("2026-10-26T00:00:00-05:00")


def measures(session: Session, plant: Plant, week: str = WEEK) -> dict[str, Compared]:
    given = week_for(plant.unit, week)
    counts = events_in(session, plant.unit.id, given)[COUNT]
    return {one.name: one for one in from_counts(given, [(row.what, row.at, row.number) for row in counts])}


def raise_at(session: Session, plant: Plant, *instants: datetime, priority: str = "watch") -> None:
    for at in instants:
        make_flag(session, plant.motor, at, priority=priority, closed_at=at + timedelta(hours=1))


def test_flags_are_counted_in_the_week_they_were_raised_in_to_the_second(session: Session, plant: Plant) -> None:
    raise_at(session, plant, WEEK_START, WEEK_END - SECOND, WEEK_START - SECOND, WEEK_END, FOUR_BEFORE,
             FOUR_BEFORE - SECOND)
    told = measures(session, plant)["flags raised"]
    assert (told.this, told.before, told.mean) == (2, 1, 0.5)  # (1 + 0 + 0 + 1) / 4


def test_rates_are_per_100_readings_of_their_own_weeks(session: Session, plant: Plant) -> None:
    for weeks, readings, flags in ((0, 8, 2), (1, 5, 1), (2, 4, 0), (3, 1, 0), (4, 0, 1)):
        for i in range(readings):
            factories.make_reading(session, plant.motor, plant.operator,
                                   TUESDAY - weeks * ONE_WEEK + timedelta(minutes=i))
        raise_at(session, plant, *[TUESDAY - weeks * ONE_WEEK] * flags, priority="act now")
    told = measures(session, plant)
    assert (told["readings"].this, told["readings"].before, told["readings"].mean) == (8, 5, 2.5)
    for name in ("flags raised", "raised as act now"):
        # 2 of 8; 1 of 5; 2 of 10 over the four weeks together, not the mean of four rates
        assert (told[name].per_100, told[name].per_100_before, told[name].per_100_mean) == (25.0, 20.0, 20.0)
    assert told["raised as watch"].per_100 == 0.0
    assert told["readings"].per_100 is None


def test_without_a_reading_there_is_no_rate(session: Session, plant: Plant) -> None:
    raise_at(session, plant, TUESDAY)
    told = measures(session, plant)["flags raised"]
    assert (told.this, told.per_100, told.per_100_before, told.per_100_mean) == (1, None, None, None)


def test_a_skip_a_corrected_entry_a_bare_value_and_a_timed_look_are_no_readings(session: Session, plant: Plant) -> None:
    token = Token(unit_id=plant.unit.id, name="control room", scope="record", hash="x", created_at=WEEK_START)
    session.add(token)
    session.flush()
    first = factories.make_reading(session, plant.motor, plant.operator, TUESDAY)
    factories.make_reading(session, plant.motor, plant.operator, TUESDAY, replaces_id=first.id, replaces_why="slip")
    factories.make_reading(session, plant.motor, plant.operator, TUESDAY, state=None, skip_reason="fog")
    factories.make_reading(session, plant.motor, plant.operator, TUESDAY, token_id=token.id, current_a_1=80.0)
    factories.make_reading(session, plant.motor, plant.operator, TUESDAY, token_id=token.id, smoke="none")
    factories.make_reading(session, plant.motor, plant.operator, TUESDAY, watch=True, smoke="none")
    told = measures(session, plant)
    assert (told["readings"].this, told["readings corrected"].this) == (2, 1)


def test_what_stood_is_counted_in_every_week_it_stood_in(session: Session, plant: Plant) -> None:
    make_flag(session, plant.motor, TUESDAY - 10 * ONE_WEEK)  # still open: in all five
    make_flag(session, plant.motor, TUESDAY - ONE_WEEK, closed_at=WEEK_START)  # closed as this week begins: in it
    make_flag(session, plant.motor, TUESDAY - ONE_WEEK, closed_at=WEEK_START - SECOND)
    told = measures(session, plant)
    stood, closed = told["flags that stood"], told["flags closed"]
    assert (stood.this, stood.before, stood.mean) == (2, 3, 1.5)  # (3 + 1 + 1 + 1) / 4
    assert (closed.this, closed.before) == (1, 1)


def test_starts_trips_greasings_changes_and_sheets_are_counted_too(session: Session, plant: Plant) -> None:
    common = {"content": "x", "unit_id": plant.unit.id, "motor_id": plant.motor.id, "person_id": plant.operator.id}
    at = {"at": TUESDAY, "at_device": TUESDAY, "received_at": TUESDAY}
    starts = [Start(id=new_id(), outcome=word, **common, **at) for word in ("ran", "automatic", "did not start")]
    greasings = [Greasing(id=new_id(), end=end, at=TUESDAY, received_at=TUESDAY, grams=grams, **common)
                 for end, grams in (("DE", 30.0), ("ODE", None), ("ODE", 0.0))]  # 0 g greases nothing
    session.add_all([*starts, *greasings, Trip(id=new_id(), protection="fuse", **common, **at)])
    session.flush()
    for cause, row, rule in (
            ("start", starts[0], "started_outside_limits"), ("start", starts[0], "no_prestart_check"),
            ("greasing", greasings[0], "greased_too_soon"), ("greasing", greasings[1], "wrong_lubricant")):
        session.add(Finding(cause=cause, cause_id=row.id, motor_id=plant.motor.id, at=TUESDAY, rule=rule, end="",
                            priority="this shift", source="general practice", says="x"))
    for subject in ("limit", "motor"):
        note_change(session, unit_id=plant.unit.id, at=TUESDAY, person=None, subject=subject, subject_id=1, label="x",
                    field="value", before=1, after=2)
    factories.make_round(session, plant.unit, TUESDAY).signed_at = TUESDAY
    factories.make_round(session, plant.unit, WEEK_END).signed_at = WEEK_END + timedelta(hours=9)  # Sunday's night
    session.flush()
    told = measures(session, plant)
    assert {name: told[name].this for name in (
        "starts", "starts outside limits", "automatic starts", "trips", "bearings greased",
        "greased too soon or too much", "limits changed", "sheets signed")} == {
        "starts": 3, "starts outside limits": 1, "automatic starts": 1, "trips": 1, "bearings greased": 2,
        "greased too soon or too much": 1, "limits changed": 1, "sheets signed": 2}


def test_another_units_work_counts_nowhere(session: Session, plant: Plant) -> None:
    other = factories.make_motor(session, factories.make_unit(session, "Unit 3"), "P-901")
    make_flag(session, other, TUESDAY)
    factories.make_reading(session, other, plant.operator, TUESDAY)
    assert all(one.this == 0 for one in measures(session, plant).values())


def test_a_span_is_compared_with_as_many_days_before_and_with_nothing_else(session: Session, plant: Plant) -> None:
    raise_at(session, plant, WEEK_START, WEEK_START - ONE_WEEK, WEEK_START - ONE_WEEK - SECOND,
             WEEK_START - 3 * ONE_WEEK, WEEK_START - 3 * ONE_WEEK - SECOND)
    told = measures(session, plant, "2026-W47--2026-W48")["flags raised"]
    assert (told.this, told.before, told.mean) == (2, 2, None)


def test_every_measure_is_shown_once_and_in_order(session: Session, plant: Plant) -> None:
    assert list(measures(session, plant)) == [name for name, _ in SHOWN]
