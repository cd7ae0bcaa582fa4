"""Shared tablets: the crew by name on an enrolled one and nowhere else, a PIN that counts only there, the lock."""

from __future__ import annotations

import re
from typing import Any

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient

from app.db import Database
from app.store.changes import Change
from app.store.devices import Device
from app.store.people import HEAD_OPERATOR, OPERATOR, SUPERVISOR, Person, SignedIn
from tests.conftest import Clock, on_both
from tests.factories import SECRET, Plant, form_token, make_person, make_unit, post_form, sign_in, try_sign_in
from tests.web.at_motor import answers, readings_of, words_of
from tests.web.tablets_ground import OTHER_PIN, PIN, enrolled, give_pin, in_hand, quick, tap, who


@pytest.fixture
def crew(plant: Plant, app_database: Database) -> Plant:
    """The operator and the head operator have a PIN each."""
    give_pin(app_database, plant.operator)
    give_pin(app_database, plant.head_operator, OTHER_PIN)
    return plant


def names_on(client: FlaskClient) -> list[str]:
    page = client.get("/sign-in").get_data(as_text=True)
    return [name.strip() for name in re.findall(r'<button name="person" value="\d+">([^<]+)', page)]


# the crew by name ------------------------------------------------------------------------------------------


@on_both
def test_only_on_an_enrolled_tablet_are_the_names_of_the_crew_shown(
        app: Flask, crew: Plant, client: FlaskClient) -> None:
    tablet = enrolled(app, crew)
    assert names_on(tablet) == ["Head Operator", "Operator"]
    assert names_on(client) == []
    assert 'name="sign_in"' in client.get("/sign-in").get_data(as_text=True)
    assert "Operator" not in words_of(client.get(f"/sign-in?person={crew.operator.id}"))


def test_a_supervisor_somebody_inactive_and_another_units_crew_are_not_among_the_names(
        app: Flask, crew: Plant, app_database: Database) -> None:
    with app_database.writing() as session:
        gone = make_person(session, session.merge(crew.unit), sign_in="gone")
        gone.active = False
        foreign = make_person(session, make_unit(session, "Unit 9"), sign_in="foreign")
        session.commit()
    tablet = enrolled(app, crew)
    assert names_on(tablet) == ["Head Operator", "Operator"]
    for person in (gone, foreign, crew.supervisor):
        give_pin(app_database, person, "907156")
        assert tap(tablet, person, "907156").status_code == 200  # the names again
        assert who(tablet) is None


def test_whoever_had_the_tablet_this_week_stands_first(app: Flask, crew: Plant, clock: Clock) -> None:
    tablet = enrolled(app, crew)
    in_hand(tablet, crew.operator)
    post_form(tablet, "/change-hands")
    assert names_on(tablet) == ["Operator", "Head Operator"]
    clock.advance(days=7, seconds=1)
    assert names_on(tablet) == ["Head Operator", "Operator"]


def test_a_tap_and_a_pin_lead_on_to_where_the_one_before_stood(app: Flask, crew: Plant) -> None:
    tablet = in_hand(enrolled(app, crew), crew.operator)
    assert who(tablet) == "Operator"
    at_motor = f"/motors/{crew.motor.id}/entry"
    assert f'name="next" value="{at_motor}"' in tablet.get(at_motor).get_data(as_text=True)
    out = post_form(tablet, "/change-hands", {"next": at_motor})
    assert out.location == f"/sign-in?next={at_motor}"
    assert tap(tablet, crew.head_operator, OTHER_PIN, next=at_motor).location == at_motor
    assert who(tablet) == "Head Operator"


def test_the_next_one_is_not_led_to_a_page_that_is_not_theirs(app: Flask, crew: Plant) -> None:
    assert tap(enrolled(app, crew), crew.operator, next="/settings").location == "/"


def test_a_change_of_hands_ends_the_session_here_and_leaves_the_others(app: Flask, crew: Plant) -> None:
    office, tablet = sign_in(app.test_client(), crew.operator), in_hand(enrolled(app, crew), crew.operator)
    cookie = tablet.get_cookie("rounds")
    assert cookie is not None
    post_form(tablet, "/change-hands")
    assert (who(tablet), who(office)) == (None, "Operator")
    tablet.set_cookie("rounds", cookie.value)  # a copied cookie is no way back in
    assert who(tablet) is None


