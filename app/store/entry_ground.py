"""What saving an entry at a motor needs to know of it, in one statement: its row, plate, chart, round and running time.

Every look-up of its own would cost a save about as much as storing the entry does, and so would making the motor's
plate and chart anew at every save: what they are made of is compared instead (app/store/kept.py).
"""

from __future__ import annotations

import itertools
import uuid
from datetime import date, datetime, timedelta
from functools import cache
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import set_committed_value

from app.store import earlier_readings, lubrication
from app.store.base import Key16, UtcDateTime
from app.store.earlier_readings import Past
from app.store.kept import Kept
from app.store.limits import LimitChange
from app.store.lubrication import Greased, Greasing
from app.store.motors import LubricationPoint, Motor, MotorRun, Nameplate, SeenRun, tag_key
from app.store.plain import dialect_of
from app.store.prepared import Prepared, Question, Row, ask_together, columns_of, detached, no_answer
from app.store.rounds import Reading, Round, not_corrected
from app.store.starts import Start, Stop, Trip
from app.store.temporary import TemporaryState

#: One id names one entry, of whatever kind.
KINDS = (Reading, Greasing, Start, Stop, Trip)
#: A greasing of the very instant counts as done before the entry.
GREASED_BY = timedelta(microseconds=1)
#: What of a motor's row each look at it changes: read beside the rest.
SEEN = ("condition", "condition_at")


class Instant(NamedTuple):
    """The entry that a ground is asked for: its id, when it was taken, the shift that it belongs to."""

    entry_id: uuid.UUID | None
    at: datetime
    shift_date: date
    shift_name: str


class Lately(NamedTuple):
    """What was before the entry, the newest first: the motor's running readings and greasings, and when its person took
    the readings before."""

    running: list[Past]
    greased: list[Greased]
    by_person: list[datetime]


class Ground(NamedTuple):
    """How it stands with a motor just before an entry taken at an instant is stored."""

    #: with nameplates and points, shared with other saves: to be read only, and without the columns of SEEN
    motor: Motor
    condition: str | None
    condition_at: datetime | None
    run: MotorRun | SeenRun | None
    round_id: int | None  # of the entry's shift, once somebody opened it
    known: bool  # the id names a stored entry
    late: bool  # a reading taken later is there
    limits_at: int | None  # the newest change of the unit's limits
    last_start_at: datetime | None
    half_way: bool  # something temporary stood then
    asked: Instant  # what it is the ground of
    running: list[Past] | None = None  # the running readings before, the newest first; where they were asked
    lately: Lately | None = None  # with what else was before; where that was asked

    def newest(self, at: datetime) -> bool:
        """New, and later than everything known of its motor: nothing needs to be judged again, nothing made anew."""
        return not self.known and not self.late and (
            self.condition_at is None or self.condition_at <= at) and (
            self.run is None or self.run.observed_at <= at)


class _Columns(NamedTuple):
    motor: list[Any]
    plate: list[Any]
    point: list[Any]
    run: list[Any]


@cache
def _columns() -> _Columns:
    return _Columns(columns_of(Motor, SEEN), *map(columns_of, (Nameplate, LubricationPoint, MotorRun)))


@cache
def _run_names() -> tuple[str, ...]:
    return tuple(column.key for column in _columns().run)


_AT = sa.bindparam("at", type_=UtcDateTime())


def _by_tag() -> Any:
    return Motor.tag_key == sa.bindparam("tag_key", type_=sa.Text())


def _by_id() -> Any:
    return Motor.id == sa.bindparam("motor_id", type_=sa.Integer())


def _ground(which: Any) -> Any:
    key = sa.bindparam("id", type_=Key16())
    return (
        sa.select(
            *itertools.chain(*_columns()), Motor.condition, Motor.condition_at, Round.id,
            sa.or_(*(sa.exists().where(kind.id == key) for kind in KINDS)),
            sa.exists().where(Reading.motor_id == Motor.id, Reading.taken_at > _AT, not_corrected()),
            sa.select(sa.func.max(LimitChange.id)).where(LimitChange.unit_id == Motor.unit_id).scalar_subquery(),
            sa.select(Start.at).where(Start.motor_id == Motor.id, Start.at <= _AT).order_by(Start.at.desc()).limit(1)
            .scalar_subquery(),
            sa.exists().where(TemporaryState.motor_id == Motor.id, TemporaryState.since <= _AT,
                              sa.or_(TemporaryState.ended_at.is_(None), TemporaryState.ended_at > _AT)))
        .outerjoin(Round, sa.and_(Round.unit_id == Motor.unit_id,
                                  Round.shift_date == sa.bindparam("shift_date", type_=sa.Date()),
                                  Round.shift_name == sa.bindparam("shift_name", type_=sa.Text())))
        .outerjoin(MotorRun, MotorRun.motor_id == Motor.id)
        .outerjoin(Nameplate, Nameplate.motor_id == Motor.id)
        .outerjoin(LubricationPoint, sa.and_(LubricationPoint.motor_id == Motor.id,
                                             LubricationPoint.replaced_at.is_(None)))
        .where(Motor.unit_id == sa.bindparam("unit_id", type_=sa.Integer()), which))  # put in order by `_motor`


def _lock(which: Any) -> Any:
    return sa.select(Motor.id).where(Motor.unit_id == sa.bindparam("unit_id", type_=sa.Integer()), which
                                     ).with_for_update(key_share=True)


