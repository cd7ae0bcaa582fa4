"""The countdown on a tablet: by the server's clock, through a wrong or changed clock and sleep, and without script."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from flask import Flask
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.conftest import sign_in_page
from tests.conftest import Clock
from tests.factories import Plant
from tests.starting_ground import Ground, JsonDoor, at, make_ground


@pytest.fixture
def ground(app: Flask, clock: Clock, plant: Plant) -> Ground:
    """P-101B, five of five starts, at 10:42:30: not before 11:00:00."""
    made = make_ground(app, clock, plant)
    door = JsonDoor(made)
    for begun in ("10:00", "10:10", "10:20", "10:30", "10:40"):
        door.start("P-101B", at(begun))
    door.stop("P-101B", at("10:41"))
    clock.set(at("10:42:30"))
    return made


def opened(context: BrowserContext, ground: Ground, tag: str = "P-101B") -> Page:
    page = context.new_page()
    sign_in_page(page, ground.plant.operator)
    page.goto(f"/motors/{ground.motors[tag]}/start")
    return page


def left_s(page: Page) -> int:
    words = page.locator("[data-countdown]").inner_text()
    found = re.fullmatch(r"(\d+) min (\d\d) s left", words)
    assert found, words
    return int(found[1]) * 60 + int(found[2])


@pytest.mark.parametrize("wrong_s", [0, 420, -420], ids=["right", "seven minutes fast", "seven minutes slow"])
def test_the_count_is_the_servers_whatever_the_tablets_clock_says(
        ground: Ground, new_context: Callable[..., BrowserContext], wrong_s: int) -> None:
    context = new_context()
    context.clock.install(time=at("10:42:30") + timedelta(seconds=wrong_s))
    page = opened(context, ground)
    expect(page.locator("[data-word]")).to_have_text("Not before 11:00:00")
    before = left_s(page)
    assert 17 * 60 <= before <= 17 * 60 + 30
    page.clock.run_for(60_000)
    assert before - 62 <= left_s(page) <= before - 58


def test_a_clock_put_right_in_the_middle_asks_the_server_again(
        ground: Ground, new_context: Callable[..., BrowserContext], clock: Clock) -> None:
    context = new_context()
    context.clock.install(time=at("10:42:30"))
    page = opened(context, ground)
    clock.set(at("10:45"))
    page.clock.set_system_time(at("12:00"))  # an hour and a quarter ahead: not a second sooner
    page.clock.run_for(3_000)
    expect(page.locator("[data-countdown]")).to_have_text(re.compile(r"^1[45] min \d\d s left$"))
    expect(page.locator("[data-word]")).to_have_text("Not before 11:00:00")


def test_back_from_sleep_it_asks_again_and_at_eleven_it_may(
        ground: Ground, new_context: Callable[..., BrowserContext], clock: Clock) -> None:
    context = new_context()
    context.clock.install(time=at("10:42:30"))
    page = opened(context, ground)
    clock.set(at("10:59:59"))
    page.clock.fast_forward(17 * 60_000)
    expect(page.locator("[data-word]")).to_contain_text("Not before 11:00:00")
    clock.set(at("11:00"))
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    expect(page.locator("[data-word]")).to_have_text("Yes, within the start limits")


def test_without_the_network_it_ends_in_a_question_and_never_in_a_yes(
        ground: Ground, new_context: Callable[..., BrowserContext], clock: Clock) -> None:
    context = new_context()
    context.clock.install(time=at("10:42:30"))
    page = opened(context, ground)
    context.set_offline(True)
    clock.set(at("11:01"))
    page.clock.run_for(18 * 60_000)
    expect(page.locator(".answer")).to_contain_text("ask the control room before you start")
    expect(page.locator("[data-word]")).not_to_contain_text("Yes")
    context.set_offline(False)
    page.clock.run_for(2_000)
    expect(page.locator("[data-word]")).to_have_text("Yes, within the start limits")
    page.clock.run_for(61_000)
    expect(page.locator("[data-word]")).to_contain_text("Ask again")


def test_without_script_the_page_states_the_time(
        ground: Ground, new_context: Callable[..., BrowserContext]) -> None:
    page = opened(new_context(java_script_enabled=False), ground)
    expect(page.locator("[data-word]")).to_have_text("Not before 11:00:00")
    expect(page.locator(".left")).to_have_text("17 min 30 s left as of 10:42:30")
    page.get_by_role("button", name="Did not start").tap()
    expect(page.get_by_role("status").first).to_contain_text("P-101B: did not start, 24 Nov 2026, 10:42:30.")


@pytest.mark.parametrize("held", ["page", "upright"])
def test_what_is_tapped_in_gloves_is_large_and_apart(ground: Ground, held: str, request: pytest.FixtureRequest,
                                                     shot: Callable[[Page, str], None]) -> None:
    page: Page = request.getfixturevalue(held)
    sign_in_page(page, ground.plant.operator)
    page.goto(f"/motors/{ground.motors['P-101B']}/start")
    boxes = [b for b in (x.bounding_box() for x in page.locator(".big-buttons button").all()) if b]
    assert len(boxes) == 6 and all(box["height"] >= 112 for box in boxes)
    for i, one in enumerate(boxes):
        for other in boxes[i + 1:]:
            across = max(one["x"], other["x"]) - min(one["x"] + one["width"], other["x"] + other["width"])
            down = max(one["y"], other["y"]) - min(one["y"] + one["height"], other["y"] + other["height"])
            assert max(across, down) >= 19
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    shot(page, f"start-{held}")
