"""`greasing_overdue`: the lubrication chart against the clock. What is wrong with one greasing stands in greased.py.

Overdue: past the interval of that end's lubrication point, in days or in running hours, the first where both are set:
this shift. Never recorded though an interval is set: watch. Running hours not known and the calendar past the interval:
watch, and it says so. Sealed points, and points without an interval, are never due.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import NamedTuple

from app.rules import elapsed, wording
from app.rules.facts import Facts, LubricationPoint
from app.rules.findings import THIS_SHIFT, WATCH, Finding, over
from app.rules.greased import CHART, SEALED, TOO_SOON, WRONG, check_greasing
from app.rules.limits import Limits

__all__ = ["CHART", "OVERDUE", "SEALED", "TOO_SOON", "WRONG", "Due", "check", "check_greasing", "due", "state_of"]

OVERDUE = "greasing_overdue"
NO_INTERVAL, NEVER_RECORDED = "no interval", "never recorded"
RUN_H_UNKNOWN, NOT_DUE, PAST = "running hours not known", "not due", "overdue"


class Due(NamedTuple):
    """Where one lubrication point stands at one moment. Over is above zero when overdue, below while there is time."""

    state: str
    days_since: float | None = None
    days_over: float | None = None
    run_h_since: float | None = None
    run_h_over: float | None = None
    due_at: datetime | None = None

    @property
    def overdue(self) -> bool:
        return self.state == PAST


def state_of(interval_days: float | None, interval_run_h: float | None, days_since: float | None,
             run_h_since: float | None) -> str:
    """How a line that is not sealed stands, so many days and running hours after it was last greased (None: not
    known). Every page counts what is overdue: by plain numbers."""
    if interval_days is None and interval_run_h is None:
        return NO_INTERVAL
    if days_since is None:
        return NEVER_RECORDED
    if interval_days is not None and over(days_since - interval_days, 0.0):
        return PAST
    if interval_run_h is None:
        return NOT_DUE
    if run_h_since is None:
        return RUN_H_UNKNOWN if over(days_since * 24.0, interval_run_h) else NOT_DUE
    return PAST if over(run_h_since - interval_run_h, 0.0) else NOT_DUE


def due(point: LubricationPoint, now: datetime, run_h_since: float | None = None) -> Due:
    """When this point is due, by days and by running hours; run_h_since stands in for the point's own estimate."""
    if point.kind == SEALED:
        return Due(SEALED)
    run_h = point.run_h_since if run_h_since is None else run_h_since
    since = None if point.last_greased_at is None else elapsed.days(point.last_greased_at, now)
    state = state_of(point.interval_days, point.interval_run_h, since, run_h)
    if since is None or point.last_greased_at is None or state == NO_INTERVAL:
        return Due(state)
    days_over = None if point.interval_days is None else since - point.interval_days
    run_h_over = None if point.interval_run_h is None or run_h is None else run_h - point.interval_run_h
    due_at = None if point.interval_days is None else point.last_greased_at + timedelta(days=point.interval_days)
    return Due(state, since, days_over, run_h, run_h_over, due_at)


def check(facts: Facts, limits: Limits) -> list[Finding]:
    found = (_overdue(end, point, facts.now) for end, point in facts.motor.lubrication.items())
    return [finding for finding in found if finding is not None]


def _overdue(end: str, point: LubricationPoint, now: datetime) -> Finding | None:
    stands = due(point, now)
    done = "oil last renewed" if point.kind == "oil" else "last greased"
    if stands.state == NEVER_RECORDED:
        says = f"{end}: nothing recorded, interval {_interval(point)} ({CHART}). Grease by the chart, or enter when."
        return Finding(OVERDUE, end, WATCH, None, None, None, CHART, says)
    if stands.state == RUN_H_UNKNOWN:
        ago = wording.figure(stands.days_since or 0.0, wording.DAYS)
        says = (f"{end} {done} {ago} ago; running hours not known, interval {_interval(point)} ({CHART}) may be past. "
                "Enter running hours or grease by the chart.")
        return Finding(OVERDUE, end, WATCH, None, point.interval_run_h, "h", CHART, says)
    if not stands.overdue:
        return None
    if stands.days_over is not None and point.interval_days is not None and over(stands.days_over, 0.0):
        value, limit = (stands.days_since or 0.0), point.interval_days
        scale, unit = wording.DAYS, "days"
    else:
        value, limit = (stands.run_h_since or 0.0), (point.interval_run_h or 0.0)
        scale, unit = wording.Scale("running hours", 0), "h"
    since, most = wording.pair(value, limit, scale)
    says = f"{end} {done} {since} ago, interval {most} ({CHART}). Grease by the chart, or say why not."
    return Finding(OVERDUE, end, THIS_SHIFT, value, limit, unit, CHART, says)


def _interval(point: LubricationPoint) -> str:
    by = [wording.figure(value, scale) for value, scale in ((point.interval_days, wording.DAYS),
                                                            (point.interval_run_h, wording.HOURS)) if value is not None]
    return " or ".join(by)
