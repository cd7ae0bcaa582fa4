"""People, unit, limits and tokens as the supervisor keeps them."""

from __future__ import annotations

import html
import re
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient

from app.db import Database
from app.guessing import secret_fits
from app.rules.limits import DEFAULTS
from app.store.changes import Change
from app.store.limits import LimitChange
from app.store.motors import Motor
from app.store.people import Person, SignedIn, Token, person_by_sign_in
from app.store.units import Unit
from tests.conftest import on_both
from tests.factories import (
    NOW,
    SECRET,
    Plant,
    form_token,
    make_person,
    make_reading,
    make_round,
    make_unit,
    post_form,
    sign_in,
    try_sign_in,
)

PHRASE = "copper kettle 88"
PAGES = ["/settings", "/settings/people", "/settings/people/add", "/settings/people/1", "/settings/unit",
         "/settings/limits", "/settings/tokens", "/settings/unit/shifts",
         "/settings/limits/clearing_band_k", "/rehearsal"]


@pytest.fixture
def supervisor(client: FlaskClient, plant: Plant) -> FlaskClient:
    return sign_in(client, plant.supervisor)


def person(database: Database, person_id: int) -> Person:
    with database.reading() as session:
        return session.get_one(Person, person_id, options=[sa.orm.selectinload(Person.units)])


def changes(database: Database, subject: str) -> list[tuple[str, str | None, str | None, str]]:
    with database.reading() as session:
        return [(c.field, c.before, c.after, c.by) for c in session.query(Change).filter_by(subject=subject)]


def as_is(who: Person, **other: str) -> dict[str, str]:
    return {"name": who.name, "role": who.role, "state": "active", "secret": "", "again": "", **other}


def words(client: FlaskClient, path: str) -> str:
    return html.unescape(client.get(path).get_data(as_text=True))


@pytest.mark.parametrize("path", PAGES)
def test_settings_are_the_supervisors(client: FlaskClient, plant: Plant, path: str) -> None:
    sign_in(client, plant.head_operator)
    assert client.get(path).status_code == 403


@pytest.mark.parametrize("path", PAGES)
def test_every_page_opens_and_holds_no_style_or_script_of_its_own(supervisor: FlaskClient, path: str) -> None:
    answer = supervisor.get(path)
    assert answer.status_code == 200
    assert not re.search(r"<style|<script(?![^>]*src)|\sstyle=|\son\w+=", answer.get_data(as_text=True))


# people: adding --------------------------------------------------------------------------------------------


@on_both
def test_a_person_added_can_sign_in(supervisor: FlaskClient, app_database: Database, plant: Plant) -> None:
    answer = post_form(supervisor, "/settings/people/add", {
        "sign_in": "Rivera", "name": "Sam Rivera", "role": "operator", "secret": "402817", "again": "402817"})
    assert answer.status_code == 303
    assert try_sign_in(supervisor.application.test_client(), "rivera", "402817").status_code == 303
    assert changes(app_database, "person") == [("added", None, "Sam Rivera, operator", "Supervisor")]


@pytest.mark.parametrize(("fields", "at_fault"), [
    ({"sign_in": ""}, {"sign_in"}), ({"sign_in": "x" * 81}, {"sign_in"}), ({"name": "\u0007 "}, {"name"}),
    ({"role": ""}, {"role"}), ({"role": "owner"}, {"role"}),
    ({"secret": "40281", "again": "40281"}, {"secret"}), ({"secret": "", "again": ""}, {"secret"}),
    ({"secret": "111111", "again": "111111"}, {"secret"}), ({"secret": "123456", "again": "123456"}, {"secret"}),
    ({"again": "402818"}, {"again"}),
    ({"role": "supervisor"}, {"secret"}),
    ({"role": "supervisor", "secret": "elevenchars", "again": "elevenchars"}, {"secret"}),
    ({"sign_in": "OPERATOR"}, {"sign_in"}),
], ids=str)
def test_what_is_wrong_with_a_new_person_stands_at_its_field(supervisor: FlaskClient, app_database: Database,
                                                             fields: dict[str, str], at_fault: set[str]) -> None:
    typed = {"sign_in": "rivera", "name": "Sam Rivera", "role": "operator", "secret": "402817", "again": "402817"}
    answer = post_form(supervisor, "/settings/people/add", typed | fields)
    text = answer.get_data(as_text=True)
    assert answer.status_code == 400 and "<title>Error:" in text
    assert set(re.findall(r'id="(\w+)-error"', text)) == at_fault
    assert "402817" not in text  # a secret is never shown again
    with app_database.reading() as session:
        assert person_by_sign_in(session, "rivera") is None


