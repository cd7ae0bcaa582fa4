"""What the door gives out: motors, flags, readings, exceptions, limits."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import islice
from typing import Any, TypeVar

from flask import jsonify, request

from app.api.door import PAGE, after, bp, for_token, instant, local_iso, motor_or_404, not_from_next, page, unit
from app.api.problems import bad_parameter
from app.api.schema import FLAG_PLACE, PLATE, POINT, POSITION, READING_PLACE, Schema, page_of, ref
from app.current import now, reading
from app.export.tables import figure
from app.export.week import exception_rows
from app.rules.limits import DEFAULTS
from app.rules.shifts import BadWeek, parse_week
from app.store import flags, limits, motors, rounds
from app.store.flags import Flag
from app.store.motors import LubricationPoint, Motor, Nameplate
from app.store.rounds import Reading

Key = TypeVar("Key")


def picked(row: Any, names: tuple[str, ...]) -> dict[str, Any]:
    return {name: getattr(row, name) for name in names}


def motor_told(motor: Motor) -> dict[str, Any]:
    return {**picked(motor, POSITION), "may_start_by_itself": motor.may_start_by_itself,
            "condition_at": local_iso(motor.condition_at, unit().calendar),
            "nameplate": _plate_told(motor.nameplate),
            "lubrication": {end: _point_told(motor.point(end)) for end in ("DE", "ODE")}}


def _plate_told(plate: Nameplate | None) -> dict[str, Any] | None:
    if plate is None:
        return None
    return {**picked(plate, PLATE), "fitted_on": plate.fitted_on.isoformat() if plate.fitted_on else None}


def _point_told(point: LubricationPoint | None) -> dict[str, Any] | None:
    if point is None:
        return None
    return {**picked(point, POINT), "last_greased": point.last_greased.isoformat() if point.last_greased else None}


BEGIN = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)


def _place(at: datetime, key: Any) -> str:
    """Where a row stands in a list by time, as `next` carries it: its instant in microseconds, its key."""
    return f"{(at - BEGIN) // MICROSECOND}.{key}"


def _after(shape: Schema, key_of: Callable[[str], Key]) -> tuple[datetime, Key] | None:
    """The same, read; None at the first page."""
    text = request.args.get("after", "0")
    if not re.fullmatch(shape["pattern"], text):
        raise not_from_next()
    micros, _, key = text.partition(".")
    return (BEGIN + int(micros) * MICROSECOND, key_of(key)) if key else None


@bp.get("/motors")
@for_token("read", query=("after",), gives=page_of("motors", "Motor"))
def get_motors() -> Any:
    """The register, page by page."""
    with reading() as session:
        found = motors.motors_after(session, unit().id, after(), PAGE + 1)
        return page("motors", [motor_told(m) for m in found], [m.id for m in found])


@bp.get("/motors/<tag:tag>")
@for_token("read", gives=ref("Motor"))
def get_motor(tag: str) -> Any:
    """One motor: its place, the nameplate fitted now, its lubrication chart."""
    with reading() as session:
        return jsonify(motor_told(motor_or_404(session, tag)))


def flag_told(flag: Flag) -> dict[str, Any]:
    calendar = unit().calendar
    return {"tag": flag.motor.tag, "rule": flag.rule, "end": flag.end or None, "priority": flag.priority,
            "state": flag.state(now()), "value": figure(flag.value), "limit": figure(flag.limit),
            "unit_of_measure": flag.unit_of_measure, "times_seen": flag.times_seen,
            "shifts_open": calendar.count(flag.raised_at, flag.closed_at or flag.last_seen_at),
            "first_raised": local_iso(flag.raised_at, calendar), "last_seen": local_iso(flag.last_seen_at, calendar),
            "seen": flag.seen_at is not None, "says": flag.says}


@bp.get("/flags")
@for_token("read", query=("open", "tag", "after"), shapes={"after": FLAG_PLACE}, gives=page_of("flags", "Flag"))
def get_flags() -> Any:
    """All flags, or with open=true those that are not closed; with tag= those of one motor."""
    wanted, tag = request.args.get("open", ""), request.args.get("tag")
    if wanted not in ("", "true", "false"):
        raise bad_parameter("open", "Send true, or leave it out for all.")
    with reading() as session:
        motor = motor_or_404(session, tag) if tag else None
        found = flags.flags_after(session, unit().id, _after(FLAG_PLACE, int), PAGE + 1, wanted == "true",
                                  motor.id if motor else None)
        return page("flags", [flag_told(f) for f in found], [_place(f.raised_at, f.id) for f in found], open=wanted,
                    tag=tag or "")


def reading_told(row: Reading) -> dict[str, Any]:
    """A reading in the shape it is sent in, with what the server added."""
    calendar = unit().calendar
    told: dict[str, Any] = {
        "id": str(row.id), "tag": row.motor.tag, "taken_at": local_iso(row.taken_at, calendar),
        "received_at": local_iso(row.received_at, calendar), "clock_offset_s": row.clock_offset_s,
        "by": row.person.sign_in, "token": row.token.name if row.token else None, "state": row.state,
        "skip_reason": row.skip_reason, "smoke": row.smoke, "guard": row.guard, "ground": row.ground, "leak": row.leak,
        "winding_feel": row.winding_feel, "winding_temp_c": row.winding_temp_c, "winding_method": row.winding_method,
        "current_a": list(row.current_a) or None, "voltage_v": list(row.voltage_v) or None,
        "cleanliness": row.cleanliness, "ambient_c": row.ambient_c, "method": row.method,
        "entered_later": row.entered_later, "remarks": row.remarks,
        "replaces": str(row.replaces_id) if row.replaces_id else None, "replaces_why": row.replaces_why,
        "confirmed": row.confirmed,
    }
    for name in ("vibration_feel", "vibration_mm_s", "bearing_feel", "bearing_temp_c", "lubricant"):
        told[name] = {"DE": getattr(row, f"{name}_de"), "ODE": getattr(row, f"{name}_ode")}
    for field, why in (row.unread or {}).items():
        name, _, end = field.partition(".")
        if end:
            told[name][end] = why
        else:
            told[name] = why
    return told


@bp.get("/readings")
@for_token("read", query=("tag", "from", "to", "after"), shapes={"after": READING_PLACE},
           gives=page_of("readings", "ReadingTold"))
def get_readings() -> Any:
    """The unit's readings in [from, to), or one motor's; the last seven days where no time is given."""
    start, end = _span()
    tag = request.args.get("tag")
    with reading() as session:
        motor = motor_or_404(session, tag) if tag else None
        found = rounds.readings_between(session, unit().id, start, end, motor.id if motor else None,
                                        _after(READING_PLACE, uuid.UUID), PAGE + 1)
        rows = [reading_told(r) for r in found]
        # The next page asks for the same span, also where it was left to us.
        return page("readings", rows, [_place(r.taken_at, r.id.hex) for r in found], tag=tag or "",
                    **{"from": start.isoformat(), "to": end.isoformat()})


def _span() -> tuple[datetime, datetime]:
    end = instant("to") or now() + timedelta(days=1)
    start = instant("from") or min(now(), end) - timedelta(days=7)
    if start > end:
        raise bad_parameter("from", "It is later than `to`.")
    return start, end


@bp.get("/exceptions")
@for_token("read", query=("week", "after"), needed=("week",), gives=page_of("rows", "Exception"))
def get_exceptions() -> Any:
    """A week's exceptions: the rows of the CSV, under the same names."""
    week = request.args.get("week", "")
    try:
        parse_week(week)
    except BadWeek as error:
        raise bad_parameter("week", str(error)) from error
    first = after()
    with reading() as session:
        rows = [row.as_dict() for row in islice(exception_rows(session, unit(), week, now()), first, first + PAGE + 1)]
    return page("rows", rows, [first + i + 1 for i in range(len(rows))], week=week)


@bp.get("/limits")
@for_token("read", gives={"type": "array", "items": ref("Limit")})
def get_limits() -> Any:
    """The unit's limits in force now, beside what they were shipped with and where that comes from."""
    with reading() as session:
        in_force = limits.limits_at(session, unit().id, None, now())
        return jsonify([{"name": name, "value": in_force[name].value, "unit": d.unit, "default": d.value,
                         "source": in_force[name].origin} for name, d in DEFAULTS.items()])
