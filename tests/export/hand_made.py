"""Flags made by hand, so that a test says exactly what stood when."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import count
from typing import Any

from sqlalchemy.orm import Session

from app.store.base import new_id
from app.store.flags import Flag
from app.store.motors import Motor

#: Week 48 of 2026 in Chicago: 00:00 on 23 and on 30 November is 06:00 UTC (CST, UTC-6).
WEEK = "2026-W48"
WEEK_START = datetime(2026, 11, 23, 6, tzinfo=UTC)
WEEK_END = datetime(2026, 11, 30, 6, tzinfo=UTC)
TUESDAY = datetime(2026, 11, 24, 14, tzinfo=UTC)  # 08:00 in Chicago
AFTERWARDS = datetime(2026, 12, 1, 15, tzinfo=UTC)

_rules = count(1)


def make_flag(session: Session, motor: Motor, raised_at: datetime = TUESDAY, **columns: Any) -> Flag:
    """A flag that nobody has looked at yet; its rule is a new name unless given, as only one of each may be open."""
    columns = {"rule": f"rule_{next(_rules):04d}", "end": "", "priority": "this shift", "raised_cause": "reading",
               "raised_cause_id": new_id(), "last_seen_at": raised_at, "source": "general practice",
               "says": "Above its limit.", **columns}
    made = Flag(unit_id=motor.unit_id, motor_id=motor.id, raised_at=raised_at, **columns)
    session.add(made)
    session.flush()
    return made


def utc(text: str) -> datetime:
    """An instant from ISO text with an offset."""
    return datetime.fromisoformat(text).astimezone(UTC)


SECOND = timedelta(seconds=1)
