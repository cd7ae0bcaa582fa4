"""What one round's sheet shows: every motor in walking order, done, skipped, left or not due; and how complete it is.

Routes are walked one after the other; a motor on several stands under the first on which it is due. Motors on none
come last, in the register's own order.

Page, review, signature and export all count from here.
"""

from __future__ import annotations

import sys
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo
from functools import lru_cache
from typing import NamedTuple

from sqlalchemy.orm import Session

from app.rules import shifts
from app.rules.shifts import Shift
from app.store import flags, sheet_ground
from app.store.motors import CHECKED_EVERY, Motor
from app.store.rounds import Reading, Round
from app.store.sheet_ground import Asked, Opened, Walked
from app.store.units import Unit

DONE, SKIPPED, LEFT, NOT_DUE = "done", "skipped", "left", "not due"


class Row(NamedTuple):
    """One motor's line of the sheet."""

    motor: Motor
    status: str
    reading: Reading | None = None  # the newest of this round
    also: tuple[Reading, ...] = ()  # others of this round: somebody else looked too
    findings: tuple[flags.Finding, ...] = ()
    last_done_at: datetime | None = None  # for those checked every day or week
    every: str = "shift"  # how often it is checked: shift, day or week
    route: str = ""  # the route it is walked on; "": on none
    also_on: tuple[str, ...] = ()  # other routes that this look counts for

    @property
    def flagged(self) -> dict[str, str]:
        """The cells to box: column of the sheet -> gravest priority there."""
        cells: dict[str, str] = {}
        for f in self.findings:  # gravest first
            cells.setdefault(cell_of(f.rule, f.end), f.priority)
        return cells


@dataclass(frozen=True)
class Sheet:
    rows: tuple[Row, ...] = field(default_factory=tuple)
    has_routes: bool = False
    opened: Opened | None = None  # None: nobody has opened the round, or the unit has no motors
    register: tuple[Motor, ...] = ()  # the unit's motors in their own order, those added after the round too

    def count(self, *statuses: str) -> int:
        return sum(1 for row in self.rows if row.status in statuses)

    def of(self, status: str) -> list[Row]:
        return [row for row in self.rows if row.status == status]

    @property
    def due(self) -> int:
        return self.count(DONE, SKIPPED, LEFT)

    @property
    def complete(self) -> bool:
        return self.count(LEFT) == 0

    def next_after(self, motor_id: int | None) -> Motor | None:
        """The next motor left in walking order, round the corner if need be."""
        left = [row.motor for row in self.rows if row.status == LEFT and row.motor.id != motor_id]
        if motor_id is None or not left:
            return left[0] if left else None
        order = [row.motor.id for row in self.rows]
        place = order.index(motor_id) if motor_id in order else -1
        return next((m for m in left if order.index(m.id) > place), left[0])

    def place_of(self, motor_id: int) -> int:
        """The motor's number on the walk, 1 the first."""
        return next((i for i, row in enumerate(self.rows, start=1) if row.motor.id == motor_id), 0)


def cell_of(rule: str, end: str) -> str:
    """Which cell of the sheet a finding belongs to."""
    if rule in ("bearing_hot", "bearings_uneven") or rule.endswith(("_bearing", "_end_difference")):
        return end or "DE"
    if rule.endswith("_winding") or rule == "winding_hot":
        return "winding"
    if rule.endswith("_amps") or rule in ("amps_over_nameplate", "phase_unbalance", "volts_off"):
        return "amps"
    if rule in ("lubricant", "greasing_overdue", "greased_too_soon", "wrong_lubricant", "drinks_oil"):
        return "lubricant"
    return {"vibration": "vibration", "dirty": "clean"}.get(rule, "state")


def sheet_of(session: Session, unit: Unit, opened: Round | Shift, now: datetime, with_findings: bool = True) -> Sheet:
    """The sheet of a round, or of a shift that nobody may have opened, as it stands now: one query without findings,
    three with them, whatever the history.

    Motors and readings are shared with other requests: to be read, not to be changed.
    """
    asked, found = _asked(unit, opened), dict[uuid.UUID, list[flags.Finding]]()
    if with_findings:
        (motors, has_routes, there), entered = sheet_ground.ground_of(session, asked), sheet_ground.Entries()
        if there is not None:
            entered = sheet_ground.entries_of_round(session, there.id)
            found = sheet_ground.findings_of_round(session, there.id)
    else:
        (motors, has_routes, there), entered = sheet_ground.ground_and_entries(session, asked)
    until = opened.ends_at
    placed = [(one.motor, _Place.of(one)) for one in motors if one.motor.created_at < until]
    if has_routes:
        placed.sort(key=lambda one: one[1].order or LAST)
    return Sheet(tuple([_row(place, motor, entered.get(motor.id, ()), found) for motor, place in placed]),
                 has_routes, there, tuple([one.motor for one in motors]))


def _asked(unit: Unit, opened: Round | Shift) -> Asked:
    """Due until read, not because read later: looks count up to the round's own beginning."""
    on, name = (opened.date, opened.name) if isinstance(opened, Shift) else (opened.shift_date, opened.shift_name)
    day_from, day_until, week_from, week_until = _day_and_week(on, unit.calendar.zone)
    return Asked(unit.id, on, name, day_from, min(day_until, opened.starts_at), week_from,
                 min(week_until, opened.starts_at))


@lru_cache(maxsize=64)
def _day_and_week(on: date, zone: tzinfo) -> tuple[datetime, datetime, datetime, datetime]:
    """When a local date begins and ends, and its ISO week."""
    day_from, day_until = shifts.day_bounds(on, zone)
    return day_from, day_until, *shifts.week_bounds(shifts.week_of(day_from, zone), zone)


def makes_read(reading: Reading) -> bool:
    """An entry made at the motor does; one by token only if it answers `smoke`: values alone are no look."""
    return not reading.skipped and not reading.watch and (reading.token_id is None or reading.smoke is not None)


def _newest(found: Sequence[Reading]) -> Reading:
    """The one the sheet shows: the newest real look, else the newest of whatever there is."""
    return found[0] if len(found) == 1 else max(found, key=lambda r: (makes_read(r), r.taken_at, r.received_at))


class _Place(NamedTuple):
    """Where a motor is walked, and whether it is due there."""

    route: str = ""
    also_on: tuple[str, ...] = ()
    every: str = "shift"
    done_before: datetime | None = None  # when it was read already, for what is checked every day or week
    order: tuple[int, int, int] | None = None  # None: on no route

    @classmethod
    def of(cls, one: Walked) -> _Place:
        if not one.routes:
            return cls("", (), one.motor.checked_every, one.looked_at)
        here = next((route for route in one.routes if route.looked_at is None), one.routes[0])
        every = min((route.checked_every for route in one.routes), key=CHECKED_EVERY.index)
        return cls(here.name, tuple(route.name for route in one.routes if route is not here), every, here.looked_at,
                   here.place)


#: After every route.
LAST = (sys.maxsize,)


def _row(place: _Place, motor: Motor, entered: Sequence[Reading], found: dict[uuid.UUID, list[flags.Finding]]) -> Row:
    route, also_on, every, done_before, _ = place
    if not entered:
        return Row(motor, LEFT if done_before is None else NOT_DUE, None, (), (), done_before, every, route, also_on)
    reading = _newest(entered)
    if makes_read(reading):
        status = DONE
    elif done_before is not None:
        status = NOT_DUE
    else:
        status = SKIPPED if any(r.skipped for r in entered) else LEFT
    return Row(motor, status, reading, tuple([r for r in entered if r is not reading]),
               tuple(found.get(reading.id, ())), done_before, every, route, also_on)
