"""Fills a database with an invented unit by bulk paths: executemany or COPY, indexes made afterwards."""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.copying import numbers_go_on
from app.db import Database
from app.rules import facts
from app.store import Base
from app.store.flags import Finding, Flag, Sighting
from app.store.lubrication import Greasing
from app.store.motors import MotorRun
from app.store.rounds import Reading, Round
from app.store.starts import Start
from app.store.units import Unit
from tests import factories
from tests.benchmarks.invented import FIRST, Invented, Machine, Row, invent

BATCH = 20_000
#: One of so many readings raised a flag that was closed since, as a year's register has them.
FLAGGED_EVERY = 60


@dataclass(frozen=True)
class Loaded:
    """What is in the database, for the measurements to find: ids of one unit's things."""

    unit_id: int
    operator: str
    supervisor: str
    motor_ids: list[int]
    machines: list[Machine]
    last_at: datetime
    readings: int


def load(database: Database, motors: int, days: int, shifts: int = 3, seed: int = 11, unit: str = "Unit 2",
         faults: int = 0) -> Loaded:
    """A unit with so many motors, each read in every shift of so many days and greased on time."""
    made = invent(motors, days, shifts, faults, seed)
    with database.writing() as session:
        plant = factories.make_unit(session, unit, shifts=factories.EIGHT_HOURS if shifts == 3 else
                                    factories.TWELVE_HOURS)
        people = [factories.make_person(session, plant, role, f"{role.replace(' ', '-')}-{plant.id}")
                  for role in ("operator", "supervisor")]
        ids = [_motor(session, plant, m) for m in made.machines]
        session.commit()
        calendar = plant.calendar
    ends = FIRST + timedelta(days=days + 1)
    all_shifts = list(_shifts(calendar, FIRST - timedelta(days=1), ends))
    with database.engine.begin() as connection:
        first_round = (connection.scalar(sa.select(sa.func.max(Round.id))) or 0) + 1
        rounds = [{"id": first_round + i, "unit_id": plant.id, "shift_date": s.date, "shift_name": s.name,
                   "starts_at": s.starts_at, "ends_at": s.ends_at, "opened_at": s.starts_at,
                   "opened_by_id": people[0].id} for i, s in enumerate(all_shifts)]
        connection.execute(sa.insert(Round), rounds)
        flags = connection.scalar(sa.select(sa.func.max(Flag.id))) or 0
    starts = [(s.starts_at, first_round + i) for i, s in enumerate(all_shifts)]
    filled = _Filler(database.is_sqlite, plant.id, people[0].id, ids, starts, flags)
    with _without_indexes(database, ("reading", "finding", "sighting")):
        _insert(database, Reading, filled.readings(made))
        _insert(database, Flag, filled.flags)
        _insert(database, Finding, filled.findings)
        _insert(database, Sighting, filled.sightings)
    _insert(database, Greasing, filled.greasings(made))
    _insert(database, Start, filled.started(made))
    _insert(database, MotorRun, filled.runs(made))
    with database.engine.begin() as connection:
        numbers_go_on(connection)
    _settle(database)
    return Loaded(plant.id, people[0].sign_in, people[1].sign_in, ids, made.machines, filled.last_at, filled.count)


def _motor(session: Session, unit: Unit, machine: Machine) -> int:
    return factories.make_motor(session, unit, machine.tag, rated_amps=machine.rated_a,
                                area=f"Area {machine.number // 20}", route_order=float(machine.number)).id


def _shifts(calendar: Any, since: datetime, until: datetime) -> Iterator[Any]:
    at = since
    while at < until:
        shift = calendar.shift_of(at)
        yield shift
        at = shift.ends_at


