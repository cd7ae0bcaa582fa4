"""The week's rounds: what each shift had due, read, skipped with a reason, not seen; counted as the sheet counts."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.export.week import week_for
from app.export.week_rounds import Coverage, ShiftRound, coverage
from app.sheets import DONE, LEFT, SKIPPED, sheet_of
from app.store.base import new_id
from app.store.people import Token
from app.store.rounds import Round
from app.store.routes import Hand, add_route
from tests import factories
from tests.export.hand_made import AFTERWARDS, WEEK, WEEK_END, WEEK_START, utc
from tests.factories import Plant

MONDAY_DAY = utc("2026-11-23T08:00:00-06:00")
MONDAY_NIGHT = utc("2026-11-23T20:00:00-06:00")
AFTER_MIDNIGHT = utc("2026-11-24T02:00:00-06:00")


def rounds_of(session: Session, plant: Plant, now: datetime = AFTERWARDS, week: str = WEEK) -> Coverage:
    return coverage(session, plant.unit, week_for(plant.unit, week), now)


def counts(walked: ShiftRound) -> tuple[int, int, int, int]:
    return walked.planned, walked.read, walked.skipped, walked.not_seen


def test_every_shift_of_the_week_is_there_though_nobody_opened_a_sheet(session: Session, plant: Plant) -> None:
    found = rounds_of(session, plant)
    assert [r.shift.label for r in found.rounds][:3] == ["Day 2026-11-23", "Night 2026-11-23", "Day 2026-11-24"]
    assert found.rounds[-1].shift.label == "Night 2026-11-29"  # ends on the Monday after, belongs to this week
    assert (found.over, found.missed, found.complete, found.not_seen) == (14, 14, 0, 14)


def test_a_round_is_in_the_week_of_its_shift_date(session: Session, plant: Plant) -> None:
    after_sunday = WEEK_END + timedelta(hours=2)  # 02:00 on Monday, in Sunday's night
    factories.make_reading(session, plant.motor, plant.operator, after_sunday)
    assert counts(rounds_of(session, plant).rounds[-1]) == (1, 1, 0, 0)
    assert rounds_of(session, plant, week="2026-W49").rounds[0].shift.label == "Day 2026-11-30"


def test_53_is_a_week_like_any_other(session: Session, plant: Plant) -> None:
    labels = [r.shift.label for r in rounds_of(session, plant, utc("2027-02-01T00:00:00-06:00"), "2026-W53").rounds]
    assert (len(labels), labels[0], labels[-1]) == (14, "Day 2026-12-28", "Night 2027-01-03")


@pytest.mark.parametrize(("week", "hours"), [("2026-W44", 13), ("2027-W10", 11)])
def test_the_night_over_a_clock_change_is_one_shift(session: Session, plant: Plant, week: str, hours: int) -> None:
    found = rounds_of(session, plant, utc("2027-06-01T00:00:00-05:00"), week).rounds
    lengths = [(r.shift.ends_at - r.shift.starts_at).total_seconds() / 3600 for r in found]
    assert len(found) == 14
    assert sorted(set(lengths)) == sorted({12, hours})


def test_read_skipped_and_not_seen_are_told_apart(session: Session, plant: Plant) -> None:
    skipped = factories.make_motor(session, plant.unit, "P-102", route_order=2.0)
    unseen = factories.make_motor(session, plant.unit, "P-103", route_order=3.0)
    factories.make_reading(session, unseen, plant.operator, MONDAY_DAY - timedelta(hours=20))  # Sunday 12:00
    factories.make_reading(session, plant.motor, plant.operator, MONDAY_DAY)
    factories.make_reading(session, skipped, plant.head_operator, MONDAY_DAY + timedelta(minutes=1), state=None,
                           skip_reason="scaffold in the way")
    monday = rounds_of(session, plant).rounds[0]
    assert counts(monday) == (3, 1, 1, 1)
    assert monday.result == "incomplete"
    assert monday.readers == ["Operator", "Head Operator"]
    assert [(m.motor.tag, m.reason, m.by, m.hours_since_read) for m in monday.missed_motors] == [
        ("P-102", "scaffold in the way", "Head Operator", None),
        ("P-103", "", "", 30.0)]  # Sunday 12:00 to Monday 18:00


@pytest.mark.parametrize(("read", "skip", "signed", "now", "result"), [
    (True, False, False, AFTERWARDS, "complete"),
    (False, True, False, AFTERWARDS, "complete"),
    (False, False, False, AFTERWARDS, "missed"),
    (False, False, False, MONDAY_DAY + timedelta(hours=1), "running"),
    (False, False, True, MONDAY_DAY + timedelta(hours=1), "missed"),
], ids=["read", "skipped with a reason", "nobody came", "not over yet", "signed before its end"])
def test_a_round_is_complete_missed_or_running(session: Session, plant: Plant, read: bool, skip: bool, signed: bool,
                                               now: datetime, result: str) -> None:
    opened = factories.make_round(session, plant.unit, MONDAY_DAY)
    if read or skip:
        factories.make_reading(session, plant.motor, plant.operator, MONDAY_DAY,
                               **({"skip_reason": "no access", "state": None} if skip else {}))
    if signed:
        opened.signed_at = now
        session.flush()
    assert rounds_of(session, plant, now).rounds[0].result == result


def test_a_motor_added_in_the_week_was_not_due_before(session: Session, plant: Plant) -> None:
    added = factories.make_motor(session, plant.unit, "P-102")
    added.created_at = utc("2026-11-25T07:00:00-06:00")
    session.flush()
    assert [r.planned for r in rounds_of(session, plant).rounds][:6] == [1, 1, 1, 1, 2, 2]


def test_a_reading_by_token_is_no_look_unless_it_answers_smoke(session: Session, plant: Plant) -> None:
    token = Token(unit_id=plant.unit.id, name="control room", scope="record", hash="x", created_at=WEEK_START)
    session.add(token)
    session.flush()
    factories.make_reading(session, plant.motor, plant.operator, MONDAY_DAY, token_id=token.id, current_a_1=80.0)
    factories.make_reading(session, plant.motor, plant.operator, MONDAY_NIGHT, token_id=token.id, smoke="none")
    day, night = rounds_of(session, plant).rounds[:2]
    assert (counts(day), counts(night)) == ((1, 0, 0, 1), (1, 1, 0, 0))


def test_a_timed_look_of_the_first_run_watch_is_no_rounds_check(session: Session, plant: Plant) -> None:
    factories.make_reading(session, plant.motor, plant.operator, MONDAY_DAY, watch=True, smoke="none")
    monday, night = rounds_of(session, plant).rounds[:2]
    assert counts(monday) == (1, 0, 0, 1)
    assert night.missed_motors[0].last_read is None


def test_many_readings_are_loaded_in_as_many_queries_as_few(session: Session, plant: Plant) -> None:
    def asked() -> int:
        statements: list[str] = []
        sa.event.listen(session.get_bind(), "before_cursor_execute", lambda *told: statements.append(told[2]))
        session.expire_all()
        coverage(session, unit, given, AFTERWARDS)
        return len(statements)

    unit, given = plant.unit, week_for(plant.unit, WEEK)
    factories.make_reading(session, plant.motor, plant.operator, MONDAY_DAY)
    few = asked()
    for i in range(20):
        motor = factories.make_motor(session, unit, f"P-3{i:02}")
        factories.make_reading(session, motor, plant.operator, MONDAY_DAY, watch=bool(i % 2))
    assert asked() == few


def test_a_corrected_reading_counts_once(session: Session, plant: Plant) -> None:
    first = factories.make_reading(session, plant.motor, plant.operator, MONDAY_DAY)
    factories.make_reading(session, plant.motor, plant.operator, MONDAY_DAY, replaces_id=first.id, replaces_why="slip")
    assert counts(rounds_of(session, plant).rounds[0]) == (1, 1, 0, 0)


def test_entries_made_or_received_late_are_counted(session: Session, plant: Plant) -> None:
    factories.make_reading(session, plant.motor, plant.operator, MONDAY_DAY, entered_later=True)
    factories.make_reading(session, plant.motor, plant.operator, MONDAY_DAY + timedelta(hours=1), id=new_id())
    late = factories.make_reading(session, plant.motor, plant.operator, MONDAY_DAY + timedelta(hours=2), id=new_id())
    late.received_at = MONDAY_NIGHT
    session.flush()
    assert rounds_of(session, plant).rounds[0].late == 2


@pytest.mark.parametrize(("checked_every", "planned"), [
    ("shift", [2, 2, 2, 2]), ("day", [2, 2, 2, 2]), ("week", [2, 2, 1, 1]),
])
def test_what_is_checked_every_day_or_week_is_due_until_read_once(session: Session, plant: Plant, checked_every: str,
                                                                  planned: list[int]) -> None:
    seldom = factories.make_motor(session, plant.unit, "P-102", checked_every=checked_every)
    factories.make_reading(session, seldom, plant.operator, MONDAY_NIGHT)
    assert [r.planned for r in rounds_of(session, plant).rounds][:4] == planned


@pytest.mark.parametrize(("walks", "planned"), [
    (("week", "shift"), [2, 2, 2, 2]), (("week", "day"), [2, 2, 2, 2]), (("week",), [2, 2, 1, 1]),
])
def test_a_motor_on_routes_is_due_as_its_most_frequent_route_says(session: Session, plant: Plant,
                                                                  walks: tuple[str, ...], planned: list[int]) -> None:
    on_routes = factories.make_motor(session, plant.unit, "P-102", checked_every="shift")
    for every in walks:
        add_route(Hand(session, plant.unit, plant.supervisor, WEEK_START), f"each {every}", every, [on_routes])
    factories.make_reading(session, on_routes, plant.operator, MONDAY_NIGHT)
    assert [r.planned for r in rounds_of(session, plant).rounds][:4] == planned


def test_the_week_counts_as_each_sheet_counts(session: Session, plant: Plant) -> None:
    every = ("shift", "day", "week", "day", "week", "shift")
    made = [factories.make_motor(session, plant.unit, f"P-2{i}", checked_every=word) for i, word in enumerate(every)]
    for at, which, columns in (
            (MONDAY_DAY, (0, 1), {}), (MONDAY_DAY, (5,), {"skip_reason": "no access", "state": None}),
            (MONDAY_NIGHT, (0, 2), {}), (AFTER_MIDNIGHT, (3,), {}), (MONDAY_NIGHT, (4,), {"skip_reason": "fog"}),
            (MONDAY_DAY + timedelta(days=2), (0, 1, 3, 4), {})):
        for i in which:
            factories.make_reading(session, made[i], plant.operator, at, **columns)
    opened = [r for r in rounds_of(session, plant).rounds if r.round is not None]
    assert len(opened) == 3
    for walked in opened:
        sheet = sheet_of(session, plant.unit, session.get_one(Round, walked.round.id), AFTERWARDS, with_findings=False)
        assert counts(walked) == (sheet.due, sheet.count(DONE), sheet.count(SKIPPED), sheet.count(LEFT))


def test_no_motors_make_no_rounds(session: Session) -> None:
    unit = factories.make_unit(session)
    assert coverage(session, unit, week_for(unit, WEEK), AFTERWARDS).rounds == []


def test_a_week_to_come_has_no_rounds(session: Session, plant: Plant) -> None:
    assert rounds_of(session, plant, now=WEEK_START - timedelta(hours=1)).rounds == []