def test_twelve_characters_are_enough_for_a_supervisor(supervisor: FlaskClient, app_database: Database) -> None:
    answer = post_form(supervisor, "/settings/people/add", {
        "sign_in": "chief", "name": "Chief", "role": "supervisor", "secret": "twelve chars", "again": "twelve chars"})
    assert answer.status_code == 303


# people: editing -------------------------------------------------------------------------------------------


def test_a_new_role_signs_the_person_out(supervisor: FlaskClient, app_database: Database, plant: Plant) -> None:
    theirs = sign_in(supervisor.application.test_client(), plant.operator)
    post_form(supervisor, f"/settings/people/{plant.operator.id}", as_is(plant.operator, role="head operator"))
    assert person(app_database, plant.operator.id).role == "head operator"
    assert theirs.get("/settings").status_code == 302  # to the sign-in page
    assert changes(app_database, "person") == [("role", "operator", "head operator", "Supervisor")]


def test_a_new_name_signs_nobody_out(supervisor: FlaskClient, app_database: Database, plant: Plant) -> None:
    sign_in(supervisor.application.test_client(), plant.operator)
    post_form(supervisor, f"/settings/people/{plant.operator.id}", as_is(plant.operator, name="Sam Rivera"))
    with app_database.reading() as session:
        assert session.query(SignedIn).filter_by(person_id=plant.operator.id, ended_at=None).count() == 1
    assert person(app_database, plant.operator.id).name == "Sam Rivera"


def test_inactive_ends_sessions_and_keeps_the_person(supervisor: FlaskClient, app_database: Database,
                                                     plant: Plant) -> None:
    theirs = sign_in(supervisor.application.test_client(), plant.operator)
    post_form(supervisor, f"/settings/people/{plant.operator.id}", as_is(plant.operator, state="inactive"))
    assert theirs.get("/settings").status_code == 302
    assert try_sign_in(supervisor.application.test_client(), "operator", SECRET).status_code == 401
    assert "inactive" in words(supervisor, "/settings/people")


def test_a_secret_reset_ends_the_old_one(supervisor: FlaskClient, app_database: Database, plant: Plant) -> None:
    theirs = sign_in(supervisor.application.test_client(), plant.operator)
    fields = as_is(plant.operator, secret="730912", again="730912")
    post_form(supervisor, f"/settings/people/{plant.operator.id}", fields)
    assert theirs.get("/settings").status_code == 302
    stored = person(app_database, plant.operator.id).secret_hash
    assert secret_fits(stored, "730912") and not secret_fits(stored, SECRET)
    noted = changes(app_database, "person")
    assert noted == [("secret", None, "reset", "Supervisor")]  # never the secret itself


def test_a_supervisor_is_never_made_with_an_old_pin(supervisor: FlaskClient, app_database: Database,
                                                    plant: Plant) -> None:
    path = f"/settings/people/{plant.operator.id}"
    assert post_form(supervisor, path, as_is(plant.operator, role="supervisor")).status_code == 400
    short = as_is(plant.operator, role="supervisor", secret="402817", again="402817")
    assert post_form(supervisor, path, short).status_code == 400
    assert person(app_database, plant.operator.id).role == "operator"
    long = as_is(plant.operator, role="supervisor", secret=PHRASE, again=PHRASE)
    assert post_form(supervisor, path, long).status_code == 303
    assert person(app_database, plant.operator.id).role == "supervisor"


@on_both
@pytest.mark.parametrize("fields", [{"role": "operator"}, {"state": "inactive"}], ids=str)
def test_nobody_locks_the_last_supervisor_out(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                              fields: dict[str, str]) -> None:
    path = f"/settings/people/{plant.supervisor.id}"
    answer = post_form(supervisor, path, as_is(plant.supervisor, **fields))
    assert answer.status_code == 400 and "last one" in answer.get_data(as_text=True)
    with app_database.writing() as session:
        second = make_person(session, session.get_one(Unit, plant.unit.id), "supervisor", "second")
        second.active = False  # one who may not sign in is no other one
        session.commit()
    assert post_form(supervisor, path, as_is(plant.supervisor, **fields)).status_code == 400
    with app_database.writing() as session:
        session.get_one(Person, second.id).active = True
        session.commit()
    assert post_form(supervisor, path, as_is(plant.supervisor, **fields)).status_code == 303


