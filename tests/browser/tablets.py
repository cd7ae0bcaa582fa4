"""A tablet of one's own: a browser profile on disk that survives being killed, and a server that misbehaves."""

from __future__ import annotations

import os
import re
import signal
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, cast

from cheroot.wsgi import Server
from flask import Flask
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser import chromium
from tests.browser.conftest import UPRIGHT

Wsgi = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]

#: Fills the form at the motor and saves it: taps in one go, for the long walks.
FILL = """(amps) => {
  const choose = (name, value) => document.querySelector(`[name="${name}"][value="${value}"]`).click();
  choose("state", "running"); choose("look", "nothing wrong"); choose("vibration_both", "as usual");
  for (const end of ["DE", "ODE"]) choose(`bearing_feel_${end}`, "warm");
  choose("winding_feel", "warm"); choose("lubricant_both", "ok"); choose("cleanliness", "clean");
  document.getElementById("amps_1").value = amps;
  document.querySelector(".bar button.main").click();
}"""


class Unreliable:
    """The app as a weak network shows it: every so-manieth answer to an entry goes dead after the app has stored it;
    or something in between answers `instead` of the app."""

    def __init__(self, app: Wsgi) -> None:
        self.app = app
        self.posts = 0
        self.sent_bytes = 0
        self.drop_every = 0
        self.instead: tuple[str, bytes] | None = None

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        if self.instead is not None:
            status, body = self.instead
            start_response(status, [("Content-Type", "text/html"), ("Content-Length", str(len(body)))])
            return [body]
        told: list[Any] = []
        with closing(cast(Any, self.app(environ, lambda *given: told.append(given)))) as answer:
            body = b"".join(answer)
        status, headers = told[0][0], told[0][1]
        if environ["REQUEST_METHOD"] == "POST" and environ["PATH_INFO"].startswith("/tablet/"):
            self.posts += 1
            if self.drop_every and self.posts % self.drop_every == 0:
                # Promised and not kept: the browser sees the line go dead in the middle of the answer.
                start_response(status, [*((k, v) for k, v in headers if k != "Content-Length"),
                                        ("Content-Length", str(len(body) + 100))])
                return _line_goes_dead(body[:5])
        self.sent_bytes += len(body) + sum(len(k) + len(v) + 4 for k, v in headers)
        start_response(status, headers)
        return [body]


def _line_goes_dead(begun: bytes) -> Iterator[bytes]:
    yield begun
    raise RuntimeError("the line went dead here")


@contextmanager
def served(app: Flask, way: Wsgi, port: int = 0) -> Iterator[str]:
    """The address of the app behind a way of its own."""
    server = Server(("127.0.0.1", port), way, numthreads=4)
    server.error_log = lambda *_, **__: None  # a line that goes dead on purpose
    server.prepare()
    thread = threading.Thread(target=server.serve, name="server")
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.bind_addr[1]}"
    finally:
        server.stop()
        thread.join()


def switch_on(browser: Browser, profile: Path, url: str, now: Any, *flags: str, **more: Any) -> BrowserContext:
    """A browser on this profile; started again it finds what was on it."""
    context = browser.browser_type.launch_persistent_context(
        profile, executable_path=chromium.program(), args=[*chromium.flags(), *flags], base_url=url, viewport=UPRIGHT,
        has_touch=True, locale="en-US", **more)
    context.clock.set_fixed_time(now)
    context.set_default_timeout(15_000)
    return context


def kill(profile: Path) -> None:
    """Pulls the plug: every process of the browser on this profile dies at once, without a word."""
    named = f"--user-data-dir={profile}".encode()
    for entry in Path("/proc").iterdir():
        try:
            if entry.name.isdigit() and named in (entry / "cmdline").read_bytes().split(b"\0"):
                os.kill(int(entry.name), signal.SIGKILL)
        except (FileNotFoundError, ProcessLookupError, PermissionError):
            continue


def taken_along(page: Page) -> None:
    """Until the shift's pages are all on the tablet, as the line under the menu says."""
    expect(page.locator("[data-on-tablet]")).to_contain_text("round on this tablet", timeout=60_000)


def at_result(page: Page) -> None:
    """Until the entry just saved is shown as the server stored it. Where the server took longer than the tablet waits
    for it (2.5 s), the tablet's own page of it comes first."""
    page.wait_for_url(re.compile("/entries[/#]"))
    if "/tablet/entries#" in page.url:
        expect(page.locator("[data-stands]")).to_contain_text("Received")
        page.goto(f"/entries/{page.url.partition('#')[2]}")


def until(page: Page, script: str, seconds: float = 30) -> None:
    """Asks the page again and again from outside: under the content policy Playwright's own wait_for_function may
    ask only once."""
    ends = time.monotonic() + seconds
    while not page.evaluate(script):
        assert time.monotonic() < ends, script
        page.wait_for_timeout(50)
