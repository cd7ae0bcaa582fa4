"""The week's rounds, shift by shift: what was due, what was read, skipped, not seen.

A round is in the week of its shift date, and a shift whose sheet nobody opened is there too. Counted as each sheet
counts: a motor checked every day or week is not due where another round of that date or week has read it; a reading
by token makes a motor read only if it answers smoke; corrected readings are left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.orm import Session, joinedload, load_only, selectinload

from app.export.week import Week
from app.rules.shifts import Shift, day_bounds, week_days
from app.sheets import makes_read
from app.store.motors import Motor, walking_order
from app.store.people import Person
from app.store.rounds import Reading, Round, looks_between, not_corrected
from app.store.units import Unit

RUNNING, COMPLETE, INCOMPLETE, MISSED = "running", "complete", "incomplete", "missed"


@dataclass(frozen=True)
class NotSeen:
    """A motor that was due in a shift and not read: skipped with a reason, or not seen at all."""

    motor: Motor
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
    round: Round | None
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
    """The week's rounds in figures."""

    rounds: list[ShiftRound]

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


# the queries -----------------------------------------------------------------------------------------------


def rounds_of_week(session: Session, unit_id: int, week: str) -> dict[tuple[date, str], Round]:
    """Rounds by shift date and name."""
    monday, sunday = week_days(week)
    rounds = session.scalars(
        sa.select(Round).where(Round.unit_id == unit_id, Round.shift_date >= monday, Round.shift_date <= sunday)
        .options(joinedload(Round.opened_by), joinedload(Round.signed_by)))
    return {(r.shift_date, r.shift_name): r for r in rounds}


def looks_of_rounds(session: Session, round_ids: list[int]) -> Iterator[Reading]:
    """Who entered what when in these rounds, in the order it was taken; no corrected entries, no bare values by token.

    A control room may send values every minute: they are no look, and are left where they are.
    """
    yield from session.scalars(
        sa.select(Reading).where(
            Reading.round_id.in_(round_ids), not_corrected(),
            sa.or_(Reading.token_id.is_(None), Reading.smoke.is_not(None), Reading.skip_reason.is_not(None)))
        .order_by(Reading.taken_at, Reading.received_at, Reading.id)
        # What `makes_read` looks at, and who and when; a column it comes to need fails here, not row by row.
        .options(load_only(Reading.round_id, Reading.motor_id, Reading.person_id, Reading.skip_reason, Reading.token_id,
                           Reading.watch, Reading.smoke, Reading.taken_at, Reading.received_at, Reading.entered_later,
                           raiseload=True),
                 selectinload(Reading.person).load_only(Person.name).lazyload(Person.units)))


def last_read_before(session: Session, unit_id: int, instant: datetime) -> dict[int, datetime]:
    """When each motor was last read before an instant: one index look-up a motor, however long the history."""
    newest = (sa.select(Reading.taken_at).where(
        Reading.motor_id == Motor.id, Reading.taken_at < instant, Reading.skip_reason.is_(None),
        Reading.watch.is_(False), sa.or_(Reading.token_id.is_(None), Reading.smoke.is_not(None)))
        .order_by(Reading.taken_at.desc()).limit(1).correlate(Motor).scalar_subquery())
    rows = session.execute(sa.select(Motor.id, newest).where(Motor.unit_id == unit_id))
    return {motor_id: at for motor_id, at in rows if at is not None}


# putting it together ---------------------------------------------------------------------------------------


def shifts_of_week(week: Week) -> list[Shift]:
    """Every shift whose date lies in the week: Sunday's night is in it, the night before Monday is not."""
    monday, sunday = week_days(week.text)
    near = week.calendar.between(week.start - timedelta(days=2), week.end + timedelta(days=2))
    return [shift for shift in near if monday <= shift.date <= sunday]


def coverage(session: Session, unit: Unit, week: Week, now: datetime) -> Coverage:
    """The rounds of the shifts that have begun. A handful of queries, whatever the number of motors and rounds."""
    opened = rounds_of_week(session, unit.id, week.text)
    route = _Route(session, unit, week)
    looks: dict[int, list[Reading]] = {}
    for look in looks_of_rounds(session, [r.id for r in opened.values()]):
        looks.setdefault(look.round_id, []).append(look)
    made = []
    for shift in shifts_of_week(week):
        sheet = opened.get((shift.date, shift.name))
        if shift.starts_at > now and sheet is None:
            continue
        over = shift.ends_at <= now or (sheet is not None and sheet.signed_at is not None)
        walked = route.walk(ShiftRound(shift, sheet, over), looks.get(sheet.id, []) if sheet else [])
        if walked.planned or sheet is not None:
            made.append(walked)
    return Coverage(made)


class _Route:
    """Goes through the week's shifts in order, remembering when each motor was last read."""

    def __init__(self, session: Session, unit: Unit, week: Week) -> None:
        self._zone = week.zone
        self._motors = list(session.scalars(
            sa.select(Motor).where(Motor.unit_id == unit.id).order_by(*walking_order())))
        self._last_read = last_read_before(session, unit.id, week.start)
        seldom = [m.id for m in self._motors if m.checked_every != "shift"]
        self._seldom: dict[int, list[tuple[datetime, int]]] = {}
        for motor_id, at, round_id in looks_between(session, seldom, week.start, week.end) if seldom else ():
            self._seldom.setdefault(motor_id, []).append((at, round_id))

    def _read_elsewhere(self, motor: Motor, walked: ShiftRound) -> bool:
        """Checked every day or week, and read before this shift in the same local date or week."""
        start, end = day_bounds(walked.shift.date, self._zone)
        here = walked.round.id if walked.round else None
        return any(round_id != here and at < walked.shift.starts_at
                   and (motor.checked_every == "week" or start <= at < end)
                   for at, round_id in self._seldom.get(motor.id, ()))

    def walk(self, walked: ShiftRound, looks: list[Reading]) -> ShiftRound:
        read = {look.motor_id for look in looks if makes_read(look)}
        skipped = {look.motor_id: look for look in looks if look.skipped}
        for look in looks:
            self._note(walked, look)
        for motor in self._motors:
            if motor.id in read:
                walked.planned, walked.read = walked.planned + 1, walked.read + 1
            elif motor.created_at < walked.shift.ends_at and not self._read_elsewhere(motor, walked):
                walked.planned += 1
                self._miss(walked, motor, skipped.get(motor.id))
        return walked

    def _note(self, walked: ShiftRound, look: Reading) -> None:
        walked.late += look.entered_later or look.received_at >= walked.shift.ends_at
        if look.person.name not in walked.readers:
            walked.readers.append(look.person.name)
        walked.first_reading = walked.first_reading or look.taken_at
        walked.last_reading = look.taken_at
        if makes_read(look):
            self._last_read[look.motor_id] = look.taken_at

    def _miss(self, walked: ShiftRound, motor: Motor, skip: Reading | None) -> None:
        if skip is not None:
            walked.skipped += 1
        elif walked.over:
            walked.not_seen += 1
        else:
            return
        walked.missed_motors.append(NotSeen(
            motor, (skip.skip_reason or "") if skip else "", skip.person.name if skip else "",
            self._last_read.get(motor.id), walked.shift.ends_at))
