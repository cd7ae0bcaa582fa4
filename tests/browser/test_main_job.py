"""One shift's work on a tablet held upright, as three people do it: enter, review, take the week away."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Locator, Page, expect

from app.db import Database
from app.store.motors import Motor
from app.store.people import Person
from tests.browser.conftest import UPRIGHT, sign_in_page
from tests.browser.tablets import at_result
from tests.conftest import Clock
from tests.factories import Plant, make_motor
from tests.web.at_motor import greased_lately


@pytest.fixture
def motors(plant: Plant, app_database: Database) -> list[Motor]:
    """P-101A and two more behind it on the walk, their greasing in order."""
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        made = [plant.motor, make_motor(session, unit, "P-102", route_order=2, service="reflux pump"),
                make_motor(session, unit, "P-103", route_order=3, area="Tank yard", service="transfer pump")]
        session.commit()
    greased_lately(app_database, *made)
    return made


def group(page: Page, field: str) -> Locator:
    return page.locator(f'[aria-labelledby$="{field}-lab"]')


def tap(page: Page, field: str, choice: str) -> None:
    """Taps one of a row's choices, found by the words on it."""
    group(page, field).get_by_text(choice, exact=True).tap()


def save(page: Page) -> None:
    page.get_by_role("button", name="Save", exact=False).tap()
    at_result(page)


def look_and_feel(page: Page, de: str = "Warm", ode: str = "Warm") -> None:
    """A running motor, everything answered but the ammeter."""
    tap(page, "state", "Running")
    tap(page, "look", "Nothing wrong")
    tap(page, "vibration_both", "As usual, both ends")
    tap(page, "bearing_feel_ODE", ode)
    tap(page, "bearing_feel_DE", de)
    tap(page, "winding_feel", "Warm")
    tap(page, "lubricant_both", "Right, both ends")
    tap(page, "cleanliness", "Clean")


def type_amps(page: Page, amps: str) -> None:
    page.locator("#amps_1").tap()
    page.keyboard.type(amps)


def change_hands(page: Page, person: Person) -> None:
    page.get_by_role("button", name="Sign out").tap()
    page.wait_for_url("**/sign-in*")
    sign_in_page(page, person)


def test_three_motors_are_entered_reviewed_and_taken_into_the_week(
        plant: Plant, motors: list[Motor], new_context: Callable[..., BrowserContext], clock: Clock, tmp_path: Path,
        shot: Callable[[Page, str], None]) -> None:
    page = new_context(viewport=UPRIGHT, accept_downloads=True).new_page()

    # the operator walks: one fine, one over its nameplate, one with uneven bearings
    sign_in_page(page, plant.operator)
    page.get_by_role("link", name="Go to P-101A").tap()
    expect(page.get_by_role("radio", checked=True)).to_have_count(0)
    look_and_feel(page)
    type_amps(page, "81")
    save(page)
    expect(page.get_by_role("heading", name="Nothing over a limit")).to_be_visible()

    page.get_by_role("link", name="Next: P-102").tap()
    look_and_feel(page)
    type_amps(page, "92,5")  # 106.3 % of 87 A
    save(page)
    expect(page.get_by_text("This shift · amps over nameplate")).to_be_visible()
    expect(page.get_by_text("92,5 A → 92.5 A")).to_be_visible()

    page.get_by_role("link", name="Next: P-103").tap()
    look_and_feel(page, de="Hot", ode="Warm")
    type_amps(page, "80")
    save(page)
    expect(page.get_by_text("This shift · bearings uneven · coupling end (DE)")).to_be_visible()
    shot(page, "main-job-saved")

    page.get_by_role("link", name="Every motor seen or skipped").tap()
    expect(page.locator(".count")).to_contain_text("3 done")
    shot(page, "main-job-sheet")

    # the load is taken off P-102, and it is read once more
    clock.advance(minutes=20)
    page.get_by_role("link", name="P-102", exact=True).tap()
    look_and_feel(page)
    type_amps(page, "82")
    save(page)

    # the head operator sees both flags, notes one and closes the other
    change_hands(page, plant.head_operator)
    expect(page.locator("article.flag")).to_have_count(2)
    page.locator("article.flag", has_text="P-103").locator("a.line").tap()
    page.get_by_role("button", name="Mark seen").tap()
    expect(page.get_by_text("P-103: seen.")).to_be_visible()
    page.locator("article.flag", has_text="P-102").locator("a.line").tap()
    page.locator("summary", has_text="Close with what was done").tap()
    closing = page.locator("form", has=page.get_by_role("button", name="Close the flag with this"))
    closing.get_by_label("What was done").fill("valve throttled by the board at 07:20")
    reading = closing.locator("select")
    if reading.count():
        reading.select_option(index=reading.locator("option").count() - 1)
    closing.get_by_role("button", name="Close the flag with this").tap()
    expect(page.locator('[role="status"]')).to_contain_text("P-102: closed")
    shot(page, "main-job-review")
    page.get_by_role("button", name="Sign the sheet").tap()
    expect(page.get_by_text("Day 2026-11-24 signed.")).to_be_visible()

    # the supervisor takes the week away and a plain reader reads it back
    change_hands(page, plant.supervisor)
    page.get_by_role("link", name="Week", exact=True).tap()
    with page.expect_download() as taken:
        page.get_by_role("link", name="Exceptions only (CSV)").tap()
    path = tmp_path / taken.value.suggested_filename
    taken.value.save_as(path)
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = {row["tag"]: row for row in csv.DictReader(file)}
    assert set(rows) == {"P-102", "P-103"}
    over, uneven = rows["P-102"], rows["P-103"]
    assert (over["rule"], over["priority"], over["state"]) == ("amps_over_nameplate", "this shift", "closed")
    assert (over["value"], over["limit"], over["unit_of_measure"]) == ("92.5", "87", "A") or (
        float(over["value"]), float(over["limit"])) == (92.5, 87.0)
    assert "valve throttled by the board at 07:20" in " ".join(over.values())
    assert (uneven["rule"], uneven["end"], uneven["state"]) == ("bearings_uneven", "DE", "active")
    assert plant.head_operator.name in " ".join(uneven.values())


def test_the_same_motor_is_entered_without_a_script(
        plant: Plant, motors: list[Motor], new_context: Callable[..., BrowserContext]) -> None:
    page = new_context(viewport=UPRIGHT, java_script_enabled=False).new_page()
    sign_in_page(page, plant.operator)
    page.get_by_role("link", name="Go to P-101A").tap()
    expect(page.locator("#amps_1")).to_be_hidden()  # the state decides what follows, without script too
    look_and_feel(page)
    type_amps(page, "24,8,1")
    page.get_by_role("button", name="Save").tap()
    expect(page.locator("#amps_1-error")).to_contain_text("more than one comma or point")
    expect(page.locator("#amps_1")).to_have_value("24,8,1")
    page.get_by_role("alert").get_by_role("link").tap()
    page.locator("#amps_1").fill("24,8")
    save(page)
    expect(page.get_by_text("24,8 A → 24.8 A")).to_be_visible()
