"""What is kept by its rows is what the database holds: read again, changed or not, on both databases."""

from __future__ import annotations

import re
import sys
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.db import Database
from app.store import earlier_readings, people, rounds, start_ground
from app.store.motors import Motor
from app.store.people import OPERATOR, SignedIn
from app.store.prepared import Prepared, ask_together
from app.store.rounds import facts_from
from app.store.sheet_ground import Asked, entries_of_round, ground_and_entries, ground_of
from tests import factories
from tests.factories import NOW


def _signed_in(database: Database) -> int:
    """An operator of two units with a session of an hour; their id."""
    with database.writing() as session:
        unit, other = factories.make_unit(session), factories.make_unit(session, name="Other unit")
        person = factories.make_person(session, unit, OPERATOR, "ana")
        person.units.append(other)
        session.add(SignedIn(key="k" * 64, person_id=person.id, unit_id=unit.id, started_at=NOW,
                             expires_at=NOW + timedelta(hours=1)))
        session.commit()
        return person.id


def test_a_session_reads_as_the_models_would_read_it(database: Database) -> None:
    _signed_in(database)
    with database.reading() as session:
        kept = people.live_session(session, "k" * 64, NOW)
        plain = session.scalars(sa.select(SignedIn)).unique().one()
        assert kept is not None
        for mine, theirs in ((kept, plain), (kept.person, plain.person), (kept.unit, plain.unit),
                             *zip(kept.unit.patterns, plain.unit.patterns, strict=True)):
            names = [a.key for a in sa.inspect(type(theirs)).column_attrs]
            assert {n: getattr(mine, n) for n in names} == {n: getattr(theirs, n) for n in names}
        assert [u.name for u in kept.person.units] == sorted(u.name for u in plain.person.units)
        assert len(kept.person.units) == 2 and kept.unit.calendar == plain.unit.calendar


def test_what_changed_is_told_at_once_and_what_did_not_is_the_same_object(database: Database) -> None:
    person_id = _signed_in(database)

    def ask() -> SignedIn | None:
        with database.reading() as session:
            return people.live_session(session, "k" * 64, NOW)

    first, again = ask(), ask()
    assert first is not None and first is again
    with database.writing() as session:
        session.get_one(people.Person, person_id).active = False
        session.commit()
    changed = ask()
    assert changed is not None and first.person.active and not changed.person.active
    with database.writing() as session:
        people.end_sessions(session, session.get_one(people.Person, person_id), NOW)
        session.commit()
    assert ask() is None


def test_a_motor_on_the_sheet_is_what_the_database_holds_after_each_change_and_after_it_was_undone(
        database: Database) -> None:
    """Told by both statements; a motor that nobody changed stays the object it was, whatever was entered at it."""
    with database.writing() as session:
        plant = factories.make_plant(session)
        other = factories.make_motor(session, plant.unit, "P-102")
        opened = factories.make_round(session, plant.unit, NOW)
        session.commit()
    asked = Asked(plant.unit.id, opened.shift_date, opened.shift_name, NOW, NOW, NOW, NOW)

    def told() -> tuple[Any, Any, list[str]]:
        with database.reading() as session:
            mine, others = ground_of(session, asked).motors
            together, entries = ground_and_entries(session, asked)
            assert [mine.motor, others.motor] == [walked.motor for walked in together.motors]
            assert entries == entries_of_round(session, opened.id)
            shown = mine.motor
            return ((shown.tag, shown.condition, [p.fitted_from for p in shown.nameplates], shown.points), others.motor,
                    [r.state or "" for r in entries.get(shown.id, [])])

    def changed(**columns: Any) -> None:
        with database.writing() as session:
            session.execute(sa.update(Motor).where(Motor.id == plant.motor.id).values(**columns))
            session.commit()

    first, of_other, entered = told()
    assert first[:2] == ("P-101A", "running") and len(first[3]) == 2 and entered == []
    changed(tag="P-101B", condition="standby")
    assert told()[0][:2] == ("P-101B", "standby")
    with database.writing() as session:
        motor = session.get_one(Motor, plant.motor.id)
        factories.make_nameplate(session, motor, fitted_from=NOW)
        for minute, state in enumerate(("running", "standby")):
            factories.make_reading(session, motor, plant.operator, NOW + timedelta(minutes=minute), state=state)
        session.commit()
    swapped, _, entered = told()
    assert swapped[2] == [factories.LONG_AGO, NOW] and entered == ["running", "standby"]
    changed(tag="P-101A", condition="running")
    back, still, _ = told()
    assert back[:2] == first[:2] and still is of_other and still.id == other.id


def test_earlier_readings_kept_by_their_rows_are_the_readings(database: Database) -> None:
    with database.writing() as session:
        plant = factories.make_plant(session)
        for hour in range(3):
            factories.make_reading(session, plant.motor, plant.operator, NOW - timedelta(hours=hour),
                                   bearing_temp_c_de=60.0 + hour, unread={"current_a": "not fitted"})
        session.commit()
    for _ in range(2):  # made, then kept
        with database.reading() as session:
            past = earlier_readings.last_running_past(session, plant.motor.id, NOW)
            plain = rounds.last_running(session, plant.motor.id, NOW)
            assert len(past) == 2 and [p.facts for p in past] == [facts_from(r) for r in plain]
            assert [p.row.taken_at for p in past] == [r.taken_at for r in plain]