# PINs ------------------------------------------------------------------------------------------------------


@on_both
def test_a_pin_counts_on_an_enrolled_tablet_and_nowhere_else(app: Flask, crew: Plant, client: FlaskClient) -> None:
    assert try_sign_in(client, "operator", PIN).status_code == 401
    token = form_token(client, "/sign-in")
    by_name = client.post("/sign-in", data={"csrf_token": token, "person": str(crew.operator.id), "secret": PIN})
    assert by_name.status_code == 400  # no name typed: an ordinary browser knows no other way
    tablet = enrolled(app, crew)
    assert try_sign_in_typed(tablet, "operator", PIN) == 401
    assert tap(tablet, crew.operator, PIN).status_code == 303


def try_sign_in_typed(client: FlaskClient, name: str, secret: str) -> int:
    """By the page for those who are not among the names."""
    token = form_token(client, "/sign-in?typed=1")
    return client.post("/sign-in", data={"csrf_token": token, "sign_in": name, "secret": secret}).status_code


def test_who_has_a_pin_does_not_get_in_by_tap_and_pass_phrase_and_who_has_none_does(
        app: Flask, crew: Plant, app_database: Database) -> None:
    tablet = enrolled(app, crew)
    assert tap(tablet, crew.operator, SECRET).status_code == 401
    with app_database.writing() as session:
        session.get_one(Person, crew.operator.id).pin_hash = None
        session.commit()
    assert "type your secret" in words_of(tablet.get(f"/sign-in?person={crew.operator.id}"))
    assert tap(tablet, crew.operator, SECRET).status_code == 303


def test_a_supervisor_types_the_pass_phrase_on_a_tablet_too(app: Flask, crew: Plant) -> None:
    tablet = enrolled(app, crew)
    assert try_sign_in_typed(tablet, "supervisor", SECRET) == 303
    assert who(tablet) == "Supervisor"


def test_wrong_pins_make_the_next_try_wait_and_lock_nobody_out(app: Flask, crew: Plant, clock: Clock) -> None:
    tablet, other = enrolled(app, crew), enrolled(app, crew, "South 1")
    assert [tap(tablet, crew.operator, "000001").status_code for _ in range(5)] == [401] * 5
    waits = tap(tablet, crew.operator)
    assert (waits.status_code, waits.headers["Retry-After"]) == (429, "2")
    assert tap(tablet, crew.head_operator, OTHER_PIN).status_code == 303  # her tries are her own
    clock.advance(seconds=2)
    assert tap(other, crew.operator).status_code == 303


def test_a_pin_page_that_was_too_old_asks_again(app: Flask, crew: Plant) -> None:
    tablet = enrolled(app, crew)
    old = tablet.post("/sign-in", data={"csrf_token": "0" * 64, "person": str(crew.operator.id), "secret": PIN})
    assert old.status_code == 200
    assert who(tablet) is None


@pytest.mark.parametrize(("pin", "says"), [
    ("12a456", "figures only"), ("١٢٣٤٥٦", "figures only"), ("80517", "6 to 12"), ("8051728051728", "6 to 12"),
    ("777777", "no plain pattern"), ("121212", "no plain pattern"), ("123123", "no plain pattern"),
    ("345678", "no plain pattern"), ("987654", "no plain pattern"), ("", "Enter")])
def test_a_pin_is_six_figures_or_more_and_no_plain_pattern(
        plant: Plant, client: FlaskClient, pin: str, says: str) -> None:
    sign_in(client, plant.supervisor)
    answer = post_form(client, f"/settings/people/{plant.operator.id}/pin", {"secret": pin, "again": pin})
    assert answer.status_code == 400
    assert says in words_of(answer)
    assert pin == "" or f'value="{pin}"' not in answer.get_data(as_text=True)


