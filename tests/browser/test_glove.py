"""At the motor with gloves on: taps counted, sizes measured, both ways up; what is asked and told, and when."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from app.db import Database
from app.store.motors import Motor
from tests.browser.conftest import ACROSS, UPRIGHT, Live, sign_in_page
from tests.browser.tablets import at_result
from tests.browser.test_pages import MEASURE, apart
from tests.conftest import Clock
from tests.factories import Plant, make_motor, make_reading
from tests.web.at_motor import greased_lately, readings_of

BOTH_WAYS = pytest.mark.parametrize("held", [UPRIGHT, ACROSS], ids=["upright", "across"])


@pytest.fixture
def motors(plant: Plant, app_database: Database, clock: Clock) -> dict[str, Motor]:
    """P-101A with twenty rounds behind it (the last: DE 61, ODE 57, winding 98, 78 A), a locked one, a spare, a fan
    without an ammeter."""
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        made = {"P-101A": plant.motor, **{tag: make_motor(session, unit, tag, route_order=i, **more)
                for i, (tag, more) in enumerate({
                    "P-101B": {"condition": "locked out", "lock_tag": "4471", "lock_owner": "R. Adeyemi"},
                    "P-550S": {"condition": "standby", "hp": 30.0, "rated_amps": 39.0},
                    "F-410": {"ammeter": "none", "hp": 40.0, "rated_amps": 52.0}}.items(), start=2)}}
        person = session.merge(plant.operator)
        first = session.merge(plant.motor)
        for days in range(20, 0, -1):
            make_reading(session, first, person, clock.now - timedelta(days=days), smoke="none",
                         bearing_temp_c_de=61.0, bearing_temp_c_ode=57.0, winding_temp_c=98.0,
                         winding_method="fitted", method="contact", current_a_1=78.0)
        session.commit()
    greased_lately(app_database, *made.values())
    return made


class Tapper:
    """One person's finger: every tap is counted."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps = page, 0

    def choose(self, field: str, words: str) -> None:
        self.page.locator(f'[aria-labelledby$="{field}-lab"]').get_by_text(words, exact=True).tap()
        self.taps += 1

    def key(self, *keys: str) -> None:
        for key in keys:
            self.page.locator(f'.number-keys [data-key="{key}"]').tap()

    def save(self) -> None:
        self.page.get_by_role("button", name=re.compile("^Save")).tap()
        self.taps += 1
        at_result(self.page)


def tablet(new_context: Callable[..., BrowserContext], live: Live, plant: Plant, held: dict[str, int] = UPRIGHT,
           **cookies: str) -> Page:
    context = new_context(viewport=held)
    context.add_cookies([{"name": name, "value": value, "url": live.url} for name, value in cookies.items()])
    page = context.new_page()
    sign_in_page(page, plant.operator)
    return page


def at(page: Page, motor: Motor) -> Tapper:
    page.goto(f"/motors/{motor.id}/entry")
    return Tapper(page)


def running(finger: Tapper) -> None:
    finger.choose("state", "Running")
    finger.choose("look", "Nothing wrong")
    finger.choose("vibration_both", "As usual, both ends")
    finger.choose("bearing_feel_ODE", "Warm")
    finger.choose("winding_feel", "Warm")
    finger.choose("bearing_feel_DE", "Warm")


