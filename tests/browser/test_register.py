"""The supervisor's register in a browser: rows of the walk moved in place with script, by reload without."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from app.db import Database
from tests.browser.axe import grave
from tests.browser.conftest import UPRIGHT, sign_in_page
from tests.factories import Plant, make_motor


@pytest.fixture
def plant(plant: Plant, app_database: Database) -> Plant:
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        for i, (tag, area) in enumerate((("P-102", "Pump row"), ("P-103", "Pump row"), ("K-201", "Compressor house"),
                                         ("P‑104 a/b?c#d", "Tank yard"))):
            make_motor(session, unit, tag, area=area, route_order=10.0 + i, service="transfer pump to the tank yard")
        session.commit()
    return plant


def tags(page: Page) -> list[str]:
    return [row.get_attribute("aria-label").removeprefix("Place of ") for row in page.locator("input.place").all()]


@pytest.mark.parametrize("script", [True, False], ids=["with script", "without script"])
def test_rows_move_by_tap_by_keyboard_and_by_number(plant: Plant, new_context: Callable[..., BrowserContext],
                                                    shot: Callable[[Page, str], None], script: bool) -> None:
    page = new_context(viewport=UPRIGHT, java_script_enabled=script).new_page()
    sign_in_page(page, plant.supervisor)
    page.goto("/register/routes/own")
    page.get_by_role("button", name="P-103 up").click()
    expect(page.locator(".said")).to_contain_text("P-103 is now 2 of 5")
    assert tags(page) == ["P-101A", "P-103", "P-102", "K-201", "P‑104 a/b?c#d"]
    if script:  # the button keeps the focus: the next press moves on
        expect(page.get_by_role("button", name="P-103 up")).to_be_focused()
        page.keyboard.press("Enter")
        expect(page.locator("#walk-said")).to_contain_text("P-103 is now 1 of 5")
        expect(page.get_by_role("button", name="P-103 down")).to_be_focused()  # at the end: its neighbour
    else:
        page.get_by_role("button", name="P-103 up").click()
    assert tags(page)[:2] == ["P-103", "P-101A"]
    page.get_by_label("Place of K-201").fill("2")
    page.keyboard.press("Enter")
    expect(page.locator(".said")).to_contain_text("K-201 is now 2 of 5")
    page.get_by_role("button", name="Area Tank yard up").click()
    expect(page.locator(".said")).to_contain_text("is now 4 of 5")
    assert tags(page) == ["P-103", "K-201", "P-101A", "P‑104 a/b?c#d", "P-102"]
    page.get_by_label("Place of K-201").fill("9")
    page.keyboard.press("Enter")
    expect(page.locator("#errors")).to_contain_text("Enter a whole number from 1 to 5 for K-201.")
    shot(page, f"walk-{'script' if script else 'plain'}")
    if script:
        sizes = page.locator(".walking :is(button, input)").all()
        boxes = [box for control in sizes if (box := control.bounding_box()) is not None]
        assert len(boxes) > 15 and [b for b in boxes if min(b["width"], b["height"]) < 76] == []
        assert grave(page) == [] and page.evaluate("document.documentElement.scrollWidth") <= UPRIGHT["width"]
