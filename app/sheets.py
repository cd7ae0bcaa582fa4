"""What one round's sheet shows: every motor in walking order, done, skipped, left or not due; and how complete it is.

Routes are walked one after the other; a motor on several stands under the first on which it is due. Motors on none
come last, in the register's own order.

Page, review, signature and export all count from here.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy.orm import Session

from app.rules import shifts
from app.store import flags, motors, rounds, routes
from app.store.motors import Motor
from app.store.rounds import Reading, Round
from app.store.units import Unit

DONE, SKIPPED, LEFT, NOT_DUE = "done", "skipped", "left", "not due"


@dataclass(frozen=True)
class Row:
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


def sheet_of(session: Session, unit: Unit, opened: Round, now: datetime, with_findings: bool = True) -> Sheet:
    """The sheet of a round as it stands now. A handful of queries, whatever the history."""
    register = motors.motors_of(session, unit.id)
    here: dict[int, list[Reading]] = {}
    for reading in rounds.readings_of_round(session, opened.id):
        here.setdefault(reading.motor_id, []).append(reading)
    newest = {motor_id: _newest(found) for motor_id, found in here.items()}
    found = flags.findings_of(session, [r.id for r in newest.values()]) if with_findings else {}
    walks = routes.walks_of(session, unit.id)
    looked = _looked_before(session, unit, [m.id for m in register if _seldom(walks, m)], opened)
    rows = [_row(_Place.of(walks, motor, looked.get(motor.id, NEVER)), motor, newest.get(motor.id),
                 here.get(motor.id, []), found)
            for motor in register if motor.created_at < opened.ends_at]
    return Sheet(tuple(_in_walking_order(walks, rows)), bool(walks.routes))


def makes_read(reading: Reading) -> bool:
    """An entry made at the motor does; one by token only if it answers `smoke`: values alone are no look."""
    return not reading.skipped and not reading.watch and (reading.token_id is None or reading.smoke is not None)


def _newest(found: list[Reading]) -> Reading:
    """The one the sheet shows: the newest real look, else the newest of whatever there is."""
    return max(found, key=lambda r: (makes_read(r), r.taken_at, r.received_at))


@dataclass(frozen=True)
class Looked:
    """A motor's newest looks before this round: in its local date, and in its ISO week."""

    day: datetime | None = None
    week: datetime | None = None

    def done(self, every: str) -> datetime | None:
        """When it was read already, for what is checked so often; None while it is due."""
        return {"shift": None, "day": self.day, "week": self.week}[every]


NEVER = Looked()


@dataclass(frozen=True)
class _Place:
    """Where a motor is walked, and whether it is due there."""

    route: str = ""
    also_on: tuple[str, ...] = ()
    every: str = "shift"
    done_before: datetime | None = None

    @classmethod
    def of(cls, walks: routes.Walks, motor: Motor, looked: Looked) -> _Place:
        on = walks.of_motor.get(motor.id, ())
        if not on:
            return cls(every=motor.checked_every, done_before=looked.done(motor.checked_every))
        here = next((route for route in on if looked.done(route.checked_every) is None), on[0])
        return cls(here.name, tuple(route.name for route in on if route is not here), walks.every(motor),
                   looked.done(here.checked_every))


def _row(place: _Place, motor: Motor, reading: Reading | None, all_here: list[Reading],
         found: dict[object, list[flags.Finding]]) -> Row:
    others = tuple(r for r in all_here if reading is not None and r.id != reading.id)
    if reading is not None and makes_read(reading):
        status = DONE
    elif place.done_before is not None:
        status = NOT_DUE
    elif any(r.skipped for r in all_here):
        status = SKIPPED
    else:
        status = LEFT
    return Row(motor, status, reading, others, tuple(found.get(reading.id, ())) if reading else (), place.done_before,
               place.every, place.route, place.also_on)


def _in_walking_order(walks: routes.Walks, rows: list[Row]) -> list[Row]:
    """Route by route in their order, then what is on none, in the order it comes."""
    ordered: list[Row] = []
    for route in walks.routes:
        here = {row.motor.id: row for row in rows if row.route == route.name}
        ordered += [here[key] for key in route.motor_ids if key in here]
    return ordered + [row for row in rows if not row.route]


def _seldom(walks: routes.Walks, motor: Motor) -> bool:
    """Checked every day or week, here or on one of its routes."""
    on = walks.of_motor.get(motor.id, ())
    return any(route.checked_every != "shift" for route in on) if on else motor.checked_every != "shift"


def _looked_before(session: Session, unit: Unit, motor_ids: list[int], opened: Round) -> dict[int, Looked]:
    """The looks at these motors earlier in the round's local date and ISO week: due until read, not because read
    later."""
    if not motor_ids:
        return {}
    zone = unit.calendar.zone
    day_start, day_end = shifts.day_bounds(opened.shift_date, zone)
    week_start, week_end = shifts.week_bounds(shifts.week_of(day_start, zone), zone)
    found: dict[int, Looked] = {}
    for motor_id, at, round_id in rounds.looks_between(session, motor_ids, week_start, week_end):
        if round_id != opened.id and at < opened.starts_at:
            before = found.get(motor_id, NEVER)
            found[motor_id] = Looked(at if day_start <= at < day_end else before.day, at)
    return found
