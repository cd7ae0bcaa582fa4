"""What the banners of every page tell of a unit, in one statement: greasing that is due, and what stands half-way."""

from __future__ import annotations

from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.store.kept import Newest
from app.store.lubrication import Greasing, Interval, is_due_by_something, newest_bearing, newest_greasing
from app.store.motors import LubricationPoint, Motor, MotorRun
from app.store.people import Person
from app.store.prepared import Prepared, columns_of, detached
from app.store.temporary import TemporaryState
from app.store.unions import arm

INTERVAL, HALF_WAY = "interval", "half-way"


class Banners(NamedTuple):
    """Of one unit, now."""

    intervals: list[Interval]  # the current lines of the chart that something makes due
    #: What should end first comes first. Shared, to be read only: the motor with its tag, the person with their name.
    half_way: list[TemporaryState]


def _line() -> dict[str, Any]:
    point, by_hours = LubricationPoint, LubricationPoint.interval_run_h.is_not(None)
    return dict(zip(("line_id", *(f"line_{name}" for name in Interval._fields)), (
        point.id, point.kind, point.interval_days, point.interval_run_h, point.last_greased_at,
        newest_greasing(Greasing.at), sa.case((by_hours, newest_greasing(Greasing.run_s))),
        MotorRun.first_observed_at, MotorRun.observed_at, MotorRun.state, MotorRun.run_s, MotorRun.unsure_s,
        sa.case((point.kind.is_(None), newest_bearing()))), strict=True))


def _state() -> list[Any]:
    return columns_of(TemporaryState)


def _banners() -> Any:
    unit = sa.bindparam("unit_id", type_=sa.Integer())
    line = _line()
    state = {f"state_{column.key}": column for column in _state()} | {"tag": Motor.tag, "name": Person.name}
    types = {**{name: column.type for name, column in line.items()},
             **{name: column.type for name, column in state.items()}}
    return sa.union_all(
        arm(types, LubricationPoint, INTERVAL, **line)
        .join(Motor, Motor.id == LubricationPoint.motor_id)
        .outerjoin(MotorRun, sa.and_(MotorRun.motor_id == Motor.id, LubricationPoint.interval_run_h.is_not(None)))
        .where(Motor.unit_id == unit, LubricationPoint.replaced_at.is_(None), is_due_by_something()),
        arm(types, TemporaryState, HALF_WAY, **state)
        .join(Motor, Motor.id == TemporaryState.motor_id).join(Person, Person.id == TemporaryState.person_id)
        .where(TemporaryState.unit_id == unit, TemporaryState.ended_at.is_(None)))


_BANNERS = Prepared(_banners)
_INTERVALS: Newest[Interval] = Newest(4_000)
_STATES: Newest[TemporaryState] = Newest(500)
#: In a row: the kind, then a line with its number, then a state.
_LINE, _STATE = 1, 2 + len(Interval._fields)


def of_unit(session: Session, unit_id: int) -> Banners:
    """What the banners tell. The newest greasing is looked up by its index, however long the history."""
    rows = _BANNERS.rows(session, {"unit_id": unit_id})
    lines = _INTERVALS.each(session, [(row[_LINE], row) for row in rows if row[0] == INTERVAL],
                            lambda row: Interval(*_BANNERS.values(session, row, _LINE + 1, _STATE)))
    states = _STATES.each(session, [(row[_STATE], row) for row in rows if row[0] == HALF_WAY],
                          lambda row: _state_of(_BANNERS.values(session, row, _STATE)))
    return Banners(lines, sorted(states, key=lambda state: (state.expected_end, state.id)))


def _state_of(values: list[Any]) -> TemporaryState:
    *columns, tag, name = values
    held = dict(zip((column.key for column in _state()), columns, strict=True))
    made = detached(
        TemporaryState, _state(), columns,
        motor=detached(Motor, [Motor.id, Motor.unit_id, Motor.tag], [held["motor_id"], held["unit_id"], tag]),
        person=detached(Person, [Person.id, Person.name], [held["person_id"], name]))
    assert made is not None
    return made
