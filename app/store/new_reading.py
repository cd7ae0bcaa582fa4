"""A reading on its way into the table: the usual entry is stored by its columns, without the mapper."""

from __future__ import annotations

import uuid
from datetime import datetime
from functools import cache
from types import SimpleNamespace
from typing import Any

import sqlalchemy as sa

from app.store.prepared import Prepared, Question, no_answer
from app.store.rounds import Observed, Reading


class NewReading(Observed, SimpleNamespace):
    """A reading's columns on their way into the table, of no session: every column has its attribute."""

    id: uuid.UUID
    round_id: int
    motor_id: int
    person_id: int
    token_id: int | None
    taken_at: datetime
    received_at: datetime
    entered_later: bool
    watch: bool
    state: str | None


@cache
def _blank() -> dict[str, Any]:
    """Every column of a reading as it is where nothing is told of it."""
    return {column.key: {} if column.key in ("unread", "typed") else False if isinstance(column.type, sa.Boolean)
            else "" if column.key == "remarks" else 0.0 if column.key == "clock_offset_s" else None
            for column in Reading.__table__.columns}


def new_reading(**columns: Any) -> NewReading:
    return NewReading(**(_blank() | columns))


_INSERT = Prepared(lambda: sa.insert(Reading.__table__).values(  # type: ignore[arg-type]
    {column.key: sa.bindparam(column.key, type_=column.type) for column in Reading.__table__.columns}))


def storing(row: NewReading) -> Question[None]:
    """Inserts it. Raises IntegrityError where its id is known."""
    return Question(_INSERT, vars(row), no_answer)
