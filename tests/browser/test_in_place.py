"""From Save to the result and on to the next motor without opening a page anew: what is shown in the place of another
page is that page, whole."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
import sqlalchemy as sa
from playwright.sync_api import BrowserContext, Page, expect

from app.db import Database
from app.store.motors import Motor
from app.store.people import SignedIn
from tests.browser.conftest import UPRIGHT, sign_in_page
from tests.browser.tablets import taken_along, until
from tests.browser.test_main_job import look_and_feel, save, type_amps
from tests.browser.test_offline import stored
from tests.factories import Plant, make_motor
from tests.web.at_motor import greased_lately


@pytest.fixture
def page(plant: Plant, app_database: Database, new_context: Callable[..., BrowserContext]) -> Page:
    """At the first of three motors, marked so that a page opened anew is told from one shown in its place."""
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        made: list[Motor] = [plant.motor, *(make_motor(session, unit, f"P-{n}", route_order=n) for n in (102, 103))]
        session.commit()
    greased_lately(app_database, *made)
    page = new_context(viewport=UPRIGHT).new_page()
    sign_in_page(page, plant.operator)
    taken_along(page)
    page.get_by_role("link", name="Go to P-101A").tap()
    page.wait_for_url("**/entry")
    page.evaluate("globalThis.sameWindow = true")
    return page


def same_window(page: Page) -> bool:
    return bool(page.evaluate("globalThis.sameWindow === true"))


def fill(page: Page, amps: str) -> None:
    look_and_feel(page)
    type_amps(page, amps)


def test_the_next_motors_page_is_whole_where_it_is_shown_in_the_place_of_the_result(
        page: Page, app_database: Database) -> None:
    fill(page, "81")
    save(page)
    expect(page.locator("h1")).to_have_text("P-101A")
    expect(page.locator("form.undo [data-left-shown]")).to_contain_text(" s")
    page.get_by_role("link", name="Next: P-102").tap()
    expect(page.locator("h1")).to_have_text("P-102")
    expect(page.locator("[name=state]:checked")).to_have_count(0)  # nothing of the motor before
    expect(page.locator("#amps_1")).to_have_value("")
    fill(page, "79,5")
    expect(page.locator("output[for=amps_1]")).to_contain_text("understood as 79.5")
    until(page, "() => Object.keys(localStorage).some((name) => name.startsWith('draft:'))")
    save(page)
    expect(page.get_by_text("79,5 A →")).to_be_visible()
    until(page, "() => !Object.keys(localStorage).some((name) => name.startsWith('draft:'))")
    assert same_window(page)
    assert [(r.motor.tag, r.current_a) for r in stored(app_database)] == [("P-101A", (81.0,)), ("P-102", (79.5,))]

    page.go_back()  # from the result of the second to the result of the first, opened as ever
    expect(page.locator("h1")).to_have_text("P-101A")
    assert not same_window(page)


def test_a_sign_in_that_ended_meanwhile_leads_to_the_sign_in_and_not_to_a_kept_page(
        page: Page, app_database: Database) -> None:
    fill(page, "81")
    save(page)
    expect(page.get_by_role("link", name="Next: P-102")).to_be_visible()
    with app_database.writing() as session:
        session.execute(sa.delete(SignedIn))
        session.commit()
    page.clock.set_fixed_time(page.evaluate("Date.now() + 25000"))  # the page fetched ahead is too old to be shown
    page.get_by_role("link", name="Next: P-102").tap()
    page.wait_for_url(re.compile("/sign-in"))
