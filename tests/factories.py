"""A small plant to test on: a unit, its people, a motor with its plate and its chart. Session first, flushed.

The figures are one ordinary motor's: 75 hp, 460 V, 87 A, service factor 1.15, grease at both ends.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from flask.testing import FlaskClient
from sqlalchemy.orm import Session
from werkzeug.security import generate_password_hash
from werkzeug.test import TestResponse

from app.rules.shifts import ShiftStart
from app.store import motors, people, units
from app.store.base import new_id
from app.store.motors import LubricationPoint, Motor, Nameplate
from app.store.people import HEAD_OPERATOR, OPERATOR, SUPERVISOR, Person
from app.store.rounds import Reading, Round, round_of
from app.store.units import Unit

#: 07:12 on a Tuesday in Chicago: the day shift's first hour.
NOW = datetime(2026, 11, 24, 13, 12, tzinfo=UTC)
#: When the register was written, long before anything a test enters.
LONG_AGO = datetime(2020, 1, 1, tzinfo=UTC)
TWELVE_HOURS = (ShiftStart("Day", "06:00"), ShiftStart("Night", "18:00"))
EIGHT_HOURS = (ShiftStart("Morning", "06:00"), ShiftStart("Afternoon", "14:00"), ShiftStart("Night", "22:00"))
#: Every factory's person signs in with this one, whatever the role.
SECRET = "brass lantern 4071"
#: One round only: scrypt's 80 ms each would be most of the run. One test of sign-in uses the real one.
_QUICK_HASH = generate_password_hash(SECRET, method="pbkdf2:sha256:1")


@dataclass
class Plant:
    """One unit with a person of each role and one running motor."""

    unit: Unit
    operator: Person
    head_operator: Person
    supervisor: Person
    motor: Motor


def make_unit(session: Session, name: str = "Unit 2", zone: str = "America/Chicago",
              shifts: tuple[ShiftStart, ...] = TWELVE_HOURS, temperature: str = "C") -> Unit:
    return units.add_unit(session, name, zone, list(shifts), LONG_AGO, temperature)


def make_person(session: Session, unit: Unit | list[Unit], role: str = OPERATOR, sign_in: str | None = None,
                name: str | None = None, secret_hash: str | None = None) -> Person:
    """Somebody who signs in with SECRET. Named after the role unless told otherwise."""
    given = unit if isinstance(unit, list) else [unit]
    sign_in = sign_in or role.replace(" ", "-")
    return people.add_person(session, sign_in, name or sign_in.replace("-", " ").title(), role,
                             secret_hash or _QUICK_HASH, given, LONG_AGO)


def make_motor(session: Session, unit: Unit, tag: str = "P-101A", *, rated_amps: float | None = 87.0,
               sf: float | None = 1.15, hp: float | None = 75.0, volts: float | None = 460.0, area: str = "Feed",
               service: str = "feed pump", route_order: float | None = None, condition: str | None = "running",
               interlock: str | None = "low-voltage protection", ammeter: str | None = "one",
               fitted_from: datetime = LONG_AGO, plate: dict[str, Any] | None = None, greased: bool = True,
               **more: Any) -> Motor:
    """A motor with its nameplate and, unless not greased, a chart line at each end.

    plate: further columns of the nameplate. more: further columns of the motor.
    """
    motor = Motor(unit_id=unit.id, tag=tag, tag_key=motors.tag_key(tag), area=area, service=service,
                  route_order=route_order, condition=condition, condition_at=LONG_AGO if condition else None,
                  interlock=interlock, ammeter=ammeter, created_at=LONG_AGO, **more)
    session.add(motor)
    session.flush()
    make_nameplate(session, motor, rated_amps=rated_amps, sf=sf, hp=hp, volts=volts, fitted_from=fitted_from,
                   **(plate or {}))
    if greased:
        for end in ("DE", "ODE"):
            make_point(session, motor, end)
    session.refresh(motor, ["nameplates", "points", "unit"])
    return motor


def make_nameplate(session: Session, motor: Motor, *, rated_amps: float | None = 87.0, sf: float | None = 1.15,
                   hp: float | None = 75.0, volts: float | None = 460.0, fitted_from: datetime = LONG_AGO,
                   **more: Any) -> Nameplate:
    """A plate fitted from an instant on: another one for the same motor is a swap."""
    columns = {"phases": 3, "hz": 60.0, "rpm": 1775.0, "poles": 4, "code_letter": "G", "frame": "365T",
               "enclosure": "TEFC", "insulation_class": "F", "ambient_c": 40.0, "mounting": "rigid",
               "de_bearing": "6313", "ode_bearing": "6312", "serial": "S-1", **more}
    plate = Nameplate(motor_id=motor.id, fitted_from=fitted_from, fitted_on=fitted_from.date(), hp=hp, volts=volts,
                      connected_volts=volts, amps=rated_amps, service_factor=sf, hp_stamped=_stamped(hp),
                      volts_stamped=_stamped(volts), amps_stamped=_stamped(rated_amps), **columns)
    session.add(plate)
    session.flush()
    session.expire(motor, ["nameplates"])
    return plate


def _stamped(value: float | None) -> str | None:
    return None if value is None else f"{value:g}"


def make_point(session: Session, motor: Motor, end: str = "DE", **columns: Any) -> LubricationPoint:
    """A line of the lubrication chart: 30 g of a polyurea grease every 90 days."""
    line = {"kind": "grease", "lubricant": "motor grease NLGI 2", "thickener": "polyurea", "grease_g": 30.0,
            "interval_days": 90.0, "valid_from": LONG_AGO, **columns}
    point = LubricationPoint(motor_id=motor.id, end=end, **line)
    session.add(point)
    session.flush()
    session.expire(motor, ["points"])
    return point


def make_plant(session: Session, **unit: Any) -> Plant:
    """A unit, the three roles, one running motor. Their sign-in names: operator, head-operator, supervisor."""
    made = make_unit(session, **unit)
    crew = [make_person(session, made, role) for role in (OPERATOR, HEAD_OPERATOR, SUPERVISOR)]
    return Plant(made, *crew, make_motor(session, made, route_order=1.0))


def make_round(session: Session, unit: Unit, instant: datetime = NOW, person: Person | None = None) -> Round:
    """The round of the shift that holds an instant, opened when the shift began; the same one when asked again."""
    shift = unit.calendar.shift_of(instant)
    known = round_of(session, unit.id, shift.date, shift.name)
    if known:
        return known
    made = Round(unit_id=unit.id, shift_date=shift.date, shift_name=shift.name, starts_at=shift.starts_at,
                 ends_at=shift.ends_at, opened_at=shift.starts_at, opened_by_id=person.id if person else None)
    session.add(made)
    session.flush()
    return made


def make_reading(session: Session, motor: Motor, person: Person, taken_at: datetime = NOW, *,
                 state: str = "running", **columns: Any) -> Reading:
    """A stored reading that nothing judged: columns of the reading as given, all else not looked at."""
    columns.setdefault("id", new_id())
    plate = motor.nameplate_at(taken_at)
    made = Reading(content=hashlib.sha256(repr(sorted(columns.items(), key=lambda c: c[0])).encode()).hexdigest(),
                   unit_id=motor.unit_id, round_id=make_round(session, motor.unit, taken_at, person).id,
                   motor_id=motor.id, nameplate_id=plate.id if plate else None, person_id=person.id,
                   taken_at=taken_at, taken_at_device=taken_at, received_at=taken_at + timedelta(seconds=2),
                   state=state, **columns)
    session.add(made)
    session.flush()
    return made


# the pages, as a browser uses them -------------------------------------------------------------------------

_TOKEN = re.compile(r'name="csrf_token"[^>]*?value="([^"]+)"')


def form_token(client: FlaskClient, path: str = "/help") -> str:
    """The forgery token off a page that has a form: the one of this session, good for all its pages."""
    page = client.get(path)
    found = _TOKEN.search(page.get_data(as_text=True))
    assert found, f"{path} ({page.status_code}) has no form token"
    return found[1]


def sign_in(client: FlaskClient, person: Person, secret: str = SECRET) -> FlaskClient:
    """Signs the person in by the page, as a browser would; the same client, for chaining."""
    answer = try_sign_in(client, person.sign_in, secret)
    assert answer.status_code == 303, answer.get_data(as_text=True)
    return client


def try_sign_in(client: FlaskClient, name: str, secret: str, **fields: str) -> TestResponse:
    token = form_token(client, "/sign-in")
    return client.post("/sign-in", data={"csrf_token": token, "sign_in": name, "secret": secret, **fields})


def post_form(client: FlaskClient, path: str, fields: dict[str, Any] | None = None, **options: Any) -> TestResponse:
    """Posts a form with this session's token in it. fields: a value or a list of values for each name."""
    return client.post(path, data={"csrf_token": form_token(client), **(fields or {})}, **options)
