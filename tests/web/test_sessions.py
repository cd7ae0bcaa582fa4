"""Where a person is signed in: seen, ended, and ended by itself at a desk; a tablet on its walk is left alone."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient

from app.config import Settings
from app.db import Database
from app.store.changes import Change
from app.store.people import SUPERVISOR, Person, SignedIn
from app.web.browser_words import browser_words
from tests.conftest import Clock, on_both
from tests.factories import Plant, make_person, make_unit, post_form, sign_in
from tests.web.at_motor import words_of
from tests.web.tablets_ground import enrolled, give_pin, in_hand, who

FIREFOX = "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:140.0) Gecko/20100101 Firefox/140.0"
CHROME = "Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0.0.0 Safari/537.36"


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """As shipped: a desk ends after an hour untouched and after 12 h."""
    instance = tmp_path / "instance"
    instance.mkdir()
    return Settings(instance=instance)


def desk(app: Flask, person: Person, agent: str = FIREFOX) -> FlaskClient:
    client = app.test_client()
    client.environ_base["HTTP_USER_AGENT"] = agent
    return sign_in(client, person)


def tablet_of(app: Flask, plant: Plant, database: Database) -> FlaskClient:
    give_pin(database, plant.operator)
    return in_hand(enrolled(app, plant), plant.operator)


def ends_on(client: FlaskClient, page: str) -> dict[str, str]:
    """The addresses that end something, by the words of their button."""
    found = re.findall(r'<a class="button" href="([^"]+/end)">([^<]+)</a>', client.get(page).get_data(as_text=True))
    return {words.removesuffix(" …"): path for path, words in found}


# seen and ended by oneself ---------------------------------------------------------------------------------


@on_both
def test_a_person_sees_where_they_are_signed_in_and_ends_one_place(
        app: Flask, plant: Plant, app_database: Database, clock: Clock) -> None:
    here, other = desk(app, plant.operator), desk(app, plant.operator, CHROME)
    tablet = tablet_of(app, plant, app_database)
    clock.advance(minutes=9)
    shown = words_of(here.get("/me"))
    for said in ("Firefox on Windows · this one since 24 Nov 2026, 07:12 · last used just now",
                 "Chrome on Linux since 24 Nov 2026, 07:12 · last used 9 min ago", "North 2 , shared tablet"):
        assert said in shown
    ends = ends_on(here, "/me")
    assert set(ends) == {"End it on Chrome on Linux", "End it on North 2", "End all others"}
    path = ends["End it on Chrome on Linux"]
    assert who(other) == "Operator"
    assert here.get(path).status_code == 200
    assert who(other) == "Operator"  # asking ends nothing
    assert post_form(here, path).status_code == 303
    assert (who(here), who(other), who(tablet)) == ("Operator", None, "Operator")
    assert here.get(path).status_code == 404  # it is no more


def test_before_a_tablet_is_ended_the_page_says_who_may_walk_with_it_and_that_what_waits_stays_on_it(
        app: Flask, plant: Plant, app_database: Database, clock: Clock) -> None:
    tablet, here = tablet_of(app, plant, app_database), desk(app, plant.operator)
    clock.advance(minutes=4)
    path = ends_on(here, "/me")["End it on North 2"]
    asked = words_of(here.get(path))
    assert "North 2 was used 4 min ago: somebody may be walking with it." in asked
    assert "Entries that wait on it stay on it" in asked
    assert post_form(here, path, {"which": "all"}).status_code == 303
    assert who(tablet) is None


def test_all_others_are_ended_at_desks_only_unless_the_tablets_are_asked_for_too(
        app: Flask, plant: Plant, app_database: Database) -> None:
    here, other = desk(app, plant.operator), desk(app, plant.operator, CHROME)
    tablet = tablet_of(app, plant, app_database)
    path = ends_on(here, "/me")["End all others"]
    assert "leave the tablets" in words_of(here.get(path))
    post_form(here, path, {"which": "desks"})
    assert (who(here), who(other), who(tablet)) == ("Operator", None, "Operator")
    post_form(here, path, {"which": "all"})
    assert (who(here), who(tablet)) == ("Operator", None)
    assert "nowhere else" in words_of(here.get(path))


def test_signing_out_at_a_desk_leaves_the_tablet_on_its_walk_and_everywhere_does_not(
        app: Flask, plant: Plant, app_database: Database) -> None:
    here, other = desk(app, plant.operator), desk(app, plant.operator)
    tablet = tablet_of(app, plant, app_database)
    post_form(here, "/sign-out")
    assert (who(here), who(other), who(tablet)) == (None, None, "Operator")
    again = desk(app, plant.operator)
    post_form(tablet, "/sign-out", {"everywhere": "yes"})
    assert (who(tablet), who(again)) == (None, None)


def test_nobody_sees_or_ends_the_places_of_another_from_their_own_page(app: Flask, plant: Plant) -> None:
    mine, theirs = desk(app, plant.operator), desk(app, plant.head_operator, CHROME)
    desk(app, plant.head_operator)
    foreign = ends_on(theirs, "/me")["End it on Firefox on Windows"]
    assert mine.get(foreign).status_code == 404
    assert post_form(mine, foreign).status_code == 404
    assert "Chrome" not in words_of(mine.get("/me"))


def test_what_the_browser_sent_is_not_kept_and_no_key_is_in_the_page(
        app: Flask, plant: Plant, app_database: Database) -> None:
    desk(app, plant.operator, CHROME)
    page = desk(app, plant.operator).get("/me").get_data(as_text=True)
    with app_database.reading() as session:
        rows = list(session.scalars(sa.select(SignedIn)).unique())
    assert {row.browser for row in rows} == {"Chrome on Linux", "Firefox on Windows"}
    assert all(row.key[:16] not in page for row in rows)


@pytest.mark.parametrize(("agent", "says"), [
    (FIREFOX, "Firefox on Windows"), (CHROME, "Chrome on Linux"), ("", "a browser"), ("<script>", "a browser"),
    (CHROME.replace("X11; Linux x86_64", "Linux; Android 10; K"), "Chrome on Android"),
    (CHROME + " Edg/140.0.0.0", "Edge on Linux"),
    ("Mozilla/5.0 (iPad; CPU OS 17_0 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/17.0 "
     "Mobile/15E148 Safari/604.1", "Safari on an iPad"),
    ("Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/17.0 "
     "Safari/605.1.15", "Safari on a Mac")])
def test_a_browser_is_told_in_plain_words(agent: str, says: str) -> None:
    assert browser_words(agent) == says


# by a supervisor -------------------------------------------------------------------------------------------


@on_both
def test_a_supervisor_ends_another_persons_place_and_it_is_on_record(
        app: Flask, plant: Plant, app_database: Database) -> None:
    left, walks = desk(app, plant.operator, CHROME), tablet_of(app, plant, app_database)
    boss = desk(app, plant.supervisor)
    page = f"/settings/people/{plant.operator.id}/sessions"
    assert page in boss.get(f"/settings/people/{plant.operator.id}").get_data(as_text=True)
    path = ends_on(boss, page)["End it on Chrome on Linux"]
    assert "Sign Operator out there?" in words_of(boss.get(path))
    assert post_form(boss, path).status_code == 303
    assert (who(left), who(walks), who(boss)) == (None, "Operator", "Supervisor")
    with app_database.reading() as session:
        [noted] = session.scalars(sa.select(Change).where(Change.field == "signed in"))
        assert (noted.label, noted.before, noted.after, noted.by) == (
            "operator", "Chrome on Linux", "ended by a supervisor", "Supervisor")


def test_a_supervisor_sees_only_places_in_units_of_their_own(
        app: Flask, plant: Plant, app_database: Database) -> None:
    with app_database.writing() as session:
        both = make_person(session, [make_unit(session, "Unit 9"), session.merge(plant.unit)], sign_in="both")
        session.commit()
    abroad = desk(app, both, CHROME)
    post_form(abroad, "/unit", {"unit_id": str(next(u.id for u in both.units if u.name == "Unit 9"))})
    boss = desk(app, plant.supervisor)
    page = f"/settings/people/{both.id}/sessions"
    assert "Nowhere just now" in words_of(boss.get(page))
    post_form(boss, f"{page}/others/end", {"which": "all"})
    assert who(abroad) == "Both"
    post_form(abroad, "/unit", {"unit_id": str(plant.unit.id)})
    assert "Chrome on Linux" in words_of(boss.get(page))


def test_an_operator_and_another_units_supervisor_end_nobody_elses_place(
        app: Flask, plant: Plant, app_database: Database) -> None:
    with app_database.writing() as session:
        foreign = make_person(session, make_unit(session, "Unit 9"), SUPERVISOR, "boss of nine")
        session.commit()
    left = desk(app, plant.operator, CHROME)
    path = f"/settings/people/{plant.operator.id}/sessions/others/end"
    assert post_form(desk(app, plant.head_operator), path).status_code == 403
    assert post_form(desk(app, foreign), path).status_code == 404
    assert who(left) == "Operator"


# at its end by itself --------------------------------------------------------------------------------------


@on_both
def test_a_desk_that_lies_untouched_for_an_hour_asks_to_sign_in(app: Flask, plant: Plant, clock: Clock) -> None:
    used, left = desk(app, plant.operator), desk(app, plant.head_operator)
    for _ in range(2):
        clock.advance(minutes=60)
        assert who(used) == "Operator"
    clock.advance(minutes=60, microseconds=1)
    assert (who(used), who(left)) == (None, None)


def test_what_a_page_asks_for_by_itself_keeps_no_desk_open_and_what_is_sent_does(
        app: Flask, plant: Plant, clock: Clock) -> None:
    idle, busy = desk(app, plant.operator), desk(app, plant.head_operator)
    background = {"Sec-Fetch-Mode": "cors"}
    clock.advance(minutes=40)
    assert idle.get("/tablet/shift", headers=background).status_code == 200
    assert idle.get("/tablet/pages", headers=background).status_code == 200
    busy.post("/tablet/readings", json={}, headers=background)
    clock.advance(minutes=40)
    assert (who(idle), who(busy)) == (None, "Head Operator")


def test_a_desk_is_signed_out_after_twelve_hours_however_much_it_is_used(
        app: Flask, plant: Plant, clock: Clock) -> None:
    used = desk(app, plant.operator)
    for _ in range(23):
        clock.advance(minutes=30)
        assert who(used) == "Operator"
    clock.advance(minutes=30)
    assert who(used) is None


def test_a_shared_tablet_keeps_its_shift_and_locks_by_its_own_minutes(
        app: Flask, plant: Plant, app_database: Database, clock: Clock) -> None:
    give_pin(app_database, plant.operator)
    tablet = in_hand(enrolled(app, plant, idle_min=90), plant.operator)
    for _ in range(11):
        clock.advance(minutes=75)  # longer than a desk may lie
        assert who(tablet) == "Operator"  # 13 h 45 min
    clock.advance(minutes=15)
    assert who(tablet) is None


def test_the_page_says_the_limits_that_are_set(app: Flask, plant: Plant) -> None:
    said = words_of(desk(app, plant.operator).get("/me"))
    assert "12 h after you did, or when it lies untouched for 60 min" in said
    app.extensions["settings"] = replace(app.extensions["settings"], desk_hours=9.5, desk_idle_minutes=15.0)
    assert "9.5 h after you did, or when it lies untouched for 15 min" in words_of(desk(app, plant.operator).get("/me"))


def test_a_page_is_opened_also_while_another_writes_and_its_use_is_noted_with_the_next(
        app: Flask, plant: Plant, app_database: Database, clock: Clock) -> None:
    here = desk(app, plant.operator)
    begun = clock.now
    clock.advance(minutes=5)

    def used() -> set[object]:
        with app_database.reading() as session:
            return set(session.scalars(sa.select(SignedIn.touched_at)))

    with app_database.writing() as session:
        session.execute(sa.update(Person).values(name=Person.name))
        if app_database.is_sqlite:
            assert who(here) == "Operator"
            assert used() == {begun}
    assert who(here) == "Operator"
    assert used() == {clock.now}
    clock.advance(seconds=59)
    assert who(here) == "Operator"
    assert clock.now not in used()  # to the minute, not at every page
