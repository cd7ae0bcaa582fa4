"""The workbook of the week, sheet by sheet, read back by openpyxl."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime, timedelta

import openpyxl
import pytest
from openpyxl.workbook import Workbook
from sqlalchemy.orm import Session

from app.export.week import NAMES, week_csv
from app.export.week_sheets import week_tables, week_workbook
from app.rules.shifts import BadWeek
from app.store.base import new_id
from app.store.changes import note_change
from app.store.dips import Dip
from app.store.flags import Finding, Note
from app.store.lubrication import Greasing
from app.store.oil import OilEntry
from app.store.starts import Start, Stop, Trip, TripAct
from app.store.temporary import TemporaryState
from tests import factories
from tests.export.hand_made import AFTERWARDS, TUESDAY, WEEK, WEEK_START, make_flag
from tests.factories import Plant

SHEETS = ["Exceptions", "Summary", "Rounds", "Not seen", "Repeats", "Starts", "Trips", "Lubrication", "Changes",
          "About these columns"]
TIMES = ["first_raised", "last_seen", "seen_at", "action_at", "shelved_until", "returned_at", "closed_at"]


def book_of(session: Session, plant: Plant, week: str = WEEK, now: datetime = AFTERWARDS) -> Workbook:
    return openpyxl.load_workbook(io.BytesIO(bytes_of(session, plant, week, now)))


def bytes_of(session: Session, plant: Plant, week: str = WEEK, now: datetime = AFTERWARDS) -> bytes:
    file = io.BytesIO()
    week_workbook(session, plant.unit, week, now, file)
    return file.getvalue()


def lines(book: Workbook, sheet: str) -> list[dict[str, object]]:
    first, *rest = book[sheet].iter_rows(values_only=True)
    return [dict(zip(first, row, strict=True)) for row in rest]


def test_the_sheets_are_those_of_the_interface_in_order(session: Session, plant: Plant) -> None:
    assert book_of(session, plant).sheetnames == SHEETS


def test_every_sheet_has_headings_frozen_and_filtered_even_without_rows(session: Session, plant: Plant) -> None:
    for sheet in book_of(session, plant):
        assert all(cell.value for cell in sheet[1]), sheet.title
        assert sheet.freeze_panes == "A2"
        assert sheet.auto_filter.ref.startswith("A1:")


def test_the_exceptions_are_those_of_the_csv_with_a_local_time_beside_each_time(session: Session, plant: Plant) -> None:
    odd = [factories.make_motor(session, plant.unit, tag) for tag in ("00123", "5E10", "1E05")]
    reading = factories.make_reading(session, odd[0], plant.operator, TUESDAY, remarks="=HYPERLINK(1)")
    make_flag(session, odd[0], value=-2.5, limit=90.0, unit_of_measure="°C", raised_cause_id=reading.id,
              raised_by_id=plant.operator.id)
    make_flag(session, odd[1], priority="act now", closed_at=TUESDAY + timedelta(hours=3))
    make_flag(session, odd[2], seen_by_id=plant.head_operator.id, seen_at=TUESDAY + timedelta(minutes=20))
    book = book_of(session, plant)
    heading = [cell.value for cell in book["Exceptions"][1]]
    assert [name for name in heading if not name.endswith("_local")] == list(NAMES)
    assert [heading[heading.index(name) + 1] for name in TIMES] == [name + "_local" for name in TIMES]
    told = lines(book, "Exceptions")
    in_csv = list(csv.DictReader(io.StringIO(
        b"".join(week_csv(session, plant.unit, WEEK, AFTERWARDS)).decode("utf-8-sig"), newline="")))
    assert [row["tag"] for row in told] == [row["tag"] for row in in_csv] == ["5E10", "00123", "1E05"]
    assert (told[1]["value"], in_csv[1]["value"]) == (-2.5, "-2.5")
    assert (told[1]["remarks"], in_csv[1]["remarks"]) == ("=HYPERLINK(1)", "'=HYPERLINK(1)")
    assert told[1]["first_raised"] == in_csv[1]["first_raised"] == "2026-11-24T08:00:00-06:00"
    assert told[1]["first_raised_local"] == datetime(2026, 11, 24, 8)  # noqa: DTZ001 - a wall clock
    for one, other in zip(told, in_csv, strict=True):
        for name in set(NAMES) - {"remarks", "value", "limit", "percent_of_limit", "hours_open", "times_seen",
                                  "shifts_open"}:
            assert (one[name] or "") == other[name], name


def test_the_summary_agrees_with_the_rows_and_tells_the_week_before(session: Session, plant: Plant) -> None:
    make_flag(session, plant.motor, TUESDAY, rule="dirty", priority="watch")
    make_flag(session, plant.motor, WEEK_START - timedelta(days=2), rule="smoke", priority="act now")
    factories.make_reading(session, plant.motor, plant.operator, TUESDAY)
    told = {(row["about"], row["item"]): row for row in lines(book_of(session, plant), "Summary")}
    assert told["week", "begins"]["words"] == "2026-11-23T00:00:00-06:00"
    assert told["week", "ends"]["words"] == "2026-11-30T00:00:00-06:00"
    assert told["week", "exported"]["words"] == "2026-12-01T09:00:00-06:00"
    stood, raised = told["compared", "flags that stood"], told["compared", "flags raised"]
    assert [stood[k] for k in ("figure", "week_before", "mean_of_4_before")] == [2, 1, 0.25]
    assert [raised[k] for k in ("figure", "week_before", "mean_of_4_before")] == [1, 1, 0.25]
    assert (raised["per_100_readings"], raised["per_100_week_before"]) == (100, None)  # one flag, one reading; none
    assert told["flags by priority", "act now"]["figure"] == 1
    assert told["flags by priority", "this shift"]["figure"] == 0
    assert told["flags by rule", "dirty"]["figure"] == 1
    assert told["flags raised by shift", "Day"]["figure"] == 1
    assert told["motors read by shift", "Day"]["figure"] == 1
    assert (told["rounds", "shifts that are over"]["figure"], told["rounds", "missed"]["figure"]) == (14, 13)


def test_rounds_and_what_was_not_seen(session: Session, plant: Plant) -> None:
    factories.make_motor(session, plant.unit, "P-102", route_order=2.0)
    factories.make_reading(session, plant.motor, plant.operator, TUESDAY)
    opened = factories.make_round(session, plant.unit, TUESDAY)
    opened.signed_at, opened.signed_by_id = TUESDAY + timedelta(hours=9), plant.head_operator.id
    session.flush()
    session.expire(opened)
    book = book_of(session, plant)
    tuesday = lines(book, "Rounds")[2]
    assert (tuesday["shift_date"], tuesday["shift"], tuesday["result"]) == ("2026-11-24", "Day", "incomplete")
    assert [tuesday[k] for k in ("planned", "read", "skipped", "not_seen")] == [2, 1, 0, 1]
    assert (tuesday["read_by"], tuesday["signed_by"]) == ("Operator", "Head Operator")
    assert tuesday["signed_at"] == "2026-11-24T17:00:00-06:00"
    not_seen = [r for r in lines(book, "Not seen") if (r["shift_date"], r["shift"]) == ("2026-11-24", "Day")]
    assert [(r["tag"], r["answer"], r["reason"], r["hours_since_read"]) for r in not_seen] == [
        ("P-102", "not seen", None, None)]
    later = [r for r in lines(book, "Not seen") if (r["tag"], r["shift"], r["shift_date"]) == (
        "P-101A", "Night", "2026-11-24")]
    assert later[0]["hours_since_read"] == 22.0  # Tuesday 08:00 to Wednesday 06:00


def test_the_shift_that_runs_has_nothing_missing_yet(session: Session, plant: Plant) -> None:
    book = book_of(session, plant, now=WEEK_START + timedelta(hours=8))
    [day_runs] = lines(book, "Rounds")
    assert (day_runs["result"], day_runs["not_seen"]) == ("running", None)
    assert lines(book, "Not seen") == []


def make_greasing(session: Session, plant: Plant, at: datetime, **columns: object) -> Greasing:
    made = Greasing(id=new_id(), content="x", unit_id=plant.unit.id, motor_id=plant.motor.id, end="DE", at=at,
                    received_at=at, person_id=plant.operator.id, **columns)
    session.add(made)
    session.flush()
    return made


def test_greasings_of_the_week_stand_beside_the_chart_and_what_is_overdue_below(session: Session, plant: Plant) -> None:
    make_greasing(session, plant, WEEK_START - timedelta(days=90), grams=30.0)
    make_greasing(session, plant, TUESDAY, grams=45.0, lubricant="motor grease NLGI 2", thickener="polyurea",
                  why="gun counted wrong")
    make_greasing(session, plant, TUESDAY + timedelta(days=7), grams=30.0)
    make_flag(session, plant.motor, TUESDAY, rule="greasing_overdue", end="ODE", says="Overdue by 12 days.")
    done, overdue = lines(book_of(session, plant), "Lubrication")
    assert [done[k] for k in ("what", "tag", "end", "by", "reason")] == [
        "greased", "P-101A", "DE", "Operator", "gun counted wrong"]
    assert [done[k] for k in ("grease_g", "chart_grease_g", "chart_interval_days")] == [45, 30, 90]
    # From 90 days before Monday 00:00 to Tuesday 08:00: 91 days and 8 hours.
    assert done["days_since_last"] == 91.3
    assert (overdue["what"], overdue["end"], overdue["grease_g"], overdue["reason"]) == (
        "overdue", "ODE", None, "Overdue by 12 days.")


def test_changes_and_corrections_of_the_week_are_told_with_before_and_after(session: Session, plant: Plant) -> None:
    for at, who in ((WEEK_START - timedelta(seconds=1), None), (TUESDAY, plant.supervisor), (TUESDAY, None)):
        note_change(session, unit_id=plant.unit.id, at=at, person=who, subject="limit", subject_id=1,
                    label="bearing_hot_grease_alarm_c", field="value", before=90.0, after=85.0, why="=summer")
    first = factories.make_reading(session, plant.motor, plant.operator, TUESDAY, current_a_1=78.0, smoke="none")
    factories.make_reading(session, plant.motor, plant.head_operator, TUESDAY, current_a_1=87.0, smoke="none",
                           unread={"ambient_c": "could not read"}, replaces_id=first.id, replaces_why="misread")
    told = lines(book_of(session, plant), "Changes")
    assert [(r["subject"], r["label"], r["field"], r["before"], r["after"], r["by"], r["why"]) for r in told] == [
        ("limit", "bearing_hot_grease_alarm_c", "value", "90.0", "85.0", "Supervisor", "=summer"),
        ("limit", "bearing_hot_grease_alarm_c", "value", "90.0", "85.0", "command line", "=summer"),
        ("reading", "P-101A", "current_a_1", "78.0", "87.0", "Head Operator", "misread"),
        ("reading", "P-101A", "unread", None, "ambient_c: could not read", "Head Operator", "misread")]


def test_another_units_work_is_never_shown(session: Session, plant: Plant) -> None:
    other = factories.make_unit(session, "Unit 3")
    motor = factories.make_motor(session, other, "P-901")
    make_flag(session, motor, times_seen=9)
    factories.make_reading(session, motor, plant.operator, TUESDAY)
    note_change(session, unit_id=other.id, at=TUESDAY, person=None, subject="motor", subject_id=motor.id, label="P-901",
                field="area", before="a", after="b")
    session.flush()
    told = repr([list(sheet.iter_rows(values_only=True)) for sheet in book_of(session, plant)])
    assert "P-901" not in told


def test_every_column_of_every_sheet_is_explained(session: Session, plant: Plant) -> None:
    book = book_of(session, plant)
    explained = {(row["sheet"], row["column"]) for row in lines(book, "About these columns")}
    for sheet in SHEETS[:-1]:
        for cell in book[sheet][1]:
            if not cell.value.endswith("_local"):
                assert (sheet, cell.value) in explained


def make_start(session: Session, plant: Plant, at: datetime, outcome: str = "ran", **columns: object) -> Start:
    made = Start(id=new_id(), content="x", unit_id=plant.unit.id, motor_id=plant.motor.id, at=at, at_device=at,
                 received_at=at, outcome=outcome, person_id=plant.operator.id, **columns)
    session.add(made)
    session.flush()
    return made


def test_starts_count_the_rolling_hour_over_the_weeks_edge_and_tell_what_they_broke(session: Session,
                                                                                    plant: Plant) -> None:
    for minutes in (-60, -30):
        make_start(session, plant, WEEK_START + timedelta(minutes=minutes))
    make_start(session, plant, WEEK_START, "tripped while starting", duration_s=4.0)  # one 60 min old, one 30
    last = make_start(session, plant, WEEK_START + timedelta(minutes=29), "automatic")  # with those 59 and 29 min old
    make_start(session, plant, WEEK_START + timedelta(minutes=95))
    for rule in ("started_outside_limits", "no_prestart_check"):
        session.add(Finding(cause="start", cause_id=last.id, motor_id=plant.motor.id, at=last.at, rule=rule, end="",
                            priority="this shift", source="general practice", says="x"))
    session.flush()
    told = lines(book_of(session, plant), "Starts")
    assert list(told[0]) == ["tag", "at", "at_local", "outcome", "duration_s", "by", "starts_last_60_min", "allowed",
                             "allowance_60_min", "allowance_by", "min_since_stop"]
    assert {(r["allowance_60_min"], r["allowance_by"]) for r in told} == {(1, "general practice")}  # over 50 hp
    assert [(r["at"], r["outcome"], r["duration_s"], r["starts_last_60_min"], r["allowed"]) for r in told] == [
        ("2026-11-23T00:00:00-06:00", "tripped while starting", 4, 2, "yes"),
        ("2026-11-23T00:29:00-06:00", "automatic", None, 3, "no: no_prestart_check, started_outside_limits"),
        ("2026-11-23T01:35:00-06:00", "ran", None, 1, "yes")]


def test_another_motors_starts_do_not_count(session: Session, plant: Plant) -> None:
    other = factories.make_motor(session, plant.unit, "P-102")
    make_start(session, plant, TUESDAY).motor_id = other.id
    make_start(session, plant, TUESDAY + timedelta(minutes=5))
    assert [r["starts_last_60_min"] for r in lines(book_of(session, plant), "Starts")] == [1, 1]


def test_trips_tell_what_opened_and_what_was_found_since(session: Session, plant: Plant) -> None:
    trip = Trip(id=new_id(), content="x", unit_id=plant.unit.id, motor_id=plant.motor.id, at=TUESDAY, at_device=TUESDAY,
                received_at=TUESDAY, protection="fuse", person_id=plant.operator.id)
    session.add(trip)
    session.flush()
    session.add(TripAct(trip_id=trip.id, kind="cleared", at=TUESDAY + timedelta(hours=5),
                        person_id=plant.head_operator.id, qualified_name="electrician 2",
                        found="phase to ground in box"))
    session.flush()
    session.expire(trip)
    [told] = lines(book_of(session, plant), "Trips")
    assert list(told) == ["tag", "at", "at_local", "protection", "cause", "by", "area", "service", "dip_at",
                          "dip_at_local", "done_since"]
    assert told["done_since"] == "cleared 2026-11-24T13:00:00-06:00 by electrician 2"
    assert [told[k] for k in ("tag", "at", "protection", "cause", "by")] == [
        "P-101A", "2026-11-24T08:00:00-06:00", "fuse", "phase to ground in box (electrician 2)", "Operator"]


def test_minutes_since_the_last_stop_or_trip_are_told_with_a_start(session: Session, plant: Plant) -> None:
    common = {"content": "x", "unit_id": plant.unit.id, "motor_id": plant.motor.id, "person_id": plant.operator.id}
    for kind, hours, more in ((Stop, 9, {}), (Trip, 3, {"protection": "fuse"}), (Stop, -1, {})):
        at = TUESDAY - timedelta(hours=hours)
        session.add(kind(id=new_id(), at=at, at_device=at, received_at=at, **more, **common))
    make_start(session, plant, TUESDAY)
    make_start(session, plant, TUESDAY - timedelta(hours=20))
    assert [r["min_since_stop"] for r in lines(book_of(session, plant), "Starts")] == [None, 180]


def test_a_trip_in_a_power_dip_names_the_dip_and_the_summary_lists_it(session: Session, plant: Plant) -> None:
    dip = Dip(unit_id=plant.unit.id, at=TUESDAY, recorded_at=TUESDAY, person_id=plant.operator.id, remarks="all lights")
    session.add(dip)
    session.flush()
    session.add(Trip(id=new_id(), content="x", unit_id=plant.unit.id, motor_id=plant.motor.id, at=TUESDAY,
                     at_device=TUESDAY, received_at=TUESDAY, protection="low voltage", person_id=plant.operator.id,
                     dip_id=dip.id))
    session.flush()
    book = book_of(session, plant)
    assert [r["dip_at"] for r in lines(book, "Trips")] == ["2026-11-24T08:00:00-06:00"]
    assert [(r["item"], r["words"]) for r in lines(book, "Summary") if r["about"] == "power dip"] == [
        ("2026-11-24T08:00:00-06:00", "all lights")]


def test_doubled_and_wrong_greasings_guns_oil_and_the_drain_plug_are_told(session: Session, plant: Plant) -> None:
    made = make_greasing(session, plant, TUESDAY, grams=46.0, gun="north", stroke_g=1.35, strokes=34.0)
    for rule in ("greased_too_soon", "wrong_lubricant"):
        session.add(Finding(cause="greasing", cause_id=made.id, motor_id=plant.motor.id, at=TUESDAY, rule=rule,
                            end="DE", priority="this shift", source="lubrication chart", says="x"))
    session.add(TemporaryState(key=new_id(), unit_id=plant.unit.id, motor_id=plant.motor.id, end="DE",
                               kind="drain plug out", since=TUESDAY, expected_end=TUESDAY, recorded_at=TUESDAY,
                               person_id=plant.operator.id, greasing_id=made.id,
                               ended_at=TUESDAY + timedelta(hours=2)))
    session.add(OilEntry(id=new_id(), unit_id=plant.unit.id, motor_id=plant.motor.id, end="ODE", at=TUESDAY,
                         received_at=TUESDAY, kind="top-up", amount_ml=250.0, lubricant="oil VG 46",
                         person_id=plant.operator.id))
    session.flush()
    greased, oiled = lines(book_of(session, plant), "Lubrication")
    assert [greased[k] for k in ("doubled", "wrong_lubricant", "gun", "stroke_g", "strokes", "drain_plug_in_at")] == [
        "yes", "yes", "north", 1.35, 34, "2026-11-24T10:00:00-06:00"]
    assert [oiled[k] for k in ("what", "end", "oil_ml", "lubricant", "by")] == [
        "oil: top-up", "ODE", 250, "oil VG 46", "Operator"]


def test_late_actions_and_run_ons_are_lines_of_the_summary(session: Session, plant: Plant) -> None:
    make_flag(session, plant.motor, TUESDAY, rule="vibration", end="DE", owner="fitter 1", action="asked",
              due_at=TUESDAY + timedelta(days=2))
    runs = make_flag(session, plant.motor, TUESDAY, rule="bearing_hot", end="ODE", run_on_reason="no spare",
                     run_on_watch="92 °C")
    session.add(Note(flag_id=runs.id, person_id=plant.head_operator.id, at=TUESDAY, kind="run on", text="x"))
    session.flush()
    told = {r["about"]: r for r in lines(book_of(session, plant), "Summary")}
    late, run_on = told["action late, days"], told["run on"]
    # due on Thursday at 08:00; the week ends on Monday at 00:00, 3 days and 16 hours later
    assert (late["item"], late["figure"], late["words"]) == (
        "P-101A vibration DE", 3.7, "fitter 1, by 2026-11-26T08:00:00-06:00; active")
    assert (run_on["item"], run_on["words"]) == ("P-101A bearing_hot ODE", "no spare (watch 92 °C; Head Operator)")


def test_the_pace_of_a_round_is_each_persons_own(session: Session, plant: Plant) -> None:
    motors = [plant.motor, *(factories.make_motor(session, plant.unit, f"P-2{i}") for i in range(3))]
    for minutes, motor, who in ((0, 0, plant.operator), (1, 1, plant.operator), (2, 3, plant.head_operator),
                                (3, 1, plant.operator), (5, 2, plant.operator), (9, 0, plant.head_operator)):
        factories.make_reading(session, motors[motor], who, TUESDAY + timedelta(minutes=minutes))
    walked = next(r for r in lines(book_of(session, plant), "Rounds") if r["read"])
    # 1 and 4 minutes of the one, 7 of the other; the second entry at one motor is no step
    assert walked["median_s_per_motor"] == 240


def test_the_same_week_at_the_same_moment_is_the_same_bytes(session: Session, plant: Plant) -> None:
    for i in range(12):
        make_flag(session, plant.motor, TUESDAY, value=i / 7, limit=1.0)
    assert bytes_of(session, plant) == bytes_of(session, plant)


def test_a_week_to_come_and_the_first_week_of_all_are_workbooks_too(session: Session, plant: Plant) -> None:
    make_flag(session, plant.motor, TUESDAY)
    for week in ("2030-W01", "1970-W01"):
        assert lines(book_of(session, plant, week), "Exceptions") == []


def test_what_is_no_week_is_refused_before_anything_is_written(session: Session, plant: Plant) -> None:
    file = io.BytesIO()
    with pytest.raises(BadWeek):
        week_workbook(session, plant.unit, "2026-W54", datetime(2026, 12, 1, tzinfo=UTC), file)
    assert file.getvalue() == b""
    with pytest.raises(BadWeek):
        list(week_tables(session, plant.unit, "2026-W54", AFTERWARDS))
