"""What the start rules, the start page and the first-run watch look at comes in one statement each, and is, kind by
kind, the newest that the tables hold."""

from __future__ import annotations

import random
import uuid
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.db import Database
from app.store import first_run, pair_ground, start_ground
from app.store.changes import Change
from app.store.flags import Finding
from app.store.motors import Motor, MotorRun
from app.store.people import Person
from app.store.rounds import Reading
from app.store.start_ground import Unlogged
from app.store.starts import (
    OUTCOMES,
    PROTECTIONS,
    TRIP_ACTS,
    PrestartCheck,
    Release,
    ShaftTurn,
    Start,
    Stop,
    Trip,
    TripAct,
)
from tests import factories
from tests.factories import NOW, Plant

RULE = "start_not_logged"


class Past:
    """Rows of every kind at one motor, at instants around NOW that often fall together."""

    def __init__(self, session: Session, plant: Plant, motor: Motor, seed: int, most: int) -> None:
        self.session, self.plant, self.motor, self.by_chance = session, plant, motor, random.Random(seed)
        for kind in (self.starts, self.stops, self.trips, self.others, self.looks):
            for i in range(most):
                kind(i)
        session.flush()

    def at(self) -> datetime:
        return NOW + timedelta(minutes=self.by_chance.randint(-400, 60))

    def person(self) -> Person:
        return self.by_chance.choice([self.plant.operator, self.plant.head_operator])

    def entry(self, kind: Any, **columns: Any) -> Any:
        """Received at an instant of its own: of two at one time it is known which came later."""
        at = self.at()
        received = at + timedelta(seconds=len(self.session.new) + 1, microseconds=self.by_chance.randrange(10**6))
        row = kind(id=uuid.UUID(int=self.by_chance.getrandbits(128)), content="", unit_id=self.plant.unit.id,
                   motor_id=self.motor.id, at=at, at_device=at, received_at=received, person_id=self.person().id,
                   clock_offset_s=float(self.by_chance.choice([0, -90])), **columns)
        self.session.add(row)
        return row

    def starts(self, _i: int) -> None:
        self.entry(Start, outcome=self.by_chance.choice(OUTCOMES), duration_s=self.by_chance.choice([None, 4.5]))

    def stops(self, _i: int) -> None:
        self.entry(Stop)

    def trips(self, _i: int) -> None:
        trip = self.entry(Trip, protection=self.by_chance.choice(PROTECTIONS),
                          cause=self.by_chance.choice([None, "jam"]))
        self.session.flush()
        for _ in range(self.by_chance.randint(0, 3)):
            self.session.add(TripAct(trip_id=trip.id, kind=self.by_chance.choice(TRIP_ACTS), at=self.at(),
                                     person_id=self.person().id, qualified_name=self.by_chance.choice([None, "Ida"]),
                                     found=self.by_chance.choice([None, "worn"])))

    def others(self, i: int) -> None:
        """Of one kind no two at one instant: nothing says which would be the newer."""
        chance, apart = self.by_chance, timedelta(seconds=i)
        condition = chance.choice([("standby", "locked out, tag 7, Ida"), ("locked out, tag 7, Ida", "standby")])
        field, (before, after) = chance.choice([("condition", condition), ("service", ("pump", "fan"))])
        self.session.add_all([
            Release(motor_id=self.motor.id, at=self.at() + apart, person_id=self.person().id, cause=f"cause {i}"),
            PrestartCheck(id=uuid.UUID(int=chance.getrandbits(128)), unit_id=self.plant.unit.id,
                          motor_id=self.motor.id, at=self.at() + apart, why="first start",
                          answers={"guard": {"answer": chance.choice(["yes", "no"]), "by": "Zoë"}},
                          passed=chance.random() < 0.5, person_id=self.person().id),
            Change(unit_id=self.plant.unit.id, at=self.at(), subject=chance.choice(["motor", "motor", "person"]),
                   subject_id=self.motor.id, label="", field=field, before=before, after=after),
            Finding(cause=chance.choice(["reading", "reading", "start"]),
                    cause_id=uuid.UUID(int=chance.getrandbits(128)),
                    motor_id=self.motor.id, at=self.at(), rule=chance.choice([RULE, RULE, "smoke"]), end="",
                    priority="watch", source="", says=""),
            ShaftTurn(motor_id=self.motor.id, at=self.at() + apart, person_id=self.person().id)])

    def looks(self, i: int) -> None:
        factories.make_reading(
            self.session, self.motor, self.person(), self.at() + timedelta(milliseconds=i),
            state=self.by_chance.choice(["running", "standby", "out of service", "locked out"]),
            skip_reason=self.by_chance.choice([None, None, "not reached"]))


