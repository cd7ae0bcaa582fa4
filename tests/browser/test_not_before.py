"""Starts without the network: the tablet works out the same holds as the rules from what it has, and never says yes."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import pytest
from flask import Flask
from playwright.sync_api import BrowserContext, Page, Route, expect

from app.rules.facts import RUNNING, STANDBY, Nameplate
from app.rules.limits import Limits
from app.rules.starting import BECAUSE, start_permission
from app.rules.starting_ahead import HOLDS, known
from app.rules.starting_bars import RUNNING_NOW, TRIES, barred, standing
from app.rules.starting_facts import FAILED, OUTCOMES, StartHistory, StartPlan, StartRecord, TripRecord
from app.rules.starting_hour import RUN, Hold, ordinary
from app.rules.wording import digits
from tests.browser.conftest import sign_in_page
from tests.conftest import Clock
from tests.factories import Plant
from tests.rules.test_starting_properties import BEGIN, MOTORS, PLANS
from tests.starting_ground import Ground, JsonDoor, at, make_ground

MANY = 1500


# script against rules --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Event:
    """One thing on record: a start with its outcome, a stop, or a trip, at a second of the day."""

    second: int
    what: str
    duration_s: float | None = None

    @property
    def at(self) -> datetime:
        return BEGIN + timedelta(seconds=self.second)

    @property
    def runs_after(self) -> bool:
        return self.what not in ("stop", "trip", *FAILED)

    def for_script(self) -> dict[str, Any]:
        kind = self.what if self.what in ("stop", "trip") else "start"
        return {"kind": kind, "at": self.at.timestamp() * 1000, "failed": self.what in FAILED,
                "duration_s": self.duration_s}


def history(events: list[Event]) -> StartHistory:
    """The record as the server would have it after these, in their order."""
    last = events[-1] if events else None
    running = last is not None and last.runs_after
    return StartHistory(
        condition=RUNNING if running else STANDBY, condition_since=last.at if last else None,
        running_since=last.at if last and running else None, seen_running_at=BEGIN - timedelta(days=1),
        starts=tuple(StartRecord(e.at, e.what, e.duration_s) for e in events if e.what in OUTCOMES),
        stops=tuple(e.at for e in events if e.what == "stop"),
        trips=tuple(TripRecord(e.at, "low voltage") for e in events if e.what == "trip"))


def day(dice: random.Random) -> list[Event]:
    """Some starts, runs and stops, one after the other; some runs nobody ended."""
    clock, events = 0, []
    for _ in range(dice.randrange(7)):
        clock += dice.choice((1, 5, 90, 300, 600, 1199, 1200, 1201, 2400, 3599, 3600, 3601))
        outcome = dice.choice((*OUTCOMES, "ran", "ran"))
        length = dice.choice((1, 5, 8, 30) if outcome in FAILED else (5, 60, 899, 900, 901, 1800))
        told = dice.random()
        events.append(Event(clock, outcome, float(length) if told < 0.4 else None))
        clock += length
        if outcome not in FAILED and told > 0.25:
            events.append(Event(clock, dice.choice(("stop", "stop", "stop", "trip"))))
    return events


def by_rules(motor: Nameplate, plan: StartPlan, told: list[Event], now: datetime) -> dict[str, Any] | None:
    """What the rules say of the whole record: what bars it, else the ordinary start's binding hold."""
    stands = standing(motor, plan, history(told), now, Limits())
    bars = barred(stands)
    if bars is not None:
        return {"no": bars.decided_by}
    hold = ordinary(stands.runs, stands.series, stands.history, stands.basis, stands.now).binding
    return _said(hold) if hold else None


def _said(hold: Hold) -> dict[str, Any]:
    words = BECAUSE[hold.rule].format(value=digits(hold.value, 1 if hold.rule == RUN else 0),
                                      limit=digits(hold.limit, 2))
    return {"until": hold.until.timestamp() * 1000, "rule": hold.rule, "because": words, "source": hold.source}


@pytest.fixture
def script(new_context: Callable[..., BrowserContext]) -> Page:
    page = new_context().new_page()
    page.goto("/sign-in")
    page.evaluate("""async () => { globalThis.ahead = await import("/static/js/offline/not_before.js"); }""")
    return page


def test_script_and_rules_wait_for_the_same(script: Page) -> None:
    dice, given, expected = random.Random(60), [], []
    while len(given) < MANY:
        told, motor, plan = day(dice), dice.choice(MOTORS), dice.choice(PLANS)
        if sum(e.what == "trip" for e in told) and dice.random() < 0.8:
            continue
        cut = dice.randrange(len(told) + 1)
        before, here = told[:cut], told[cut:]
        page_at = (before[-1].at if before else BEGIN) + timedelta(seconds=dice.choice((0, 1, 600)))
        if here and here[0].at <= page_at:
            page_at = before[-1].at if before else BEGIN
        newest = max(page_at, told[-1].at if told else page_at)
        now = newest + timedelta(seconds=dice.choice((0, 1, 59, 600, 1799, 3599)))
        facts = known(motor, plan, history(before), page_at, Limits())
        given.append([facts, [e.for_script() for e in here], now.timestamp() * 1000])
        by_all = by_rules(motor, plan, told, now)
        expected.append((by_all, any(e.what == "trip" for e in here), facts["no"],
                         start_permission(motor, plan, history(told), now, limits=Limits())))
    said = script.evaluate("(text) => JSON.parse(text).map((each) => ahead.earliest(...each))", json.dumps(given))
    waits = 0
    for case, (rules, tripped, no, permission), told_here in zip(given, expected, said, strict=True):
        if (rules or {}).get("no") == RUNNING_NOW:
            assert told_here == {"no": RUNNING_NOW}
        elif no or tripped:
            assert told_here == {"no": no or "trip"}
        else:
            assert told_here == rules, case
        if told_here and "until" in told_here:
            waits += 1
            assert permission.not_before is None or permission.not_before.timestamp() * 1000 <= told_here["until"]
            assert told_here["rule"] in HOLDS
        assert permission.answer != "no" or permission.decided_by == "pre-start check" or told_here["no"]
    assert waits > MANY / 5
    assert {no["no"] for no in said if no and "no" in no} >= {RUNNING_NOW, TRIES, "trip"}