@BOTH_WAYS
def test_a_running_motor_with_nothing_wrong_takes_nine_taps_and_one_number_and_is_taken_back_by_one_more(
        plant: Plant, motors: dict[str, Motor], new_context: Callable[..., BrowserContext], live_server: Live,
        app_database: Database, held: dict[str, int]) -> None:
    page = tablet(new_context, live_server, plant, held)
    page.goto("/sheet")
    finger = at(page, motors["P-101A"])
    expect(page.locator("main")).to_contain_text("Hot last time: do not touch")
    box = page.locator(".caution").bounding_box()
    feel = page.locator('[name="bearing_feel_ODE"]').first.bounding_box()
    assert not box or not feel or box["y"] < feel["y"]
    running(finger)
    page.locator("#amps_1").tap()  # the number: field, 7, 7, done
    expect(page.locator(".number-keys")).to_be_visible()
    finger.key("7", "7")  # two quick touches on one key are two sevens
    expect(page.locator("#amps_1")).to_have_value("77")
    finger.key("next")
    expect(page.locator(".number-keys")).to_be_hidden()
    expect(page.locator('output[for="amps_1"]')).to_have_text("understood as 77, last 78, change −1")
    finger.choose("lubricant_both", "Right, both ends")
    finger.choose("cleanliness", "Clean")
    finger.save()
    assert finger.taps == 9
    expect(page.locator("main")).to_contain_text("last 78, change −1")

    page.get_by_role("button", name="Undo").tap()
    page.wait_for_url("**/entry?again=*")
    expect(page.locator('[role="status"]')).to_contain_text("taken back and counts as no look")
    expect(page.locator("#amps_1")).to_have_value("77")  # as this person entered it a moment ago
    page.goto("/sheet")
    expect(page.locator("tr", has=page.get_by_role("link", name="P-101A", exact=True))).to_contain_text("next")
    old, back = readings_of(app_database, motors["P-101A"])[-2:]
    assert (old.current_a_1, back.replaces_id, back.taken_back) == (77.0, old.id, True)
    page.goto(f"/entries/{old.id}")
    expect(page.locator("main")).to_contain_text("Taken back at")


@BOTH_WAYS
def test_a_spare_takes_six_taps_at_most_a_locked_motor_three_and_a_fan_without_an_ammeter_is_whole(
        plant: Plant, motors: dict[str, Motor], new_context: Callable[..., BrowserContext], live_server: Live,
        held: dict[str, int]) -> None:
    page = tablet(new_context, live_server, plant, held)
    spare = at(page, motors["P-550S"])
    spare.choose("state", "Standby")
    for name in ("amps_1", "bearing_temp_DE", "bearing_feel_ODE", "winding_temp"):
        expect(page.locator(f"[name={name}]").first).to_be_hidden()
    spare.choose("look", "Nothing wrong")
    spare.choose("lubricant_both", "Right, both ends")
    spare.choose("cleanliness", "Clean")
    spare.save()
    assert spare.taps <= 6
    expect(page.get_by_role("heading", name="Nothing over a limit")).to_be_visible()

    locked = at(page, motors["P-101B"])
    expect(page.locator("main")).to_contain_text("tag 4471, R. Adeyemi")
    locked.choose("state", "Locked out")
    locked.save()
    assert locked.taps <= 3

    fan = at(page, motors["F-410"])
    running(fan)
    expect(page.locator("main")).to_contain_text("No ammeter fitted: nothing to read.")
    fan.choose("lubricant_both", "Right, both ends")
    fan.choose("cleanliness", "Clean")
    fan.save()
    expect(page.locator("dl").first).to_contain_text("not fitted")
    expect(page.get_by_role("heading", name="Nothing over a limit")).to_be_visible()
    page.goto("/sheet")
    row = page.locator("tr", has=page.get_by_role("link", name="F-410", exact=True))
    expect(row).to_contain_text("not fitted")
    locked_row = page.locator("tr", has=page.get_by_role("link", name="P-101B", exact=True))
    expect(locked_row).to_contain_text("tag 4471, R. Adeyemi")


@BOTH_WAYS
def test_nothing_is_filled_in_and_the_last_figures_are_nowhere_in_the_page_before_the_new_one_is_in(
        plant: Plant, motors: dict[str, Motor], new_context: Callable[..., BrowserContext], live_server: Live,
        held: dict[str, int]) -> None:
    page = tablet(new_context, live_server, plant, held)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    finger = at(page, motors["P-101A"])
    finger.choose("state", "Running")
    assert page.locator("form.entry input:checked:not([name=state])").count() == 0
    assert [box.input_value() for box in page.locator("form.entry input.num").all()] == [""] * 11
    source = re.sub(r"<svg.*?</svg>", "", page.content(), flags=re.DOTALL)  # a drawing's points are no readings
    assert re.findall(r"(?<![\w.#-])(61|57|98|78)(?:\.0)?(?![\w.-])", source) == []
    assert [url for url in asked if "last.json" in url] == []
    page.locator("#bearing_temp_DE").fill("63")
    expect(page.locator('output[for="bearing_temp_DE"]')).to_have_text("understood as 63")
    page.locator("#remarks").evaluate("e => e.closest('details').open = true")
    page.locator("#remarks").focus()
    expect(page.locator('output[for="bearing_temp_DE"]')).to_have_text("understood as 63, last 61, change +2")


