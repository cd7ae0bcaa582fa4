"""From Save to the next motor in a real browser: what was found is shown, the black button leads on.

The time is taken inside the page, by its own clock: from the press on Save until the result has been painted, and from
the press on Next until the next motor's form has been painted and answers. What lies between, a person looking at the
result, is left out; on the screen it is longer than the 300 ms in which a second touch is taken for a bounce.
"""

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
LOOKING_MS = 400

#: Kept before the test's clock takes their place. A press is stamped by the wall clock, which outlives a page; so is
#: the first frame in which what is waited for stands on the screen.
WATCH = """(() => {
  const [perf, frame, later] = [performance, requestAnimationFrame.bind(globalThis), setTimeout.bind(globalThis)];
  const wall = () => perf.timeOrigin + perf.now();
  const stamp = (name) => sessionStorage.setItem(name, String(wall()));
  addEventListener("click", (event) => {
    const main = event.target.closest?.(".bar .main");
    if (main) { sessionStorage.removeItem("seen"); stamp("pressed"); }
  }, true);
  let was = "", begun = false;
  const look = () => {
    const [heading, form, next] = ["h1", "form.entry", ".bar a.main"].map((part) => document.querySelector(part));
    const whole = heading && document.readyState !== "loading" && (form || next);
    const now = whole ? `${heading.textContent} ${Boolean(form)}` : was;
    if (begun && now !== was) { was = now; frame(() => later(() => stamp("seen"))); }
  };
  addEventListener("DOMContentLoaded", () => { // after every script of the page has begun
    begun = true;
    new MutationObserver(look).observe(document, { childList: true, subtree: true });
    look();
  });
})()"""
TAKEN = "Number(sessionStorage.getItem('seen')) - Number(sessionStorage.getItem('pressed'))"


def save_to_next(ground: Ground) -> Iterator[Line]:
    """The median over fifteen motors with the network and fifteen without, and the server's share of the first."""
    ground.clock.advance(hours=8)  # the next shift, whose sheet nobody has begun
    with served(ground.app) as port, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium.program(), args=chromium.flags())
        context = browser.new_context(base_url=f"http://127.0.0.1:{port}", viewport=UPRIGHT, has_touch=True)
        context.add_cookies([{"name": "rounds", "value": ground.key_of(ground.loaded.operator),
                              "url": f"http://127.0.0.1:{port}"}])
        context.add_init_script(WATCH)
        context.clock.set_fixed_time(ground.clock.now)
        usual = {machine.tag: f"{machine.rated_a * machine.load:.1f}" for machine in ground.loaded.machines}
        page = context.new_page()
        page.goto("/sheet")
        taken_along(page)
        page.locator(".bar a.main").click()
        before = time.process_time()
        yield Line("save to the next motor's page, online", _walked(page, usual), "ms", goal=GOAL_MS)
        spent = 1000 * (time.process_time() - before) / MOTORS
        yield Line("of which this process, server and driver, computed", spent, "ms")
        context.set_offline(True)
        yield Line("save to the next motor's page, no network", _walked(page, usual), "ms", goal=GOAL_MS)
        browser.close()


def _walked(page: Page, usual: dict[str, str]) -> float:
    """The median of both waits together, in ms."""
    taken = []
    for _ in range(MOTORS):
        page.locator("form.entry .bar button.main").wait_for()
        page.wait_for_timeout(LOOKING_MS)
        page.evaluate(FILL, usual[page.locator("h1").inner_text()])
        page.locator(".bar a.main").wait_for()
        shown = _seen(page)
        page.wait_for_timeout(LOOKING_MS)
        page.locator(".bar a.main").click()
        page.locator("form.entry .bar button.main").wait_for()
        taken.append(shown + _seen(page))
    return statistics.median(taken)


def _seen(page: Page) -> float:
    """Asked again and again from outside: waiting inside would make a script of a text, which the page forbids."""
    for _ in range(2_000):
        if page.evaluate("sessionStorage.getItem('seen') !== null"):
            return float(page.evaluate(TAKEN))
        page.wait_for_timeout(5)
    raise RuntimeError("nothing was painted in 10 s")
