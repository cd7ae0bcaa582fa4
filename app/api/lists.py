"""What the door gives out: motors, flags, readings, exceptions, limits."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from flask import jsonify, request

from app.api.door import PAGE, after, bp, for_token, instant, local_iso, motor_or_404, page, unit
from app.api.problems import bad_parameter
from app.current import now, reading
from app.export.week import exception_rows
from app.rules.limits import DEFAULTS
from app.rules.shifts import BadWeek, parse_week
from app.store import flags, limits, motors, rounds
from app.store.flags import Flag
from app.store.motors import LubricationPoint, Motor, Nameplate
from app.store.rounds import Reading

PLATE = ("hp_stamped", "volts_stamped", "amps_stamped", "sfa_stamped", "hp", "connected_volts", "volts", "amps",
         "service_factor", "service_factor_amps", "phases", "hz", "rpm", "poles", "code_letter", "frame", "enclosure",
         "insulation_class", "ambient_c", "serial", "mounting", "load_wk2_lbft2", "de_bearing", "ode_bearing")
POINT = ("kind", "lubricant", "thickener", "grease_g", "interval_days", "interval_run_h")
POSITION = ("tag", "service", "area", "route_order", "checked_every", "condition", "interlock", "ammeter",
            "standby_partner", "start_basis", "accepted_normal_feel", "written_starts_per_hour", "written_spacing_min",
            "written_run_min", "written_tries", "remarks", "may_start_by_itself")


def picked(row: Any, names: tuple[str, ...]) -> dict[str, Any]:
    return {name: getattr(row, name) for name in names}


def motor_told(motor: Motor) -> dict[str, Any]:
    return {**picked(motor, POSITION), "condition_at": local_iso(motor.condition_at, unit().calendar),
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


@bp.get("/motors")
@for_token("read")
def get_motors() -> Any:
    with reading() as session:
        found = motors.motors_after(session, unit().id, after(), PAGE + 1)
        return page("motors", [motor_told(m) for m in found], [m.id for m in found])


@bp.get("/motors/<tag:tag>")
@for_token("read")
def get_motor(tag: str) -> Any:
    with reading() as session:
        return jsonify(motor_told(motor_or_404(session, tag)))


def flag_told(flag: Flag) -> dict[str, Any]:
    calendar = unit().calendar
    return {"tag": flag.motor.tag, "rule": flag.rule, "end": flag.end or None, "priority": flag.priority,
            "state": flag.state(now()), "value": flag.value, "limit": flag.limit,
            "unit_of_measure": flag.unit_of_measure, "times_seen": flag.times_seen,
            "shifts_open": calendar.count(flag.raised_at, flag.closed_at or flag.last_seen_at),
            "first_raised": local_iso(flag.raised_at, calendar), "last_seen": local_iso(flag.last_seen_at, calendar),
            "seen": flag.seen_at is not None, "says": flag.says}


@bp.get("/flags")
@for_token("read")
def get_flags() -> Any:
    """All flags, or with open=true those that are not closed; with tag= those of one motor."""
    wanted, tag = request.args.get("open", ""), request.args.get("tag")
    if wanted not in ("", "true", "false"):
        raise bad_parameter("open", "Send true, or leave it out for all.")
    with reading() as session:
        motor = motor_or_404(session, tag) if tag else None
        found = flags.flags_after(session, unit().id, after(), PAGE + 1, wanted == "true", motor.id if motor else None)
        return page("flags", [flag_told(f) for f in found], [f.id for f in found], open=wanted,
                    tag=request.args.get("tag", "") and _quoted(request.args["tag"]))


def _quoted(text: str) -> str:
    from urllib.parse import quote

    return quote(text, safe="")


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
@for_token("read")
def get_readings() -> Any:
    """The unit's readings in [from, to), or one motor's; the last seven days where no time is given."""
    start = instant("from") or now() - timedelta(days=7)
    end = instant("to") or now() + timedelta(days=1)
    tag = request.args.get("tag")
    with reading() as session:
        motor = motor_or_404(session, tag) if tag else None
        found = rounds.readings_between(session, unit().id, start, end, motor.id if motor else None, after(), PAGE + 1)
        rows = [reading_told(r) for r in found]
        return page("readings", rows, [after() + i + 1 for i in range(len(rows))], tag=_quoted(tag) if tag else "",
                    **{"from": _quoted(request.args.get("from", "")), "to": _quoted(request.args.get("to", ""))})


@bp.get("/exceptions")
@for_token("read")
def get_exceptions() -> Any:
    """A week's exceptions: the rows of the CSV, under the same names."""
    week = request.args.get("week", "")
    try:
        parse_week(week)
    except BadWeek as error:
        raise bad_parameter("week", str(error)) from error
    with reading() as session:
        rows = [row.as_dict() for row in exception_rows(session, unit(), week, now())]
    first = after()
    return page("rows", rows[first:first + PAGE + 1], [first + i + 1 for i in range(len(rows))], week=week)


@bp.get("/limits")
@for_token("read")
def get_limits() -> Any:
    with reading() as session:
        in_force = limits.limits_at(session, unit().id, None, now())
        return jsonify([{"name": name, "value": in_force[name].value, "unit": d.unit, "default": d.value,
                         "source": in_force[name].source} for name, d in DEFAULTS.items()])