@BOTH_WAYS
def test_158_where_61_is_usual_is_asked_about_before_saving_and_no_is_kept_and_raises_act_now(
        plant: Plant, motors: dict[str, Motor], new_context: Callable[..., BrowserContext], live_server: Live,
        app_database: Database, held: dict[str, int]) -> None:
    page = tablet(new_context, live_server, plant, held)
    finger = at(page, motors["P-101A"])
    running(finger)
    page.locator("#bearing_temp_DE").tap()
    finger.key("1", "5", "8", "next")
    asked = page.locator('.question[data-of="bearing_temp_DE"]')
    expect(asked).to_contain_text("158 °C, where 61 °C is usual. Did you mean 158 °F (= 70 °C)?")
    page.get_by_role("button", name=re.compile("^Save")).tap()  # Save waits for the answer
    expect(asked.locator("input").first).to_be_focused()
    asked.get_by_text("No, 158 °C").tap()
    page.locator("label.pick", has_text="Contact probe").first.tap()
    page.locator("#amps_1").fill("780")
    page.locator("#bearing_temp_DE").focus()
    page.locator('.question[data-of="amps_1"]').get_by_text("78 A", exact=True).tap()
    finger.choose("lubricant_both", "Right, both ends")
    finger.choose("cleanliness", "Clean")
    finger.save()
    expect(page.get_by_text("Act now · bearing hot · coupling end (DE)")).to_be_visible()
    expect(page.locator("main")).to_contain_text("158 °C, asked: 158 °F (= 70 °C)?")
    expect(page.locator("main")).to_contain_text("780, meant 78 A → 78 A")
    stored = readings_of(app_database, motors["P-101A"])[-1]
    assert (stored.bearing_temp_c_de, stored.current_a_1) == (158.0, 78.0)
    assert stored.confirmed == {"bearing_temp_c.DE": "158 °C, asked: 158 °F (= 70 °C)?"}


@BOTH_WAYS
def test_a_comma_is_read_and_junk_is_refused_beside_its_field_with_all_else_kept(
        plant: Plant, motors: dict[str, Motor], new_context: Callable[..., BrowserContext], live_server: Live,
        app_database: Database, held: dict[str, int]) -> None:
    page = tablet(new_context, live_server, plant, held)
    finger = at(page, motors["P-101A"])
    running(finger)
    page.locator("#winding_temp").tap()
    finger.key("1", "0", "1", ",", "5")
    expect(page.locator("#winding_temp")).to_have_value("101,5")
    finger.key("next")
    expect(page.locator('output[for="winding_temp"]')).to_contain_text("understood as 101.5, last 98, change +3.5")
    for junk, says in (("1.234,5", "more than one comma or point"), ("10O", "not a number")):
        page.locator("#amps_1").fill(junk)
        page.wait_for_timeout(350)  # a second touch sooner would be a wet glove's
        page.get_by_role("button", name=re.compile("^Save")).tap()
        expect(page.locator("#amps_1-error")).to_contain_text(says)
        expect(page.locator("#amps_1")).to_have_value(junk)
        expect(page.locator("#winding_temp")).to_have_value("101,5")
        expect(page.locator("[name=bearing_feel_DE]:checked")).to_have_value("warm")
    page.locator("#amps_1").fill("78")
    page.locator("[name=winding_method]").first.locator("xpath=..").tap()
    finger.save()
    expect(page.get_by_text("101,5 °C → 101.5 °C")).to_be_visible()
    assert readings_of(app_database, motors["P-101A"])[-1].winding_temp_c == 101.5


