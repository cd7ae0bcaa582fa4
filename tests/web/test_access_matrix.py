"""Every address of the app against every role, and against the things of another unit."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.routing import IntegerConverter, Rule, UUIDConverter

from app.db import Database
from app.entries import read_greasing, read_reading
from app.recording import Sender, open_sheet, record_greasing, record_reading
from app.store.devices import enrol
from app.store.people import HEAD_OPERATOR, OPERATOR, ROLES, SUPERVISOR, Person
from app.store.routes import Hand, add_route
from app.web.access import ANYONE, TOKEN
from tests.factories import NOW, Plant, form_token, make_motor, make_person, make_unit, sign_in
from tests.web.at_motor import flags_of

#: Holders of addresses that name no stored thing but a word anybody may write.
WORDS = {"name": "night", "week": "2026-W48", "filename": "css/tokens.css"}


@dataclass(frozen=True)
class Things:
    """One stored thing for each kind of key in an address."""

    motor_id: int
    flag_id: int
    round_id: int
    person_id: int
    entry: uuid.UUID
    greasing: uuid.UUID
    device_id: int
    route_id: int


def things_of(database: Database, unit_name: str) -> Things:
    """A unit of its own with a motor, an entry, a flag, a round, a greasing and a person."""
    with database.writing() as session:
        unit = make_unit(session, unit_name)
        person = make_person(session, unit, sign_in=f"of {unit_name}")
        motor = make_motor(session, unit, "X-1")
        opened = open_sheet(session, unit, NOW, person)
        sender = Sender(unit, NOW, person=person)
        about = {"tag": "X-1", "by": person.sign_in}
        entry = record_reading(session, sender, read_reading({
            "id": str(uuid.uuid4()), "taken_at": NOW.isoformat(), "state": "running", "smoke": "seen", **about}))
        greased = record_greasing(session, sender, read_greasing({
            "id": str(uuid.uuid4()), "at": NOW.isoformat(), "end": "DE", "grams": 30, **about}))
        tablet = enrol(session, unit, f"tablet of {unit_name}", f"key of {unit_name}", 10, person, NOW)
        route = add_route(Hand(session, unit, person, NOW), f"walk of {unit_name}", "shift", [motor])
        session.commit()
    return Things(motor.id, flags_of(database, motor)[0].id, opened.id, person.id, entry.id, greased.id, tablet.id,
                  route.id)


def pages(app: Flask) -> list[tuple[Rule, str]]:
    """Every rule of the pages with each of its methods; the JSON door has its own lock and tests."""
    return [(rule, method) for rule in app.url_map.iter_rules() for method in ("GET", "POST")
            if method in (rule.methods or ()) and not rule.endpoint.endswith("static") and allowed(app, rule) != TOKEN]


def allowed(app: Flask, rule: Rule) -> str:
    return app.view_functions[rule.endpoint].allowed  # type: ignore[attr-defined,no-any-return]


def path_of(app: Flask, rule: Rule, things: Things | None = None) -> str:
    """The rule's address with these things' keys in it, else with keys of nothing."""
    values: dict[str, object] = {}
    for name, converter in rule._converters.items():
        if isinstance(converter, IntegerConverter):
            values[name] = getattr(things, name, 987654) if things else 987654
        elif isinstance(converter, UUIDConverter):
            kind = "greasing" if "greasing" in rule.rule else "entry"
            values[name] = getattr(things, kind) if things else uuid.UUID(int=7)
        else:
            values[name] = WORDS.get(name, "x")
    with app.test_request_context():
        return app.url_map.bind("localhost").build(rule.endpoint, values)


def call(client: FlaskClient, method: str, path: str, token: str = "") -> int:
    data = {"csrf_token": token} if method == "POST" else None
    answer = client.open(path, method=method, data=data)
    answer.close()
    return answer.status_code


def crew(plant: Plant) -> dict[str, Person]:
    return {OPERATOR: plant.operator, HEAD_OPERATOR: plant.head_operator, SUPERVISOR: plant.supervisor}


def test_the_walk_leaves_no_feature_out(app: Flask) -> None:
    walked = {rule.endpoint.partition(".")[0] for rule, _ in pages(app) if "." in rule.endpoint}
    assert walked == set(app.blueprints)
    assert walked >= {"rehearsal", "set_up"}


def test_without_a_session_a_page_leads_to_the_sign_in_and_a_form_is_not_taken(
        app: Flask, plant: Plant, client: FlaskClient) -> None:
    for rule, method in pages(app):
        if allowed(app, rule) != ANYONE:
            wanted = 302 if method == "GET" else 401
            assert call(client, method, path_of(app, rule)) == wanted, (method, rule.rule)


@pytest.mark.parametrize("role", ROLES)
def test_each_role_gets_what_the_page_allows_and_is_refused_the_rest(app: Flask, plant: Plant, role: str) -> None:
    client = sign_in(app.test_client(), crew(plant)[role])
    token, refused, let_in = form_token(client), 0, 0
    for rule, method in pages(app):
        if rule.endpoint in ("accounts.sign_out", "accounts.change_hands"):
            continue  # it would end this session
        whom = allowed(app, rule)
        may = whom == ANYONE or ROLES.index(whom) <= ROLES.index(role)
        status = call(client, method, path_of(app, rule), token)
        assert (status == 403) is not may, (method, rule.rule, status)
        assert status < 500, (method, rule.rule, status)
        assert status != 401, (method, rule.rule)
        refused, let_in = refused + (not may), let_in + may
    assert let_in > 20
    assert refused > 5 or role == SUPERVISOR


def test_the_way_out_stands_on_every_page(app: Flask, plant: Plant) -> None:
    client, seen, without = sign_in(app.test_client(), plant.supervisor), 0, []
    for rule, method in pages(app):
        if method == "GET" and not rule.arguments:
            answer = client.get(rule.rule)
            if answer.status_code == 200 and answer.mimetype == "text/html":
                seen += 1
                if 'action="/sign-out"' not in answer.get_data(as_text=True):
                    without.append(rule.rule)
            answer.close()
    assert seen > 20
    assert without == []


def keyed(app: Flask, things: Things) -> Iterator[tuple[Rule, str]]:
    """The rules whose address names a stored thing that belongs to a unit."""
    for rule, method in pages(app):
        if any(isinstance(c, (IntegerConverter, UUIDConverter)) for c in rule._converters.values()):
            yield rule, method


@pytest.mark.parametrize("role", ROLES)
def test_another_units_things_do_not_exist(app: Flask, plant: Plant, app_database: Database, role: str) -> None:
    foreign = things_of(app_database, "Unit 9")
    client = sign_in(app.test_client(), crew(plant)[role])
    token, asked = form_token(client), set()
    for rule, method in keyed(app, foreign):
        if ROLES.index(allowed(app, rule)) <= ROLES.index(role):
            assert call(client, method, path_of(app, rule, foreign), token) == 404, (method, rule.rule)
            asked.add(rule.endpoint)
    kept_by_supervisors = {"tablets.tablet", "tablets.save_tablet", "tablets.revoke", "tablets.set_pin"}
    assert role != SUPERVISOR or asked >= kept_by_supervisors
    assert asked >= {"motors.one", "motors.set_condition", "rounds.entry", "rounds.save_entry", "rounds.saved",
                     "rounds.correct", "rounds.save_correction", "rounds.skip", "rounds.save_skip",
                     "rounds.earlier_sheet", "flags.one", "lubrication.grease", "lubrication.save_greasing",
                     "lubrication.greased"}


def test_ones_own_things_do_exist(app: Flask, plant: Plant, app_database: Database) -> None:
    """The same walk over the same addresses, so that the 404 above is the unit's doing."""
    own = things_of(app_database, "Unit 9")
    with app_database.writing() as session:
        from app.store.units import unit_named

        unit = unit_named(session, "Unit 9")
        assert unit is not None
        boss = make_person(session, unit, SUPERVISOR, "boss of nine")
        session.commit()
    client = sign_in(app.test_client(), boss)
    for rule, method in keyed(app, own):
        named = set(rule._converters) <= {"motor_id", "flag_id", "round_id", "person_id", "key"}
        if method == "GET" and named and rule.endpoint.split(".")[0] in ("motors", "rounds", "flags", "lubrication"):
            assert call(client, method, path_of(app, rule, own)) == 200, rule.rule


@pytest.mark.parametrize("number", ["2147483648", "99999999999999999999999", "-1", "0"])
def test_a_number_that_no_thing_can_have_is_not_found(app: Flask, plant: Plant, number: str) -> None:
    client = sign_in(app.test_client(), plant.supervisor)
    token = form_token(client)
    for rule, method in pages(app):
        names = [n for n, c in rule._converters.items() if isinstance(c, IntegerConverter)]
        if names:
            path = rule.rule
            for name in rule._converters:
                kind = "int" if name in names else "uuid"
                filled = number if kind == "int" else str(uuid.UUID(int=7))
                path = path.replace(f"<{kind}:{name}>", filled).replace(f"<{name}>", "x")
            assert call(client, method, path, token) == 404, (method, path)
