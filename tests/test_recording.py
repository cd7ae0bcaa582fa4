"""Taking an entry in: whose, when, in which round, on which plate; stored once, however many ask at once."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from app import recording
from app.db import Database
from app.entries import BadEntry, Entry
from app.recording import OtherContent, corrected_time
from app.rules.facts import LOCKED_OUT, RUNNING, STANDBY
from app.store import earlier_readings, motors, rounds
from app.store.earlier_readings import Past
from app.store.lubrication import Greasing
from app.store.motors import MotorRun
from app.store.prepared import ask
from app.store.rounds import Reading, Round
from tests import factories
from tests.entering import TAG, Crew, at_once, count, day, greasing_body, night, reading_body


@pytest.fixture
def crew(database: Database) -> Crew:
    return Crew(database)


def stored(crew: Crew, key: uuid.UUID) -> Reading:
    with crew.database.reading() as session:
        return session.scalars(sa.select(Reading).where(Reading.id == key).options(
            sa.orm.joinedload(Reading.round), sa.orm.joinedload(Reading.nameplate))).one()


# once -------------------------------------------------------------------------------------------------------


def test_an_entry_sent_again_is_one_entry_with_the_first_answer(crew: Crew) -> None:
    body = reading_body(current_a=[92.0])
    first, second = crew.enter(body), crew.enter(body, day(3))
    assert (first.stored, second.stored, second.findings) == (True, False, first.findings)


@pytest.mark.parametrize(("body", "kind"), [(reading_body(), Reading), (greasing_body(), Greasing)],
                         ids=["reading", "greasing"])
def test_eight_senders_of_one_entry_store_it_once(crew: Crew, body: dict[str, Any], kind: Any) -> None:
    done = at_once([lambda: crew.enter(body)] * 8)
    assert sorted(d.stored for d in done) == [False] * 7 + [True]
    with crew.database.reading() as session:
        assert count(session, kind) == 1


def test_two_that_claim_one_id_with_other_content_are_told_apart(crew: Crew) -> None:
    key = str(uuid.uuid4())
    done = at_once([lambda i=i: crew.enter(reading_body(id=key, ambient_c=20.0 + i)) for i in range(6)])
    refused = [d for d in done if isinstance(d, OtherContent)]
    assert len(refused) == 5
    assert {p.field for error in refused for p in error.problems} == {"ambient_c"}


def test_eight_tablets_that_open_the_sheet_open_one(crew: Crew) -> None:
    done = at_once([lambda: crew.open_sheet(day(0))] * 8)
    assert len({opened.id for opened in done}) == 1
    with crew.database.reading() as session:
        assert count(session, Round) == 1


def test_a_sheet_opened_while_entries_come_in_is_one_round_and_everything_is_stored(crew: Crew) -> None:
    for i in range(4):
        crew.motor(f"P-2{i}")
        crew.point("DE", tag=f"P-2{i}", interval_days=90.0, last_greased_at=day(-91))
    works: list[Any] = [lambda i=i: crew.read(day(0, minutes=i), day(0, minutes=9), tag=f"P-2{i}") for i in range(4)]
    works += [lambda: crew.open_sheet(day(0, minutes=9)), lambda: crew.sign(day(0, minutes=9))]
    assert not [error for error in at_once(works) if isinstance(error, Exception)]
    with crew.database.reading() as session:
        assert (count(session, Round), count(session, Reading)) == (1, 4)
    for i in range(4):
        assert len(crew.flags("greasing_overdue", f"P-2{i}")) == 1
        assert not [f for f in crew.flags("not_checked", f"P-2{i}") if f.state(day(1)) == "active"]


def test_two_corrections_of_one_entry_at_once_leave_one(crew: Crew) -> None:
    slip = crew.read(day(0))
    done = at_once([lambda i=i: crew.correct(slip, day(0), ambient_c=20.0 + i) for i in range(4)])
    assert sorted(isinstance(d, BadEntry) for d in done) == [False, True, True, True]


# when -------------------------------------------------------------------------------------------------------

RECEIVED = datetime(2026, 11, 24, 13, 12, tzinfo=UTC)


def entry(at: timedelta, device_now: timedelta | None) -> Entry:
    """Taken that much after it was received, by the sender's clock; and that clock's own now."""
    return Entry(uuid.uuid4(), "P-101A", "operator", RECEIVED + at,
                 None if device_now is None else RECEIVED + device_now)


S, M, H, D = (timedelta(**{unit: 1}) for unit in ("seconds", "minutes", "hours", "days"))
#: sender's time, sender's now (both against the server's), what it really was, the clock's error
CLOCKS = [
    ("right clock", -5 * M, 0 * S, -5 * M, 0),
    ("1.9 s slow is the network", -5 * M, -1.9 * S, -5 * M, 0),
    ("1.9 s fast is the network", -5 * M, 1.9 * S, -5 * M, 0),
    ("2 s slow is the clock", -5 * M, -2 * S, -5 * M + 2 * S, 2),
    ("3 min fast", -2 * M, 3 * M, -5 * M, -180),
    ("a day slow", -D - 5 * M, -D, -5 * M, 86400),
    ("in the year 2099", 26_700 * D - 5 * M, 26_700 * D, -5 * M, -26_700 * 86400),
    ("taken after its own now", 4 * M, 0 * S, 0 * S, 0),
    ("no word of the clock", -5 * M, None, -5 * M, 0),
    ("no word, a little ahead", 9 * M, None, 0 * S, 0),
    ("no word, ten minutes ahead", 10 * M, None, 0 * S, 0),
]


@pytest.mark.parametrize(("at", "device_now", "really", "offset_s"), [c[1:] for c in CLOCKS],
                         ids=[c[0] for c in CLOCKS])
def test_a_wrong_clock_is_put_right_by_its_own_now(at: timedelta, device_now: timedelta | None, really: timedelta,
                                                   offset_s: float) -> None:
    assert corrected_time(entry(at, device_now), "taken_at", RECEIVED) == (RECEIVED + really, offset_s)


def test_a_time_far_ahead_without_a_word_of_the_clock_is_asked_about() -> None:
    with pytest.raises(BadEntry) as refused:
        corrected_time(entry(10 * M + S, None), "taken_at", RECEIVED)
    assert [p.field for p in refused.value.problems] == ["taken_at"]
    assert "device_now" in refused.value.problems[0].says


def test_what_the_clock_said_and_when_it_arrived_are_both_kept(crew: Crew) -> None:
    fast = reading_body(day(0, minutes=3), device_now=day(0, minutes=4).isoformat())
    row = stored(crew, crew.enter(fast, day(0, minutes=1)).id)
    assert (row.taken_at, row.taken_at_device, row.clock_offset_s, row.received_at) == (
        day(0), day(0, minutes=3), -180.0, day(0, minutes=1))


def test_a_far_future_stamp_wins_no_race_for_the_newest(crew: Crew) -> None:
    crew.enter(reading_body(day(20_000), device_now=day(20_000, minutes=1).isoformat(), state="standby"),
               day(0, minutes=1))
    crew.read(day(1))
    assert crew.condition() == (RUNNING, day(1))


def test_both_half_past_one_of_the_night_the_clocks_go_back_are_kept_apart_in_order(crew: Crew) -> None:
    """The night shift that began on 31 October 2026 lasts 13 h; one hour lies between 01:30 CDT and 01:30 CST."""
    second = stored(crew, crew.enter(reading_body(taken_at="2026-11-01T01:30:00-06:00")).id)
    first = stored(crew, crew.enter(reading_body(taken_at="2026-11-01T01:30:00-05:00"), second.received_at).id)
    assert second.taken_at - first.taken_at == timedelta(hours=1)
    assert first.round_id == second.round_id
    assert first.round.label == "Night 2026-10-31"
    assert first.round.ends_at - first.round.starts_at == timedelta(hours=13)
    with crew.database.reading() as session:
        in_order = rounds.readings_of_round(session, first.round_id)
        assert [r.id for r in in_order] == [first.id, second.id]
        assert session.scalars(sa.select(MotorRun)).one().run_s == 3600.0


SHIFTS = [
    ("the first minute of the day", "2026-11-24T06:00:00-06:00", "Day 2026-11-24"),
    ("the last second of the night", "2026-11-24T05:59:59-06:00", "Night 2026-11-23"),
    ("after midnight", "2026-11-24T02:10:00-06:00", "Night 2026-11-23"),
    ("just before midnight", "2026-11-23T23:50:00-06:00", "Night 2026-11-23"),
    ("a night that lasts eleven hours", "2027-03-14T05:30:00-05:00", "Night 2027-03-13"),
    ("New Year's morning", "2027-01-01T01:00:00-06:00", "Night 2026-12-31"),
]


@pytest.mark.parametrize(("taken_at", "label"), [c[1:] for c in SHIFTS], ids=[c[0] for c in SHIFTS])
def test_an_entry_lies_in_the_round_of_its_own_time(crew: Crew, taken_at: str, label: str) -> None:
    row = stored(crew, crew.enter(reading_body(taken_at=taken_at), datetime(2027, 4, 1, tzinfo=UTC)).id)
    assert row.round.label == label
    assert row.round.starts_at <= row.taken_at < row.round.ends_at


# whose ------------------------------------------------------------------------------------------------------


def test_a_page_enters_for_who_is_signed_in_and_a_token_for_who_is_named(crew: Crew) -> None:
    body = reading_body(by="supervisor")
    assert stored(crew, crew.enter(body, person=crew.operator).id).person_id == crew.operator.id
    named = stored(crew, crew.enter({**body, "id": str(uuid.uuid4())}, token=crew.token_row).id)
    assert (named.person_id, named.token_id) == (crew.supervisor.id, crew.token_row.id)


def test_a_person_of_two_units_is_known_in_both_and_one_of_neither_is_not(crew: Crew) -> None:
    with crew.writing() as session:
        other = factories.make_unit(session, "Unit 3")
        factories.make_person(session, [other, crew.unit], "operator", "both")
        factories.make_person(session, other, "operator", "else")
    assert crew.enter(reading_body(by="BOTH"), token=crew.token_row).stored
    with pytest.raises(BadEntry) as refused:
        crew.enter(reading_body(by="else"), token=crew.token_row)
    assert [p.field for p in refused.value.problems] == ["by"]


# on which plate ---------------------------------------------------------------------------------------------


def test_a_reading_is_judged_by_the_plate_that_was_fitted_then(crew: Crew) -> None:
    with crew.writing() as session:
        motor = motors.motor_by_tag(session, crew.unit.id, "P-101A")
        assert motor is not None
        swapped = factories.make_nameplate(session, motor, rated_amps=96.0, fitted_from=day(1), confirmed_at=day(1))
    before = crew.read(day(0), received=day(3), current_a=[92.0])
    after = crew.read(day(2), current_a=[92.0])  # 95.8 % of 96 A
    assert [f.rule for f in before.findings] == ["amps_over_nameplate"] and after.findings == []
    assert stored(crew, after.id).nameplate_id == swapped.id != stored(crew, before.id).nameplate_id


def test_a_plate_nobody_confirmed_suspends_the_percent_and_keeps_the_amps(crew: Crew) -> None:
    with crew.writing() as session:
        motor = motors.motor_by_tag(session, crew.unit.id, "P-101A")
        assert motor is not None
        factories.make_nameplate(session, motor, rated_amps=50.0, fitted_from=day(1))
    entered = crew.read(day(2), current_a=[92.0])
    assert entered.findings == [] and stored(crew, entered.id).current_a == (92.0,)


# what the motor is doing ------------------------------------------------------------------------------------


def test_a_motors_condition_is_the_newest_by_observed_time(crew: Crew) -> None:
    crew.read(day(0, hours=2), state=STANDBY)
    crew.read(day(0), received=day(0, hours=3))
    assert crew.condition() == (STANDBY, day(0, hours=2))
    crew.set_condition(day(0, hours=4), RUNNING)
    crew.read(day(0, hours=3), received=day(0, hours=5), state=STANDBY)
    assert crew.condition() == (RUNNING, day(0, hours=4))


def test_a_skip_observes_nothing(crew: Crew) -> None:
    before = crew.condition()
    crew.skip(day(0))
    assert crew.condition() == before


def test_a_correction_takes_its_entry_out_of_the_observations(crew: Crew) -> None:
    crew.read(day(0), state=STANDBY)
    slip = crew.read(day(1))
    crew.correct(slip, day(0, hours=-1), received=day(1, hours=1), state=STANDBY)  # it was the day before
    assert crew.condition() == (STANDBY, day(0))


def test_a_lock_stands_when_the_entry_that_saw_it_is_corrected(crew: Crew) -> None:
    seen = crew.read(day(0), state=LOCKED_OUT)
    crew.correct(seen, day(0), state=STANDBY)
    assert crew.condition()[0] == LOCKED_OUT


def test_at_once_the_newest_observation_wins_whatever_the_order(crew: Crew) -> None:
    states = [RUNNING, STANDBY] * 4
    at_once([lambda i=i, s=s: crew.read(day(0, minutes=i), day(0, hours=1), state=s) for i, s in enumerate(states)])
    assert crew.condition() == (STANDBY, day(0, minutes=7))
    with crew.database.reading() as session:
        # running from minutes 0, 2, 4 and 6, each for one minute
        assert session.scalars(sa.select(MotorRun)).one().run_s == 4 * 60.0


def test_a_motor_is_taken_to_stay_as_it_was_last_observed(crew: Crew) -> None:
    crew.read(day(0))
    crew.read(night(0))
    crew.read(day(1), state=STANDBY)
    crew.read(day(3))
    crew.read(night(3))
    with crew.database.reading() as session:
        assert session.scalars(sa.select(MotorRun)).one().run_s == 36 * 3600.0  # 24 h, then 12 h


def test_running_time_is_the_same_whatever_the_order_of_arrival(crew: Crew) -> None:
    crew.read(day(3), state=STANDBY)
    crew.read(day(0), received=day(3, hours=1))
    crew.read(day(1), received=day(3, hours=2), state=STANDBY)
    crew.read(day(2), received=day(3, hours=3))
    with crew.database.reading() as session:
        assert session.scalars(sa.select(MotorRun)).one().run_s == 48 * 3600.0  # the first and the third day


FIELDS = [("bearing_temp_c_de", "bearing_temp_c.DE"), ("vibration_feel_ode", "vibration_feel.ODE"),
          ("current_a_3", "current_a.3"), ("replaces_id", "replaces"), ("winding_temp_c", "winding_temp_c")]


@pytest.mark.parametrize(("column", "field"), FIELDS)
def test_a_column_is_named_as_the_field_it_was_sent_in(column: str, field: str) -> None:
    assert recording.field_of(column) == field


# kept for the next entry -----------------------------------------------------------------------------------

EVERYTHING: dict[str, Any] = {
    "smoke": "none", "leak": "seen", "guard": "in place", "ground": "loose",
    "vibration_feel": {"DE": "as usual", "ODE": "could not feel"}, "vibration_mm_s": {"DE": 2, "ODE": 3.25},
    "bearing_temp_c": {"DE": 61, "ODE": 58.4}, "method": "contact", "winding_temp_c": 71.5,
    "winding_method": "infrared", "current_a": [81, 82.5, 80.25], "voltage_v": "not fitted",
    "lubricant": {"DE": "ok", "ODE": "not fitted"}, "cleanliness": "dusty", "ambient_c": -3,
    "remarks": " Café  by the gate\r\n"}


@pytest.mark.parametrize("seen", [{}, EVERYTHING], ids=["nothing more", "every field"])
def test_what_is_kept_of_an_entry_for_the_next_one_is_what_another_server_reads(
        crew: Crew, seen: dict[str, Any]) -> None:
    def newest(database: Database) -> tuple[Past, list[str]]:
        asked: list[str] = []
        with database.writing() as session:
            motor_id = motors.motor_by_tag(session, crew.unit.id, TAG).id
            ids = ask(session, earlier_readings.asking_running_ids(motor_id, day(1), 1))
            sa.event.listen(database.engine, "before_cursor_execute", lambda *told: asked.append(told[2]))
            [past] = earlier_readings.running_past(session, motor_id, day(1), ids)
        return past, asked

    crew.look(day(0))  # opens the sheet
    crew.look(day(0, hours=1) + timedelta(microseconds=7), **seen)
    other = Database(crew.database.url.render_as_string(hide_password=False))
    (kept, asked), (read, asked_there) = newest(crew.database), newest(other)
    other.close()
    assert (len(asked), len(asked_there)) == (0, 1)
    assert kept == read
    assert [type(value) for value in kept.row] == [type(value) for value in read.row]