@on_both
def test_two_supervisors_who_take_each_others_role_at_once_leave_one(
        app: Flask, app_database: Database, plant: Plant) -> None:
    with app_database.writing() as session:
        second = make_person(session, session.get_one(Unit, plant.unit.id), "supervisor", "second")
        session.commit()
    pairs = [(sign_in(app.test_client(), plant.supervisor), second), (sign_in(app.test_client(), second),
                                                                      plant.supervisor)]
    asked = [(client, other, form_token(client)) for client, other in pairs]
    with ThreadPoolExecutor(2) as both:
        answers = list(both.map(lambda a: a[0].post(f"/settings/people/{a[1].id}", data={
            "csrf_token": a[2], **as_is(a[1], role="operator")}).status_code, asked))
    assert sorted(answers)[0] == 303 and all(status < 500 for status in answers), answers
    with app_database.reading() as session:
        left = session.query(Person).filter_by(role="supervisor", active=True).count()
    assert left == 1


def test_an_unanswered_state_is_asked_not_taken_for_no(supervisor: FlaskClient, app_database: Database,
                                                       plant: Plant) -> None:
    answer = post_form(supervisor, f"/settings/people/{plant.operator.id}",
                       {"name": plant.operator.name, "role": "operator"})
    assert answer.status_code == 400
    assert person(app_database, plant.operator.id).active


# people: more than one unit --------------------------------------------------------------------------------


@pytest.fixture
def boilers(app_database: Database, plant: Plant) -> Unit:
    with app_database.writing() as session:
        made = make_unit(session, "Boilers")
        session.commit()
    return made


def test_another_units_person_does_not_exist_here(supervisor: FlaskClient, app_database: Database,
                                                  boilers: Unit) -> None:
    with app_database.writing() as session:
        theirs = make_person(session, session.get_one(Unit, boilers.id), "operator", "riley")
        session.commit()
    assert supervisor.get(f"/settings/people/{theirs.id}").status_code == 404
    assert post_form(supervisor, f"/settings/people/{theirs.id}", as_is(theirs)).status_code == 404
    assert "riley" not in words(supervisor, "/settings/people")


def test_a_shared_person_is_edited_only_by_a_supervisor_of_all_their_units(
        supervisor: FlaskClient, app_database: Database, plant: Plant, boilers: Unit) -> None:
    with app_database.writing() as session:
        units = [session.get_one(Unit, plant.unit.id), session.get_one(Unit, boilers.id)]
        shared = make_person(session, units, "operator", "riley")
        session.commit()
    page = words(supervisor, f"/settings/people/{shared.id}")
    assert "Ask a supervisor of all their units" in page and "Boilers" not in page
    answer = post_form(supervisor, f"/settings/people/{shared.id}", as_is(shared, secret="730912", again="730912"))
    assert answer.status_code == 400
    assert secret_fits(person(app_database, shared.id).secret_hash, SECRET)


def test_a_supervisor_of_two_units_gives_and_takes_them(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                                        boilers: Unit) -> None:
    with app_database.writing() as session:
        chief = session.get_one(Person, plant.supervisor.id)
        chief.units.append(session.get_one(Unit, boilers.id))
        session.commit()
    path, a, b = f"/settings/people/{plant.operator.id}", str(plant.unit.id), str(boilers.id)
    post_form(supervisor, path, as_is(plant.operator) | {"offered": [a, b], "units": [a, b]})
    assert {u.name for u in person(app_database, plant.operator.id).units} == {"Unit 2", "Boilers"}
    post_form(supervisor, path, as_is(plant.operator))  # a page without the boxes takes nothing away
    assert len(person(app_database, plant.operator.id).units) == 2
    assert post_form(supervisor, path, as_is(plant.operator) | {"offered": [a, b]}).status_code == 400
    post_form(supervisor, path, as_is(plant.operator) | {"offered": [a, b], "units": [a]})
    assert [u.name for u in person(app_database, plant.operator.id).units] == ["Unit 2"]


def test_a_unit_that_is_not_theirs_cannot_be_given(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                                   boilers: Unit) -> None:
    post_form(supervisor, f"/settings/people/{plant.operator.id}",
              as_is(plant.operator) | {"offered": [str(plant.unit.id), str(boilers.id)],
                                       "units": [str(plant.unit.id), str(boilers.id)]})
    assert [u.name for u in person(app_database, plant.operator.id).units] == ["Unit 2"]


