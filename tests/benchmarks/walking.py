"""From Save to the next motor's page in a real browser: what was found is shown, the black button leads on."""

from __future__ import annotations

import statistics
import time
from collections.abc import Iterator

from playwright.sync_api import Page, sync_playwright

from tests.benchmarks.ground import Ground, served
from tests.benchmarks.lines import Line
from tests.browser import chromium
from tests.browser.conftest import UPRIGHT
from tests.browser.tablets import FILL, taken_along

MOTORS = 15
GOAL_MS = 150.0


def save_to_next(ground: Ground) -> Iterator[Line]:
    """The median over fifteen motors with the network and fifteen without: saving and going on, thinking left out."""
    ground.clock.advance(hours=8)  # the next shift, whose sheet nobody has begun
    with served(ground.app) as port, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium.program(), args=chromium.flags())
        context = browser.new_context(base_url=f"http://127.0.0.1:{port}", viewport=UPRIGHT, has_touch=True)
        context.add_cookies([{"name": "rounds", "value": ground.key_of(ground.loaded.operator),
                              "url": f"http://127.0.0.1:{port}"}])
        context.clock.set_fixed_time(ground.clock.now)
        usual = {machine.tag: f"{machine.rated_a * machine.load:.1f}" for machine in ground.loaded.machines}
        page = context.new_page()
        page.goto("/sheet")
        taken_along(page)
        page.locator(".bar a.main").click()
        yield Line("save to the next motor's page, online", _walked(page, usual), "ms", goal=GOAL_MS)
        context.set_offline(True)
        yield Line("save to the next motor's page, no network", _walked(page, usual), "ms", goal=GOAL_MS)
        browser.close()


def _walked(page: Page, usual: dict[str, str]) -> float:
    taken = []
    for _ in range(MOTORS):
        page.locator("form.entry .bar button.main").wait_for()
        tag = page.locator("h1").inner_text()
        begun = time.perf_counter()
        page.evaluate(FILL, usual[tag])
        page.locator(".bar a.main").wait_for()
        page.locator(".bar a.main").click()
        page.wait_for_function("tag => document.querySelector('form.entry') && "
                               "document.querySelector('h1').innerText !== tag", arg=tag)
        taken.append(1000 * (time.perf_counter() - begun))
    return statistics.median(taken)
