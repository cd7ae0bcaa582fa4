"""Signing in: the same words for every wrong try, slower with each, and never a crew locked out."""

from __future__ import annotations

import re
import threading

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app import guessing, known_secrets
from app.db import Database
from app.store.people import HEAD_OPERATOR, OPERATOR, SUPERVISOR, FailedTry
from tests.conftest import Clock, on_both
from tests.factories import SECRET, Plant, form_token, make_person, post_form, sign_in, try_sign_in

WRONG = "This name and secret do not fit."


def from_(client: FlaskClient, address: str, name: str, secret: str) -> TestResponse:
    token = form_token(client, "/sign-in")
    return client.post("/sign-in", data={"csrf_token": token, "sign_in": name, "secret": secret},
                       environ_overrides={"REMOTE_ADDR": address})


def words(answer: TestResponse) -> str:
    """The page without what differs by design: the token, and the name as typed."""
    text = answer.get_data(as_text=True)
    token = text.split('name="csrf_token" value="')[1].split('"')[0]
    return text.replace(token, "").replace("operator", "").replace("nobody", "")


@on_both
def test_a_secret_hashed_the_slow_way_signs_in_and_another_does_not(
        plant: Plant, client: FlaskClient, app_database: Database, shipped_hash: None) -> None:
    with app_database.writing() as session:
        made = make_person(session, session.merge(plant.unit), sign_in="ana",
                           secret_hash=guessing.hash_secret("long copper evening"))
        session.commit()
    # OWASP, Password Storage Cheat Sheet: with N = 2^15 and r = 8, p = 3.
    assert made.secret_hash.startswith("scrypt:32768:8:3$")
    assert try_sign_in(client, "ana", "long copper evenings").status_code == 401
    assert try_sign_in(client, "ana", "long copper evening").status_code == 303


@pytest.mark.parametrize("typed", ["operator", "OPERATOR", "  Operator "])
def test_a_sign_in_name_is_the_same_in_any_case_and_with_blanks_around(
        plant: Plant, client: FlaskClient, typed: str) -> None:
    assert try_sign_in(client, typed, SECRET).status_code == 303


def test_a_secret_is_taken_to_the_letter(plant: Plant, client: FlaskClient) -> None:
    assert try_sign_in(client, "operator", SECRET.upper()).status_code == 401
    assert try_sign_in(client, "operator", SECRET + " ").status_code == 401


@on_both
def test_a_wrong_name_a_wrong_secret_and_an_inactive_person_are_told_in_the_same_words(
        plant: Plant, client: FlaskClient, app_database: Database) -> None:
    with app_database.writing() as session:
        make_person(session, session.merge(plant.unit), sign_in="nobody-now").active = False
        session.commit()
    answers = [try_sign_in(client, "operator", "wrong"), try_sign_in(client, "nobody", "wrong"),
               try_sign_in(client, "nobody-now", SECRET)]
    assert [a.status_code for a in answers] == [401] * 3
    assert len({words(a).replace("-now", "") for a in answers}) == 1
    assert WRONG in words(answers[0])


def test_a_failed_sign_in_keeps_the_name_and_never_the_secret(plant: Plant, client: FlaskClient) -> None:
    page = try_sign_in(client, "operator", "my-wrong-secret").get_data(as_text=True)
    assert 'value="operator"' in page
    assert "my-wrong-secret" not in page


@pytest.mark.parametrize(("name", "secret", "says"), [
    ("", SECRET, "Enter your sign-in name."), ("operator", "", "Enter your PIN or pass-phrase."),
    ("x" * 81, SECRET, "81"), ("operator", "x" * 201, "201")])
def test_what_is_missing_or_too_long_is_named_at_its_field(
        plant: Plant, client: FlaskClient, name: str, secret: str, says: str) -> None:
    answer = try_sign_in(client, name, secret)
    assert answer.status_code == 400
    page = answer.get_data(as_text=True)
    assert says in page or "longer than" in page
    assert "<title>Error:" in page


def test_a_page_that_was_too_old_says_so_and_is_fresh_now(plant: Plant, client: FlaskClient) -> None:
    fields = {"csrf_token": "stale", "sign_in": "operator", "secret": SECRET}
    answer = client.post("/sign-in", data=fields)
    assert answer.status_code == 400
    token = answer.get_data(as_text=True).split('name="csrf_token" value="')[1].split('"')[0]
    assert client.post("/sign-in", data={**fields, "csrf_token": token}).status_code == 303


def test_a_person_without_a_unit_is_told_whom_to_ask(plant: Plant, client: FlaskClient, app_database: Database) -> None:
    with app_database.writing() as session:
        make_person(session, [], sign_in="new")
        session.commit()
    answer = try_sign_in(client, "new", SECRET)
    assert answer.status_code == 403
    assert "Ask your supervisor" in answer.get_data(as_text=True)


# guessing --------------------------------------------------------------------------------------------------


