"""Rehearsal: stored weeks judged again under other limits, beside what was raised. Nothing is stored.

The same rules judge, by the same clearing band, in the order in which things were observed. What no changed limit has
a say in stays as it was raised. A motor's plate and chart are taken as they stand in the register now.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial

from sqlalchemy.orm import Session

from app import rehearsal_events
from app.rehearsal_facts import InForce, MotorPast, Paces
from app.rehearsal_flags import Course, Rehearsed
from app.rules import (
    balance,
    bearings,
    clearing,
    drift,
    limit_reach,
    limit_sanity,
    load,
    look_again,
    settling,
    sheet,
    shifts,
    vibration,
    warming,
    windings,
)
from app.rules.facts import Facts, Show
from app.rules.findings import Finding
from app.rules.limits import DEFAULTS, Limits
from app.store import limits, motors, past
from app.store.flags import NO_END, Flag
from app.store.limits import LimitChange
from app.store.motors import Motor
from app.store.rounds import Reading
from app.store.units import Unit

WEEKS, MOST_WEEKS = 4, 26
#: So many earlier readings tell how far a flag that stands at the beginning had come on its way back.
BEFORE = 60
UNSTABLE_LOOK_BACK = timedelta(days=16)
CHECKS: Mapping[str, sheet.Rule] = {
    limit_reach.AMPS: load.check, limit_reach.PHASES: balance.check, limit_reach.BEARINGS: bearings.check,
    limit_reach.WINDINGS: windings.check, limit_reach.VIBRATION: vibration.check,
    limit_reach.SETTLING: settling.check, limit_reach.DRIFT: drift.check, limit_reach.WARMING: warming.check,
    limit_reach.LOOK_AGAIN: look_again.check,
}
#: A trend that has passed the limit is no return to normal: to tell, these must judge too.
BESIDE_DRIFT = (limit_reach.AMPS, limit_reach.BEARINGS, limit_reach.WINDINGS)
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
    stage = _Stage(session, unit, start, end, changes, planned, families, real)
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


# playing ---------------------------------------------------------------------------------------------------


@dataclass
class _Stage:
    """What all motors share."""

    session: Session
    unit: Unit
    start: datetime
    end: datetime
    changes: list[LimitChange]
    planned: list[LimitChange]
    families: frozenset[str]
    real: list[Flag]

    def __post_init__(self) -> None:
        session, unit = self.session, self.unit
        beside = BESIDE_DRIFT if limit_reach.DRIFT in self.families else ()
        self.rules = tuple(check for family, check in CHECKS.items() if family in self.families or family in beside)
        self.judge = partial(sheet.judge_by, self.rules)
        self.renewed = past.motor_changes(session, unit.id, "new_normal_at")
        self.felt = past.motor_changes(session, unit.id, "accepted_normal_feel")
        self.paces = (Paces(session, unit, self.start, self.end)
                      if limit_reach.LOOK_AGAIN in self.families else None)
        self.returns = past.returns_between(session, unit.id, self.start - UNSTABLE_LOOK_BACK, self.start)
        self.settled = past.unstable_closed(session, unit.id, self.start)
        self.rounds = (past.rounds_opened(session, unit.id, self.start, self.end)
                       if limit_reach.OIL in self.families else [])

    def ours(self, rule: str) -> bool:
        return limit_reach.family_of(rule) in self.families

    def play(self, motor: Motor) -> tuple[list[Rehearsed], int]:
        """One motor from start to end: the flags that would have been raised, and how many readings were judged."""
        then, now = InForce(self.changes, motor.id), InForce(self.planned, motor.id)
        told = MotorPast(self.session, self.unit, motor, self.start, self.end,
                         renewed=self.renewed.get(motor.id, []), felt=self.felt.get(motor.id, []), paces=self.paces)
        course = self._course(motor)
        self._before(course, told, then)
        acts = [*course.people(self.start, self.end),
                *rehearsal_events.acts(self.session, self.unit, told, course, self.families, self.start, now,
                                       self.rounds)]
        acts.sort(key=lambda act: act[0])
        waiting = iter([*acts, (datetime.max.replace(tzinfo=UTC), None)])
        at, act = next(waiting)
        if self.rules:
            for row, given in told.facts_in_order(told.readings, now):
                while act is not None and at < row.taken_at:
                    act()
                    at, act = next(waiting)
                self._reading(course, row, given, now.at(row.taken_at))
        while act is not None:
            act()
            at, act = next(waiting)
        return course.raised, len(told.readings) if self.rules else 0

    def _course(self, motor: Motor) -> Course:
        real: dict[tuple[str, str], list[Flag]] = {}
        for flag in self.real:
            if flag.motor_id == motor.id and self.ours(flag.rule):
                real.setdefault((flag.rule, flag.end), []).append(flag)
        course = Course(self.unit.calendar, real)
        for gone in self.returns:
            if gone.motor_id == motor.id:
                course.returns.setdefault((gone.rule, gone.end), []).append((gone.opened_at, gone.returned_at))
        course.settled = {(rule, end): at for (motor_id, rule, end), at in self.settled.items()
                          if motor_id == motor.id}
        return course

    def _before(self, course: Course, told: MotorPast, in_force: InForce) -> None:
        """Flags that stand when the weeks begin, as far on their way back as the readings before had brought them."""
        for flags in course.real.values():
            for flag in flags:
                if flag.raised_at < self.start:
                    last = past.last_sighting(self.session, flag.id, self.start)
                    course.begin(flag, last.at if last else flag.raised_at, last is None or last.value is not None,
                                 self.start)
        if not course.standing or not self.rules:
            return
        for row, given in told.facts_in_order(told.before(BEFORE), in_force):
            if not row.skipped:
                at_that_time = in_force.at(row.taken_at)
                self._answers(course, row, given, at_that_time, self.judge(given, at_that_time))
        for flag in course.standing.values():
            flag.unstable = any(real.unstable_at is not None and real.unstable_at < self.start
                                for real in course.real[flag.rule, flag.end])

    def _reading(self, course: Course, row: Reading, given: Facts, in_force: Limits) -> None:
        found = self.judge(given, in_force)
        course.show((f for f in found if self.ours(f.rule)), row.taken_at)
        if course.standing and not row.skipped:
            self._answers(course, row, given, in_force, found)

    def _answers(self, course: Course, row: Reading, given: Facts, in_force: Limits, found: list[Finding]) -> None:
        """What the reading says of the flags that it does not show. found: what all rules here find in it."""
        fired = {(f.rule, f.end or NO_END) for f in found}
        for key, flag in list(course.standing.items()):
            if key not in fired and flag.last_seen_at <= row.taken_at and flag.returned_at is None:
                said = clearing.verdict(given, flag.rule, flag.end or None, flag.measured, in_force,
                                        self._again(flag.rule, given, found))
                course.answer(flag, said, row.taken_at, row.round_id)

    def _again(self, rule: str, given: Facts, found: list[Finding]) -> Callable[[Facts, Limits], list[Finding]]:
        """Judges the same reading as it was judged, and a worse one by this rule's own family alone."""
        check = CHECKS.get(limit_reach.family_of(rule) or "")
        rules = (check,) if check is not None else ()

        def judge(facts: Facts, in_force: Limits) -> list[Finding]:
            return found if facts is given else sheet.judge_by(rules, facts, in_force)

        return judge


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