@on_both
def test_a_supervisor_sets_a_pin_and_its_owner_is_asked_to_choose_another(
        app: Flask, plant: Plant, client: FlaskClient, app_database: Database) -> None:
    signed = sign_in(app.test_client(), plant.operator)
    sign_in(client, plant.supervisor)
    path = f"/settings/people/{plant.operator.id}/pin"
    assert post_form(client, path, {"secret": PIN, "again": OTHER_PIN}).status_code == 400
    assert post_form(client, path, {"secret": PIN, "again": PIN}).status_code == 303
    assert who(signed) is None  # signed out everywhere
    tablet = in_hand(enrolled(app, plant), plant.operator)
    assert "set by a supervisor" in words_of(tablet.get("/help"))
    changed = post_form(tablet, "/me/pin", {"pin-before": PIN, "pin-secret": OTHER_PIN, "pin-again": OTHER_PIN})
    assert changed.status_code == 303
    post_form(tablet, "/change-hands")
    assert tap(tablet, plant.operator, PIN).status_code == 401
    assert tap(tablet, plant.operator, OTHER_PIN).status_code == 303
    assert "set by a supervisor" not in words_of(tablet.get("/help"))
    with app_database.reading() as session:
        noted = [(c.before, c.after, c.by) for c in session.scalars(
            sa.select(Change).where(Change.field == "PIN").order_by(Change.id))]
        held = session.get_one(Person, plant.operator.id).pin_hash
    assert noted == [("none", "set by a supervisor", "Supervisor"), (None, "changed by themselves", "Operator")]
    assert held is not None
    assert OTHER_PIN not in held


def test_a_pin_taken_away_counts_no_more(app: Flask, crew: Plant, client: FlaskClient) -> None:
    tablet = enrolled(app, crew)
    sign_in(client, crew.supervisor)
    assert post_form(client, f"/settings/people/{crew.operator.id}/pin", {"away": "1"}).status_code == 303
    assert tap(tablet, crew.operator).status_code == 401


def test_a_supervisor_has_no_pin_and_whoever_becomes_one_loses_it(
        app: Flask, crew: Plant, client: FlaskClient, app_database: Database) -> None:
    sign_in(client, crew.supervisor)
    assert client.get(f"/settings/people/{crew.supervisor.id}/pin").status_code == 404
    assert post_form(client, "/me/pin", {"pin-before": SECRET, "pin-secret": PIN, "pin-again": PIN}).status_code == 400
    promoted = post_form(client, f"/settings/people/{crew.operator.id}", {
        "name": "Operator", "role": SUPERVISOR, "state": "active", "secret": "amber field 9 gate",
        "again": "amber field 9 gate"})
    assert promoted.status_code == 303
    with app_database.reading() as session:
        assert session.get_one(Person, crew.operator.id).pin_hash is None


def test_the_pin_of_somebody_who_works_in_a_unit_not_ones_own_is_not_ones_to_set(
        plant: Plant, client: FlaskClient, app_database: Database) -> None:
    with app_database.writing() as session:
        both = make_person(session, [session.merge(plant.unit), make_unit(session, "Unit 9")], sign_in="both")
        session.commit()
    sign_in(client, plant.supervisor)
    assert post_form(client, f"/settings/people/{both.id}/pin", {"secret": PIN, "again": PIN}).status_code == 404


# one's own -------------------------------------------------------------------------------------------------

NEW = "willow 77 north"


def test_a_person_changes_their_own_pass_phrase_and_is_out_everywhere_else(
        app: Flask, plant: Plant, client: FlaskClient) -> None:
    sign_in(client, plant.operator)
    office = sign_in(app.test_client(), plant.operator)
    fields = {"own-before": SECRET, "own-secret": NEW, "own-again": NEW}
    assert post_form(client, "/me/secret", {**fields, "own-before": "wrong"}).status_code == 401
    assert post_form(client, "/me/secret", {**fields, "own-again": "other"}).status_code == 400
    assert who(office) == "Operator"
    assert post_form(client, "/me/secret", fields).status_code == 303
    assert (who(client), who(office)) == ("Operator", None)
    assert try_sign_in(app.test_client(), "operator", SECRET).status_code == 401
    assert try_sign_in(app.test_client(), "operator", NEW).status_code == 303


@pytest.mark.parametrize(("secret", "says"), [
    ("4071936", "8 characters"), ("40719362845", "not figures only"), ("short", "6 digits"), ("", "Enter")])