@on_both
def test_after_five_wrong_tries_each_next_one_waits_longer_up_to_half_a_minute(
        plant: Plant, client: FlaskClient, clock: Clock) -> None:
    assert [try_sign_in(client, "operator", "wrong").status_code for _ in range(5)] == [401] * 5
    waits = []
    for _ in range(7):
        answer = try_sign_in(client, "operator", "wrong")
        assert answer.status_code == 429
        waits.append(int(answer.headers["Retry-After"]))
        clock.advance(seconds=waits[-1])
        assert try_sign_in(client, "operator", "wrong").status_code == 401
    assert waits == [2, 4, 8, 16, 30, 30, 30]  # two to the power of the tries past four; never over half a minute


def test_while_one_waits_even_the_right_secret_is_not_looked_at(
        plant: Plant, client: FlaskClient, clock: Clock) -> None:
    for _ in range(5):
        try_sign_in(client, "operator", "wrong")
    answer = try_sign_in(client, "operator", SECRET)
    assert answer.status_code == 429
    assert "Wait 2 s and try again." in answer.get_data(as_text=True)
    clock.advance(seconds=1)
    assert "Wait 1 s" in try_sign_in(client, "operator", SECRET).get_data(as_text=True)
    clock.advance(seconds=1)
    assert try_sign_in(client, "operator", SECRET).status_code == 303


def test_waiting_does_not_count_as_another_try(plant: Plant, client: FlaskClient, app_database: Database) -> None:
    for _ in range(9):
        try_sign_in(client, "operator", "wrong")
    with app_database.reading() as session:
        assert session.scalar(sa.select(sa.func.count()).select_from(FailedTry)) == 5


def test_a_right_secret_forgives_the_wrong_ones_before_it(app: Flask, plant: Plant, client: FlaskClient) -> None:
    for _ in range(4):
        try_sign_in(client, "operator", "wrong")
    sign_in(client, plant.operator)
    post_form(client, "/sign-out")
    assert [try_sign_in(client, "operator", "wrong").status_code for _ in range(5)] == [401] * 5


def test_wrong_tries_are_forgotten_after_a_quarter_of_an_hour(
        plant: Plant, client: FlaskClient, clock: Clock) -> None:
    for _ in range(5):
        try_sign_in(client, "operator", "wrong")
    clock.advance(minutes=15)
    assert [try_sign_in(client, "operator", "wrong").status_code for _ in range(5)] == [401] * 5


def test_a_name_that_does_not_exist_waits_like_one_that_does(plant: Plant, client: FlaskClient) -> None:
    codes = [[from_(client, address, name, "wrong").status_code for _ in range(7)]
             for address, name in (("192.0.2.1", "operator"), ("192.0.2.2", "nobody"))]
    assert codes[0] == codes[1] == [401] * 5 + [429] * 2


def test_guessing_every_name_of_the_crew_from_elsewhere_keeps_nobody_off_their_own_tablet(
        app: Flask, plant: Plant, clock: Clock) -> None:
    crew = [plant.operator, plant.head_operator, plant.supervisor]
    tablet, stranger = app.test_client(), app.test_client()
    for person in crew:  # each has signed in at this tablet before
        assert from_(tablet, "192.0.2.10", person.sign_in, SECRET).status_code == 303
        post_form(tablet, "/sign-out")
    for person in crew:
        for i in range(30):
            from_(stranger, f"198.51.100.{i}", person.sign_in, "wrong")
    for person in crew:
        assert from_(tablet, "192.0.2.10", person.sign_in, SECRET).status_code == 303
        post_form(tablet, "/sign-out")


def test_guessing_one_name_from_many_addresses_slows_every_strange_address(
        app: Flask, plant: Plant) -> None:
    client = app.test_client()
    codes = [from_(client, f"198.51.100.{i}", "operator", "wrong").status_code for i in range(20)]
    assert codes == [401] * 15 + [429] * 5


def test_guessing_many_names_from_one_address_slows_that_address(app: Flask, plant: Plant) -> None:
    client = app.test_client()
    codes = [from_(client, "198.51.100.1", f"name{i}", "wrong").status_code for i in range(65)]
    assert codes == [401] * 60 + [429] * 5


