"""One motor's past as the rules would be given it: loaded once, then facts for each reading without a query."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import deque
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from app.gathering import PACE_LOOK_BACK, pace_of, plate_facts, point_facts
from app.rules import facts
from app.rules.limits import Limits
from app.store import limits, past
from app.store.changes import Change
from app.store.limits import LimitChange
from app.store.lubrication import Greasing
from app.store.motors import LubricationPoint, Motor, Nameplate
from app.store.rounds import Reading
from app.store.units import Unit

#: As many running readings and greasings of an end are known to a judgement.
MOST_RUNNING, MOST_GREASINGS = 20, 10


class InForce:
    """The limits in force for one motor at any instant; worked out once between two changes."""

    def __init__(self, changes: list[LimitChange], motor_id: int) -> None:
        self._changes, self._motor_id = [c for c in changes if c.motor_id in (None, motor_id)], motor_id
        self._from = sorted({c.at for c in self._changes})
        self._known: dict[int, Limits] = {}

    def at(self, instant: datetime) -> Limits:
        i = bisect_right(self._from, instant)
        if i not in self._known:
            self._known[i] = limits.limits_from(self._changes, self._motor_id, instant)
        return self._known[i]


class Was:
    """What one column of a motor held at an instant, by the record of its changes."""

    def __init__(self, now: Any, changes: list[Change], read: Any = lambda text: text) -> None:
        self._at = [c.at for c in changes]
        self._values = [read(c.before) for c in changes[:1]] + [read(c.after) for c in changes]
        self._now = now

    def at(self, instant: datetime) -> Any:
        return self._values[bisect_right(self._at, instant)] if self._at else self._now


class Paces:
    """How fast each person went from motor to motor."""

    def __init__(self, session: Session, unit: Unit, start: datetime, end: datetime) -> None:
        self._times = past.entry_times(session, unit.id, start - timedelta(days=7), end)

    def of(self, reading: Reading, fast_s: float) -> tuple[float | None, int]:
        times = self._times.get(reading.person_id, [])
        i = bisect_left(times, reading.taken_at)
        return pace_of(reading, times[max(0, i - PACE_LOOK_BACK):i][::-1], fast_s)


def read_instant(text: str | None) -> datetime | None:
    return datetime.fromisoformat(text) if text else None


class MotorPast:
    """One motor between two instants, and what a judgement looks back to."""

    def __init__(self, session: Session, unit: Unit, motor: Motor, start: datetime, end: datetime, *,
                 renewed: list[Change], felt: list[Change], paces: Paces | None) -> None:
        self.motor, self.unit = motor, unit
        self.readings = past.readings_in(session, motor.id, start, end)
        self._renewed = Was(motor.new_normal_at, renewed, read_instant)
        self._felt = Was(motor.accepted_normal_feel, felt)
        self._session, self._start, self._paces = session, start, paces
        self._greasings = past.greasings_until(session, motor.id, end)[::-1]  # the oldest first
        self._greased_at = [g.at for g in self._greasings]
        self.starts = past.starts_until(session, motor.id, end)
        self._started_at = [s.at for s in self.starts]
        self._plates: dict[int, facts.Nameplate] = {}

    def greasings_in(self, start: datetime) -> list[Greasing]:
        return [g for g in self._greasings if g.at >= start]

    def before(self, most: int) -> list[Reading]:
        """The last readings from before, the oldest first."""
        return past.readings_before(self._session, self.motor.id, self._start, most)

    def facts_in_order(self, readings: list[Reading], in_force: InForce) -> Iterator[tuple[Reading, facts.Facts]]:
        """Each reading with the facts that it is judged on."""
        running: deque[facts.Reading] = deque(maxlen=MOST_RUNNING)
        if readings:
            running.extend(r.as_facts() for r in past.readings_before(
                self._session, self.motor.id, readings[0].taken_at, MOST_RUNNING, running=True))
        waiting: list[facts.Reading] = []  # taken in the same instant: none is before the other
        for row in readings:
            here = row.as_facts()
            if waiting and waiting[0].taken_at < row.taken_at:
                running.extend(waiting)
                waiting = []
            yield row, self._facts(row, here, tuple(reversed(running)), in_force)
            if not row.skipped and here.running:
                waiting.append(here)

    def _facts(self, row: Reading, here: facts.Reading, running: tuple[facts.Reading, ...],
               in_force: InForce) -> facts.Facts:
        at = row.taken_at
        greased, started = self._greased_until(at), bisect_right(self._started_at, at)
        pace_s, fast = (None, 0)
        if self._paces is not None:
            pace_s, fast = self._paces.of(row, in_force.at(at).value("look_again_pace_s"))
        return facts.Facts(
            motor=self._motor_facts(at, greased), now=at, reading=here,
            history=facts.History(
                running=running, greasings=tuple(g.as_facts() for g in greased),
                last_start_at=self._started_at[started - 1] if started else None,
                new_normal_at=self._renewed_at(at), pace_s=pace_s, fast_in_a_row=fast),
            walked=row.token_id is None and not row.skipped and not row.watch, show=self.unit.show)

    def _renewed_at(self, at: datetime) -> datetime | None:
        """When its own normal was last begun anew; what came later than the reading was not known to it."""
        known = self._renewed.at(at)
        return known if known is not None and known <= at else None

    def _greased_until(self, at: datetime) -> list[Greasing]:
        """The newest first, so many of each end."""
        known = self._greasings[:bisect_right(self._greased_at, at)][::-1]
        kept: list[Greasing] = []
        for end in facts.ENDS:
            kept += [g for g in known if g.end == end][:MOST_GREASINGS]
        return sorted(kept, key=lambda g: (g.at, g.received_at), reverse=True)

    def _motor_facts(self, at: datetime, greased: list[Greasing]) -> facts.Motor:
        plate = self._plate(self.motor.nameplate_at(at))
        return facts.Motor(tag=self.motor.tag, nameplate=plate, ammeter=self.motor.ammeter,
                           interlock=self.motor.interlock, accepted_normal_feel=self._felt.at(at),
                           lubrication=facts.Ends(self._line("DE", at, greased), self._line("ODE", at, greased)))

    def _line(self, end: str, at: datetime, greased: list[Greasing]) -> facts.LubricationPoint:
        newest = next((g for g in greased if g.end == end and g.grams != 0), None)
        return point_facts(self.motor.point(end) or LubricationPoint(), newest, None, at)

    def _plate(self, plate: Nameplate | None) -> facts.Nameplate:
        key = plate.id if plate is not None else 0
        if key not in self._plates:
            self._plates[key] = plate_facts(plate)
        return self._plates[key]
