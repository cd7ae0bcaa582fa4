"""What was known of a motor at an instant, for an entry judged after newer ones are there: in one statement, for a late
entry has up to sixty judged again."""

from __future__ import annotations

from datetime import datetime
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.rules.facts import STANDBY
from app.store.base import UtcDateTime
from app.store.changes import Change, state_named
from app.store.prepared import Prepared
from app.store.rounds import Reading, not_corrected
from app.store.starts import Start, Stop, Trip, states_of_start
from app.store.temporary import TemporaryState

_MOTOR = sa.bindparam("motor_id", type_=sa.Integer())
_AT = sa.bindparam("at", type_=UtcDateTime())


class KnownBefore(NamedTuple):
    """last_start_at: when it was last energised, up to and with the instant. found: the state that the newest reading
    up to it told. newest: the newest of reading, start, stop, trip and change by hand before it, and its state.
    half_way: something temporary stood then."""

    last_start_at: datetime | None
    found: str | None
    newest: tuple[datetime, str] | None
    half_way: bool


def _known() -> Any:
    def of(query: sa.Select[Any], *order: Any) -> Any:
        return query.order_by(*order).limit(1).scalar_subquery()

    def start(column: Any) -> Any:
        return of(sa.select(column).where(Start.motor_id == _MOTOR, Start.at <= _AT), Start.at.desc(),
                  Start.received_at.desc())

    def seen(column: Any, when: Any) -> Any:
        return of(sa.select(column).where(Reading.motor_id == _MOTOR, when, Reading.skip_reason.is_(None),
                                          not_corrected()), Reading.taken_at.desc())

    def last(kind: Any) -> Any:
        return of(sa.select(kind.at).where(kind.motor_id == _MOTOR, kind.at <= _AT), kind.at.desc())

    def by_hand(column: Any) -> Any:
        return of(sa.select(column).where(
            Change.subject == sa.literal_column("'motor'"), Change.subject_id == _MOTOR,
            Change.field == sa.literal_column("'condition'"), Change.at <= _AT), Change.at.desc(), Change.id.desc())

    before, until = Reading.taken_at < _AT, Reading.taken_at <= _AT
    return sa.select(
        start(Start.at), start(Start.outcome), start(Start.duration_s), last(Stop), last(Trip),
        seen(Reading.taken_at, before), seen(Reading.state, before), seen(Reading.state, until),
        by_hand(Change.at), by_hand(Change.after),
        sa.exists().where(TemporaryState.motor_id == _MOTOR, TemporaryState.since <= _AT,
                          sa.or_(TemporaryState.ended_at.is_(None), TemporaryState.ended_at > _AT)))


_KNOWN = Prepared(_known)


def known_before(session: Session, motor_id: int, at: datetime) -> KnownBefore:
    row = _KNOWN.rows(session, {"motor_id": motor_id, "at": at})[0]
    (started, outcome, duration_s, stopped, tripped, seen_at, seen, found, changed_at, changed_to,
     half_way) = _KNOWN.values(session, row)
    told = [(seen_at, seen)] if seen_at is not None else []
    if started is not None:
        told += [one for one in states_of_start(started, outcome, duration_s) if one[0] <= at]
    told += [(ended, STANDBY) for ended in (stopped, tripped) if ended is not None]
    word = state_named(changed_to)
    told += [(changed_at, word)] if word else []
    return KnownBefore(started, found, max(told, key=lambda one: one[0], default=None), bool(half_way))
