"""Greasing by month, for the supervisor: grams used by lubricant, greasings done, and those that were missed.

Done: every recorded greasing in which something went in. Missed: a bearing fell due in that month by the chart as it
is now, and was not greased by then; counted once, in the month it fell due, however long it stood over.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import pairwise

from sqlalchemy.orm import Session

from app import gathering
from app.rules import facts
from app.rules.shifts import local_instant
from app.store import lubrication
from app.store.lubrication import ChartRow, Greasing
from app.store.units import Unit

MONTHS = 12


@dataclass
class Month:
    first: date
    start: datetime
    end: datetime
    grams: dict[str, float] = field(default_factory=dict)
    done: int = 0
    without_amount: int = 0  # greasings whose grams nobody entered: not in the sums
    missed: list[tuple[str, str]] = field(default_factory=list)  # (tag, end)

    @property
    def total_g(self) -> float:
        return sum(self.grams.values())


def months_behind(unit: Unit, now: datetime, count: int = MONTHS) -> list[Month]:
    """This month and those before it in the unit's own time, the newest first."""
    zone = unit.calendar.zone
    year, month = (today := now.astimezone(zone).date()).year, today.month
    found = []
    for _ in range(count):
        first, after = date(year, month, 1), date(year + month // 12, month % 12 + 1, 1)
        found.append(Month(first, local_instant(first, time(0), zone), local_instant(after, time(0), zone)))
        year, month = (year, month - 1) if month > 1 else (year - 1, 12)
    return found


def by_month(session: Session, unit: Unit, now: datetime, count: int = MONTHS) -> list[Month]:
    """Four queries, however many greasings."""
    months = months_behind(unit, now, count)
    since = months[-1].start
    done = [g for g in lubrication.greasings_between(session, unit.id, since, now + timedelta(microseconds=1))
            if g.grams != 0]
    for g in done:
        _add_done(months, g)
    before = lubrication.newest_before(session, unit.id, since)
    for row in gathering.due_rows(session, unit):
        for at in _missed(row, before.get((row.motor.id, row.point.end)), done, now):
            month = _month_of(months, at)
            if month is not None:
                month.missed.append((row.motor.tag, row.point.end))
    return months


def _month_of(months: list[Month], at: datetime) -> Month | None:
    return next((m for m in months if m.start <= at < m.end), None)


def _add_done(months: list[Month], g: Greasing) -> None:
    month = _month_of(months, g.at)
    if month is None:
        return
    month.done += 1
    if g.grams is None:
        month.without_amount += 1
    else:
        name = g.lubricant or "lubricant not named"
        month.grams[name] = month.grams.get(name, 0.0) + g.grams


def _missed(row: ChartRow, before: Greasing | None, done: list[Greasing], now: datetime) -> list[datetime]:
    """When this bearing fell due and had not been greased by then."""
    here = [g for g in done if g.motor_id == row.motor.id and g.end == row.point.end]
    known = ([before] if before is not None else []) + here
    due = [(_falls_due(row, one, other, now), other.at) for one, other in pairwise(known)]
    if known:
        due.append((_falls_due(row, known[-1], None, now), now))
    elif row.point.last_greased_at is not None:
        due.append((_falls_due(row, None, None, now), now))
    return [at for at, greased_at in due if at is not None and at < greased_at]


def _falls_due(row: ChartRow, last: Greasing | None, following: Greasing | None, now: datetime) -> datetime | None:
    """When the interval after one greasing ended: by days, or by the hours run until the next, or until now."""
    until = following.at if following else now
    if following is not None and last is not None and last.run_s is not None and following.run_s is not None:
        run_h: float | None = max(0.0, following.run_s - last.run_s) / 3600.0
        point = facts.LubricationPoint(interval_days=row.point.interval_days, interval_run_h=row.point.interval_run_h,
                                       last_greased_at=last.at, run_h_since=run_h)
    else:
        point = gathering.point_facts(row.point, last, row.run, until)
    return _when(point, until)


def _when(point: facts.LubricationPoint, until: datetime) -> datetime | None:
    """Hours that ran out on the way are taken to have run evenly."""
    last, by_days = point.last_greased_at, None
    if last is None:
        return None
    if point.interval_days is not None:
        by_days = last + timedelta(days=point.interval_days)
    by_hours = None
    if point.interval_run_h is not None and point.run_h_since is not None and point.run_h_since > point.interval_run_h:
        by_hours = last + (until - last) * (point.interval_run_h / point.run_h_since)
    return min((at for at in (by_days, by_hours) if at is not None), default=None)


def all_lubricants(months: list[Month]) -> list[str]:
    return sorted({name for month in months for name in month.grams})
