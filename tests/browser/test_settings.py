"""The supervisor's and the first set-up's pages: readable in every light, and worked from end to end in a browser."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from app import set_up
from app.db import Database
from tests.browser.axe import grave, grave_in_any_light
from tests.browser.conftest import ACROSS, UPRIGHT, Live, sign_in_page
from tests.factories import NOW, Plant, make_reading

LIMIT = "/settings/limits/bearing_hot_grease_alarm_c"
PAGES = ("/settings", "/settings/limits", "/settings/limits?motor=P-101A", LIMIT, "/settings/unit",
         "/settings/unit/shifts?preset=8", "/settings/people", "/rehearsal", "/rehearsal/gone", "/first-steps")


def read(database: Database, plant: Plant, temp_c: float) -> None:
    with database.writing() as session:
        make_reading(session, session.merge(plant.motor), session.merge(plant.operator), NOW - timedelta(hours=1),
                     bearing_temp_c_de=temp_c)
        session.commit()


def too_wide(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth"))


@pytest.mark.slow
def test_no_settings_page_keeps_a_supervisor_out_in_any_light(
        plant: Plant, app_database: Database, new_context: Callable[..., BrowserContext]) -> None:
    read(app_database, plant, 95.0)
    page = new_context().new_page()
    sign_in_page(page, plant.supervisor)
    faults = {}
    for path in PAGES:
        page.goto(path)
        for held in (UPRIGHT, ACROSS):
            page.set_viewport_size(held)  # type: ignore[arg-type]
            faults[f"{path} {held}"] = ["runs off the screen"] if too_wide(page) else []
        faults[path] = grave_in_any_light(page)
    page.goto(LIMIT)
    page.get_by_role("button", name="Change the limit").tap()
    expect(page.get_by_role("alert")).to_contain_text("Say why")
    faults["a limit refused"] = grave_in_any_light(page)
    page.get_by_label("New limit").fill("85")
    page.get_by_label("Why").fill("procedure 12")
    page.get_by_role("button", name="Change the limit").tap()
    expect(page.get_by_role("status")).to_contain_text("85 °C from now on")
    faults["a limit's history"] = grave_in_any_light(page)
    assert {name: found for name, found in faults.items() if found} == {}


@pytest.mark.parametrize("script", [True, False], ids=["with script", "without script"])
def test_a_rehearsal_is_asked_for_from_a_limit_and_shows_its_outcome_by_itself(
        plant: Plant, app_database: Database, new_context: Callable[..., BrowserContext], script: bool) -> None:
    read(app_database, plant, 85.0)
    page = new_context(java_script_enabled=script, viewport=UPRIGHT).new_page()
    sign_in_page(page, plant.supervisor)
    page.goto(LIMIT)
    page.get_by_label("New limit").fill("80")
    page.get_by_role("button", name="Rehearse it first").tap()
    expect(page.get_by_label("New value 1")).to_have_value("80")
    page.get_by_label("Up to").select_option("now")
    page.get_by_role("button", name="Rehearse").tap()
    expect(page.get_by_role("row", name="bearing hot").first).to_contain_text("+1", timeout=30_000)
    page.get_by_role("link", name="Set this limit").tap()
    page.wait_for_url(f"**{LIMIT}")


def test_an_empty_server_is_set_up_by_its_code(app_database: Database, new_context: Callable[..., BrowserContext],
                                               live_server: Live) -> None:
    with app_database.writing() as session:
        code = set_up.open_door(session, NOW)
        session.commit()
    assert code is not None
    context = new_context(viewport=UPRIGHT)
    context.add_cookies([{"name": "theme", "value": "sun", "url": live_server.url}])
    page = context.new_page()
    page.goto("/")
    page.get_by_role("link", name="Set up this server").tap()
    expect(page.get_by_label("Code")).to_be_visible()
    faults = grave(page)
    page.get_by_label("Code").fill(code)
    page.get_by_role("button", name="Go on").tap()
    page.get_by_label("Name of the unit").fill("Brine unit")
    page.get_by_label("Time zone").fill("America/Chicago")
    for label, word in (("Temperatures", "°C"), ("Rated power", "hp"), ("Vibration", "mm/s RMS"),
                        ("Grease and oil", "g, mL")):
        page.get_by_label(label).select_option(word)
    faults += grave(page)
    page.get_by_role("button", name="Add the unit").tap()
    page.get_by_label("Sign-in name").fill("ana")
    page.get_by_label("Name", exact=True).fill("Ana Ruiz")
    page.get_by_label("Pass-phrase").fill("copper kettle 88")
    page.get_by_label("The same once more").fill("copper kettle 88")
    faults += grave(page)
    page.get_by_role("button", name="Add and sign in").tap()
    expect(page.get_by_role("heading", name="First steps")).to_be_visible()
    faults += grave(page)
    assert faults == []
    page.goto("/set-up")
    expect(page.get_by_text("There is nothing here")).to_be_visible()