def test_a_pass_phrase_of_ones_own_is_longer_than_a_pin(
        plant: Plant, client: FlaskClient, secret: str, says: str) -> None:
    sign_in(client, plant.operator)
    answer = post_form(client, "/me/secret", {"own-before": SECRET, "own-secret": secret, "own-again": secret})
    assert answer.status_code == 400
    assert says in words_of(answer)


def test_a_pin_does_not_change_the_pass_phrase(app: Flask, crew: Plant) -> None:
    tablet = in_hand(enrolled(app, crew), crew.operator)
    answer = post_form(tablet, "/me/secret", {"own-before": PIN, "own-secret": NEW, "own-again": NEW})
    assert answer.status_code == 401
    assert "A PIN does not change it" in words_of(answer)


def test_guessing_at_somebodys_own_page_is_slowed_too(app: Flask, crew: Plant) -> None:
    tablet = in_hand(enrolled(app, crew), crew.operator)
    fields = {"pin-before": "000001", "pin-secret": OTHER_PIN, "pin-again": OTHER_PIN}
    assert [post_form(tablet, "/me/pin", fields).status_code for _ in range(6)] == [401] * 5 + [429]


# the tablets -----------------------------------------------------------------------------------------------


def tablets_of(database: Database) -> list[Device]:
    with database.reading() as session:
        return list(session.scalars(sa.select(Device).order_by(Device.id)))


@on_both
def test_an_enrolled_tablet_is_listed_with_when_it_was_seen_last(
        app: Flask, crew: Plant, client: FlaskClient, app_database: Database, clock: Clock) -> None:
    tablet = enrolled(app, crew)
    clock.advance(hours=2)  # 09:12 in Chicago
    in_hand(tablet, crew.operator)
    page = words_of(sign_in(client, crew.supervisor).get("/settings/tablets"))
    assert "North 2" in page
    assert "09:12" in page
    [row] = tablets_of(app_database)
    assert row.last_seen_at == clock.now
    cookie = tablet.get_cookie("tablet")
    assert cookie is not None
    assert cookie.value not in row.key
    assert (cookie.http_only, cookie.max_age) == (True, 400 * 24 * 3600)


def test_a_revoked_tablet_shows_no_names_takes_no_pin_and_signs_out_whoever_held_it(
        app: Flask, crew: Plant, client: FlaskClient, app_database: Database) -> None:
    tablet = in_hand(enrolled(app, crew), crew.operator)
    office = sign_in(app.test_client(), crew.operator)
    sign_in(client, crew.supervisor)
    [row] = tablets_of(app_database)
    assert post_form(client, f"/settings/tablets/{row.id}/revoke").status_code == 303
    assert (who(tablet), who(office)) == (None, "Operator")
    assert names_on(tablet) == []
    assert try_sign_in(tablet, "operator", PIN).status_code == 401
    assert "revoked" in words_of(client.get("/settings/tablets"))


def test_two_tablets_in_use_have_two_names_and_a_revoked_ones_is_free_again(
        app: Flask, crew: Plant, client: FlaskClient, app_database: Database) -> None:
    enrolled(app, crew)
    sign_in(client, crew.supervisor)
    again = post_form(client, "/settings/tablets", {"name": "North 2", "idle_min": "10"})
    assert again.status_code == 400
    assert "Choose another name" in words_of(again)
    post_form(client, f"/settings/tablets/{tablets_of(app_database)[0].id}/revoke")
    assert post_form(client, "/settings/tablets", {"name": "North 2", "idle_min": "10"}).status_code == 303


def test_a_browser_enrolled_again_is_one_tablet_not_two(app: Flask, crew: Plant, app_database: Database) -> None:
    tablet = enrolled(app, crew)
    assert try_sign_in_typed(tablet, "supervisor", SECRET) == 303
    assert post_form(tablet, "/settings/tablets", {"name": "North 3", "idle_min": "5"}).status_code == 303
    assert [(d.name, d.revoked_at is None) for d in tablets_of(app_database)] == [("North 2", False), ("North 3", True)]
    assert who(tablet) == "Supervisor"