class _Filler:
    """Makes the tuples of each table, in the order of its columns."""

    def __init__(self, sqlite: bool, unit_id: int, person_id: int, motor_ids: list[int],
                 starts: list[tuple[datetime, int]], flags: int) -> None:
        self.sqlite = sqlite
        self.unit_id, self.person_id, self.motor_ids = unit_id, person_id, motor_ids
        self.starts, self.flags_before = starts, flags
        self.count, self.last_at = 0, FIRST
        self.flags: list[dict[str, Any]] = []
        self.findings: list[dict[str, Any]] = []
        self.sightings: list[dict[str, Any]] = []
        self.base = uuid.uuid4().int & ~((1 << 48) - 1)

    def instant(self, at: datetime) -> Any:
        """As the driver takes it: SQLite keeps the figures of UTC as text."""
        return at.replace(tzinfo=None).isoformat(" ", "microseconds") if self.sqlite else at

    def key(self, number: int) -> Any:
        key = uuid.UUID(int=self.base + number)
        return key.bytes if self.sqlite else key

    def readings(self, made: Invented) -> Iterator[dict[str, Any]]:
        for machine in made.machines:
            rounds = iter(self.starts)
            here, following = next(rounds), next(rounds)
            for row in made.rows_of(machine):
                while row.at >= following[0]:
                    here, following = following, next(rounds, (datetime.max.replace(tzinfo=UTC), 0))
                yield self._reading(row, here[1])

    def _reading(self, row: Row, round_id: int) -> dict[str, Any]:
        self.count += 1
        key, motor_id, at = self.key(self.count), self.motor_ids[row.motor - 1], self.instant(row.at)
        self.last_at = max(self.last_at, row.at)
        if self.count % FLAGGED_EVERY == 0:
            self._flag(row, key, motor_id)
        runs = row.state == facts.RUNNING
        amps = (*(row.amps if runs else ()), None, None, None)[:3]
        felt, warm, method = ("as usual", "warm", "contact") if runs else (None, None, None)
        return {"id": key, "content": "invented", "unit_id": self.unit_id, "round_id": round_id, "motor_id": motor_id,
                "person_id": self.person_id, "taken_at": at, "taken_at_device": at, "clock_offset_s": 0.0,
                "received_at": at, "entered_later": False, "watch": False, "state": row.state,
                "condition_before": facts.RUNNING if runs else None, "smoke": "none", "guard": "in place",
                "ground": "in place",
                "leak": "none", "vibration_feel_de": felt, "vibration_feel_ode": felt,
                "bearing_feel_de": warm, "bearing_feel_ode": warm, "bearing_temp_c_de": row.de_c if runs else None,
                "bearing_temp_c_ode": row.ode_c if runs else None, "winding_feel": warm, "current_a_1": amps[0],
                "current_a_2": amps[1], "current_a_3": amps[2], "lubricant_de": "ok", "lubricant_ode": "ok",
                "cleanliness": "clean", "method": method, "unread": "{}", "typed": "{}", "remarks": ""}

    def _flag(self, row: Row, key: Any, motor_id: int) -> None:
        said = {"priority": "this shift", "value": 92.0, "limit_value": 90.0, "unit_of_measure": "°C",
                "source": "general practice", "says": "DE bearing 92.0 °C, above 90 °C. Check lubrication."}
        number = self.flags_before + len(self.flags) + 1
        at, closed = self.instant(row.at), self.instant(row.at + timedelta(hours=30))
        self.flags.append({"id": number, "unit_id": self.unit_id, "motor_id": motor_id, "rule": "bearing_hot",
                           "end": "DE", "raised_at": at, "raised_by_id": self.person_id, "raised_cause": "reading",
                           "raised_cause_id": key, "last_seen_at": at, "times_seen": 1, "good_rounds": 2,
                           "returned_at": closed, "seen_at": at, "seen_by_id": self.person_id, "closed_at": closed,
                           "closed_why": "returned to normal", "arrived_late": False, "version": 1, **said})
        about = {"cause": "reading", "cause_id": key, "at": at, **said}
        self.findings.append({"motor_id": motor_id, "rule": "bearing_hot", "end": "DE", **about})
        self.sightings.append({"flag_id": number, "received_at": at, "person_id": self.person_id, **about})

    def greasings(self, made: Invented) -> Iterator[dict[str, Any]]:
        for i, done in enumerate(made.greasings):
            at = self.instant(done.at)
            yield {"id": self.key((1 << 44) + i), "content": "invented", "unit_id": self.unit_id,
                   "motor_id": self.motor_ids[done.motor - 1], "end": done.end, "at": at, "received_at": at,
                   "lubricant": "motor grease NLGI 2", "thickener": "polyurea", "grams": done.grams, "run_s": 0.0,
                   "unsure_s": 0.0, "person_id": self.person_id}

    def started(self, made: Invented) -> Iterator[dict[str, Any]]:
        for i, (number, started) in enumerate(made.starts):
            at = self.instant(started)
            yield {"id": self.key((1 << 45) + i), "content": "invented", "unit_id": self.unit_id,
                   "motor_id": self.motor_ids[number - 1], "at": at, "at_device": at, "clock_offset_s": 0.0,
                   "received_at": at, "outcome": "ran", "condition_before": facts.STANDBY, "then_continuous": False,
                   "person_id": self.person_id}

    def runs(self, made: Invented) -> Iterator[dict[str, Any]]:
        for machine in made.machines:
            yield {"motor_id": self.motor_ids[machine.number - 1], "first_observed_at": self.instant(FIRST),
                   "observed_at": self.instant(self.last_at), "state": facts.RUNNING,
                   "run_s": (self.last_at - FIRST).total_seconds(), "unsure_s": 0.0}


# the bulk paths --------------------------------------------------------------------------------------------


def _insert(database: Database, model: Any, rows: Iterable[dict[str, Any]]) -> None:
    stream = iter(rows)
    first = next(stream, None)
    if first is None:
        return
    names, stream = list(first), itertools.chain([first], stream)
    table = model.__table__
    quoted = ", ".join(f'"{name}"' for name in names)
    if database.is_sqlite:
        statement = f"INSERT INTO {table.name} ({quoted}) VALUES ({', '.join('?' * len(names))})"
        connection = database.engine.raw_connection()
        try:
            connection.execute("BEGIN IMMEDIATE")  # type: ignore[attr-defined]
            for batch in _batches(stream):
                connection.executemany(statement, [tuple(row.values()) for row in batch])  # type: ignore[attr-defined]
            connection.commit()
        finally:
            connection.close()
        return
    with database.engine.begin() as connection:
        cursor = connection.connection.cursor()
        with cursor.copy(f"COPY {table.name} ({quoted}) FROM STDIN") as copy:
            for row in stream:
                copy.write_row(list(row.values()))


def _batches(rows: Iterator[dict[str, Any]]) -> Iterator[list[dict[str, Any]]]:
    while batch := list(itertools.islice(rows, BATCH)):
        yield batch


@contextmanager
def _without_indexes(database: Database, tables: tuple[str, ...]) -> Iterator[None]:
    """Indexes dropped and made again afterwards, which is several times faster than keeping them up."""
    indexes = sorted((index for name in tables for index in Base.metadata.tables[name].indexes),
                     key=lambda index: str(index.name))  # SQLite may go by the order they were made in
    with database.engine.begin() as connection:
        for index in indexes:
            index.drop(connection)
    yield
    with database.engine.begin() as connection:
        for index in indexes:
            index.create(connection)


def _settle(database: Database) -> None:
    """What PostgreSQL does by itself in quiet hours. SQLite has no figures for its planner here: no plant has."""
    if not database.is_sqlite:
        with database.engine.execution_options(isolation_level="AUTOCOMMIT").connect() as connection:
            connection.exec_driver_sql("VACUUM ANALYZE")