#: For a motor named by its tag, and for one named by its key: who locks its row, and what is known of it.
_TAG = Prepared(lambda: _lock(_by_tag())), Prepared(lambda: _ground(_by_tag()))
_KEY = Prepared(lambda: _lock(_by_id())), Prepared(lambda: _ground(_by_id()))
#: Motors with plates and chart, by all that is known of them.
_MOTORS: Kept[Motor] = Kept(5_000)


def ground_of_tag(session: Session, unit_id: int, tag: str, entry: Instant) -> Ground | None:
    """The motor's ground, once its row is ours: entries of one motor are judged one after the other, also with several
    servers on one database. Its key stays free: a round being opened or signed meanwhile may point at it. None where no
    motor of the unit has the tag."""
    asked = _asking(session, _TAG, {"unit_id": unit_id, "tag_key": tag_key(tag)}, entry)
    return ask_together(session, *asked)[-1]  # type: ignore[no-any-return]


def ground_of_motor(session: Session, unit_id: int, motor_id: int, entry: Instant, running: bool) -> Ground | None:
    """The same for a motor by its key; None where it is not one of the unit. running: with its readings before."""
    asked = _asking(session, _KEY, {"unit_id": unit_id, "motor_id": motor_id}, entry)
    if not running:
        return ask_together(session, *asked)[-1]  # type: ignore[no-any-return]
    answers = ask_together(session, *asked, *_asking_running(session, motor_id, entry.at))
    ground, ids = answers[len(asked) - 1:len(asked) + 1]
    return ground and _with_running(session, ground, ids)


def motor_as_found(ground: Ground) -> Motor:
    """The ground's motor with its condition, for one page alone: of no session, its plates and chart shared."""
    columns = columns_of(Motor)
    seen = dict(zip(SEEN, (ground.condition, ground.condition_at), strict=True))
    made = detached(Motor, columns, [seen[c.key] if c.key in seen else getattr(ground.motor, c.key) for c in columns],
                    nameplates=ground.motor.nameplates, points=ground.motor.points)
    assert made is not None
    return made


def with_running(session: Session, ground: Ground) -> Ground:
    """The ground with the running readings before, where they were not asked with the rest."""
    if ground.running is not None:
        return ground
    ids, *_ = ask_together(session, *_asking_running(session, ground.motor.id, ground.asked.at))
    return _with_running(session, ground, ids)


def _asking_running(session: Session, motor_id: int, at: datetime) -> tuple[Question[Any], ...]:
    """Which they are; with the newest of them whole where another server may have stored them."""
    ids = earlier_readings.asking_running_ids(motor_id, at)
    if dialect_of(session).name == "sqlite":
        return (ids,)
    return ids, earlier_readings.asking_newest_running(motor_id, at)


def _with_running(session: Session, ground: Ground, ids: list[Any]) -> Ground:
    return ground._replace(running=earlier_readings.running_past(session, ground.motor.id, ground.asked.at, ids))


def asking_done_before(ground: Ground, person_id: int) -> tuple[Question[list[Greased]], Question[list[datetime]]]:
    """What was greased, and when this person took the readings before."""
    return (lubrication.asking_last_greased(ground.motor.id, ground.asked.at + GREASED_BY),
            earlier_readings.asking_previous_by_person(person_id, ground.asked.at))


def _asking(session: Session, by: tuple[Prepared, Prepared], whose: dict[str, Any],
            entry: Instant) -> list[Question[Any]]:
    lock, ground = by
    given = {"id": entry.entry_id, "at": entry.at, "shift_date": entry.shift_date, "shift_name": entry.shift_name}
    asked = Question(ground, {**whose, **given}, lambda session, rows: _made(session, ground, rows, entry))
    if dialect_of(session).name == "sqlite":
        return [asked]  # SQLite has one writer, and this is it
    return [Question(lock, whose, no_answer), asked]


def _made(session: Session, ground: Prepared, rows: list[Row], entry: Instant) -> Ground | None:
    if not rows:
        return None
    columns = _columns()
    whole = sum(map(len, columns[:3]))
    motor = _MOTORS.of(tuple(row[:whole] for row in rows),
                       lambda: _motor([ground.values(session, row, 0, whole) for row in rows]))
    rest = ground.values(session, rows[0], whole)
    run = rest[:len(columns.run)]
    condition, condition_at, round_id, known, late, limits_at, last_start_at, half_way = rest[len(columns.run):]
    return Ground(motor, condition, condition_at, _run(run), round_id, known, late, limits_at, last_start_at, half_way,
                  entry)


def _run(values: list[Any]) -> SeenRun | None:
    """How long the motor has run; None before its first observation."""
    if values[0] is None:
        return None
    return SeenRun(**dict(zip(_run_names(), values, strict=True)))


def _motor(rows: list[list[Any]]) -> Motor:
    """The motor with its plates and the lines of its chart, from one row for each plate and line."""
    columns = _columns()
    bounds = list(itertools.accumulate(map(len, columns[:3]), initial=0))
    end = [column.key for column in columns.point].index("end")
    parts = sorted(([row[a:b] for a, b in itertools.pairwise(bounds)] for row in rows),
                   key=lambda part: (part[1][0] or 0, part[2][end] or ""))

    def each(place: int, entity: type[Any]) -> list[Any]:
        of_id = {part[place][0]: part[place] for part in parts}
        return [made for values in of_id.values() if (made := detached(entity, columns[place], values)) is not None]

    plates, points = each(1, Nameplate), each(2, LubricationPoint)
    made = detached(Motor, columns.motor, parts[0][0], nameplates=plates, points=points)
    assert made is not None
    for plate in plates:
        set_committed_value(plate, "motor", made)
    return made