@pytest.mark.parametrize(("fields", "says"), [
    ({"name": " ", "idle_min": "10"}, "Enter a name"), ({"name": "x" * 61, "idle_min": "10"}, "60 characters"),
    ({"name": "North", "idle_min": "0"}, "1 to 240"), ({"name": "North", "idle_min": "241"}, "1 to 240"),
    ({"name": "North", "idle_min": "soon"}, "1 to 240"), ({"name": "North", "idle_min": ""}, "1 to 240")])
def test_what_cannot_be_a_tablet_is_named_at_its_field(
        plant: Plant, client: FlaskClient, app_database: Database, fields: dict[str, str], says: str) -> None:
    sign_in(client, plant.supervisor)
    answer = post_form(client, "/settings/tablets", fields)
    assert answer.status_code == 400
    assert says in words_of(answer)
    assert tablets_of(app_database) == []


def test_a_tablet_gets_another_name_and_another_time_and_the_change_is_kept(
        app: Flask, crew: Plant, client: FlaskClient, app_database: Database) -> None:
    enrolled(app, crew)
    sign_in(client, crew.supervisor)
    path = f"/settings/tablets/{tablets_of(app_database)[0].id}"
    assert "North 2" in words_of(client.get(path))
    assert post_form(client, path, {"name": "North 4", "idle_min": "20"}).status_code == 303
    assert [(d.name, d.idle_min) for d in tablets_of(app_database)] == [("North 4", 20)]
    assert "North 4" in words_of(client.get("/changes?what=tablet"))


def test_over_https_the_tablets_cookie_is_secure_and_bound_to_the_host(plant: Plant, client: FlaskClient) -> None:
    secure: dict[str, Any] = {"base_url": "https://localhost"}
    token = client.get("/sign-in", **secure).get_data(as_text=True).split('name="csrf_token" value="')[1].split('"')[0]
    client.post("/sign-in", data={"csrf_token": token, "sign_in": "supervisor", "secret": SECRET}, **secure)
    token = client.get("/help", **secure).get_data(as_text=True).split('name="csrf_token" value="')[1].split('"')[0]
    made = client.post("/settings/tablets", data={"csrf_token": token, "name": "N", "idle_min": "9"}, **secure)
    [cookie] = [c for c in made.headers.getlist("Set-Cookie") if "tablet" in c]
    assert cookie.startswith("__Host-tablet=")
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=Lax"} <= set(cookie.split("; "))


# the lock --------------------------------------------------------------------------------------------------


@on_both
def test_untouched_for_its_minutes_a_tablet_asks_who_is_there_and_an_office_machine_does_not(
        app: Flask, crew: Plant, client: FlaskClient, clock: Clock) -> None:
    tablet = in_hand(enrolled(app, crew, idle_min=10), crew.operator)
    sign_in(client, crew.operator)
    clock.advance(minutes=10)
    assert who(tablet) == "Operator"  # for exactly so long; and this was a touch
    clock.advance(minutes=10, seconds=1)
    assert (who(tablet), who(client)) == (None, "Operator")
    assert names_on(tablet)[0] == "Operator"


@pytest.mark.parametrize("by_itself", [{"Sec-Fetch-Mode": "cors"}, {"Accept": "*/*"}], ids=["https", "http"])
def test_each_page_opened_is_a_touch_and_what_a_page_asks_for_by_itself_is_none(
        app: Flask, crew: Plant, clock: Clock, by_itself: dict[str, str]) -> None:
    tablet = in_hand(enrolled(app, crew), crew.operator)
    for _ in range(4):
        clock.advance(minutes=9)
        assert tablet.get("/sheet").status_code == 200
    for _ in range(2):
        clock.advance(minutes=6)
        tablet.get("/sheet", headers=by_itself)
    assert who(tablet) is None


def test_a_touch_on_the_page_is_told_to_the_server(app: Flask, crew: Plant, clock: Clock) -> None:
    tablet = in_hand(enrolled(app, crew), crew.operator)
    for _ in range(3):
        clock.advance(minutes=9)
        assert post_form(tablet, "/still-here", headers={"Sec-Fetch-Mode": "cors"}).status_code == 204
    assert who(tablet) == "Operator"


