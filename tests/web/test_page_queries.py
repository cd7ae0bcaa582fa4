"""Every page asks the database at most eight times, whatever it lists: a page must not slow down as a unit grows."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy.orm import Session

from app import conditions, half_way, handovers, reviewing
from app.db import Database
from app.entries import read_greasing, read_reading, read_start
from app.recording import Sender, open_sheet, record_greasing, record_reading
from app.start_records import record_start
from app.store.devices import enrol
from app.store.dips import Dip, DipAnswer
from app.store.handovers import UNDERSTOOD
from app.store.motors import Motor
from app.store.people import HEAD_OPERATOR, SUPERVISOR, Person
from app.store.rounds import Round
from app.store.routes import Hand, Route, add_route, take_off
from app.store.starts import PrestartCheck, Release, ShaftTurn, Start, Trip, TripAct
from app.store.units import Unit
from tests.conftest import Clock
from tests.factories import NOW, form_token, make_motor, make_person, make_unit, sign_in
from tests.web.at_motor import flags_of
from tests.web.test_access_matrix import Things, pages, path_of

MOST = 8
#: Many pages in one answer, for a tablet to take along: each of them counts by itself.
BUNDLES = {"offline.pages"}


@contextmanager
def counted(database: Database) -> Iterator[list[str]]:
    """The statements that the database is asked meanwhile."""
    asked: list[str] = []

    def note(connection: object, cursor: object, statement: str, *rest: object) -> None:
        if not statement.startswith(("BEGIN", "PRAGMA", "SAVEPOINT", "RELEASE")):
            asked.append(statement)

    sa.event.listen(database.engine, "before_cursor_execute", note)
    yield asked
    sa.event.remove(database.engine, "before_cursor_execute", note)


def filled(database: Database, motors: int, shifts: int) -> tuple[Person, Things]:
    """A unit with so many motors, each read, greased and flagged in so many shifts; its supervisor."""
    with database.writing() as session:
        unit = make_unit(session, "Unit 9")
        person = make_person(session, unit, SUPERVISOR, "boss of nine")
        made = [make_motor(session, unit, f"X-{i}", route_order=float(i)) for i in range(motors)]
        for ago in reversed(range(shifts)):
            at = NOW - timedelta(hours=12 * ago)
            opened = open_sheet(session, unit, at, person)
            for i, motor in enumerate(made):
                then = at + timedelta(minutes=i)
                entry, greased = _entries(session, unit, person, motor.tag, then)
        tablet = enrol(session, unit, "tablet", "key", 10, person, NOW)
        route = add_route(Hand(session, unit, person, NOW), "walk", "shift", made)
        _left_behind(session, unit, opened, made, route)
        session.commit()
    return person, Things(made[0].id, flags_of(database, made[0])[0].id, opened.id, person.id, entry, greased,
                          tablet.id, route.id)


def _left_behind(session: Session, unit: Unit, opened: Round, motors: list[Motor], route: Route) -> None:
    """All that pages tell beside entries and flags, done by others than who looks: a sheet given, taken and signed,
    what stands half-way, a trip and a dip with what came after them, starts, a lock, a motor checked once a week, a
    bearing whose kind only the plate tells, and what came late."""
    give, take = (make_person(session, unit, HEAD_OPERATOR, f"{word} of nine") for word in ("giver", "taker"))
    first, last = motors[0], motors[-1]
    last.checked_every, first.points[0].kind = "week", None
    take_off(Hand(session, unit, give, NOW), route, last)
    for motor in motors:
        half_way.begin(session, unit, motor, give, NOW, key=uuid.uuid4(), kind="guard off",
                       expected_end=NOW + timedelta(hours=9))
    trip, start = uuid.uuid4(), {"content": "", "unit_id": unit.id, "at_device": NOW, "received_at": NOW}
    session.add_all([
        Trip(id=trip, motor_id=first.id, at=NOW, protection="overload relay", person_id=give.id, **start),
        *(Start(id=uuid.uuid4(), motor_id=motor.id, at=NOW, outcome="ran", person_id=give.id, **start)
          for motor in motors)])
    dip = Dip(unit_id=unit.id, at=NOW, recorded_at=NOW, person_id=give.id)
    session.add(dip)
    session.flush()
    session.add(TripAct(trip_id=trip, kind="cleared", at=NOW, person_id=take.id))
    session.add_all(DipAnswer(dip_id=dip.id, motor_id=motor.id, answer="left down", at=NOW, person_id=give.id)
                    for motor in motors)
    conditions.change(session, first, conditions.Wanted("locked out", "4471", "Ida Berg"), give, NOW)
    reviewing.sign(session, unit, opened, give, NOW + timedelta(minutes=20))
    made = handovers.give(session, unit, opened, give, NOW + timedelta(minutes=21), "", "")
    handovers.take(session, unit, opened, take, NOW + timedelta(minutes=22),
                   {item.key: (UNDERSTOOD, "") for item in made.items}, False)
    for motor in motors:  # after the signature
        _entries(session, unit, give, motor.tag, NOW + timedelta(minutes=23))


def _entries(session: Session, unit: Unit, person: Person, tag: str, at: datetime) -> tuple[uuid.UUID, uuid.UUID]:
    sender, about = Sender(unit, at, person=person), {"tag": tag, "by": person.sign_in}
    entry = record_reading(session, sender, read_reading({
        "id": str(uuid.uuid4()), "taken_at": at.isoformat(), "state": "running", "smoke": "seen",
        "current_a": [92.0], "bearing_temp_c": {"DE": 80.0, "ODE": 60.0}, "method": "contact", **about}))
    greased = record_greasing(session, sender, read_greasing({
        "id": str(uuid.uuid4()), "at": at.isoformat(), "end": "DE", "grams": 30, **about}))
    return entry.id, greased.id


@pytest.mark.parametrize(("motors", "shifts"), [(2, 1), (9, 3)], ids=["two motors", "nine motors, three shifts"])
def test_a_page_asks_the_database_at_most_eight_times(
        app: Flask, app_database: Database, clock: Clock, motors: int, shifts: int) -> None:
    person, things = filled(app_database, motors, shifts)
    clock.advance(minutes=30)
    client = sign_in(app.test_client(), person)
    over, asked_for = {}, 0
    for rule, method in pages(app):
        if method != "GET" or rule.endpoint in {"accounts.sign_out", *BUNDLES}:
            continue
        asked_for += _asks(app_database, client, path_of(app, rule, things), over) == 200
    with app_database.reading() as session:
        dip_id = session.scalars(sa.select(Dip.id)).one()
    for path in (f"/review?open={things.flag_id}", f"/review?open={things.flag_id}&round={things.round_id}",
                 f"/dips?dip={dip_id}", "/trends?weeks=26", f"/motors/{things.motor_id}/trends?weeks=52"):
        assert _asks(app_database, client, path, over) == 200, path
    assert not over
    assert asked_for > 50


def _asks(database: Database, client: FlaskClient, path: str, over: dict[str, tuple[int, list[str]]],
          form: dict[str, str] | None = None) -> int:
    """How a page, or the form sent to it, is answered the second time (the first look at a sheet opens it). Into `over`
    goes what it asks then, where that is too much."""
    for _ in range(2):
        with counted(database) as asked:
            answer = client.get(path) if form is None else client.post(path, data=form)
        answer.close()
    if len(asked) > MOST:
        over[path] = len(asked), asked
    return answer.status_code


def test_nor_do_the_pages_of_a_start_for_whatever_is_on_record_of_the_motor(
        app: Flask, app_database: Database, clock: Clock) -> None:
    """It runs, its first-run watch is under way, it is one of a pair, and something of each kind was recorded."""
    person = filled(app_database, 2, 1)[0]
    with app_database.writing() as session:
        ran, spare = session.scalars(sa.select(Motor).where(Motor.tag.in_(["X-1", "X-0"])).order_by(Motor.tag.desc()))
        of_motor = {"motor_id": ran.id, "at": NOW, "person_id": person.id}
        session.add_all([
            Release(cause="jam", **of_motor), ShaftTurn(**of_motor), ShaftTurn(**of_motor | {"motor_id": spare.id}),
            PrestartCheck(id=uuid.uuid4(), unit_id=ran.unit_id, why="", passed=False, **of_motor,
                          answers={"guard": {"answer": "no", "by": "Ida Berg"}})])
        spare.standby_partner, begun = ran.tag, NOW + timedelta(minutes=25)
        sender = Sender(session.get_one(Unit, ran.unit_id), begun, person=person)
        record_start(session, sender, read_start({"id": str(uuid.uuid4()), "tag": ran.tag, "at": begun.isoformat(),
                                                  "by": person.sign_in, "outcome": "ran"}))
        session.commit()
        motor_ids = ran.id, spare.id
    clock.advance(minutes=30)
    client, over = sign_in(app.test_client(), person), {}
    for path in [f"/motors/{motor_id}/{page}" for motor_id in motor_ids for page in ("start", "prestart")]:
        for back in (0, 10):  # the clock set back, so that more is on record than can have been
            clock.advance(minutes=-back)
            client.get(path)
            with counted(app_database) as asked:
                told = client.get(path).text
            if path == f"/motors/{motor_ids[0]}/start":
                assert "First-run watch" in told and "Standby pair" in told and "Answered no" in told
            if len(asked) > MOST:
                over[path, back] = len(asked), asked
            clock.advance(minutes=back)
    assert not over


def test_nor_does_a_page_that_comes_back_with_what_is_wrong(app: Flask, app_database: Database, clock: Clock) -> None:
    """A form that cannot be stored is shown again: with the same looks as before it was sent."""
    person, things = filled(app_database, 9, 3)
    motor = f"/motors/{things.motor_id}"
    begun = NOW + timedelta(minutes=25)
    with app_database.writing() as session:
        sender = Sender(session.get_one(Unit, session.get_one(Motor, things.motor_id).unit_id), begun, person=person)
        used = record_start(session, sender, read_start({  # a first-run watch is under way
            "id": str(uuid.uuid4()), "tag": "X-0", "at": begun.isoformat(), "by": person.sign_in, "outcome": "ran"})).id
        dip_id = session.scalars(sa.select(Dip.id)).one()
        session.commit()
    clock.advance(minutes=30)
    client, over = sign_in(app.test_client(), person), {}
    token = {"csrf_token": form_token(client)}
    for path, form, status, words in [
            (f"{motor}/entry", {"state": "running", "amps_1": "many"}, 422, "many"),
            (f"{motor}/start", {"what": "ran", "seen_at": "half past"}, 422, "half past"),
            (f"{motor}/start", {"what": "ran", "id": "none"}, 422, ""),
            (f"{motor}/start", {"what": "did not start", "id": str(used)}, 422, "this page was used before"),
            (f"{motor}/release", {"cause": "jam"}, 409, "no tries wait"),
            (f"/dips/{dip_id}{motor}", {}, 422, "say what it did"),
            (f"/flags/{things.flag_id}/close", {}, 422, ""),
            (f"/flags/{things.flag_id}/done", {"text": "x", "version": "999"}, 409, "changed while you looked"),
            (f"{motor}/condition", {}, 422, ""), (f"{motor}/grease", {}, 422, ""),
            (f"/handover/{things.round_id}/take", {}, 422, ""), (f"/settings/people/{person.id}", {}, 400, "")]:
        assert _asks(app_database, client, path, over, {**token, **form}) == status, path
        assert words in client.post(path, data={**token, **form}).text, path
    assert not over, {path: len(asked) for path, (_, asked) in over.items()}