def test_without_a_script_the_server_asks_the_same_and_keeps_the_answer(
        plant: Plant, motors: dict[str, Motor], new_context: Callable[..., BrowserContext],
        app_database: Database) -> None:
    page = new_context(viewport=UPRIGHT, java_script_enabled=False).new_page()
    sign_in_page(page, plant.operator)
    finger = at(page, motors["P-101A"])
    running(finger)
    page.locator("#bearing_temp_DE").fill("158")
    page.locator("#amps_1").fill("780")
    page.get_by_role("button", name=re.compile("^Save")).tap()
    expect(page.get_by_role("alert")).to_contain_text("2 things to put right")
    expect(page.locator("[name^=sure_]:checked")).to_have_count(0)
    page.locator('.question[data-of="bearing_temp_DE"]').get_by_text("158 °F (= 70 °C)", exact=True).tap()
    page.locator('.question[data-of="amps_1"]').get_by_text("No, 780 A").tap()
    finger.save()
    expect(page.locator("main")).to_contain_text("158 °F → 70 °C")
    expect(page.locator("main")).to_contain_text("last 61, change +9")
    stored = readings_of(app_database, motors["P-101A"])[-1]
    assert (stored.bearing_temp_c_de, stored.current_a_1) == (70.0, 780.0)
    assert stored.confirmed == {"current_a.1": "780 A, asked: 78 A?"}


KEYS = """() => [...document.querySelectorAll(".number-keys button")].map(e => e.getBoundingClientRect())
  .map(r => ({what: "key", x: r.x, y: r.y + scrollY, w: r.width, h: r.height}))"""


@BOTH_WAYS
@pytest.mark.parametrize("hand", ["right", "left"])
def test_every_control_is_large_enough_for_a_glove_and_the_rest_is_one_scroll_away(
        plant: Plant, motors: dict[str, Motor], new_context: Callable[..., BrowserContext], live_server: Live,
        held: dict[str, int], hand: str) -> None:
    page = tablet(new_context, live_server, plant, held, hand=hand)
    page.goto("/sheet")
    finger = at(page, motors["P-101A"])
    finger.choose("state", "Running")
    controls = page.evaluate(MEASURE)
    small = [c["what"] for c in controls if c["w"] < 76 or c["h"] < 76]
    low = [c["what"] for c in controls if (c["grand"] or c["what"].startswith(("amps", "bearing_t", "winding_t")))
           and c["h"] < 112]
    rows = [c for c in controls if not c["inBar"]]
    close = [(a["what"], b["what"]) for i, a in enumerate(rows) for b in rows[i + 1:] if apart(a, b) < 19]
    assert (small, low, close) == ([], [], [])
    # tag, progress and Save always; the last check above what Save covers after one screen of scrolling
    seen = """() => { const r = s => document.querySelector(s).getBoundingClientRect();
      const bar = r(".bar"), strip = r(".strip"); const foot = bar.width > innerWidth / 2 ? bar.height : 0;
      return {last: r("[name=cleanliness]").bottom + scrollY, room: innerHeight - foot, head: strip.height} }"""
    sizes = page.evaluate(seen)
    assert sizes["last"] <= sizes["room"] + (sizes["room"] - sizes["head"])
    for share in (0, 0.5, 1):
        page.evaluate("share => scrollTo(0, share * document.querySelector('form.entry').scrollHeight)", share)
        expect(page.get_by_role("heading", name="P-101A")).to_be_in_viewport(ratio=1)
        expect(page.locator(".strip .right b")).to_have_text("1 of 4")
        expect(page.get_by_role("button", name="Save P-101A")).to_be_in_viewport(ratio=0.9)
    save = page.get_by_role("button", name="Save P-101A").bounding_box()
    assert save
    assert save["y"] >= held["height"] / 2
    assert (save["x"] + save["width"] / 2 > held["width"] / 2) == (hand == "right")
    page.locator("#amps_1").tap()
    keys = page.evaluate(KEYS)
    assert [k for k in keys if k["w"] < 76 or k["h"] < 76] == []
    digits = page.locator('.number-keys [data-key="5"]').bounding_box()
    assert digits
    assert digits["height"] >= 112
    assert (digits["x"] > held["width"] / 2) == (hand == "right") or held is UPRIGHT
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_bare_hand_has_more_on_the_screen(
        plant: Plant, motors: dict[str, Motor], new_context: Callable[..., BrowserContext], live_server: Live) -> None:
    page = tablet(new_context, live_server, plant, ACROSS)
    page.goto("/screen")
    tall = at(page, motors["P-101A"])
    tall.choose("state", "Running")
    glove = page.evaluate("document.querySelector('form.entry').offsetHeight")
    page.get_by_role("link", name="This tablet's screen").tap()
    page.get_by_role("link", name="Bare hand").tap()
    page.get_by_role("link", name="Left").tap()
    page.get_by_role("link", name="Done").tap()
    page.wait_for_url("**/entry")
    Tapper(page).choose("state", "Running")
    assert page.evaluate("document.querySelector('form.entry').offsetHeight") < glove
    controls = page.evaluate(MEASURE)
    assert [c["what"] for c in controls if c["w"] < 44 or c["h"] < 44] == []  # WCAG 2.2, 2.5.5: 44 by 44


