"""The tablet's door: session or ticket, from our own pages, each entry once and under who made it."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app import tickets
from app.db import Database
from app.store.carried import CarriedEntry
from app.store.people import Person
from app.store.rounds import Reading
from app.store.starts import Start
from tests.conftest import Clock, on_both
from tests.factories import NOW, Plant, make_motor, make_person, make_unit, sign_in

HERE = "http://localhost"


def reading_of(person: Person, **more: Any) -> dict[str, Any]:
    """A running motor with nothing wrong."""
    return {"id": str(uuid.uuid4()), "tag": "P-101A", "taken_at": NOW.isoformat(), "device_now": NOW.isoformat(),
            "by": person.sign_in, "state": "running", "smoke": "none", "current_a": [78.0], **more}


def ticket_of(app: Flask, person: Person, plant: Plant, at: Any = NOW) -> str:
    shift = plant.unit.calendar.shift_of(at)
    return tickets.issue(app.extensions["settings"].secret, tickets.for_shift(person.id, plant.unit.id, shift, at))


def post(client: FlaskClient, body: Any, path: str = "/tablet/readings", ticket: str = "") -> TestResponse:
    return client.post(path, json=body, headers={"Origin": HERE, **({"Ticket": ticket} if ticket else {})})


def stored(database: Database) -> list[Reading]:
    with database.reading() as session:
        return list(session.scalars(sa.select(Reading).options(sa.orm.joinedload(Reading.person))
                                    .order_by(Reading.taken_at)))


def brought(database: Database) -> list[CarriedEntry]:
    with database.reading() as session:
        return list(session.scalars(sa.select(CarriedEntry).options(sa.orm.joinedload(CarriedEntry.person))))


# the same answer as the JSON door ------------------------------------------------------------------------------


@on_both
def test_an_entry_sent_twice_is_stored_once_and_answered_alike(
        app: Flask, plant: Plant, client: FlaskClient, app_database: Database) -> None:
    sign_in(client, plant.operator)
    body = reading_of(plant.operator, current_a=[92.0])  # 105.7 % of 87 A
    first, second = post(client, body), post(client, {**body, "device_now": (NOW + timedelta(hours=1)).isoformat()})
    assert (first.status_code, second.status_code) == (201, 200)
    assert (first.get_json()["id"], second.get_json()["id"]) == (body["id"], body["id"])
    assert (first.get_json()["stored"], second.get_json()["stored"]) == (True, False)
    assert {"amps_over_nameplate", "not_measured"} <= {f["rule"] for f in first.get_json()["findings"]}
    assert first.get_json()["findings"] == second.get_json()["findings"]
    assert first.headers["Received-At"] == "2026-11-24T13:12:00+00:00"
    assert len(stored(app_database)) == 1
    assert brought(app_database) == []  # its author sent it


def test_a_walk_round_entry_by_tablet_is_asked_what_it_left_out(
        app: Flask, plant: Plant, client: FlaskClient) -> None:
    sign_in(client, plant.operator)
    assert "not_measured" in {f["rule"] for f in post(client, reading_of(plant.operator)).get_json()["findings"]}


@on_both
def test_the_same_batch_sent_twice_is_one_batch(
        app: Flask, plant: Plant, client: FlaskClient, app_database: Database) -> None:
    """Twelve looks in a list, the list sent again."""
    ticket = ticket_of(app, plant.operator, plant)
    batch = [reading_of(plant.operator, taken_at=(NOW - timedelta(minutes=m)).isoformat()) for m in range(12)]
    for stored_now in (True, False):
        answers = post(client, batch, ticket=ticket).get_json()
        assert [(a["id"], a["stored"]) for a in answers] == [(b["id"], stored_now) for b in batch]
    rows = stored(app_database)
    assert [r.taken_at for r in rows] == [NOW - timedelta(minutes=m) for m in reversed(range(12))]
    assert {r.received_at for r in rows} == {NOW}


def test_what_was_typed_in_another_unit_is_kept_beside(
        app: Flask, plant: Plant, client: FlaskClient, app_database: Database) -> None:
    sign_in(client, plant.operator)
    body = reading_of(plant.operator, bearing_temp_c={"DE": 60.0}, typed={"bearing_temp_DE": "140 °F"})
    assert post(client, body).status_code == 201
    assert stored(app_database)[0].typed == {"bearing_temp_DE": "140 °F"}


@pytest.mark.parametrize("typed", [
    "140 °F", {"a": 140}, {"a": "x" * 61}, {str(i): "1" for i in range(41)}], ids=range(4))
def test_what_was_typed_is_text_field_by_field(app: Flask, plant: Plant, client: FlaskClient, typed: Any) -> None:
    sign_in(client, plant.operator)
    answer = post(client, reading_of(plant.operator, typed=typed))
    assert (answer.status_code, answer.get_json()["errors"][0]["field"]) == (422, "typed")


def test_starts_stops_trips_and_greasings_come_the_same_way(
        app: Flask, plant: Plant, client: FlaskClient, app_database: Database) -> None:
    ticket = ticket_of(app, plant.operator, plant)
    about = {"tag": "P-101A", "at": NOW.isoformat(), "by": plant.operator.sign_in}
    for kind, more in (("starts", {"outcome": "ran"}), ("stops", {}), ("trips", {"protection": "unknown"}),
                       ("greasings", {"end": "DE", "grams": 30.0})):
        body = {"id": str(uuid.uuid4()), **about, **more}
        assert post(client, body, f"/tablet/{kind}", ticket).status_code == 201, kind
        assert post(client, body, f"/tablet/{kind}", ticket).status_code == 200, kind
    with app_database.reading() as session:
        assert session.scalar(sa.select(sa.func.count()).select_from(Start)) == 1


def test_a_slow_tablets_clock_is_put_right(
        app: Flask, plant: Plant, client: FlaskClient, app_database: Database) -> None:
    """The tablet is 10 min slow: what it calls 07:00, sent when it thinks it is 07:02, was seen at 07:10."""
    body = reading_of(plant.operator, taken_at="2026-11-24T07:00:00-06:00", device_now="2026-11-24T07:02:00-06:00")
    assert post(client, body, ticket=ticket_of(app, plant.operator, plant)).status_code == 201
    row = stored(app_database)[0]
    assert row.taken_at == NOW - timedelta(minutes=2)
    assert (row.taken_at_device, row.clock_offset_s) == (NOW - timedelta(minutes=12), 600.0)


# whose it is ---------------------------------------------------------------------------------------------------


@on_both
def test_left_on_the_tablet_by_one_and_sent_by_the_next_it_stays_the_firsts(
        app: Flask, plant: Plant, client: FlaskClient, app_database: Database) -> None:
    body, ticket = reading_of(plant.operator), ticket_of(app, plant.operator, plant)
    sign_in(client, plant.head_operator)
    assert post(client, body, ticket=ticket).status_code == 201
    assert stored(app_database)[0].person.name == plant.operator.name
    assert [(str(c.entry_id), c.person_id, c.ticket_issued_at) for c in brought(app_database)] == [
        (body["id"], plant.head_operator.id, NOW)]
    page = client.get(f"/entries/{body['id']}").get_data(as_text=True)
    assert "Operator, sent by Head Operator" in page


def test_with_a_ticket_nobody_need_be_signed_in(
        app: Flask, plant: Plant, client: FlaskClient, app_database: Database) -> None:
    assert post(client, reading_of(plant.operator), ticket=ticket_of(app, plant.operator, plant)).status_code == 201
    assert [c.words for c in brought(app_database)] == ["sent while nobody was signed in"]


def test_an_entry_of_another_person_without_their_ticket_waits_for_them(
        app: Flask, plant: Plant, client: FlaskClient, app_database: Database) -> None:
    sign_in(client, plant.head_operator)
    body = reading_of(plant.operator)
    answer = post(client, body)
    assert (answer.status_code, answer.content_type) == (401, "application/problem+json")
    assert answer.get_json()["id"] == body["id"]
    assert "Sign in with that name" in answer.get_json()["detail"]
    assert stored(app_database) == []


def test_signed_out_is_said_as_data_and_repeats_the_id(app: Flask, plant: Plant, client: FlaskClient) -> None:
    body = reading_of(plant.operator)
    answer = post(client, body)
    assert answer.status_code == 401
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert (answer.get_json()["id"], answer.get_json()["title"]) == (body["id"], "Sign in first")


def test_one_persons_ticket_does_not_speak_for_another(
        app: Flask, plant: Plant, client: FlaskClient, app_database: Database) -> None:
    answer = post(client, reading_of(plant.head_operator), ticket=ticket_of(app, plant.operator, plant))
    assert (answer.status_code, answer.get_json()["errors"][0]["field"]) == (403, "by")
    assert stored(app_database) == []


def test_a_ticket_works_in_its_own_unit_only(
        app: Flask, plant: Plant, client: FlaskClient, app_database: Database) -> None:
    with app_database.writing() as session:
        make_motor(session, make_unit(session, "Unit 9"), "X-1")
        session.commit()
    answer = post(client, reading_of(plant.operator, tag="X-1"), ticket=ticket_of(app, plant.operator, plant))
    assert (answer.status_code, answer.get_json()["errors"][0]["field"]) == (422, "tag")


def test_who_no_longer_works_here_is_told_to_show_it(
        app: Flask, plant: Plant, client: FlaskClient, app_database: Database) -> None:
    ticket = ticket_of(app, plant.operator, plant)
    with app_database.writing() as session:
        session.get_one(Person, plant.operator.id).active = False
        session.commit()
    answer = post(client, reading_of(plant.operator), ticket=ticket)
    assert answer.status_code == 403
    assert "head operator" in answer.get_json()["detail"]


def test_far_from_its_shift_a_ticket_asks_for_its_person_and_then_it_goes_through(
        app: Flask, plant: Plant, client: FlaskClient, clock: Clock, app_database: Database) -> None:
    """Given for the day of the 24th; the entry is of the morning after next."""
    ticket = ticket_of(app, plant.operator, plant)
    clock.advance(hours=48)
    body = reading_of(plant.operator, taken_at=clock.now.isoformat(), device_now=clock.now.isoformat())
    assert post(client, body, ticket=ticket).status_code == 401
    sign_in(client, plant.operator)
    assert post(client, body, ticket=ticket).status_code == 201
    assert brought(app_database) == []


def test_a_ticket_that_ran_out_is_no_hindrance_to_its_person(
        app: Flask, plant: Plant, client: FlaskClient, clock: Clock, app_database: Database) -> None:
    """Six weeks in a locker: the entry is kept on the tablet until its author signs in."""
    ticket, body = ticket_of(app, plant.operator, plant), reading_of(plant.operator)
    clock.advance(days=42)
    late = {**body, "device_now": clock.now.isoformat()}
    assert post(client, late, ticket=ticket).status_code == 401
    assert post(sign_in(app.test_client(), plant.head_operator), late, ticket=ticket).status_code == 401
    sign_in(client, plant.operator)
    assert post(client, late, ticket=ticket).status_code == 201
    assert stored(app_database)[0].taken_at == NOW


def test_an_entry_for_a_signed_shift_is_still_taken(
        app: Flask, plant: Plant, client: FlaskClient, clock: Clock, app_database: Database) -> None:
    from app.store.rounds import Round
    from tests.factories import make_round

    with app_database.writing() as session:
        opened = make_round(session, session.merge(plant.unit))
        opened.signed_at, opened.signed_by_id = NOW, plant.head_operator.id
        session.commit()
    clock.advance(hours=12)
    body = reading_of(plant.operator, device_now=clock.now.isoformat())
    assert post(client, body, ticket=ticket_of(app, plant.operator, plant)).status_code == 201
    with app_database.reading() as session:
        row = session.scalars(sa.select(Reading)).one()
        assert session.get_one(Round, row.round_id).signed_at == NOW
        assert row.received_at == NOW + timedelta(hours=12)


# only from our own pages ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("headers", "status"), [
    ({"Origin": HERE}, 201), ({"Origin": "http://evil.example"}, 403), ({"Origin": "null"}, 403),
    ({"Origin": "http://localhost:81"}, 403), ({}, 201),
    ({"Sec-Fetch-Site": "cross-site"}, 403), ({"Sec-Fetch-Site": "same-origin"}, 201),
], ids=["own", "another site", "no origin to name", "another port", "not a browser", "a browser elsewhere",
        "a browser here"])
def test_an_entry_is_taken_from_our_own_pages_only(
        app: Flask, plant: Plant, client: FlaskClient, headers: dict[str, str], status: int) -> None:
    sign_in(client, plant.operator)
    answer = client.post("/tablet/readings", json=reading_of(plant.operator), headers=headers)
    assert answer.status_code == status
    assert answer.is_json


def test_only_json_is_taken_and_every_refusal_is_data(app: Flask, plant: Plant, client: FlaskClient) -> None:
    sign_in(client, plant.operator)
    body = reading_of(plant.operator)
    answers = [client.post("/tablet/readings", data=body),
               client.post("/tablet/readings", data="{", content_type="application/json"),
               client.get("/tablet/readings", headers={"Accept": "application/json"}),
               post(client, {**body, "tag": "NO-SUCH"}), post(client, {**body, "x": 1}),
               client.post("/tablet/no-such", json=body)]
    assert [a.status_code for a in answers] == [415, 400, 405, 422, 422, 404]
    assert all(a.content_type == "application/problem+json" for a in answers)


def test_the_same_id_with_other_content_is_refused_and_named(app: Flask, plant: Plant, client: FlaskClient) -> None:
    sign_in(client, plant.operator)
    body = reading_of(plant.operator)
    post(client, body)
    answer = post(client, {**body, "current_a": [79.0]})
    assert (answer.status_code, answer.get_json()["id"]) == (409, body["id"])


def test_a_person_of_another_unit_gets_no_further(
        app: Flask, plant: Plant, client: FlaskClient, app_database: Database) -> None:
    with app_database.writing() as session:
        stranger = make_person(session, make_unit(session, "Unit 9"), sign_in="stranger")
        session.commit()
    sign_in(client, stranger)
    answer = post(client, reading_of(stranger))
    assert (answer.status_code, answer.get_json()["errors"][0]["field"]) == (422, "tag")