def test_a_touch_costs_the_database_one_write_a_minute(
        app: Flask, crew: Plant, app_database: Database, clock: Clock) -> None:
    tablet = in_hand(enrolled(app, crew), crew.operator)
    began = clock.now
    for seconds, expected in ((59, 0), (1, 60), (59, 60)):
        clock.advance(seconds=seconds)
        tablet.get("/sheet")
        with app_database.reading() as session:
            live = session.scalars(sa.select(SignedIn).where(SignedIn.person_id == crew.operator.id)).one()
        assert live.touched_at is not None
        assert (live.touched_at - began).total_seconds() == expected


def test_an_entry_saved_after_the_lock_is_shown_again_to_its_own_person_only(
        app: Flask, crew: Plant, app_database: Database, clock: Clock) -> None:
    tablet = in_hand(enrolled(app, crew), crew.operator)
    path, token = f"/motors/{crew.motor.id}/entry", form_token(tablet)
    clock.advance(minutes=11)
    typed = {"csrf_token": token, **answers(remarks="typed by the first")}
    locked = tablet.post(path, data=typed)
    assert locked.status_code == 401
    assert "What Operator typed is kept" in words_of(locked)
    assert "typed by the first" not in locked.get_data(as_text=True)
    kept = locked.get_data(as_text=True).split('name="kept" value="')[1].split('"')[0]
    other = tap(tablet, crew.head_operator, OTHER_PIN, kept=kept)
    assert (other.status_code, other.location) == (303, "/")
    assert "typed by the first" not in words_of(tablet.get("/sheet"))
    post_form(tablet, "/change-hands")
    own = tap(tablet, crew.operator, PIN, kept=kept)
    assert own.status_code == 200
    assert "typed by the first" in words_of(own)
    assert readings_of(app_database, crew.motor) == []


def test_a_name_tapped_on_the_page_that_kept_an_entry_brings_it_along_to_the_pin(
        app: Flask, crew: Plant, clock: Clock) -> None:
    tablet = in_hand(enrolled(app, crew), crew.operator)
    clock.advance(minutes=11)
    locked = tablet.post(f"/motors/{crew.motor.id}/skip", data={"words": "scaffold"}).get_data(as_text=True)
    kept, token = (locked.split(f'name="{name}" value="')[1].split('"')[0] for name in ("kept", "csrf_token"))
    tapped = tablet.post("/sign-in", data={"csrf_token": token, "kept": kept, "person": str(crew.operator.id)})
    assert tapped.status_code == 200
    assert f'name="kept" value="{kept}"' in tapped.get_data(as_text=True)
    typed = tablet.post("/sign-in", data={"csrf_token": token, "kept": kept, "typed": "1"})
    assert f'name="kept" value="{kept}"' in typed.get_data(as_text=True)
    assert 'name="sign_in"' in typed.get_data(as_text=True)


def test_a_page_that_the_one_before_had_open_stores_nothing_under_the_next(
        app: Flask, crew: Plant, app_database: Database) -> None:
    tablet = in_hand(enrolled(app, crew), crew.operator)
    old_token = form_token(tablet)
    post_form(tablet, "/change-hands")
    in_hand(tablet, crew.head_operator, OTHER_PIN)
    sent = tablet.post(f"/motors/{crew.motor.id}/entry", data={
        "csrf_token": old_token, **answers(remarks="typed by the first")})
    assert sent.status_code == 409
    assert "opened by Operator" in words_of(sent)
    assert "typed by the first" not in sent.get_data(as_text=True)
    assert readings_of(app_database, crew.motor) == []


def test_the_secret_of_another_role_is_hashed_slowly_by_the_page(
        plant: Plant, client: FlaskClient, app_database: Database) -> None:
    sign_in(client, plant.supervisor)
    post_form(client, f"/settings/people/{plant.head_operator.id}/pin", {"secret": PIN, "again": PIN})
    with app_database.reading() as session:
        held = session.get_one(Person, plant.head_operator.id)
    assert held.pin_hash is not None
    assert held.pin_hash.startswith("scrypt:")
    assert quick(PIN)[:6] == "pbkdf2"
    assert {OPERATOR, HEAD_OPERATOR} == {p.role for p in (plant.operator, plant.head_operator)}
