"""What the tests of the operator's and head operator's pages share: answers at a motor, and pages read back."""

from __future__ import annotations

import html
import re
import uuid
from datetime import timedelta
from html.parser import HTMLParser
from typing import Any

import sqlalchemy as sa
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.db import Database
from app.store.flags import Flag
from app.store.motors import LubricationPoint, Motor
from app.store.rounds import Reading
from tests.factories import NOW, post_form

#: A running motor with nothing wrong: nine taps and one number.
FINE: dict[str, Any] = {
    "state": "running", "look": "nothing wrong", "vibration_both": "as usual", "bearing_feel_DE": "warm",
    "bearing_feel_ODE": "warm", "winding_feel": "warm", "amps_1": "81", "lubricant_both": "ok", "cleanliness": "clean"}
#: What a round requires of a motor on standby.
STANDING: dict[str, Any] = {"state": "standby", "look": "nothing wrong", "lubricant_both": "ok", "cleanliness": "clean"}


def answers(base: dict[str, Any] | None = None, **changes: Any) -> dict[str, Any]:
    """FINE with changes; None takes an answer away."""
    return {name: value for name, value in {**(FINE if base is None else base), **changes}.items() if value is not None}


def enter(client: FlaskClient, motor: Motor, base: dict[str, Any] | None = None, key: str | None = None,
          **changes: Any) -> TestResponse:
    """Saves the page at the motor: FINE with changes."""
    return post_form(client, f"/motors/{motor.id}/entry",
                     {"id": key or str(uuid.uuid4()), **answers(base, **changes)})


def entered(client: FlaskClient, motor: Motor, base: dict[str, Any] | None = None, **changes: Any) -> str:
    """Saves the page at the motor and gives the page after it, as words."""
    answer = enter(client, motor, base, **changes)
    assert answer.status_code == 303, words_of(answer)
    return words_of(client.get(answer.location))


def words_of(answer: TestResponse | str) -> str:
    """A page as it reads: no tags, single blanks."""
    text = answer if isinstance(answer, str) else answer.get_data(as_text=True)
    text = re.sub(r"<(script|style|title|svg)\b.*?</\1>", " ", text, flags=re.S)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


class _Fields(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.values: dict[str, Any] = {}
        self._area: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.tags.append((tag, given))
        name = given.get("name")
        if tag == "textarea" and name:
            self._area, self.values[name] = name, ""
        if tag != "input" or not name:
            return
        if given.get("type") in ("radio", "checkbox"):
            if "checked" in given:
                self.values.setdefault(name, []).append(given.get("value"))
        else:
            self.values[name] = given.get("value") or ""

    def handle_data(self, data: str) -> None:
        if self._area:
            self.values[self._area] += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self._area = None


def fields_of(answer: TestResponse) -> dict[str, Any]:
    """What the page's fields hold: text as it stands, choices as the list of those chosen."""
    reader = _Fields()
    reader.feed(answer.get_data(as_text=True))
    return reader.values


def tags_of(answer: TestResponse) -> list[tuple[str, dict[str, str | None]]]:
    reader = _Fields()
    reader.feed(answer.get_data(as_text=True))
    return reader.tags


def readings_of(database: Database, motor: Motor) -> list[Reading]:
    with database.reading() as session:
        return list(session.scalars(sa.select(Reading).where(Reading.motor_id == motor.id)
                                    .order_by(Reading.received_at, Reading.taken_at)))


def flags_of(database: Database, motor: Motor, *, standing: bool = True) -> list[Flag]:
    with database.reading() as session:
        wanted = sa.select(Flag).where(Flag.motor_id == motor.id).order_by(Flag.id)
        return [f for f in session.scalars(wanted) if f.open or not standing]


def greased_lately(database: Database, *chosen: Motor, days: float = 10.0) -> None:
    """Puts a date into the chart, so that no greasing is due or unknown and only what is entered is found."""
    with database.writing() as session:
        for motor in chosen:
            for point in session.scalars(sa.select(LubricationPoint).where(LubricationPoint.motor_id == motor.id)):
                point.last_greased_at = NOW - timedelta(days=days)
        session.commit()