@pytest.mark.parametrize(("zone", "instant", "asked", "wall"), [
    ("America/Chicago", "2026-11-24T17:00:00.001Z", "2026-11-24T16:42:00Z", "11:00:01"),
    ("America/Chicago", "2026-11-25T06:10:00Z", "2026-11-25T05:50:00Z", "00:10:00 on 25 Nov"),
    ("America/Chicago", "2026-11-01T06:30:00Z", "2026-11-01T06:00:00Z", "01:30:00 CDT"),
    ("America/Chicago", "2026-11-01T07:30:00Z", "2026-11-01T07:00:00Z", "01:30:00 CST"),
    ("Asia/Kolkata", "2026-11-24T17:00:00Z", "2026-11-24T16:42:00Z", "22:30:00"),
])
def test_the_time_is_the_units_and_never_earlier(script: Page, zone: str, instant: str, asked: str, wall: str) -> None:
    assert script.evaluate("([at, zone, now]) => ahead.wallTime(Date.parse(at), zone, Date.parse(now))",
                           [instant, zone, asked]) == wall


# the page --------------------------------------------------------------------------------------------------


@pytest.fixture
def ground(app: Flask, clock: Clock, plant: Plant) -> Ground:
    """M-200, 200 hp: one start an hour by general practice. It ran from 08:00 to 09:00; now it is 10:30."""
    made = make_ground(app, clock, plant)
    door = JsonDoor(made)
    door.start("M-200", at("08:00"))
    door.stop("M-200", at("09:00"))
    clock.set(at("10:30"))
    return made


def from_the_tablet(context: BrowserContext, kept: datetime) -> None:
    """From now on a page opens as kept on the tablet then, and a script that asks hears no server."""
    copies: dict[str, str] = {}

    def answer(route: Route) -> None:
        if route.request.resource_type != "document":
            route.abort("internetdisconnected")
        else:
            route.fulfill(body=copies[route.request.url], content_type="text/html")

    page = context.new_page()
    for link in page.context.pages[0].evaluate("[location.href]"):
        text = page.request.get(link).text()
        copies[link] = text.replace("<html ", f'<html data-kept="{kept.isoformat()}" ', 1)
    page.close()
    context.route("**/motors/*/start", answer)


def test_a_page_kept_on_the_tablet_never_shows_its_yes(ground: Ground, new_context: Callable[..., BrowserContext],
                                                       shot: Callable[..., Any]) -> None:
    context = new_context(viewport={"width": 800, "height": 1280}, service_workers="block")
    context.clock.install(time=at("10:30"))
    page = context.new_page()
    sign_in_page(page, ground.plant.operator)
    page.goto(f"/motors/{ground.motors['M-200']}/start")
    expect(page.locator("[data-word]")).to_have_text("Yes, within the start limits")
    from_the_tablet(context, at("10:30"))
    page.clock.run_for(15 * 60_000)
    page.reload()
    expect(page.locator("[data-alone] .word")).to_have_text("Ask the control room")
    expect(page.locator(".answer")).to_contain_text(
        "No wait is known as of 10:30 and of what was entered here since; that is no yes.")
    assert "Yes" not in page.locator(".answer").inner_text()
    assert page.locator(".answer").get_attribute("class") == "answer wait"
    shot(page, "start-kept-ask", whole=False)
    # a start that this tablet entered since: the count goes by it
    page.evaluate("""async () => {
      const {earliest, inWords, startFactsOf} = await import("/static/js/offline/not_before.js");
      const facts = startFactsOf(document), at = Date.parse(facts.now) + 60_000;
      const entered = [{kind: "start", at, failed: false, duration_s: null}, {kind: "stop", at: at + 120_000}];
      globalThis.said = inWords(facts, earliest(facts, entered, at + 600_000), at + 600_000);
    }""")
    assert page.evaluate("said[0]") == "Not before 11:31:00"
    assert page.evaluate("said[1]").startswith("Not before 11:31:00: 1 of 1 starts used in 60 min (general practice)")


def test_a_yes_ends_after_a_minute_without_the_server(ground: Ground, new_context: Callable[..., BrowserContext],
                                                      clock: Clock) -> None:
    context = new_context()
    context.clock.install(time=at("10:30"))
    page = context.new_page()
    sign_in_page(page, ground.plant.operator)
    page.goto(f"/motors/{ground.motors['M-200']}/start")
    context.set_offline(True)
    page.clock.run_for(61_000)
    expect(page.locator("[data-word]")).to_contain_text("Ask again")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    expect(page.locator("[data-alone] .word")).to_have_text("Ask the control room")
    assert "Yes" not in page.locator(".answer").inner_text()
    context.set_offline(False)
    clock.set(at("10:32"))
    expect(page.locator("[data-word]")).to_have_text("Yes, within the start limits")