# unit, limits, tokens --------------------------------------------------------------------------------------


def test_the_scale_shown_is_changed_and_noted(supervisor: FlaskClient, app_database: Database, plant: Plant) -> None:
    assert post_form(supervisor, "/settings/unit", {"temperature": "F"}).status_code == 303
    with app_database.reading() as session:
        assert session.get_one(Unit, plant.unit.id).temperature == "F"
    assert changes(app_database, "unit") == [("temperature", "C", "F", "Supervisor")]
    assert post_form(supervisor, "/settings/unit", {"temperature": "K"}).status_code == 400
    assert post_form(supervisor, "/settings/unit", {}).status_code == 400


def test_the_unit_page_says_zone_and_shifts(supervisor: FlaskClient) -> None:
    page = words(supervisor, "/settings/unit")
    for said in ("America/Chicago", "Day", "06:00", "Night", "18:00"):
        assert said in page


def test_every_limit_is_shown_with_default_source_and_confirmation(supervisor: FlaskClient) -> None:
    page = words(supervisor, "/settings/limits")
    for default in DEFAULTS.values():
        assert default.name in page and default.says in page and default.confirmed in page
    assert "Set otherwise here" not in page


def test_a_changed_limit_says_who_and_why_and_what_it_was(supervisor: FlaskClient, app_database: Database,
                                                          plant: Plant) -> None:
    name = "bearing_hot_grease_alarm_c"  # 90 °C as shipped
    with app_database.writing() as session:
        session.add_all([
            LimitChange(unit_id=plant.unit.id, name=name, value=84.5, at=NOW, person_id=plant.supervisor.id,
                        why="procedure 12"),
            LimitChange(unit_id=plant.unit.id, motor_id=plant.motor.id, name=name, value=77.25, at=NOW,
                        why="old frame"),
            LimitChange(unit_id=plant.unit.id, name="clearing_band_k", value=4, at=NOW, why="once"),
            LimitChange(unit_id=plant.unit.id, name="clearing_band_k", value=None, at=NOW, why="back again")])
        session.commit()
    page = words(supervisor, "/settings/limits")
    top = page.partition("Every limit")[0]
    for said in ("84.5 °C", "77.25 °C", "90 °C", "procedure 12", "old frame", "command line", "P-101A"):
        assert said in top, said
    assert "clearing_band_k" not in top
    assert "2 set otherwise" not in page and "1 set otherwise" in page


def test_a_revoked_token_stays_listed_and_is_noted(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                                   boilers: Unit) -> None:
    with app_database.writing() as session:
        ours = Token(unit_id=plant.unit.id, name="control room", scope="record", hash="a", created_at=NOW)
        theirs = Token(unit_id=boilers.id, name="boiler room", scope="read", hash="b", created_at=NOW)
        session.add_all([ours, theirs])
        session.commit()
    page = words(supervisor, "/settings/tokens")
    assert "control room" in page and "boiler room" not in page
    assert post_form(supervisor, f"/settings/tokens/{theirs.id}/revoke").status_code == 404
    for _ in range(2):
        assert post_form(supervisor, f"/settings/tokens/{ours.id}/revoke").status_code == 303
    with app_database.reading() as session:
        assert session.get_one(Token, ours.id).revoked_at == NOW
        assert session.get_one(Token, theirs.id).revoked_at is None
    assert changes(app_database, "token") == [("revoked", "no", "yes", "Supervisor")]
    assert "revoked" in words(supervisor, "/settings/tokens")


# the unit's scales and shifts ------------------------------------------------------------------------------


def test_every_scale_is_set_by_itself_and_noted(supervisor: FlaskClient, app_database: Database, plant: Plant) -> None:
    fields = {"temperature": "C", "power": "kW", "vibration": "in/s", "grease": "oz"}
    assert post_form(supervisor, "/settings/unit", fields).status_code == 303
    assert changes(app_database, "unit") == [("power", "hp", "kW", "Supervisor"),
                                             ("vibration", "mm/s", "in/s", "Supervisor"),
                                             ("grease", "g", "oz", "Supervisor")]
    assert post_form(supervisor, "/settings/unit", fields | {"grease": "stone"}).status_code == 400
    with app_database.reading() as session:
        unit = session.get_one(Unit, plant.unit.id)
        assert (unit.power, unit.vibration, unit.grease) == ("kW", "in/s", "oz")


