"""Motors of every start rule, and two doors to them: the page at the motor and JSON. Times of one day in Chicago."""

from __future__ import annotations

import html
import re
import uuid
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy.orm import Session
from werkzeug.test import TestResponse

from app import guessing
from app.store.motors import Motor
from app.store.people import Token
from app.store.units import Unit
from tests import factories
from tests.conftest import Clock
from tests.factories import Plant

CHICAGO = ZoneInfo("America/Chicago")
DAY = datetime(2026, 11, 24, tzinfo=CHICAGO)
#: tag, hp, poles, start basis, condition, interlock; the first four are the reference set-up of the scenarios.
MOTORS = (
    ("P-101B", 75.0, 4, "table", "standby", "low-voltage protection"),
    ("K-201", 250.0, 2, "table", "standby", "low-voltage protection"),
    ("G-305", 25.0, 4, "table", "running", "low-voltage release"),
    ("P-550S", 30.0, 4, "table", "standby", "low-voltage protection"),
    ("M-30", 30.0, 4, "general practice", "standby", "low-voltage protection"),
    ("M-50", 50.0, 4, "general practice", "standby", "low-voltage protection"),
    ("M-200", 200.0, 4, "general practice", "standby", "low-voltage protection"),
    ("M-2000", 2000.0, 4, "general practice", "standby", "low-voltage protection"),
    ("W-100", 100.0, 4, "written procedure", "standby", "low-voltage protection"),
)
WRITTEN = {"W-100": {"written_starts_per_hour": 2.0, "written_spacing_min": 20.0, "written_tries": 2}}
TOKEN = "a token of the control room"


def at(clock: str, zone_day: datetime = DAY) -> datetime:
    """10:41 or 10:41:30 on the day of the cases."""
    hour, minute, second = (int(part) for part in (clock + ":00").split(":")[:3])
    return zone_day.replace(hour=hour, minute=minute, second=second)


def make_motors(session: Session, plant: Plant) -> dict[str, Motor]:
    """The motors, each seen running two days before, so that no first start is due a check."""
    made = {}
    for tag, hp, poles, basis, condition, interlock in MOTORS:
        made[tag] = factories.make_motor(session, plant.unit, tag, hp=hp, condition=condition, interlock=interlock,
                                         start_basis=basis, plate={"poles": poles}, **WRITTEN.get(tag, {}))
        factories.make_reading(session, made[tag], plant.operator, DAY - timedelta(days=2))
    session.add(Token(unit_id=plant.unit.id, name="control room", scope="record", hash=guessing.hash_token(TOKEN),
                      created_at=factories.LONG_AGO))
    session.flush()
    return made


def with_token(unit: Unit) -> dict[str, str]:
    return {"Authorization": f"Bearer {TOKEN}"}


@dataclass
class Ground:
    """The app on a clock, with the motors in it."""

    app: Flask
    clock: Clock
    plant: Plant
    motors: dict[str, int]

    def client(self, person: Any) -> FlaskClient:
        return factories.sign_in(self.app.test_client(), person)


def make_ground(app: Flask, clock: Clock, plant: Plant) -> Ground:
    with app.extensions["database"].writing() as session:
        made = {tag: motor.id for tag, motor in make_motors(session, plant).items()}
        session.commit()
    clock.set(at("09:00"))
    return Ground(app, clock, plant, made)


@dataclass
class Asked:
    """What a door answers, in one shape: yes, not before 11:00:00, no."""

    short: str
    says: str
    decided_by: str
    text: str = ""


@dataclass
class JsonDoor:
    """Everything by token, each thing in its own moment."""

    ground: Ground
    client: FlaskClient = field(init=False)

    def __post_init__(self) -> None:
        self.client = self.ground.app.test_client()

    def post(self, kind: str, tag: str, when: datetime, **more: Any) -> TestResponse:
        self.ground.clock.set(when)
        body = {"id": str(uuid.uuid4()), "tag": tag, "at": when.isoformat(), "by": "operator", **more}
        answer = self.client.post(f"/api/v1/{kind}", json=body, headers=with_token(self.ground.plant.unit))
        assert answer.status_code == 201, answer.get_data(as_text=True)
        return answer

    def start(self, tag: str, when: datetime, outcome: str = "ran") -> list[str]:
        return [f["rule"] for f in self.post("starts", tag, when, outcome=outcome).json["findings"]]

    def stop(self, tag: str, when: datetime) -> None:
        self.post("stops", tag, when)

    def trip(self, tag: str, when: datetime, protection: str, cause: str | None = None) -> None:
        self.post("trips", tag, when, protection=protection, cause=cause)

    def ask(self, tag: str, when: datetime, **more: str) -> Asked:
        self.ground.clock.set(when)
        answer = self.client.get(f"/api/v1/motors/{tag}/start-permission",
                                 query_string={"at": when.isoformat(), **more},
                                 headers=with_token(self.ground.plant.unit))
        assert answer.status_code == 200, answer.get_data(as_text=True)
        told = answer.json
        until = told["not_before"]
        short = told["answer"] + (f" {until[11:19]}" if until else "")
        return Asked(short, told["says"], told["decided_by"], answer.get_data(as_text=True))


@dataclass
class PageDoor:
    """Everything by tapping at the motor's page, each thing in its own moment."""

    ground: Ground
    client: FlaskClient = field(init=False)

    def __post_init__(self) -> None:
        self.client = self.ground.client(self.ground.plant.operator)

    def path(self, tag: str, last: str = "start") -> str:
        return f"/motors/{self.ground.motors[tag]}/{last}"

    def tap(self, tag: str, when: datetime, what: str, **more: str) -> TestResponse:
        self.ground.clock.set(when)
        answer = factories.post_form(self.client, self.path(tag), {"id": str(uuid.uuid4()), "what": what, **more})
        assert answer.status_code == 303, text_of(answer)
        return answer

    def start(self, tag: str, when: datetime, outcome: str = "ran") -> list[str]:
        self.tap(tag, when, outcome)
        return []

    def stop(self, tag: str, when: datetime) -> None:
        self.tap(tag, when, "stop")

    def trip(self, tag: str, when: datetime, protection: str, cause: str | None = None) -> str:
        """Tapped as tripped, then which protection opened; where the trip's page is."""
        form = self.tap(tag, when, "trip").location
        known = re.search(r'name="at" value="([^"]+)"', self.client.get(form).get_data(as_text=True))
        assert known
        answer = factories.post_form(self.client, self.path(tag, "trip"), {
            "id": str(uuid.uuid4()), "at": html.unescape(known[1]), "protection": protection, "cause": cause or ""})
        assert answer.status_code == 303, text_of(answer)
        return answer.location

    def ask(self, tag: str, when: datetime, **more: str) -> Asked:
        self.ground.clock.set(when)
        page = text_of(self.client.get(self.path(tag), query_string=more))
        word = re.search(r"data-word>([^<]*)<", page)
        section = re.search(r'<section class="answer.*?</section>', page, re.S)
        assert word and section
        told = word[1].lower()
        short = "yes" if told.startswith("yes") else "no" if told.startswith(("no,", "no:")) else told
        by = re.search(r"<dt>Decided by</dt><dd>([^<]*)</dd>", section[0])
        return Asked(short, section[0], by[1] if by else "", page)


def text_of(answer: TestResponse) -> str:
    return html.unescape(answer.get_data(as_text=True))