def test_a_save_reads_earlier_readings_by_their_ids_whoever_stored_them(database: Database) -> None:
    """Nothing is kept yet, then all but one that another server stored: each time it is what the database holds."""
    with database.writing() as session:
        plant = factories.make_plant(session)
        for hour in range(1, 6):
            factories.make_reading(session, plant.motor, plant.operator, NOW - timedelta(hours=hour),
                                   bearing_temp_c_de=60.0 + hour)
        session.commit()
    for added in (0, 3, 0):  # more than a save reads whole
        with database.writing() as session:
            for minute in range(added):
                factories.make_reading(session, plant.motor, plant.operator, NOW - timedelta(minutes=minute + 1),
                                       bearing_temp_c_de=70.0 + minute)
            session.commit()
        with database.reading() as session:
            _, ids = ask_together(session, earlier_readings.asking_newest_running(plant.motor.id, NOW),
                                  earlier_readings.asking_running_ids(plant.motor.id, NOW))
            past = earlier_readings.running_past(session, plant.motor.id, NOW, ids)
            plain = rounds.last_running(session, plant.motor.id, NOW)
            assert len(plain) >= 5 and [p.facts for p in past] == [facts_from(r) for r in plain]


def test_an_entry_stored_at_the_second_try_with_other_content_is_judged_by_what_was_stored(database: Database) -> None:
    """The first try was looked at by what came after it, then undone: the disk was full."""
    key = uuid.uuid4()
    with database.writing() as session:
        plant = factories.make_plant(session)
        session.commit()

    def stored(session: Session, bearing_c: float, received_at: datetime) -> list[float | None]:
        made = factories.make_reading(session, session.merge(plant.motor), session.merge(plant.operator),
                                      NOW - timedelta(hours=1), id=key, bearing_temp_c_de=bearing_c)
        made.received_at = received_at
        return [p.facts.bearing_temp_c.de for p in earlier_readings.last_running_past(session, plant.motor.id, NOW)]

    with database.writing() as session:
        assert stored(session, 95.0, NOW) == [95.0]
        session.rollback()
    with database.writing() as session:
        assert stored(session, 65.0, NOW + timedelta(seconds=20)) == [65.0]


@pytest.fixture
def threads_in_turns() -> Iterator[None]:
    """Threads take over from each other as often as can be: what depends on the order shows."""
    usual = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    yield
    sys.setswitchinterval(usual)


@pytest.mark.usefixtures("threads_in_turns")
def test_many_who_ask_first_at_once_are_all_answered(database: Database) -> None:
    """The server has just begun, and a shift's tablets are all there."""
    person_id = _signed_in(database)
    for _ in range(20):
        statement = Prepared(lambda: sa.select(SignedIn.person_id, SignedIn.started_at))
        ready = threading.Barrier(8)

        def ask(statement: Prepared = statement, ready: threading.Barrier = ready) -> list[Any]:
            with database.reading() as session:
                ready.wait(timeout=30)
                return statement.values(session, statement.rows(session, {})[0])

        with ThreadPoolExecutor(8) as threads:
            told = [asked.result(timeout=60) for asked in [threads.submit(ask) for _ in range(8)]]
        assert told == [[person_id, NOW]] * 8


def test_statements_first_asked_at_once_are_put_together_one_after_the_other_and_each_once(database: Database) -> None:
    """Two that share a model, made by two threads at a time, came out as joins that could not be."""
    _signed_in(database)
    begun, ended = [], []

    def made(column: Any) -> Any:
        begun.append(column)
        time.sleep(0.02)  # long enough for the others to come
        assert len(begun) == len(ended) + 1
        ended.append(column)
        return sa.select(column)

    statements = [Prepared(lambda: made(SignedIn.person_id)), Prepared(lambda: made(SignedIn.started_at))]
    ready = threading.Barrier(8)

    def ask(statement: Prepared) -> int:
        with database.reading() as session:
            ready.wait(timeout=30)
            return len(statement.rows(session, {}))

    with ThreadPoolExecutor(8) as threads:
        assert list(threads.map(ask, statements * 4, timeout=60)) == [1] * 8
    assert len(begun) == 2


def test_how_many_of_the_newest_are_asked_for_is_said_to_postgresql_in_the_statement(
        new_database: Callable[..., Database]) -> None:
    """It takes "the newest $7" for a tenth of all there are, and after years plans the start page anew each time."""
    database, asked = new_database("postgresql"), list[str]()
    with database.writing() as session:
        plant = factories.make_plant(session)
        session.commit()
    sa.event.listen(database.engine, "before_cursor_execute", lambda *told: asked.append(told[2]))
    with database.reading() as session:
        start_ground.on_record(session, plant.motor.id, NOW, start_ground.Unlogged("start_not_logged", NOW, NOW), NOW)
        start_ground.told(session, plant.motor.id)
    assert len(asked) == 2
    for statement in asked:
        limits = re.findall(r"LIMIT (\S+)", statement)
        assert limits and not [word for word in limits if "%" in word], limits
