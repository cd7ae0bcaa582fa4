"""A real browser on a real server: Chromium at a tablet's two sizes, the app under its own server on a free port."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from cheroot.wsgi import Server
from flask import Flask
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, expect, sync_playwright

from app.store.people import Person
from tests.browser import chromium
from tests.conftest import Clock
from tests.factories import SECRET

ACROSS = {"width": 1280, "height": 800}
UPRIGHT = {"width": 800, "height": 1280}

#: A busy machine is no fault of the page: how long is waited is not what is tested.
expect.set_options(timeout=20_000)


@dataclass(frozen=True)
class Live:
    """The app as served: `url` without a slash at the end."""

    url: str
    app: Flask


@pytest.fixture
def live_server(app: Flask) -> Iterator[Live]:
    """The test's own app under the server it is shipped with. Replaces pytest-flask's, which forks Flask's own."""
    server = Server(("127.0.0.1", 0), app.wsgi_app, numthreads=4,
                    shutdown_timeout=30)  # a request under way ends first, on a busy machine too: it holds a connection
    server.prepare()
    thread = threading.Thread(target=server.serve, name="server")
    thread.start()
    yield Live(f"http://127.0.0.1:{server.bind_addr[1]}", app)
    server.stop()
    thread.join()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One Chromium for the run; every test has a profile of its own in it."""
    path = chromium.program()
    if path is None:
        pytest.skip("Chromium is not installed (Debian: apt-get install chromium)")
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=path, args=chromium.flags())
        yield opened
        opened.close()


@pytest.fixture
def new_context(browser: Browser, live_server: Live, clock: Clock) -> Iterator[Callable[..., BrowserContext]]:
    """new_context(**options) -> a tablet of its own, on the app's address, whose clock shows the app's time.

    After the test no page in it may have had a script error or broken the content policy.
    """
    opened: list[BrowserContext] = []
    faults: list[str] = []

    def listen(page: Page) -> None:
        page.on("pageerror", lambda error: faults.append(f"{page.url}: {error}"))
        page.on("console", lambda line: faults.append(f"{page.url}: {line.text}") if _policy(line) else None)

    def make(**options: object) -> BrowserContext:
        settings = {"base_url": live_server.url, "viewport": ACROSS, "has_touch": True, "locale": "en-US", **options}
        context = browser.new_context(**settings)  # type: ignore[arg-type]
        context.clock.set_fixed_time(clock.now)
        context.set_default_timeout(30_000)
        context.on("page", listen)
        opened.append(context)
        return context

    yield make
    for context in opened:
        context.close()
    assert not faults, faults


def _policy(line: ConsoleMessage) -> bool:
    return line.type == "error" and "Content Security Policy" in line.text


@pytest.fixture
def page(new_context: Callable[..., BrowserContext]) -> Page:
    """A tablet lying across, 1280 by 800."""
    return new_context().new_page()


@pytest.fixture
def upright(new_context: Callable[..., BrowserContext]) -> Page:
    """A tablet held upright, 800 by 1280."""
    return new_context(viewport=UPRIGHT).new_page()


def sign_in_page(page: Page, person: Person, secret: str = SECRET) -> None:
    """Signs in by typing and tapping; ends on the person's first page."""
    page.goto("/sign-in")
    page.fill("#sign_in", person.sign_in)
    page.fill("#secret", secret)
    page.get_by_role("button", name="Sign in").tap()
    page.wait_for_url(lambda url: "/sign-in" not in url)


@pytest.fixture
def shot() -> Callable[[Page, str], None]:
    """shot(page, "sheet"): a picture of the whole page into the folder ROUND_SHEET_SHOTS; without one nobody looks."""
    folder = os.environ.get("ROUND_SHEET_SHOTS")

    def take(page: Page, name: str, whole: bool = True) -> None:
        if folder:
            page.screenshot(path=Path(folder) / f"{name}.png", full_page=whole)

    return take
