"""Rehearsal: stored weeks judged again under other limits, beside what was raised. Nothing is stored.

The same rules judge, by the same clearing band, in the order in which things were observed. What no changed limit has
a say in stays as it was raised. A motor's plate and chart are taken as they stand in the register now.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy.orm import Session

from app.rehearsal_play import Stage
from app.rules import limit_reach, limit_sanity, shifts
from app.rules.facts import Show
from app.rules.limits import DEFAULTS
from app.store import limits, motors, past
from app.store.flags import Flag
from app.store.limits import LimitChange
from app.store.motors import Motor
from app.store.units import Unit

WEEKS, MOST_WEEKS = 4, 26
Progress = Callable[[int, int], None]


class BadRehearsal(ValueError):
    """What was asked for cannot be rehearsed; `field` ("set", "weeks", "until") is where to put it right."""

    def __init__(self, field: str, says: str) -> None:
        self.field = field
        super().__init__(says)


@dataclass(frozen=True)
class Asked:
    """One limit as it would have been, for the unit or one motor; SI."""

    name: str
    value: float
    motor: Motor | None = None


@dataclass(frozen=True)
class Line:
    """Flags raised by one rule on one motor in these weeks: as it was, and as it would have been."""

    rule: str
    tag: str
    motor_id: int
    was: int
    would: int
    judged: bool  # a changed limit has a say in this rule


@dataclass(frozen=True)
class Rehearsal:
    """What came of it. The lines are those where anything was or would have been raised."""

    start: datetime
    end: datetime
    asked: tuple[Asked, ...]
    families: frozenset[str]
    lines: tuple[Line, ...]
    readings: int
    motors: int

    @property
    def was(self) -> int:
        return sum(line.was for line in self.lines)

    @property
    def would(self) -> int:
        return sum(line.would for line in self.lines)

    def by_rule(self) -> list[tuple[str, int, int, bool]]:
        """Rule, was, would, and whether it was judged again; those that differ most first."""
        rules = {line.rule: line.judged for line in self.lines}
        found = [(rule, sum(x.was for x in self.lines if x.rule == rule),
                  sum(x.would for x in self.lines if x.rule == rule), judged) for rule, judged in rules.items()]
        return sorted(found, key=lambda row: (-abs(row[2] - row[1]), not row[3], row[0]))


def rehearse(session: Session, unit: Unit, start: datetime, end: datetime, asked: Iterable[Asked],
             progress: Progress = lambda done, of: None, show: Show | None = None) -> Rehearsal:
    """Judges the weeks again. Without anything asked, every rule that has a limit: then nothing should differ.

    progress: told how many motors of how many are done. show: the scale that a refusal speaks in.
    Raises BadRehearsal for limits that cannot stand beside each other.
    """
    asked = tuple(asked)
    changes = limits.limit_changes(session, unit.id)
    planned = plan(changes, asked)
    check(show or Show(), asked, planned, end)
    families = limit_reach.families(a.name for a in asked) if asked else frozenset(limit_reach.FAMILIES)
    real = past.flags_between(session, unit.id, start, end)
    stage = Stage(session, unit, start, end, changes, planned, families, real)
    would: Counter[tuple[str, int]] = Counter()
    register, seen = motors.motors_of(session, unit.id), 0
    for done, motor in enumerate(register):
        progress(done, len(register))
        if families:
            raised, read = stage.play(motor)
            would.update((flag.rule, motor.id) for flag in raised)
            seen += read
    progress(len(register), len(register))
    return Rehearsal(start, end, asked, families, _lines(register, real, would, families, start), seen, len(register))


def _lines(register: list[Motor], real: list[Flag], would: Counter[tuple[str, int]], families: frozenset[str],
           start: datetime) -> tuple[Line, ...]:
    was = Counter((flag.rule, flag.motor_id) for flag in real if flag.raised_at >= start)
    tags, found = {m.id: m.tag for m in register}, []
    for rule, motor_id in sorted({*was, *would}, key=lambda key: (key[0], list(tags).index(key[1]))):
        judged = limit_reach.family_of(rule) in families
        before = was[rule, motor_id]
        found.append(Line(rule, tags[motor_id], motor_id, before, would[rule, motor_id] if judged else before, judged))
    return tuple(found)


# the limits asked for --------------------------------------------------------------------------------------


def plan(changes: list[LimitChange], asked: tuple[Asked, ...]) -> list[LimitChange]:
    """The changes as they would stand: each limit asked for in force all the while, in the place of its own."""
    scopes = {(a.name, a.motor.id if a.motor else None) for a in asked}
    kept = [c for c in changes if (c.name, c.motor_id) not in scopes]
    return [*(LimitChange(name=a.name, motor_id=a.motor.id if a.motor else None, value=a.value, why="rehearsal",
                          at=datetime.min.replace(tzinfo=UTC)) for a in asked), *kept]


def check(show: Show, asked: tuple[Asked, ...], planned: list[LimitChange], at: datetime) -> None:
    """Raises BadRehearsal where a value cannot be, or stands in the wrong order beside another."""
    for a in asked:
        if a.name not in DEFAULTS:
            raise BadRehearsal("set", f"No limit is called {a.name!r}.")
        fault = limit_sanity.value_fault(DEFAULTS[a.name], a.value, show)
        for owner in () if fault else {None, *(c.motor_id for c in planned)} if a.motor is None else {a.motor.id}:
            fault = fault or limit_sanity.order_fault(a.name, limits.limits_from(planned, owner, at), show)
        if fault:
            raise BadRehearsal("set", f"{a.name}: {fault}")


def span(unit: Unit, weeks: int, now: datetime, until: str | None = None) -> tuple[datetime, datetime]:
    """So many weeks up to now, or up to the end of an ISO week that is over. Raises BadRehearsal."""
    if not 1 <= weeks <= MOST_WEEKS:
        raise BadRehearsal("weeks", f"Choose 1 to {MOST_WEEKS} weeks.")
    if not until:
        return now - timedelta(weeks=weeks), now
    try:
        end = shifts.week_bounds(until, unit.calendar.zone)[1]
        start = shifts.week_bounds(shifts.next_week(until, 1 - weeks), unit.calendar.zone)[0]
    except shifts.BadWeek as error:
        raise BadRehearsal("until", f"{error}.") from error
    if end > now:
        raise BadRehearsal("until", f"{until} is not over. Leave it out to go up to now.")
    return start, end