def newest(rows: Iterable[Any], key: Any = lambda row: row.at) -> list[Any]:
    return sorted(rows, key=key, reverse=True)


@pytest.fixture
def plant_and_motors(database: Database) -> tuple[int, int]:
    """Two motors with a past, one with more of every kind than is looked at, one with a little."""
    with database.writing() as session:
        plant = factories.make_plant(session)
        other = factories.make_motor(session, plant.unit, "P-102")
        Past(session, plant, plant.motor, 7, 90)
        Past(session, plant, other, 8, 5)
        session.commit()
        return plant.motor.id, other.id


def test_what_the_start_rules_look_at_is_the_newest_of_each_kind_up_to_the_instant(
        database: Database, plant_and_motors: tuple[int, int]) -> None:
    since, until = NOW - timedelta(minutes=300), NOW - timedelta(microseconds=1)
    for motor_id in plant_and_motors:
        with database.reading() as session:
            found = start_ground.on_record(session, motor_id, NOW, Unlogged(RULE, since, until), NOW)

            def of(model: Any, motor_id: int = motor_id, session: Session = session) -> list[Any]:
                return list(session.scalars(sa.select(model).where(model.motor_id == motor_id)))

            def known(model: Any) -> list[Any]:
                return [row for row in of(model) if row.at <= NOW]

            def by_time(row: Any) -> tuple[datetime, datetime]:
                return row.at, row.received_at

            assert found.starts == [(s.id, s.at, s.outcome, s.duration_s) for s in newest(known(Start), by_time)[:40]]
            assert found.stops == [s.at for s in newest(known(Stop), by_time)[:40]]
            assert found.trips == [
                (t.id, t.at, t.protection, t.cause, tuple((a.kind, a.at, a.qualified_name, a.found) for a in t.acts))
                for t in newest(known(Trip), by_time)[:60]]
            assert found.releases == [(r.at, r.person.name, r.cause) for r in newest(known(Release))[:10]]
            checks = newest(known(PrestartCheck))
            assert found.check == (checks[0].at, checks[0].person.name, checks[0].passed, checks[0].answers)
            assert found.passed_at == next((c.at for c in checks if c.passed), None)
            assert found.refused_at == next((c.at for c in checks if not c.passed), None)
            changed = session.scalars(sa.select(Change).where(Change.subject == "motor", Change.subject_id == motor_id))
            assert found.by_hand == [(c.at, c.before, c.after) for c in newest(changed, lambda c: (c.at, c.id))
                                     if c.field == "condition"]
            assert found.not_logged == [f.at for f in newest(of(Finding)) if f.rule == RULE and f.cause == "reading"
                                        and since <= f.at <= until][:40]
            every = newest(of(Reading), lambda r: r.taken_at)
            looks = [r for r in every if not r.skipped]
            last = next(r for r in every if r.taken_at < NOW)
            assert found.seen == (last.taken_at, None if last.skipped else last.state)
            assert found.seen_running_at == next((r.taken_at for r in looks if r.state == "running"
                                                  and r.taken_at < NOW), None)
            assert found.seen_out_at == next((r.taken_at for r in looks if r.state in ("out of service", "locked out")),
                                             None)


def test_of_a_motor_without_a_past_nothing_is_on_record(database: Database) -> None:
    with database.writing() as session:
        motor_id = factories.make_plant(session).motor.id
        found = start_ground.on_record(session, motor_id, NOW, Unlogged(RULE, NOW, NOW), NOW)
    assert found == ([], [], [], [], None, None, None, [], [], None, None, None)


# as it is told, the pair, the watch ------------------------------------------------------------------------


def of_motor(session: Session, model: Any, motor_id: int) -> list[Any]:
    return list(session.scalars(sa.select(model).where(model.motor_id == motor_id)))


def received(row: Any) -> tuple[datetime, datetime]:
    return row.at, row.received_at


def test_the_last_starts_stops_and_trips_are_told_with_who_entered_them(
        database: Database, plant_and_motors: tuple[int, int]) -> None:
    for motor_id in plant_and_motors:
        with database.reading() as session:
            rows = [("start", s, s.outcome, s.duration_s) for s in
                    newest(of_motor(session, Start, motor_id), received)[:12]]
            rows += [("stop", s, None, None) for s in newest(of_motor(session, Stop, motor_id), received)[:12]]
            rows += [("trip", t, t.protection, None) for t in newest(of_motor(session, Trip, motor_id), received)[:12]]
            assert start_ground.told(session, motor_id) == [
                (kind, row.at, row.received_at, row.clock_offset_s, row.person.name, word, lasted)
                for kind, row, word, lasted in newest(rows, lambda told: received(told[1]))]


