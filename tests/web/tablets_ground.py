"""What the tests of shared tablets stand on: a browser that is enrolled, and a crew with PINs."""

from __future__ import annotations

from flask import Flask
from flask.testing import FlaskClient
from werkzeug.security import generate_password_hash
from werkzeug.test import TestResponse

from app.db import Database
from app.store.people import Person
from tests.factories import Plant, form_token, post_form, sign_in

PIN, OTHER_PIN = "805172", "613948"


def quick(secret: str) -> str:
    """One round only, as the factories' secret; the pages hash with scrypt."""
    return generate_password_hash(secret, method="pbkdf2:sha256:1")


def give_pin(database: Database, person: Person, pin: str = PIN, given: bool = False) -> None:
    with database.writing() as session:
        held = session.get_one(Person, person.id)
        held.pin_hash, held.pin_given = quick(pin), given
        session.commit()


def enrolled(app: Flask, plant: Plant, name: str = "North 2", idle_min: int = 10) -> FlaskClient:
    """A browser of its own that the supervisor enrolled and gave out of hand."""
    client = sign_in(app.test_client(), plant.supervisor)
    made = post_form(client, "/settings/tablets", {"name": name, "idle_min": str(idle_min)})
    assert made.status_code == 303, made.get_data(as_text=True)
    assert post_form(client, "/change-hands").status_code == 303
    return client


def tap(client: FlaskClient, person: Person, pin: str = PIN, **fields: str) -> TestResponse:
    """Taps the name, types the PIN."""
    token = form_token(client, "/sign-in?typed=1")
    return client.post("/sign-in", data={"csrf_token": token, "person": str(person.id), "secret": pin, **fields})


def in_hand(client: FlaskClient, person: Person, pin: str = PIN, **fields: str) -> FlaskClient:
    answer = tap(client, person, pin, **fields)
    assert answer.status_code == 303, answer.get_data(as_text=True)
    return client


def who(client: FlaskClient) -> str | None:
    """The name that the page shows, None at the sign-in."""
    page = client.get("/help").get_data(as_text=True)
    return page.split('class="me"')[1].split(">")[1].split("<")[0] if 'class="me"' in page else None
