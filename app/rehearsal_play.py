"""A rehearsal's play: motor after motor, its readings and what people did, in the order in which they happened."""

from __future__ import annotations

from collections.abc import Callable, Mapping
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
    load,
    look_again,
    settling,
    sheet,
    vibration,
    warming,
    windings,
)
from app.rules.facts import Facts
from app.rules.findings import Finding
from app.rules.limits import Limits
from app.store import past
from app.store.flags import NO_END, Flag
from app.store.limits import LimitChange
from app.store.motors import Motor
from app.store.rounds import Reading
from app.store.units import Unit

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


@dataclass
class Stage:
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
