"""The week in figures: counted from the very rows of the file, so that page, summary and rows cannot disagree."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from statistics import median
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.export.week import ExceptionRow, Week
from app.export.week_stood import FROM, byte_order, stood
from app.rules.findings import PRIORITIES, THIS_SHIFT
from app.store.base import UtcDateTime
from app.store.flags import Flag
from app.store.motors import Motor
from app.store.prepared import Prepared

#: What keeps coming back: raised this often in four weeks, or seen this often without going away.
RAISED_AGAIN = 2
SEEN_AGAIN = 3
LOOK_BACK = timedelta(weeks=4)


@dataclass
class Figures:
    """Counts of the week's exceptions. Hand each row to `add`, or pass the rows through `counted`."""

    stood: int = 0
    raised: int = 0
    closed: int = 0
    not_seen_yet: int = 0
    late: int = 0
    by_priority: Counter[str] = field(default_factory=Counter)
    by_rule: Counter[str] = field(default_factory=Counter)
    by_area: Counter[str] = field(default_factory=Counter)
    by_state: Counter[str] = field(default_factory=Counter)
    by_shift: Counter[str] = field(default_factory=Counter)  # by the name of the shift that raised it
    raised_by_shift: Counter[str] = field(default_factory=Counter)  # of those raised in the week
    overdue: list[ExceptionRow] = field(default_factory=list)  # what was to be done by a time, and was not
    run_ons: list[ExceptionRow] = field(default_factory=list)
    waiting: list[ExceptionRow] = field(default_factory=list)  # nobody does anything about it, now
    ungreased: list[ExceptionRow] = field(default_factory=list)  # those of greasing_overdue
    hours_to_seen: list[float] = field(default_factory=list)
    hours_to_closed: list[float] = field(default_factory=list)

    def add(self, row: ExceptionRow) -> None:
        self.stood += 1
        self.raised += row.raised_in_week
        self.closed += row.closed_in_week
        self.not_seen_yet += row.seen_at is None and row.closed_at is None
        self.late += bool(row.arrived_late)
        self.by_shift[row.shift] += 1
        self.raised_by_shift[row.shift] += row.raised_in_week
        self.by_priority[row.priority] += 1
        self.by_rule[row.rule] += 1
        self.by_area[row.area] += 1
        self.by_state[row.state] += 1
        for held, here in ((self.overdue, row.days_late is not None), (self.run_ons, bool(row.run_on_reason)),
                           (self.waiting, row.waits),
                           (self.ungreased, row.rule == "greasing_overdue" and row.priority == THIS_SHIFT)):
            if here:
                held.append(row)
        if row.hours_to_seen is not None:
            self.hours_to_seen.append(row.hours_to_seen)
        if row.closed_at is not None:
            self.hours_to_closed.append(row.hours_open)

    def counted(self, rows: Iterable[ExceptionRow]) -> Iterator[ExceptionRow]:
        for row in rows:
            self.add(row)
            yield row

    @property
    def run_on(self) -> int:
        return len(self.run_ons)

    @property
    def greasing_overdue(self) -> int:
        """Bearings; those with no greasing ever recorded are `watch` and not counted here."""
        return len(self.ungreased)

    @property
    def priorities(self) -> list[tuple[str, int]]:
        """Gravest first, zeros too."""
        return [(word, self.by_priority[word]) for word in PRIORITIES]

    @property
    def median_hours_to_seen(self) -> float | None:
        return median(self.hours_to_seen) if self.hours_to_seen else None

    @property
    def median_hours_to_closed(self) -> float | None:
        return median(self.hours_to_closed) if self.hours_to_closed else None


def most_first(counts: Counter[str]) -> list[tuple[str, int]]:
    """By count, then by name: the same order every time."""
    return sorted(counts.items(), key=lambda item: (-item[1], item[0]))


@dataclass(frozen=True)
class Repeat:
    """A flag that keeps coming back on one motor, rule and end."""

    area: str
    tag: str
    service: str
    rule: str
    end: str
    raised_in_week: int
    raised_in_4_weeks: int
    times_seen: int  # entries that showed it, on the flags that stood in this week
    standing: bool  # not closed when counted
    first_raised: datetime
    last_seen: datetime
    motor_id: int
    last_action: datetime | None  # when somebody last said what was done about it


def repeats(session: Session, unit_id: int, week: Week, now: datetime) -> list[Repeat]:
    """What stood in this week and was raised twice or more in the four weeks to its end, or seen three times or more.

    The most often raised first. One query, whatever the number of flags.
    """
    if week.start > now:
        return []
    given = {"unit_id": unit_id, "start": week.start, "end": week.end, "back": week.end - LOOK_BACK}
    rows = _REPEATS.rows(session, given)
    return [Repeat(*r[:5], int(r[5]), int(r[6]), int(r[7]), r[8] > 0, *r[9:])
            for r in _REPEATS.all_values(session, rows)]


def _coming_back() -> sa.Select[Any]:
    back = sa.bindparam("back", type_=UtcDateTime())
    here = sa.or_(Flag.closed_at.is_(None), Flag.closed_at >= FROM)

    def count(condition: Any) -> sa.ColumnElement[int]:
        return sa.func.sum(sa.case((condition, 1), else_=0))

    lately = count(Flag.raised_at >= back)
    seen = sa.func.sum(sa.case((here, Flag.times_seen), else_=0))
    return (
        sa.select(Motor.area, Motor.tag, Motor.service, Flag.rule, Flag.end, count(Flag.raised_at >= FROM),
                  lately, seen, count(Flag.closed_at.is_(None)), sa.func.min(Flag.raised_at),
                  sa.func.max(Flag.last_seen_at), Motor.id, sa.func.max(Flag.action_at))
        .join(Motor, Motor.id == Flag.motor_id).where(Flag.id.in_(stood(start=back)))
        .group_by(Motor.id, Motor.area, Motor.tag, Motor.service, Flag.rule, Flag.end)
        .having(count(here) > 0, sa.or_(lately >= RAISED_AGAIN, seen >= SEEN_AGAIN))
        .order_by(lately.desc(), seen.desc(), byte_order(Motor.tag), byte_order(Flag.rule),
                  Flag.end, Motor.id))


_REPEATS = Prepared(_coming_back)
