"""Signing in with a finger on a tablet, across and upright, in every theme."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import sign_in_page
from tests.factories import SECRET, Plant


@pytest.mark.parametrize("held", ["page", "upright"])
def test_a_name_a_secret_and_a_tap_lead_to_the_shifts_sheet(
        plant: Plant, held: str, request: pytest.FixtureRequest, shot: Callable[[Page, str], None]) -> None:
    page: Page = request.getfixturevalue(held)
    sign_in_page(page, plant.operator)
    expect(page).to_have_url("/sheet")
    expect(page.get_by_text(plant.operator.name, exact=True)).to_be_visible()
    shot(page, f"sheet-{held}")


def test_a_wrong_secret_is_told_beside_the_field_and_the_name_stays(plant: Plant, page: Page) -> None:
    page.goto("/sign-in")
    page.fill("#sign_in", "operator")
    page.fill("#secret", "wrong")
    page.get_by_role("button", name="Sign in").tap()
    expect(page.get_by_role("alert")).to_be_visible()
    expect(page.locator("#secret-error")).to_contain_text("do not fit")
    expect(page.locator("#sign_in")).to_have_value("operator")
    expect(page.locator("#secret")).to_have_value("")
    page.get_by_role("alert").get_by_role("link").tap()
    expect(page.locator("#secret")).to_be_focused()


def test_a_sign_in_needs_no_mouse(plant: Plant, page: Page) -> None:
    page.goto("/sign-in")
    page.locator("#sign_in").focus()
    page.keyboard.type("operator")
    page.keyboard.press("Tab")
    page.keyboard.type(SECRET)
    page.keyboard.press("Enter")
    page.wait_for_url("**/sheet")


@pytest.mark.parametrize("theme", ["indoor", "sun", "night"])
@pytest.mark.parametrize("held", ["page", "upright"])
def test_nothing_on_the_sign_in_needs_scrolling_sideways_in_any_theme(
        held: str, theme: str, request: pytest.FixtureRequest, shot: Callable[[Page, str], None]) -> None:
    page: Page = request.getfixturevalue(held)
    page.goto("/sign-in")
    page.get_by_role("link", name="This tablet's screen").tap()
    page.get_by_role("link", name=theme).or_(page.get_by_role("button", name=theme)).first.tap()
    expect(page.locator("html")).to_have_attribute("data-theme", theme)
    page.wait_for_load_state("networkidle")
    page.goto("/sign-in")
    expect(page.locator("html")).to_have_attribute("data-theme", theme)
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    shot(page, f"sign-in-{held}-{theme}")
