"""A unit over several weeks: for each motor and week the gravest flag that stood, and whether it was read at all."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.rules.findings import PRIORITIES, rank
from app.rules.spans import Span
from app.store.base import UtcDateTime
from app.store.flags import Flag
from app.store.motors import Motor, walking_order
from app.store.rounds import Reading, not_corrected, real_look
from app.store.units import Unit


@dataclass(frozen=True)
class Column:
    """One ISO week. began: by now."""

    span: Span
    start: datetime
    end: datetime
    began: bool

    @property
    def text(self) -> str:
        return self.span.text


@dataclass
class Cell:
    """One motor in one week. there: it was in the register by the end of it; read: somebody looked at it."""

    there: bool
    flags: int = 0
    gravest: str | None = None
    read: bool = False

    def add(self, priority: str) -> None:
        self.flags += 1
        if self.gravest is None or rank(priority) < rank(self.gravest):
            self.gravest = priority


@dataclass
class Line:
    motor_id: int
    tag: str
    service: str
    area: str
    cells: list[Cell]


@dataclass
class Area:
    """An area's flags that stood in each week, by priority: what its small picture is drawn from."""

    name: str
    motors: int = 0
    weeks: list[Counter[str]] = field(default_factory=list)

    @property
    def most(self) -> int:
        return max((sum(week.values()) for week in self.weeks), default=0)


@dataclass(frozen=True)
class UnitTrend:
    columns: list[Column]
    lines: list[Line]
    areas: list[Area]


def columns_to(unit: Unit, last: Span, weeks: int, now: datetime) -> list[Column]:
    """So many weeks up to and with the last, the oldest first."""
    zone = unit.calendar.zone
    spans = [last.before(steps) for steps in range(weeks - 1, -1, -1)]
    bounds = [(span, *span.bounds(zone)) for span in spans]
    return [Column(span, start, end, start <= now) for span, start, end in bounds]


def trend_of(session: Session, unit: Unit, columns: list[Column]) -> UnitTrend:
    """Three queries, whatever the number of motors and flags."""
    lines: dict[int, Line] = {}
    for key, tag, service, area, created in session.execute(
            sa.select(Motor.id, Motor.tag, Motor.service, Motor.area, Motor.created_at)
            .where(Motor.unit_id == unit.id).order_by(*walking_order())):
        lines[key] = Line(key, tag, service, area, [Cell(created < column.end) for column in columns])
    areas = {line.area: Area(line.area, 0, [Counter() for _ in columns]) for line in lines.values()}
    for line in lines.values():
        areas[line.area].motors += 1
    for motor_id, priority, raised_at, closed_at in _flags(session, unit.id, columns):
        for i, column in enumerate(columns):
            if raised_at < column.end and (closed_at is None or closed_at >= column.start) and column.began:
                lines[motor_id].cells[i].add(priority)
                areas[lines[motor_id].area].weeks[i][priority] += 1
    for motor_id, i in _read(session, unit.id, columns):
        lines[motor_id].cells[i].read = True
    return UnitTrend(columns, list(lines.values()), list(areas.values()))


def _flags(session: Session, unit_id: int, columns: list[Column]) -> Iterable[Any]:
    """What stood at any time in these weeks."""
    start, end = columns[0].start, columns[-1].end
    what = Flag.motor_id, Flag.priority, Flag.raised_at, Flag.closed_at
    closed = sa.select(*what).where(Flag.unit_id == unit_id, Flag.closed_at >= start, Flag.raised_at < end)
    still = sa.select(*what).where(Flag.unit_id == unit_id, Flag.closed_at.is_(None), Flag.raised_at < end)
    return session.execute(closed.union_all(still))


def _read(session: Session, unit_id: int, columns: list[Column]) -> Iterable[Any]:
    """Which motor was read in which week: its first look of each, found by the index of the motor's readings. So no
    more is read than motors times weeks, however often they were read and whatever other units' readings lie between.
    """
    weeks = sa.union_all(*(
        sa.select(sa.literal(i).label("i"), sa.literal(c.start, UtcDateTime).label("start"),
                  sa.literal(c.end, UtcDateTime).label("until")) for i, c in enumerate(columns))).subquery()
    # Its value, not whether there is one: "exists" is free to be looked for through all readings of the weeks.
    first = (sa.select(Reading.taken_at)
             .where(Reading.motor_id == Motor.id, Reading.taken_at >= weeks.c.start, Reading.taken_at < weeks.c.until,
                    real_look(), not_corrected())
             .order_by(Reading.taken_at).limit(1).correlate(Motor, weeks).scalar_subquery())
    return session.execute(sa.select(Motor.id, weeks.c.i).select_from(Motor).join(weeks, sa.true())
                           .where(Motor.unit_id == unit_id, first.is_not(None)))


def totals(area: Area) -> list[tuple[str, list[int]]]:
    """Each priority's count week by week, gravest first: the table under the picture."""
    return [(priority, [week[priority] for week in area.weeks]) for priority in PRIORITIES]
