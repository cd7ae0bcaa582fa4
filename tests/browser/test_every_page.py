"""Every page there is, in every light, by axe's rules: a new page joins the list here, or this fails."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask
from playwright.sync_api import Browser, BrowserContext

from app.db import Database
from app.entries import read_greasing, read_reading, read_start, read_trip
from app.recording import Sender, record_greasing, record_reading
from app.start_records import record_start, record_trip
from app.store import guns
from app.store.devices import enrol
from app.store.people import Person
from app.web.access import TOKEN
from tests.browser.axe import grave_in_any_light
from tests.browser.conftest import UPRIGHT, Live, sign_in_page
from tests.factories import NOW, Plant, make_motor, post_form, sign_in
from tests.web.at_motor import flags_of

#: endpoint -> its address, with the ground's things in it
PAGES = {
    "accounts.sign_in": "/sign-in", "changes.page": "/changes", "dips.page": "/dips",
    "flag_numbers.page": "/flag-numbers", "flags.one": "/flags/{flag}", "flags.review": "/review?open={flag}",
    "handover.newest": "/handover", "handover.one": "/handover/{round}", "home.help_page": "/help",
    "home.start": "/", "insulation.index": "/motors/{motor}/insulation", "lubrication.add_gun": "/lubrication/guns/add",
    "lubrication.chart": "/lubrication/chart", "lubrication.chart_line": "/motors/{motor}/chart/DE",
    "lubrication.grease": "/motors/{motor}/grease?end=DE", "lubrication.greased": "/greasings/{greasing}",
    "lubrication.gun": "/lubrication/guns/{gun}", "lubrication.guns": "/lubrication/guns",
    "lubrication.index": "/lubrication", "lubrication.mixing": "/lubrication/thickeners",
    "lubrication.months": "/lubrication/months", "lubrication.motor_chart": "/motors/{motor}/chart",
    "lubrication.motor_oil": "/motors/{motor}/oil", "lubrication.oil": "/lubrication/oil",
    "lubrication.weeks": "/lubrication/weeks", "motors.index": "/motors", "motors.one": "/motors/{motor}",
    "offline.entries": "/tablet/entries", "offline.not_here": "/tablet/offline", "own.page": "/me",
    "register.add": "/register/add", "register.edit": "/register/{motor}/edit",
    "register.import_page": "/register/import", "register.index": "/register", "register.motor": "/register/{motor}",
    "labels.by_tag": "/m", "labels.choose": "/register/labels", "labels.sheet": "/register/labels/sheet",
    "paper.entries": "/sheet/paper/entries", "paper.sheet": "/sheet/paper", "register.swap": "/register/{motor}/swap",
    "search.page": "/search?q=P-101A", "sessions.ask_own": "/me/sessions/others/end",
    "sessions.ask_theirs": "/settings/people/{person}/sessions/others/end",
    "sessions.of_person": "/settings/people/{person}/sessions",
    "register.plate": "/register/{motor}/plate", "rehearsal.page": "/rehearsal",
    "rounds.correct": "/entries/{entry}/correct", "rounds.earlier_sheet": "/sheet/{round}",
    "rounds.entry": "/motors/{motor}/entry", "rounds.saved": "/entries/{entry}", "rounds.sheet": "/sheet",
    "rounds.skip": "/motors/{motor}/skip", "routes.edit": "/register/routes/{route}/edit",
    "routes.index": "/register/routes", "routes.order": "/register/routes/{route}",
    "routes.own": "/register/routes/own", "running.page": "/settings/running", "screen.page": "/screen",
    "settings.add_person": "/settings/people/add", "settings.index": "/settings",
    "settings.limit": "/settings/limits/step_this_shift_k", "settings.limits_page": "/settings/limits",
    "settings.order_page": "/settings/order", "settings.people_page": "/settings/people",
    "settings.person": "/settings/people/{person}", "settings.shifts_page": "/settings/unit/shifts",
    "settings.tokens_page": "/settings/tokens", "settings.unit_page": "/settings/unit",
    "set_up.steps": "/first-steps", "signatures.sheet": "/sheet/{round}/signed", "standards.page":
    "/motors/{motor}/standards", "starts.page": "/motors/{motor}/start", "starts.prestart": "/motors/{motor}/prestart",
    "starts.trip": "/trips/{trip}", "starts.trip_form": "/motors/{motor}/trip", "starts.watch": "/starts/{start}/watch",
    "tablets.index": "/settings/tablets", "tablets.pin": "/settings/people/{person}/pin",
    "tablets.tablet": "/settings/tablets/{device}", "temporary.begin": "/motors/{motor}/temporary",
    "temporary.index": "/temporary", "temporary.one": "/temporary/1", "timeline.page": "/motors/{motor}/timeline",
    "trends.motor": "/motors/{motor}/trends", "trends.unit_page": "/trends", "week.meeting": "/week/2026-W48/meeting",
    "week.page": "/week/2026-W48", "week.this_week": "/week",
}
#: No pages of words, or pages only where there is no unit yet or a long run is through: their own tests see to them.
NO_PAGE = {
    "api.get_openapi", "labels.scanned",
    "home.healthz", "home.livez", "judge.rules", "last.figures", "offline.manifest", "offline.pages", "offline.shift",
    "offline.worker", "register.export", "rehearsal.shown", "running.metrics", "screen.choose", "set_up.code",
    "set_up.supervisor", "set_up.unit", "week.csv_file", "week.xlsx_file"}
#: The walk is cut in pieces so that no one test is long.
PIECES = 4


@pytest.fixture
def ground(app: Flask, plant: Plant, app_database: Database) -> dict[str, Any]:
    """One of everything that an address names."""
    client = sign_in(app.test_client(), plant.operator)
    begun = post_form(client, f"/motors/{plant.motor.id}/temporary", {
        "id": str(uuid.uuid4()), "kind": "guard off", "hours": "2", "end": "DE"})
    assert begun.status_code == 303
    keys = {name: str(uuid.uuid4()) for name in ("entry", "greasing", "start", "trip")}
    with app_database.writing() as session:
        unit, person = session.merge(plant.unit), session.get_one(Person, plant.operator.id)
        other = make_motor(session, unit, "P-102", route_order=2.0, area="Tank yard", ammeter="three")
        sender, about = Sender(unit, NOW, person=person), {"tag": "P-101A", "by": person.sign_in}
        record_start(session, sender, read_start({
            "id": keys["start"], "at": NOW.isoformat(), "outcome": "ran", **about}))
        record_reading(session, sender, read_reading({
            "id": keys["entry"], "taken_at": NOW.isoformat(), "state": "running", "smoke": "seen",
            "current_a": [92.0], "bearing_temp_c": {"DE": 91.0}, "method": "contact", **about}))
        record_greasing(session, sender, read_greasing({
            "id": keys["greasing"], "at": NOW.isoformat(), "end": "DE", "grams": 30, **about}))
        record_trip(session, sender, read_trip({
            "id": keys["trip"], "at": NOW.isoformat(), "protection": "overload relay", "tag": other.tag,
            "by": person.sign_in}))
        device = enrol(session, unit, "tablet 3", "key", 10, person, NOW)
        guns.save_gun(session, unit.id, None, person, NOW, name="Gun 1", stroke_g=1.35, lubricant="motor grease NLGI 2")
        session.commit()
    chief = sign_in(app.test_client(), plant.supervisor)
    chief.get("/sheet")
    assert post_form(chief, "/register/routes", {"name": "Night walk", "checked_every": "shift"}).status_code == 303
    post_form(sign_in(app.test_client(), plant.head_operator), "/rounds/1/sign")
    return {"motor": plant.motor.id, "person": plant.operator.id, "round": 1, "gun": 1, "route": 1, "device": device.id,
            "flag": flags_of(app_database, plant.motor)[0].id, **keys}


def test_every_page_is_on_the_list(app: Flask) -> None:
    there = {rule.endpoint for rule in app.url_map.iter_rules() if "GET" in (rule.methods or ())
             and not rule.endpoint.endswith("static")
             and getattr(app.view_functions[rule.endpoint], "allowed", None) != TOKEN}
    assert there - set(PAGES) - NO_PAGE == set()
    assert (set(PAGES) | NO_PAGE) - there == set()


#: Words on white: black indoor, #666 (5.7:1) in the sun, #777 (a hair under 4.5:1) at night; WCAG 2.2, 1.4.3, 1.4.6.
PALE = """<!doctype html><html lang="en" data-theme="indoor"><title>Pale</title><style>
  html { background: #fff; color: #000 } [data-theme=sun] p { color: #666 } [data-theme=night] p { color: #777 }
  </style><main><h1>Pale</h1><p>Words that tire.</p></main></html>"""


def test_pale_words_are_found_in_the_light_in_which_they_are_pale(browser: Browser) -> None:
    page = browser.new_page()
    page.set_content(PALE)
    assert [fault.split(": ")[:2] for fault in grave_in_any_light(page)] == [
        ["sun", "color-contrast-enhanced"], ["night", "color-contrast"]]
    page.close()


#: WCAG 2.2, 1.4.12: line 1.5, paragraphs 2, letters 0.12, words 0.16 times the size. Nothing may be lost.
SPACED = """* { line-height: 1.5 !important; letter-spacing: .12em !important; word-spacing: .16em !important; }
  p { margin-bottom: 2em !important; }"""


@pytest.mark.slow
@pytest.mark.parametrize("piece", range(PIECES))
def test_no_page_keeps_anybody_out_in_any_light_nor_loses_words_when_spaced(
        plant: Plant, ground: dict[str, Any], new_context: Callable[..., BrowserContext], live_server: Live,
        piece: int) -> None:
    page = new_context(viewport=UPRIGHT, bypass_csp=True).new_page()
    sign_in_page(page, plant.supervisor)
    faults: dict[str, list[str]] = {}
    for endpoint, address in list(PAGES.items())[piece::PIECES]:
        answer = page.goto(address.format(**ground))
        assert answer
        assert answer.status == 200, (endpoint, answer.status)
        if endpoint in ("rounds.entry", "rounds.correct"):
            page.locator("label.pick", has_text="Running").tap()
        found = grave_in_any_light(page)
        page.add_style_tag(content=SPACED)
        over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        faults[endpoint] = [*found, *([f"{over} px too wide when spaced"] if over > 0 else [])]
    assert {name: found for name, found in faults.items() if found} == {}