def test_each_side_of_a_pair_is_told_by_its_own_newest_rows(
        database: Database, plant_and_motors: tuple[int, int]) -> None:
    with database.writing() as session:
        mine, other = (session.get_one(Motor, motor_id) for motor_id in plant_and_motors)
        mine.standby_partner, other.interlock, other.condition = "p\u2011102", "automatic start", "standby"
        session.add(MotorRun(motor_id=other.id, first_observed_at=NOW, observed_at=NOW, state="running", run_s=7.5))
        session.commit()
    with database.reading() as session:
        motor, other = (session.get_one(Motor, motor_id) for motor_id in plant_and_motors)
        sides = pair_ground.pair_of(session, motor, NOW)
        for side, row in zip(sides, (motor, other), strict=True):
            assert side is not None
            assert [getattr(side.motor, name) for name in ("id", "unit_id", "tag", "condition", "interlock")] == [
                getattr(row, name) for name in ("id", "unit_id", "tag", "condition", "interlock")]
            starts, stops, trips, turned = (of_motor(session, model, row.id) for model in (
                Start, Stop, Trip, ShaftTurn))
            assert side.starts == [(s.at, s.outcome, s.duration_s) for s in newest(
                [s for s in starts if s.at <= NOW], received)[:10]]
            assert sorted(side.ended) == sorted(max(one.at for one in ended if one.at <= NOW) for ended in (
                stops, trips))
            last = newest(turned)[0]
            assert side.turned == (last.at, last.person.name)
            assert side.seen_running_at == max((r.taken_at for r in of_motor(session, Reading, row.id)
                                                if r.state == "running" and not r.skipped and r.taken_at < NOW),
                                               default=None)
        assert [side.run for side in sides if side is not None] == [None, (NOW, "running", 7.5)]


#: What the first motor names, what the second names, and whether they are a pair for the first.
NAMED = [
    ("it names the other", "P-102", None, True), ("in another spelling", "p-102 ", None, True),
    ("the other names it", None, "P-101A", True), ("nobody names anybody", None, None, False),
    ("it names a motor that is not there", "P-999", "P-101A", False), ("it names itself", "P-101A", None, False)]


@pytest.mark.parametrize("first, second, paired", [n[1:] for n in NAMED], ids=[n[0] for n in NAMED])
def test_the_partner_is_the_motor_that_it_names_else_the_one_that_names_it(
        database: Database, first: str | None, second: str | None, paired: bool) -> None:
    with database.writing() as session:
        plant = factories.make_plant(session)
        other = factories.make_motor(session, plant.unit, "P-102")
        foreign = factories.make_motor(session, factories.make_unit(session, "Unit 3"), "P-102")
        plant.motor.standby_partner, other.standby_partner, foreign.standby_partner = first, second, "P-101A"
        session.flush()
        partner = pair_ground.pair_of(session, plant.motor, NOW)[1]
        assert (partner.motor.id if partner else None) == (other.id if paired else None)


def test_the_watch_after_a_start_sees_its_looks_and_what_came_before_the_start(
        database: Database, plant_and_motors: tuple[int, int]) -> None:
    for motor_id in plant_and_motors:
        with database.reading() as session:
            starts = newest(of_motor(session, Start, motor_id), received)
            start, until = starts[len(starts) // 2], NOW + timedelta(minutes=30)
            found = first_run.watch_ground(session, motor_id, start.id, start.at, until, RULE)
            looks = sorted((r for r in of_motor(session, Reading, motor_id) if start.at <= r.taken_at < until),
                           key=lambda r: (r.taken_at, r.id))
            assert found.looks == [(r.id, r.replaces_id, r.taken_at, r.state, r.bearing_temp_c_de,
                                    r.bearing_temp_c_ode) for r in looks]
            assert looks
            assert found.started_before == max(s.at for s in starts if s.at <= start.at and s.id != start.id)
            assert found.checked_at == max((c.at for c in of_motor(session, PrestartCheck, motor_id)
                                            if c.at <= start.at), default=None)
            assert not found.unchecked


def test_the_watch_knows_a_start_before_which_a_check_was_due(
        database: Database, plant_and_motors: tuple[int, int]) -> None:
    with database.writing() as session:
        start = of_motor(session, Start, plant_and_motors[0])[0]
        session.add(Finding(cause="start", cause_id=start.id, motor_id=start.motor_id, at=start.at, end="",
                            rule="no_prestart_check", priority="watch", source="", says=""))
        session.flush()
        for rule, known in (("no_prestart_check", True), ("another", False)):
            assert first_run.watch_ground(session, start.motor_id, start.id, start.at, NOW, rule).unchecked == known
