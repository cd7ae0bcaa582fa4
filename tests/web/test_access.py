"""Who may see and do what: sessions that can be ended, forms that are ours, roles, and the headers of every answer."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.routing import BaseConverter, Rule
from werkzeug.test import TestResponse

from app.config import Settings
from app.db import Database
from app.store.changes import Change
from app.store.flags import Flag
from app.store.lubrication import Greasing
from app.store.motors import Motor
from app.store.people import HEAD_OPERATOR, OPERATOR, ROLES, SUPERVISOR, Person, SignedIn
from app.store.rounds import Reading
from app.web.access import ANYONE, TOKEN
from tests.conftest import Clock
from tests.factories import SECRET, Plant, form_token, make_person, make_unit, post_form, sign_in, try_sign_in
from tests.web.tablets_ground import enrolled, give_pin, in_hand


def rules_of(app: Flask, method: str) -> Iterator[tuple[Rule, str]]:
    """Every page or form of the app with an address that can be asked for, whatever stands in its place holders."""
    for rule in app.url_map.iter_rules():
        if method in (rule.methods or ()) and not rule.endpoint.endswith("static"):
            words = {name: _fitting(converter) for name, converter in rule._converters.items()}
            with app.test_request_context():
                yield rule, app.url_map.bind("localhost").build(rule.endpoint, words, method=method)


def _fitting(converter: BaseConverter) -> Any:
    """Something that may stand in this place holder."""
    kinds = {"IntegerConverter": 1, "UUIDConverter": "018f6f2e-0000-7000-8000-000000000001"}
    return kinds.get(type(converter).__name__) or next(iter(getattr(converter, "items", ())), "x")


def allowed(app: Flask, rule: Rule) -> str | None:
    return getattr(app.view_functions[rule.endpoint], "allowed", None)


def cookies_of(answer: TestResponse) -> list[str]:
    return answer.headers.getlist("Set-Cookie")


def stored(database: Database) -> list[int]:
    """How many rows there are of everything a form can make."""
    with database.reading() as session:
        return [session.scalar(sa.select(sa.func.count()).select_from(t)) or 0
                for t in (Reading, Greasing, Flag, Change, Motor, Person)]


# every view decides ----------------------------------------------------------------------------------------


def test_every_view_says_who_may_call_it(app: Flask) -> None:
    undecided = [r.endpoint for r in app.url_map.iter_rules() if not r.endpoint.endswith("static")
                 and allowed(app, r) not in (*ROLES, ANYONE, TOKEN)]
    assert undecided == []


@pytest.mark.own_app
def test_a_view_that_forgot_to_say_is_refused_to_everybody(app: Flask, plant: Plant, client: FlaskClient) -> None:
    app.add_url_rule("/forgotten", "forgotten", lambda: "the plant's secrets")
    for caller in (client, sign_in(app.test_client(), plant.supervisor)):
        answer = caller.get("/forgotten")
        assert answer.status_code == 403
        assert "secrets" not in answer.get_data(as_text=True)


def test_without_signing_in_every_page_leads_to_the_sign_in_and_back(app: Flask, client: FlaskClient) -> None:
    asked = 0
    for rule, path in rules_of(app, "GET"):
        if allowed(app, rule) in ROLES:
            answer = client.get(path)
            assert answer.status_code == 302, path
            assert answer.location.startswith("/sign-in?next="), path
            asked += 1
    assert asked > 15


def test_without_signing_in_no_form_is_taken(app: Flask, plant: Plant, client: FlaskClient) -> None:
    before = stored(app.extensions["database"])
    for rule, path in rules_of(app, "POST"):
        if allowed(app, rule) in ROLES:
            assert client.post(path, data={"remarks": "typed"}).status_code == 401, path
            assert client.post(path, json={"remarks": "typed"}).status_code == 401, path
    assert stored(app.extensions["database"]) == before


@pytest.mark.parametrize("role", [OPERATOR, HEAD_OPERATOR])
def test_what_a_higher_role_may_is_refused_to_a_lower_by_name(app: Flask, plant: Plant, role: str) -> None:
    client = sign_in(app.test_client(), plant.operator if role == OPERATOR else plant.head_operator)
    token, refused = form_token(client), 0
    for method in ("GET", "POST"):
        for rule, path in rules_of(app, method):
            whom = allowed(app, rule)
            if whom in ROLES and ROLES.index(whom) > ROLES.index(role):
                answer = client.open(path, method=method, data={"csrf_token": token} if method == "POST" else None)
                assert answer.status_code == 403, path
                assert f"This needs a {whom}. You are signed in as" in answer.get_data(as_text=True), path
                refused += 1
    assert refused > 5


def test_a_supervisor_may_what_an_operator_may(app: Flask, plant: Plant) -> None:
    client = sign_in(app.test_client(), plant.supervisor)
    for rule, path in rules_of(app, "GET"):
        if allowed(app, rule) in ROLES and not rule.arguments:
            assert client.get(path, follow_redirects=True).status_code == 200, path


@pytest.mark.parametrize(("role", "start"), [
    (OPERATOR, "/sheet"), (HEAD_OPERATOR, "/review"), (SUPERVISOR, "/week")])
def test_each_of_the_three_starts_where_their_work_is(
        plant: Plant, client: FlaskClient, role: str, start: str) -> None:
    person = {OPERATOR: plant.operator, HEAD_OPERATOR: plant.head_operator, SUPERVISOR: plant.supervisor}[role]
    assert sign_in(client, person).get("/").location == start


# sessions --------------------------------------------------------------------------------------------------


def is_in(client: FlaskClient) -> bool:
    return client.get("/motors").status_code == 200


def test_a_tablets_session_lasts_a_shift_and_its_overrun_and_no_longer(
        app: Flask, plant: Plant, app_database: Database, clock: Clock) -> None:
    give_pin(app_database, plant.operator)
    client = in_hand(enrolled(app, plant, idle_min=240), plant.operator)
    for _ in range(4):
        clock.advance(hours=3)
        assert is_in(client)
    clock.advance(hours=2, microseconds=-1)
    assert is_in(client)
    clock.advance(microseconds=1)
    assert not is_in(client)


def test_a_copied_cookie_is_worth_nothing_after_signing_out(app: Flask, plant: Plant, client: FlaskClient) -> None:
    copied = sign_in(client, plant.operator).get_cookie("rounds")
    assert copied is not None
    thief = app.test_client()
    thief.set_cookie("rounds", copied.value)
    assert is_in(thief)
    assert post_form(client, "/sign-out").status_code == 303
    assert not is_in(thief)
    assert client.get_cookie("rounds") is None


def test_signing_out_ends_the_persons_sessions_on_every_tablet_and_nobody_elses(app: Flask, plant: Plant) -> None:
    first, second = (sign_in(app.test_client(), plant.operator) for _ in range(2))
    other = sign_in(app.test_client(), plant.head_operator)
    post_form(first, "/sign-out")
    assert [is_in(c) for c in (first, second, other)] == [False, False, True]


def test_a_person_made_inactive_is_out_at_once(plant: Plant, client: FlaskClient, app_database: Database) -> None:
    sign_in(client, plant.operator)
    with app_database.writing() as session:
        session.get_one(Person, plant.operator.id).active = False
        session.commit()
    assert not is_in(client)


def test_the_session_changes_at_every_sign_in_and_one_chosen_by_another_is_not_taken(
        plant: Plant, client: FlaskClient) -> None:
    client.set_cookie("rounds", "chosen-by-somebody-else")
    first = sign_in(client, plant.operator).get_cookie("rounds")
    post_form(client, "/sign-out")
    second = sign_in(client, plant.operator).get_cookie("rounds")
    assert first is not None
    assert second is not None
    assert len({"chosen-by-somebody-else", first.value, second.value}) == 3


def test_the_next_person_on_the_tablet_gets_nothing_of_the_one_before(app: Flask, plant: Plant) -> None:
    client = sign_in(app.test_client(), plant.supervisor)
    before = client.get_cookie("rounds")
    # A page left open in another tab, and nobody signed the first one out.
    assert post_form(client, "/sign-in", {"sign_in": "operator", "secret": SECRET}).status_code == 303
    page = client.get("/motors").get_data(as_text=True)
    assert plant.operator.name in page
    assert plant.supervisor.name not in page
    assert client.get("/settings").status_code == 403
    assert before is not None
    client.set_cookie("rounds", before.value)
    assert not is_in(client)  # the one before is out, not only hidden


def test_the_database_holds_no_cookie_that_could_be_used(
        plant: Plant, client: FlaskClient, app_database: Database) -> None:
    value = sign_in(client, plant.operator).get_cookie("rounds")
    with app_database.reading() as session:
        keys = list(session.scalars(sa.select(SignedIn.key)))
    assert value is not None
    assert len(keys) == 1
    assert value.value not in keys


def test_a_unit_that_is_not_the_persons_does_not_exist_for_them(
        plant: Plant, client: FlaskClient, app_database: Database) -> None:
    with app_database.writing() as session:
        own, foreign = make_unit(session, "Unit 3"), make_unit(session, "Unit 4")
        both = make_person(session, [session.merge(plant.unit), own], sign_in="both")
        session.commit()
    sign_in(client, both)
    assert post_form(client, "/unit", {"unit_id": str(own.id)}).status_code in (302, 303)
    assert "Unit 3" in client.get("/motors").get_data(as_text=True)
    assert post_form(client, "/unit", {"unit_id": str(foreign.id)}).status_code == 404
    assert "Unit 4" not in client.get("/motors").get_data(as_text=True)


# forms that are ours ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("token", ["", "0" * 64, "é", "\x00"], ids=["none", "another", "not ASCII", "control"])
def test_a_form_without_this_sessions_token_stores_nothing(
        app: Flask, plant: Plant, client: FlaskClient, token: str) -> None:
    sign_in(client, plant.supervisor)
    before = stored(app.extensions["database"])
    for rule, path in rules_of(app, "POST"):
        if allowed(app, rule) in ROLES:
            assert client.post(path, data={"csrf_token": token, "remarks": "typed"}).status_code == 409, path
    assert stored(app.extensions["database"]) == before
    assert is_in(client)


def test_a_token_of_another_session_does_not_fit(app: Flask, plant: Plant, client: FlaskClient) -> None:
    sign_in(client, plant.operator)
    other = form_token(sign_in(app.test_client(), plant.head_operator))
    assert client.post("/sign-out", data={"csrf_token": other}).status_code == 409


def test_a_form_opened_at_the_start_of_the_shift_still_saves_at_its_end(
        plant: Plant, client: FlaskClient, clock: Clock) -> None:
    token = form_token(sign_in(client, plant.operator))
    clock.advance(hours=13)
    assert client.post("/sign-out", data={"csrf_token": token}).status_code == 303


@pytest.mark.parametrize("origin", ["https://evil.example", "http://localhost.evil.example", "http://localhost:81"])
def test_a_form_from_another_site_is_refused_even_with_the_token(
        plant: Plant, client: FlaskClient, origin: str) -> None:
    sign_in(client, plant.operator)
    assert post_form(client, "/sign-out", headers={"Origin": origin}).status_code == 403
    assert is_in(client)


def test_what_was_typed_survives_a_sign_in_that_ended_meanwhile(
        plant: Plant, client: FlaskClient, clock: Clock) -> None:
    path = f"/motors/{plant.motor.id}/skip"
    sign_in(client, plant.operator)
    token = form_token(client)
    clock.advance(hours=15)
    answer = client.post(path, data={"csrf_token": token, "remarks": "scaffold in <b>the</b> way", "reason": "x"})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 401
    assert "What you typed is kept" in page
    kept = page.split('name="kept" value="')[1].split('"')[0]
    again = try_sign_in(client, "operator", SECRET, kept=kept)
    offered = again.get_data(as_text=True)
    assert again.status_code == 200
    assert f'action="{path}"' in offered
    assert "scaffold in &lt;b&gt;the&lt;/b&gt; way" in offered
    assert 'value="x"' in offered
    assert token not in offered


@pytest.mark.parametrize("kept", ["AAAA", "é", "", "eyJwYXRoIjogIi9zaWduLW91dCJ9" * 4], ids=str)
def test_a_kept_form_that_somebody_else_packed_is_left_out(plant: Plant, client: FlaskClient, kept: str) -> None:
    answer = try_sign_in(client, "operator", SECRET, kept=kept)
    assert (answer.status_code, answer.location) == (303, "/")


def test_a_secret_is_never_among_what_is_kept(plant: Plant, client: FlaskClient) -> None:
    answer = client.post("/motors/1/skip", data={"secret": SECRET, "remarks": "x"})
    import base64

    kept = answer.get_data(as_text=True).split('name="kept" value="')[1].split('"')[0]
    assert b"brass" not in base64.urlsafe_b64decode(kept)


# where a sign-in goes on to --------------------------------------------------------------------------------


@pytest.mark.parametrize("next_path", ["/motors", "/week/2026-W48?order=area", "/motors/7"])
def test_after_signing_in_one_is_where_one_wanted_to_be(plant: Plant, client: FlaskClient, next_path: str) -> None:
    answer = try_sign_in(client, "operator", SECRET, next=next_path)
    assert (answer.status_code, answer.location) == (303, next_path)


@pytest.mark.parametrize("next_path", [
    "////evil.example", "/\t/evil.example", "//evil.example", "https:evil.example", "/\\evil.example",
    "https://evil.example", "\\\\evil.example", "/\nevil", " /motors", "javascript:alert(1)", "evil.example",
    "/\u2028/x",
], ids=ascii)
@pytest.mark.parametrize("door", ["sign-in", "screen"])
def test_an_address_that_is_not_ours_leads_to_the_start_page(
        plant: Plant, client: FlaskClient, next_path: str, door: str) -> None:
    if door == "sign-in":
        answer = try_sign_in(client, "operator", SECRET, next=next_path)
    else:
        answer = client.get("/screen/night", query_string={"next": next_path})
    assert answer.location == "/"


# headers ---------------------------------------------------------------------------------------------------

PAGES = ["/sign-in", "/help", "/healthz", "/nothing-here", "/motors"]


@pytest.mark.parametrize("path", PAGES)
def test_every_answer_forbids_scripts_from_elsewhere_frames_and_keeping(
        plant: Plant, client: FlaskClient, path: str) -> None:
    headers = sign_in(client, plant.operator).get(path).headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert headers["Cache-Control"] == "no-store"
    assert headers["Content-Type"] in ("text/html; charset=utf-8", "application/json")


def test_style_sheets_are_kept_by_the_browser(client: FlaskClient) -> None:
    answer = client.get("/static/css/tokens.css")
    assert answer.status_code == 200
    assert "no-store" not in answer.headers["Cache-Control"]
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Content-Type"] == "text/css; charset=utf-8"
    answer.close()


@pytest.fixture
def two_units(plant: Plant, app_database: Database) -> Person:
    """Somebody, "both", who works in Unit 2 and Unit 3."""
    with app_database.writing() as session:
        made = make_person(session, [session.merge(plant.unit), make_unit(session, "Unit 3")], sign_in="both")
        session.commit()
    return made


def test_over_http_every_cookie_is_out_of_reach_of_scripts_and_other_sites(
        plant: Plant, client: FlaskClient, two_units: Person) -> None:
    set_by = [*cookies_of(client.get("/sign-in")), *cookies_of(try_sign_in(client, "both", SECRET)),
              *cookies_of(post_form(client, "/unit", {"unit_id": str(two_units.units[1].id)})),
              *cookies_of(client.get("/screen/night"))]
    assert {c.split("=")[0] for c in set_by} == {"visitor", "rounds", "said", "theme"}
    assert [c for c in set_by if "HttpOnly" not in c or "SameSite=Lax" not in c or "Path=/" not in c] == []


def test_over_https_every_cookie_is_secure_and_the_session_bound_to_the_host(
        plant: Plant, client: FlaskClient, two_units: Person) -> None:
    secure = {"base_url": "https://localhost"}
    first = client.get("/sign-in", **secure)
    token = first.get_data(as_text=True).split('name="csrf_token" value="')[1].split('"')[0]
    answer = client.post("/sign-in", data={"csrf_token": token, "sign_in": "both", "secret": SECRET}, **secure)
    assert answer.status_code == 303
    token = client.get("/help", **secure).get_data(as_text=True).split('name="csrf_token" value="')[1].split('"')[0]
    moved = client.post("/unit", data={"csrf_token": token, "unit_id": str(two_units.units[1].id)}, **secure)
    set_by = [*cookies_of(first), *cookies_of(answer), *cookies_of(moved),
              *cookies_of(client.get("/screen/sun", **secure))]
    assert {c.split("=")[0] for c in set_by} == {"__Host-visitor", "__Host-rounds", "__Host-said", "theme"}
    assert [c for c in set_by if "Secure" not in c] == []
    assert any(c.startswith("__Host-rounds=") and "Domain" not in c for c in set_by)
    assert client.get("/motors", **secure).headers["Strict-Transport-Security"].startswith("max-age=")


def test_a_sentence_meant_for_one_person_is_not_shown_to_the_next(
        plant: Plant, client: FlaskClient, two_units: Person) -> None:
    token = form_token(sign_in(client, two_units))
    client.post("/unit", data={"csrf_token": token, "unit_id": str(two_units.units[1].id)})
    client.post("/sign-out", data={"csrf_token": token})  # before the page that would have said so was opened
    assert "You are now in" not in client.get("/sign-in").get_data(as_text=True)


@pytest.mark.parametrize("base", ["http://localhost", "https://localhost"])
def test_a_sentence_about_the_last_save_is_not_kept_on_the_tablet_with_its_pages(
        plant: Plant, client: FlaskClient, base: str) -> None:
    def token_at(path: str) -> str:
        page = client.get(path, base_url=base).get_data(as_text=True)
        return page.split('name="csrf_token" value="')[1].split('"')[0]

    client.post("/sign-in", base_url=base, data={"csrf_token": token_at("/sign-in"), "sign_in": "operator",
                                                 "secret": SECRET})
    client.post("/unit", base_url=base, data={"csrf_token": token_at("/help"), "unit_id": str(plant.unit.id)})
    kept = client.get("/tablet/pages", base_url=base).get_json()["pages"]
    assert len(kept) > 0
    assert [path for path, text, _ in kept if "You are now in" in text] == []
    assert "You are now in" in client.get("/help", base_url=base).get_data(as_text=True)


def test_no_page_has_script_or_style_in_it_that_the_policy_would_stop(app: Flask, plant: Plant) -> None:
    client = sign_in(app.test_client(), plant.supervisor)
    for rule, path in rules_of(app, "GET"):
        if allowed(app, rule) in (*ROLES, ANYONE) and not rule.arguments:
            page = client.get(path, follow_redirects=True)
            if page.mimetype == "text/html":
                text = page.get_data(as_text=True)
                for forbidden in ("<style", " style=", "<script>", " onclick=", " onchange=", "javascript:"):
                    assert forbidden not in text, (path, forbidden)


# proxies and names of the host -----------------------------------------------------------------------------

FORGED = {"X-Forwarded-Proto": "https", "X-Forwarded-For": "203.0.113.9", "X-Forwarded-Host": "evil.example"}


def test_without_a_proxy_of_ours_what_a_proxy_would_say_is_not_believed(client: FlaskClient) -> None:
    answer = client.get("/sign-in", headers=FORGED)
    assert [c for c in cookies_of(answer) if "Secure" in c] == []
    assert "Strict-Transport-Security" not in answer.headers


class TestBehindOneProxy:
    @pytest.fixture
    def settings(self, tmp_path: Path) -> Settings:
        return replace(Settings(instance=tmp_path), proxies=1)

    def test_the_scheme_is_the_proxys_and_the_host_never(self, client: FlaskClient) -> None:
        answer = client.get("/motors", headers=FORGED)
        assert answer.headers["Strict-Transport-Security"]
        assert answer.location == "/sign-in?next=/motors"

    def test_the_address_counted_for_guesses_is_the_one_the_proxy_saw(
            self, plant: Plant, client: FlaskClient, app_database: Database) -> None:
        # A client can write the left of the list; the right end is what our own proxy added.
        token = form_token(client, "/sign-in")
        client.post("/sign-in", data={"csrf_token": token, "sign_in": "operator", "secret": SECRET},
                    headers={"X-Forwarded-For": "198.51.100.1, 203.0.113.9"})
        with app_database.reading() as session:
            assert list(session.scalars(sa.select(SignedIn.address))) == ["203.0.113.9"]


class TestWithAFixedPublicAddress:
    @pytest.fixture
    def settings(self, tmp_path: Path) -> Settings:
        return replace(Settings(instance=tmp_path), public_url="https://rounds.example")

    @pytest.mark.parametrize(("host", "status"), [
        ("rounds.example", 200), ("rounds.example:443", 200), ("evil.example", 400), ("rounds.example.evil", 400)])
    def test_only_its_own_name_is_answered(self, client: FlaskClient, host: str, status: int) -> None:
        answer = client.get("/sign-in", headers={"Host": host})
        assert answer.status_code == status
        assert "evil" not in answer.get_data(as_text=True)


# what goes wrong -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("path", "status"), [("/nothing-here", 404), ("/sign-out", 405)])
def test_an_error_is_told_as_a_page_with_a_way_on(plant: Plant, client: FlaskClient, path: str, status: int) -> None:
    answer = sign_in(client, plant.operator).get(path)
    assert answer.status_code == status
    assert 'href="/"' in answer.get_data(as_text=True)


def urlencoded(fields: dict[str, str]) -> tuple[bytes, str]:
    return urlencode(fields).encode(), "application/x-www-form-urlencoded"


def multipart(fields: dict[str, str]) -> tuple[bytes, str]:
    parts = [f'--edge\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'
             for name, value in fields.items()]
    return ("".join(parts) + "--edge--\r\n").encode(), "multipart/form-data; boundary=edge"


@pytest.mark.parametrize("encoded", [urlencoded, multipart])
def test_a_form_of_any_encoding_has_one_largest_size(
        plant: Plant, client: FlaskClient, encoded: Callable[[dict[str, str]], tuple[bytes, str]]) -> None:
    token = form_token(sign_in(client, plant.operator))
    answers = []
    for size in (2_200_000, 600_000):
        body, kind = encoded({"csrf_token": token, "remarks": "x" * size})
        answers.append(client.post("/sign-out", data=body, content_type=kind))
    assert [a.status_code for a in answers] == [413, 303]
    assert "2 MB" in answers[0].get_data(as_text=True)


def test_a_tag_or_a_note_is_text_on_every_page(plant: Plant, client: FlaskClient, app_database: Database) -> None:
    from tests.factories import make_motor

    nasty = "<img src=x onerror=alert(1)> x onfocus=alert(1) autofocus \" '"
    with app_database.writing() as session:
        made = make_motor(session, session.merge(plant.unit), nasty, service=nasty, area=nasty, remarks=nasty)
        session.commit()
    sign_in(client, plant.supervisor)
    for path in ("/sheet", "/motors", f"/motors/{made.id}", f"/motors/{made.id}/entry", "/register",
                 f"/register/{made.id}", f"/register/{made.id}/edit", "/lubrication", "/review"):
        answer = client.get(path)
        assert answer.status_code == 200, path
        assert "<img src=x" not in answer.get_data(as_text=True), path


def test_a_session_that_ended_says_so_to_a_script_as_data(plant: Plant, client: FlaskClient, clock: Clock) -> None:
    sign_in(client, plant.operator)
    clock.set(clock.now + timedelta(days=1))
    answer = client.get("/motors", headers={"Accept": "application/json"})
    assert answer.status_code == 401