@on_both
def test_wrong_tries_at_the_same_moment_are_all_counted(app: Flask, plant: Plant, app_database: Database) -> None:
    ready, codes = threading.Barrier(20), []

    def guess() -> None:
        client = app.test_client()
        token = form_token(client, "/sign-in")
        ready.wait()
        codes.append(client.post("/sign-in", data={
            "csrf_token": token, "sign_in": "operator", "secret": "wrong"}).status_code)

    threads = [threading.Thread(target=guess) for _ in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with app_database.reading() as session:
        counted = session.scalar(sa.select(sa.func.count()).select_from(FailedTry))
    assert set(codes) <= {401, 429}
    assert codes.count(401) == counted
    if app_database.is_sqlite:  # one writer at a time: the sixth sees the five before it
        assert counted == 5


# secrets that are worth something --------------------------------------------------------------------------


@pytest.mark.parametrize(("secret", "role"), [
    ("12345", OPERATOR), ("111111", OPERATOR), ("123456", OPERATOR), ("987654", HEAD_OPERATOR), ("", OPERATOR),
    ("eleven char", SUPERVISOR), ("aaaaaaaaaaaab", SUPERVISOR), ("4071", HEAD_OPERATOR)])
def test_a_weak_secret_is_refused_with_what_to_do(secret: str, role: str) -> None:
    with pytest.raises(guessing.WeakSecret, match=r"characters|digits|digit"):
        guessing.check_strength(secret, role)


@pytest.mark.parametrize(("secret", "role"), [
    ("407182", OPERATOR), ("113325", HEAD_OPERATOR), ("twelve chars", SUPERVISOR)])
def test_a_secret_just_long_enough_is_taken(secret: str, role: str) -> None:
    guessing.check_strength(secret, role)


@pytest.mark.parametrize(("secret", "role"), [
    ("112233", HEAD_OPERATOR), ("159753", OPERATOR), ("Baseball", OPERATOR), ("baseball2024!", SUPERVISOR),
    ("princessprincess", SUPERVISOR), ("1qaz2wsx3edc", SUPERVISOR)])
def test_a_secret_that_many_have_chosen_is_refused(secret: str, role: str) -> None:
    """Each stands in the published counts of leaked secrets, or is one of them with a year or itself behind it."""
    with pytest.raises(guessing.WeakSecret, match="many people"):
        guessing.check_strength(secret, role)


@pytest.mark.parametrize("secret", ["Brine unit 2026", "ana.ruiz-1990!", "MotorRoundSheet1", "unit-ana-brine",
                                    "anaanaanaruiz"])
def test_a_secret_made_of_names_known_here_is_refused(secret: str) -> None:
    words = ["ana", "Ana Ruiz", "Brine unit"]
    with pytest.raises(guessing.WeakSecret, match="known here"):
        guessing.check_strength(secret, SUPERVISOR, words)
    guessing.check_strength(secret + " to the wharf", SUPERVISOR, words)


def test_a_sign_in_name_of_figures_is_no_pin() -> None:
    with pytest.raises(guessing.WeakSecret, match="known here"):
        guessing.check_pin("407182", ["407182"])
    guessing.check_pin("407182", ["51 2"])


def test_the_known_secrets_are_those_that_fit_our_lengths() -> None:
    """3,000 that fit: OWASP ASVS 5.0, 6.2.4."""
    known = known_secrets._known()
    figures = {one for one in known if one.isdigit()}
    assert {len(one) for one in figures} == set(range(6, 13))
    assert len(known - figures) == 3000
    assert min(map(len, known - figures)) == 8


def test_each_page_that_takes_a_secret_asks_for_none_that_is_tried_first(plant: Plant, client: FlaskClient) -> None:
    sign_in(client, plant.supervisor)
    add = {"sign_in": "bo", "name": "Bo Lind", "role": OPERATOR}
    for path, fields, secret in (
            ("/settings/people/add", add, "112233"), ("/settings/people/add", add, "bo lind 26"),
            (f"/settings/people/{plant.operator.id}/pin", {}, "159753"),
            ("/me/secret", {"own-before": SECRET}, "princessprincess")):
        before = "own-" if path == "/me/secret" else ""
        given = {f"{before}secret": secret, f"{before}again": secret}
        answer = post_form(client, path, {**fields, **given})
        assert answer.status_code == 400, path
        assert "many people" in answer.text or "known here" in answer.text, path


@pytest.mark.parametrize(("path", "fields"), [
    ("/sign-in", {"secret": "current-password"}), ("/settings/people/add", dict.fromkeys(("secret", "again"),
                                                                                         "new-password")),
    ("/me", {"own-before": "current-password", "own-secret": "new-password", "own-again": "new-password"})])
def test_a_secret_is_masked_where_it_is_typed_and_a_helper_is_told_which_it_is(
        plant: Plant, client: FlaskClient, path: str, fields: dict[str, str]) -> None:
    """Masked: OWASP ASVS 5.0, 6.2.6. The words for helpers are the HTML standard's."""
    if path != "/sign-in":
        sign_in(client, plant.supervisor)
    page = client.get(path).get_data(as_text=True)
    for name, word in fields.items():
        (field,) = re.findall(f'<input [^>]*name="{name}"[^>]*>', page)
        assert 'type="password"' in field and f'autocomplete="{word}"' in field


# the screen ------------------------------------------------------------------------------------------------


def test_the_theme_stays_with_the_tablet_when_the_person_changes(plant: Plant, client: FlaskClient) -> None:
    sign_in(client, plant.operator).get("/screen/night")
    post_form(client, "/sign-out")
    assert 'data-theme="night"' in sign_in(client, plant.head_operator).get("/motors").get_data(as_text=True)


def test_a_theme_that_is_none_changes_nothing(client: FlaskClient) -> None:
    client.get("/screen/<script>")
    client.set_cookie("theme", '"><script>')
    assert 'data-theme="indoor"' in client.get("/sign-in").get_data(as_text=True)
