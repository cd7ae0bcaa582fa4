"""The week's rounds, shift by shift: what was due, what was read, skipped, not seen.

A round is in the week of its shift date, and a shift whose sheet nobody opened is there too. Counted as each sheet
counts: a motor checked every day or week is not due where another round of that date or week has read it; a reading
by token makes a motor read only if it answers smoke; corrected readings are left out.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import lru_cache
from itertools import chain
from statistics import median

from sqlalchemy.orm import Session

from app.export.week import Week
from app.export.week_asked import DAY, TAKEN_AT, Look, OnRoute, Opened, Place, asked_rounds, asked_route
from app.rules.shifts import Shift, day_bounds
from app.rules.spans import Span
from app.store.prepared import ask_together
from app.store.units import Unit

#: Fewer steps from motor to motor tell no pace.
LEAST_PACES = 2
RUNNING, COMPLETE, INCOMPLETE, MISSED = "running", "complete", "incomplete", "missed"


@dataclass(frozen=True)
class NotSeen:
    """A motor that was due in a shift and not read: skipped with a reason, or not seen at all."""

    motor: Place
    every: str  # how often it is checked: shift, day or week
    reason: str  # "" when nobody gave one
    by: str
    last_read: datetime | None
    at: datetime  # the shift's end: hours since last_read count to it

    @property
    def hours_since_read(self) -> float | None:
        return None if self.last_read is None else round((self.at - self.last_read).total_seconds() / 3600, 1)


@dataclass
class ShiftRound:
    """One shift of the week and its round, if one was opened. not_seen counts from the shift's end on."""

    shift: Shift
    round: Opened | None
    over: bool
    planned: int = 0
    read: int = 0
    skipped: int = 0
    not_seen: int = 0
    late: int = 0  # entered later, or received after the shift's end
    readers: list[str] = field(default_factory=list)
    first_reading: datetime | None = None
    last_reading: datetime | None = None
    missed_motors: list[NotSeen] = field(default_factory=list)
    paces: list[float] = field(default_factory=list)  # seconds from one motor to the next, of each person's own walk

    @property
    def median_s_per_motor(self) -> float | None:
        return round(median(self.paces), 1) if len(self.paces) >= LEAST_PACES else None

    @property
    def result(self) -> str:
        """running, complete (all due read, or skipped with a reason), incomplete, missed (nobody came)."""
        if not self.over:
            return RUNNING
        if not self.read and not self.skipped and self.not_seen:
            return MISSED
        return INCOMPLETE if self.not_seen else COMPLETE


@dataclass
class Coverage:
    """The week's rounds in figures, and the motors they were due at."""

    rounds: list[ShiftRound]
    route: list[OnRoute] = field(default_factory=list)

    def _with(self, result: str) -> int:
        return sum(1 for r in self.rounds if r.result == result)

    @property
    def over(self) -> int:
        return sum(1 for r in self.rounds if r.over)

    @property
    def complete(self) -> int:
        return self._with(COMPLETE)

    @property
    def incomplete(self) -> int:
        return self._with(INCOMPLETE)

    @property
    def missed(self) -> int:
        return self._with(MISSED)

    @property
    def signed(self) -> int:
        return sum(1 for r in self.rounds if r.round is not None and r.round.signed_at is not None)

    @property
    def looks(self) -> int:
        return sum(r.read for r in self.rounds)

    @property
    def not_seen(self) -> int:
        return sum(r.not_seen for r in self.rounds)

    @property
    def skipped(self) -> int:
        return sum(r.skipped for r in self.rounds)

    @property
    def reasons(self) -> Counter[str]:
        """Why motors were skipped, in the words that were given."""
        return Counter(missed.reason for r in self.rounds for missed in r.missed_motors if missed.reason)

    @property
    def unseen(self) -> Counter[str]:
        """How often each motor was due and neither read nor skipped, by tag."""
        return Counter(m.motor.tag for r in self.rounds for m in r.missed_motors if not m.reason)

    @property
    def by_shift(self) -> dict[str, int]:
        """Motors read, by the shift's name, in the order of the day."""
        found: dict[str, int] = {}
        for r in self.rounds:
            found[r.shift.name] = found.get(r.shift.name, 0) + r.read
        return found


@lru_cache(32)  # page and files of a week ask for the same
def shifts_of_week(week: Week) -> tuple[Shift, ...]:
    """Every shift whose date lies in the week: Sunday's night is in it, the night before Monday is not."""
    near = week.calendar.between(week.start - 2 * DAY, week.end + 2 * DAY)
    return tuple(shift for shift in near if week.span.first <= shift.date <= week.span.last)