def test_the_zone_is_changed_only_while_nothing_was_entered(supervisor: FlaskClient, app_database: Database,
                                                            plant: Plant) -> None:
    wrong = post_form(supervisor, "/settings/unit", {"time_zone": "Chicago"})
    assert wrong.status_code == 400 and 'id="time_zone-error"' in wrong.get_data(as_text=True)
    assert post_form(supervisor, "/settings/unit", {"time_zone": "Europe/Berlin"}).status_code == 303
    with app_database.writing() as session:
        assert session.get_one(Unit, plant.unit.id).time_zone == "Europe/Berlin"
        make_reading(session, session.get_one(Motor, plant.motor.id), session.get_one(Person, plant.operator.id), NOW)
        session.commit()
    assert "The time zone stays Europe/Berlin" in words(supervisor, "/settings/unit")
    late = post_form(supervisor, "/settings/unit", {"time_zone": "America/Chicago"})
    assert late.status_code == 400 and "The zone stays" in late.get_data(as_text=True)


EIGHT = {"name_1": "Morning", "at_1": "6:00", "name_2": "Afternoon", "at_2": "14.00", "name_3": "Night",
         "at_3": "22:00", "why": "new crew plan"}
MORNING = "2026-11-25T12:00:00+00:00"  # 06:00 in Chicago, the next day


def test_shifts_are_shown_first_and_then_changed_from_a_boundary(supervisor: FlaskClient, app_database: Database,
                                                                 plant: Plant) -> None:
    with app_database.writing() as session:
        opened = make_round(session, session.get_one(Unit, plant.unit.id))
        session.commit()
    page = post_form(supervisor, "/settings/unit/shifts", EIGHT | {"begins": MORNING})
    text = html.unescape(page.get_data(as_text=True))
    assert page.status_code == 200 and "It would go like this" in text and "Afternoon, 25 Nov 2026" in text
    assert changes(app_database, "unit") == []
    shown = re.search(r'name="shown" value="([^"]+)"', text)
    assert shown
    done = post_form(supervisor, "/settings/unit/shifts", EIGHT | {"begins": MORNING, "shown": shown[1]})
    assert done.status_code == 303
    assert changes(app_database, "unit") == [(
        "shifts", "Day 06:00, Night 18:00",
        "Morning 06:00, Afternoon 14:00, Night 22:00 from 2026-11-25 06:00-06:00", "Supervisor")]
    with app_database.reading() as session:
        calendar = session.get_one(Unit, plant.unit.id).calendar
        now_on = calendar.shift_of(NOW)
        assert (now_on.starts_at, now_on.ends_at) == (opened.starts_at, opened.ends_at)  # the open sheet's shift
        assert calendar.shift_of(NOW + timedelta(days=1)).label == "Morning 2026-11-25"
        assert calendar.shift_of(NOW - timedelta(days=9)).label == "Day 2026-11-15"
    assert "(to come)" in words(supervisor, "/settings/unit")


@pytest.mark.parametrize(("fields", "field"), [
    ({"begins": ""}, "begins"), ({"begins": "2026-11-25T13:00:00+00:00"}, "begins"), ({"why": ""}, "why"),
    ({"at_2": "25:00"}, "at_2"), ({"name_3": "morning"}, "name_3"), ({"at_3": "06:00"}, "at_3"),
    ({"name_1": "", "name_2": "", "name_3": "", "at_1": "", "at_2": "", "at_3": ""}, "at_1"),
], ids=str)
def test_shifts_that_cannot_be_stand_at_their_field(supervisor: FlaskClient, app_database: Database,
                                                    fields: dict[str, str], field: str) -> None:
    answer = post_form(supervisor, "/settings/unit/shifts", EIGHT | {"begins": MORNING} | fields)
    assert answer.status_code == 400 and f'id="{field}-error"' in answer.get_data(as_text=True)
    assert changes(app_database, "unit") == []


def test_eight_and_twelve_hours_are_one_tap_to_begin_from(supervisor: FlaskClient) -> None:
    assert 'value="14:00"' in supervisor.get("/settings/unit/shifts?preset=8").get_data(as_text=True)
    assert 'value="18:00"' in supervisor.get("/settings/unit/shifts").get_data(as_text=True)