def test_a_second_touch_within_300_ms_is_none_on_choices_and_on_what_follows_save(
        plant: Plant, motors: dict[str, Motor], new_context: Callable[..., BrowserContext], live_server: Live) -> None:
    page = tablet(new_context, live_server, plant)
    finger = at(page, motors["P-101A"])
    finger.choose("state", "Running")
    twice = """e => { for (let i = 0; i < 2; i += 1) {
      e.dispatchEvent(new PointerEvent("pointerdown", {bubbles: true, pointerType: "touch"}));
      e.dispatchEvent(new MouseEvent("click", {bubbles: true, cancelable: true, detail: 1})); } }"""
    leak = page.locator(".look label.pick", has_text="Leak")
    leak.evaluate(twice)
    expect(leak.locator("input")).to_be_checked()  # not ticked and unticked again
    page.locator("#amps_1").tap()
    page.locator('.number-keys [data-key="7"]').evaluate(twice)
    expect(page.locator("#amps_1")).to_have_value("77")


def test_the_rule_of_the_question_is_the_same_in_the_script(
        plant: Plant, new_context: Callable[..., BrowserContext], live_server: Live) -> None:
    page = new_context().new_page()
    page.goto("/sign-in")
    cases = list(csv.DictReader((Path(__file__).parents[1] / "doubts.csv").read_text(encoding="utf-8").splitlines()))
    told = page.evaluate("""async cases => { const { asks } = await import("/static/js/doubt.js");
      return cases.map(c => asks(Number(c.value), c.unit, c.usual === "" ? null : Number(c.usual),
                                 c.from_plate === "yes")) }""", cases)
    wanted: list[dict[str, Any] | None] = [
        {"meant": float(c["meant"]), "unit": c["meant_unit"] or None} if c["meant"] else None for c in cases]
    assert told == wanted


def test_the_page_of_a_dark_tablet_is_dark_before_any_style_is_read(
        plant: Plant, motors: dict[str, Motor], new_context: Callable[..., BrowserContext], live_server: Live) -> None:
    page = tablet(new_context, live_server, plant, theme="night")
    page.route("**/*.css*", lambda route: route.abort())
    page.goto(f"/motors/{motors['P-101A'].id}/entry")
    canvas = page.evaluate("""() => { document.body.style.background = "Canvas";
      return getComputedStyle(document.body).backgroundColor }""")
    light = [int(part) for part in re.findall(r"\d+", canvas)[:3]]
    assert max(light) < 64  # of 255: the browser's own canvas of a dark page


def test_an_ammeter_by_the_door_comes_first_on_that_route(
        plant: Plant, motors: dict[str, Motor], new_context: Callable[..., BrowserContext]) -> None:
    page = new_context(viewport=ACROSS).new_page()
    sign_in_page(page, plant.supervisor)
    page.goto("/settings/order")
    for place, check in enumerate(("amps", "vibration", "heat", "lubricant", "cleanliness")):
        page.locator(f"#place_{place}").select_option(check)
    page.get_by_role("button", name="Keep this order").tap()
    expect(page.get_by_text("Order of the checks for the whole unit kept.")).to_be_visible()
    page.goto(f"/motors/{motors['P-101A'].id}/entry")
    names = page.evaluate("[...document.querySelectorAll('.checks input')].map(e => e.name)")
    assert names.index("amps_1") < names.index("vibration_both") < names.index("bearing_feel_ODE")