def coverage(session: Session, unit: Unit, week: Week, now: datetime) -> Coverage:
    """The rounds of the shifts that have begun. Two queries in one exchange, whatever the number of motors and
    rounds."""
    (opened, looks), motors = ask_together(
        session, asked_rounds(unit.id, week), asked_route(unit.id, week))
    route = _Route(motors, looks, week)
    made = []
    for shift in shifts_of_week(week):
        sheet = opened.get((shift.date, shift.name))
        if shift.starts_at > now and sheet is None:
            continue
        over = shift.ends_at <= now or (sheet is not None and sheet.signed_at is not None)
        walked = route.walk(ShiftRound(shift, sheet, over), looks.get(sheet.id, []) if sheet else [])
        if walked.planned or sheet is not None:
            made.append(walked)
    return Coverage(made, motors)


class _Route:
    """Goes through the week's shifts in order, remembering when each motor was last read."""

    def __init__(self, route: list[OnRoute], looks: dict[int, list[Look]], week: Week) -> None:
        self._zone = week.zone
        self._motors = [one.motor for one in route]
        self._last_read = {one.motor.id: one.last_read for one in route if one.last_read is not None}
        self._every = {one.motor.id: one.every for one in route}
        seldom = {key for key, every in self._every.items() if every != "shift"}
        self._seldom: dict[int, list[tuple[datetime, int]]] = {}
        self._bounds: dict[tuple[str, date], tuple[datetime, datetime]] = {}
        if seldom:
            for round_id, motor_id, _, _, _, makes_read, _, taken_at, *_ in chain.from_iterable(looks.values()):
                if motor_id in seldom and makes_read:
                    self._seldom.setdefault(motor_id, []).append((taken_at, round_id))

    def _read_elsewhere(self, motor: Place, walked: ShiftRound) -> bool:
        """Checked every day or week, and read before this shift in the same local date or ISO week."""
        start, end = self._due_within(self._every[motor.id], walked.shift.date)
        here = walked.round.id if walked.round else None
        return any(round_id != here and at < walked.shift.starts_at and start <= at < end
                   for at, round_id in self._seldom.get(motor.id, ()))

    def _due_within(self, every: str, day: date) -> tuple[datetime, datetime]:
        if (every, day) not in self._bounds:
            monday = day - timedelta(days=day.isoweekday() - 1)
            self._bounds[every, day] = (day_bounds(day, self._zone) if every == "day" else
                                        Span(monday, monday + timedelta(days=6)).bounds(self._zone))
        return self._bounds[every, day]

    def walk(self, walked: ShiftRound, looks: list[Look]) -> ShiftRound:
        read, skipped = self._follow(walked, looks)
        others = [motor for motor in self._motors if motor.id not in read]
        walked.planned = walked.read = len(self._motors) - len(others)
        for motor in others:
            if motor.created_at < walked.shift.ends_at and not self._read_elsewhere(motor, walked):
                walked.planned += 1
                self._miss(walked, motor, skipped.get(motor.id))
        return walked

    def _follow(self, walked: ShiftRound, looks: list[Look]) -> tuple[set[int], dict[int, tuple[str, str]]]:
        """Goes through the shift's entries as they were taken: the motors that were read, and those skipped, why and by
        whom.

        A pace is from a person's first entry at one motor to their first at the next, but for what came by token.
        """
        read: set[int] = set()
        skipped: dict[int, tuple[str, str]] = {}
        stands: dict[str, tuple[int, datetime]] = {}
        readers: dict[str, None] = {}
        ends_at, last_read, paces, late = walked.shift.ends_at, self._last_read, walked.paces, 0
        for (_, motor_id, person, reason, by_token, makes_read, entered_later, taken_at, received_at,
             _, _, _) in looks:
            readers[person] = None
            if entered_later or received_at >= ends_at:
                late += 1
            if makes_read:
                read.add(motor_id)
                last_read[motor_id] = taken_at
            elif reason is not None:
                skipped[motor_id] = reason, person
            if not by_token:
                before = stands.get(person)
                if before is None or before[0] != motor_id:
                    stands[person] = motor_id, taken_at
                    if before is not None:
                        paces.append((taken_at - before[1]).total_seconds())
        walked.late, walked.readers = late, list(readers)
        if looks:
            walked.first_reading, walked.last_reading = looks[0][TAKEN_AT], looks[-1][TAKEN_AT]
        return read, skipped

    def _miss(self, walked: ShiftRound, motor: Place, skip: tuple[str, str] | None) -> None:
        if skip is not None:
            walked.skipped += 1
        elif walked.over:
            walked.not_seen += 1
        else:
            return
        reason, by = skip or ("", "")
        walked.missed_motors.append(NotSeen(
            motor, self._every[motor.id], reason, by, self._last_read.get(motor.id), walked.shift.ends_at))
