"""The pages of the walk and the review as a tablet shows them: readable, reachable, nothing cut off."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import sqlalchemy as sa
from flask import Flask
from playwright.sync_api import BrowserContext, Page, Request, expect

from app.db import Database
from app.store.motors import Motor
from tests.browser.axe import grave_in_any_light
from tests.browser.conftest import ACROSS, UPRIGHT, Live, sign_in_page
from tests.browser.tablets import at_result
from tests.factories import Plant, make_motor, sign_in
from tests.web.at_motor import STANDING, enter, flags_of, greased_lately

LONG_TAG = "Kühlwasser-Umwälzpumpe-Nord-Strang-2-P-1234567-B"


@pytest.fixture
def shift(app: Flask, plant: Plant, app_database: Database) -> dict[str, str]:
    """A shift half walked, with a flag of each priority, a lock, a long tag: where each page is."""
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        made = {tag: make_motor(session, unit, tag, route_order=i, **more) for i, (tag, more) in enumerate({
            "P-102": {"ammeter": "three"}, "P-103": {"condition": "locked out", "lock_tag": "4471",
                                                     "lock_owner": "R. Adeyemi"},
            "P-104": {"condition": "standby", "interlock": "low-voltage release", "area": "Tank yard"},
            LONG_TAG: {"area": "Tank yard", "service": "water booster of the northern train, spare in the shed"},
        }.items(), start=2)}
        session.commit()
    motors: list[Motor] = [plant.motor, *made.values()]
    greased_lately(app_database, *motors[:3], motors[4])
    greased_lately(app_database, motors[3], days=100)
    client = sign_in(app.test_client(), plant.operator)
    client.get("/sheet")
    saved = enter(client, plant.motor, amps_1="92", look="smoke", remarks="smells burnt")
    enter(client, motors[1], amps_1="81", amps_2="80", amps_3="82", cleanliness="dusty")
    at = f"/motors/{plant.motor.id}"
    return {
        "sign-in": "/sign-in", "sheet": "/sheet", "entry": f"/motors/{motors[1].id}/entry",
        "entry, long tag": f"/motors/{motors[4].id}/entry", "saved": saved.location, "skip": f"{at}/skip",
        "motor": at, "motors": "/motors", "lubrication": "/lubrication", "greasing": f"{at}/grease", "help": "/help",
        "flag": f"/flags/{flags_of(app_database, plant.motor)[0].id}",
        "error": "/nothing-here", "locked": f"/motors/{motors[2].id}/entry",
        "review": f"/review?open={flags_of(app_database, plant.motor)[0].id}",
    }


@pytest.fixture
def asked() -> list[str]:
    """The addresses every page asked for."""
    return []


@pytest.fixture
def tablet(new_context: Callable[..., BrowserContext], live_server: Live,
           asked: list[str]) -> Iterator[Callable[..., Page]]:
    """tablet(theme="night", viewport=UPRIGHT) -> a page whose requests and console are watched."""
    said: list[str] = []

    def listen(request: Request) -> None:
        asked.append(request.url)

    def make(theme: str = "indoor", **options: Any) -> Page:
        context = new_context(**{"viewport": UPRIGHT, **options})
        context.add_cookies([{"name": "theme", "value": theme, "url": live_server.url}])
        context.on("request", listen)
        page = context.new_page()
        page.on("console", lambda line: said.append(f"{page.url}: {line.text}")
                if line.type in ("error", "warning") and "the server responded with a status of" not in line.text
                else None)
        return page

    yield make
    assert said == []


def open_running(page: Page, path: str) -> None:
    page.goto(path)
    if "/entry" in path:
        page.locator("label.pick", has_text="Running").tap()


@pytest.mark.slow
def test_no_page_keeps_anybody_out_in_any_light(
        plant: Plant, shift: dict[str, str], tablet: Callable[..., Page], live_server: Live, asked: list[str]) -> None:
    page = tablet()
    page.goto(shift["sign-in"])
    faults = {"sign-in": grave_in_any_light(page)}
    sign_in_page(page, plant.head_operator)
    for name, path in shift.items():
        if name != "sign-in":
            open_running(page, path)
            faults[name] = grave_in_any_light(page)
    open_running(page, shift["entry"])
    page.locator("#amps_1").fill("12 A")
    page.get_by_role("button", name="Save").tap()
    expect(page.get_by_role("alert")).to_be_visible()
    faults["refused entry"] = grave_in_any_light(page)
    assert {name: found for name, found in faults.items() if found} == {}
    assert [url for url in asked if not url.startswith((live_server.url, "data:"))] == []


#: Of everything in view that can be pressed or typed in: what it is, where it is, how large.
MEASURE = """() => [...document.querySelectorAll(
    "form.entry label.pick, form.entry .num, form.entry .words, form.entry summary, .bar .button, .bar button")]
  .map(e => [e, e.getBoundingClientRect()]).filter(([e, r]) => r.width && r.height)
  .map(([e, r]) => ({what: e.innerText || e.id || e.className, pick: e.matches("label.pick"),
    grand: e.closest(".state, .bar") !== null && e.matches("label, button, .button"),
    inBar: e.closest(".bar") !== null, x: r.x, y: r.y + scrollY, w: r.width, h: r.height}))"""


def apart(a: dict[str, Any], b: dict[str, Any]) -> float:
    """How far two boxes are from each other, along the nearer way; below nought when they overlap."""
    across = max(a["x"], b["x"]) - min(a["x"] + a["w"], b["x"] + b["w"])
    down = max(a["y"], b["y"]) - min(a["y"] + a["h"], b["y"] + b["h"])
    return max(across, down)


@pytest.mark.parametrize("held", [UPRIGHT, ACROSS], ids=["upright", "across"])
@pytest.mark.parametrize("name", ["entry", "entry, long tag"])
def test_a_gloved_finger_finds_every_control_at_the_motor(
        plant: Plant, shift: dict[str, str], tablet: Callable[..., Page], held: dict[str, int], name: str) -> None:
    page = tablet(viewport=held)
    sign_in_page(page, plant.operator)
    open_running(page, shift[name])
    page.locator("label.pick", has_text="Not as usual").tap()
    page.locator("label.pick", has_text="Not right").tap()
    page.locator("#bearing_temp_DE").fill("61")
    page.locator("#winding_temp").fill("77")
    page.locator("summary").tap()
    controls = page.evaluate(MEASURE)
    assert len(controls) > 50
    assert [c for c in controls if c["w"] < 76 or c["h"] < 76] == []
    assert [c for c in controls if c["grand"] and c["h"] < 112] == []
    rows = [c for c in controls if not c["inBar"]]
    close = [(a["what"], b["what"], apart(a, b)) for i, a in enumerate(rows) for b in rows[i + 1:]
             if 0 <= apart(a, b) < 19 or apart(a, b) < -0.5]
    assert close == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_upright_a_running_motor_needs_one_scroll_and_save_stays_in_view(
        plant: Plant, shift: dict[str, str], tablet: Callable[..., Page]) -> None:
    page = tablet()
    sign_in_page(page, plant.operator)
    open_running(page, shift["entry, long tag"])
    end = page.evaluate("document.querySelector('form.entry').getBoundingClientRect().bottom + scrollY")
    assert end <= 2 * UPRIGHT["height"]
    for share in (0, 0.5, 1):
        page.evaluate("share => scrollTo(0, share * document.querySelector('form.entry').scrollHeight)", share)
        if share < 1:
            box = page.get_by_role("button", name=f"Save {LONG_TAG}").bounding_box()
            assert box
            assert box["y"] + box["height"] <= UPRIGHT["height"]


#: Everything with words whose right or lower edge is out of the page, or whose words are cut by its own box.
CUT_OFF = """() => [...document.querySelectorAll("main *, header *, footer *")]
  .filter(e => e.offsetParent && !e.closest(".wide") && !e.classList.contains("unseen") && e.childElementCount === 0
    && (e.innerText || "").trim())
  .filter(e => { const r = e.getBoundingClientRect(); const s = getComputedStyle(e);
    return r.right > innerWidth + 1 || r.left < -1
      || (s.overflow !== "visible" && s.textOverflow !== "ellipsis" && (e.scrollWidth > e.clientWidth + 1)); })
  .map(e => e.innerText.slice(0, 40))"""


def test_upright_the_sheet_shows_every_column_also_of_a_motor_that_may_start_by_itself(
        plant: Plant, shift: dict[str, str], app: Flask, app_database: Database, tablet: Callable[..., Page]) -> None:
    with app_database.reading() as session:  # the first with low-voltage release
        spare, other = (session.scalars(sa.select(Motor).where(Motor.tag == tag)).one() for tag in ("P-104", LONG_TAG))
    client = sign_in(app.test_client(), plant.operator)
    enter(client, spare, STANDING, lubricant_both="not", lubricant_DE="purging", lubricant_ODE="ok")
    enter(client, other, bearing_temp_DE="61", bearing_temp_ODE="59", method="contact", amps_1="101")
    page = tablet()
    sign_in_page(page, plant.operator)
    page.goto(shift["sheet"])
    expect(page.get_by_text("may start by itself").first).to_be_visible()
    assert page.evaluate("[...document.querySelectorAll('.wide')].every(wide => wide.scrollWidth <= wide.clientWidth)")
    expect(page.get_by_role("columnheader", name="Clean")).to_be_in_viewport(ratio=1)


@pytest.mark.parametrize("held", [UPRIGHT, ACROSS], ids=["upright", "across"])
def test_at_twice_the_size_nothing_is_cut_off(
        plant: Plant, shift: dict[str, str], tablet: Callable[..., Page], held: dict[str, int]) -> None:
    page = tablet(viewport={side: length // 2 for side, length in held.items()}, device_scale_factor=2)
    sign_in_page(page, plant.head_operator)
    cut = {}
    for name, path in shift.items():
        if name != "sign-in":
            open_running(page, path)
            wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
            cut[name] = page.evaluate(CUT_OFF) + ([f"{wide} px too wide"] if wide > 0 else [])
    assert {name: found for name, found in cut.items() if found} == {}


#: Whether what has the focus can be seen: neither outside the window nor under the bar.
FOCUS_SEEN = """() => { const e = document.activeElement; const box = e.closest("label") || e;
  const r = box.getBoundingClientRect(); const x = r.x + r.width / 2, y = r.y + Math.min(r.height / 2, 30);
  const top = document.elementFromPoint(x, y); return !!top && (box.contains(top) || top.contains(box)); }"""


def test_a_motor_is_done_by_keyboard_alone_and_the_focus_is_never_hidden(
        plant: Plant, shift: dict[str, str], tablet: Callable[..., Page]) -> None:
    page = tablet(viewport=ACROSS, has_touch=False)
    page.goto("/sign-in")
    page.keyboard.press("Tab")
    hidden: list[str] = []
    wanted = {"state": "running", "look": "nothing wrong", "vibration_both": "as usual", "bearing_feel_ODE": "warm",
              "bearing_feel_DE": "warm", "winding_feel": "warm", "lubricant_both": "ok", "cleanliness": "clean"}
    focus = "[document.activeElement.name || '', document.activeElement.value || '', document.activeElement.type || '']"

    def walk_to(name: str) -> None:
        for _ in range(80):
            if page.evaluate(focus)[0] == name:
                return
            page.keyboard.press("Tab")
            if not page.evaluate(FOCUS_SEEN):
                hidden.append(str(page.evaluate(focus)))
        raise AssertionError(f"{name} is not reached by the Tab key")

    walk_to("sign_in")
    page.keyboard.type(plant.operator.sign_in)
    walk_to("secret")
    page.keyboard.type("brass lantern 4071")
    page.keyboard.press("Enter")
    page.wait_for_url("**/sheet")
    page.goto(shift["entry, long tag"])
    for name in ("state", "look", "vibration_both", "bearing_feel_ODE", "winding_feel", "bearing_feel_DE"):
        walk_to(name)
        choose(page, focus, wanted[name])
    walk_to("amps_1")
    page.keyboard.type("81")
    for name in ("lubricant_both", "cleanliness"):
        walk_to(name)
        choose(page, focus, wanted[name])
    for _ in range(12):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.innerText").startswith("Save"):
            break
    page.keyboard.press("Enter")
    at_result(page)
    expect(page.get_by_role("heading", name="Nothing over a limit")).to_be_visible()
    assert hidden == []


def choose(page: Page, focus: str, value: str) -> None:
    """Space on what has the focus, or the arrows to it: a group of dots is one stop of the Tab key."""
    _, now, kind = page.evaluate(focus)
    page.keyboard.press("Space")
    if kind != "radio":
        assert now == value
        return
    for _ in range(6):
        if page.evaluate(focus)[1] == value:
            return
        page.keyboard.press("ArrowRight")
    raise AssertionError(f"{value} is not reached by the arrow keys")


@pytest.mark.parametrize(("state", "there", "gone"), [
    ("Running", ("vibration_both", "bearing_feel_DE", "winding_feel", "amps_1", "lubricant_both", "cleanliness"), ()),
    ("Standby", ("look", "lubricant_both", "cleanliness"),
     ("vibration_both", "bearing_feel_DE", "bearing_temp_DE", "winding_feel", "winding_temp", "amps_1")),
    ("Out of service", ("look",), ("vibration_both", "amps_1", "lubricant_both", "cleanliness")),
    ("Locked out", ("look",), ("vibration_both", "bearing_feel_DE", "amps_1", "lubricant_both", "cleanliness"))])
def test_the_state_decides_what_is_asked(
        plant: Plant, shift: dict[str, str], tablet: Callable[..., Page], state: str, there: tuple[str, ...],
        gone: tuple[str, ...]) -> None:
    page = tablet()
    sign_in_page(page, plant.operator)
    page.goto(shift["entry, long tag"])
    expect(page.locator("[name=look]").first).to_be_hidden()
    page.locator("label.pick", has_text=re.compile(f"^{state}$")).tap()
    for name in there:
        expect(page.locator(f"[name={name}]").first).to_be_visible()
    for name in gone:
        expect(page.locator(f"[name={name}]").first).to_be_hidden()


@pytest.mark.parametrize("held", [UPRIGHT, ACROSS], ids=["upright", "across"])
def test_nothing_moves_under_the_finger_once_a_page_of_the_walk_is_there(
        plant: Plant, shift: dict[str, str], tablet: Callable[..., Page], held: dict[str, int]) -> None:
    page = tablet(viewport=held)
    page.add_init_script(DEAF)
    sign_in_page(page, plant.operator)
    line, moves = page.locator("[data-on-tablet]"), {}
    expect(line).to_contain_text("round on this tablet")
    for name in WALKED:
        page.goto(shift[name])
        expect(line).to_contain_text("3 not seen")
        moves[name] = [*page.evaluate(MOVED), *page.evaluate("deaf")]
    assert moves == {name: [] for name in WALKED}


WALKED = ("sheet", "entry", "entry, long tag", "locked", "saved", "skip", "motor", "motors", "lubrication", "greasing")
#: Notes when a page answers no touch.
DEAF = """globalThis.deaf = [];
new MutationObserver(() => { if (document.documentElement.matches(".settling")) deaf.push("deaf"); })
  .observe(document, { subtree: true, attributes: true, attributeFilter: ["class"] });"""
#: What the browser says moved by itself since the page was there, after it has been drawn once more: what, from, to.
MOVED = """() => new Promise((told) => requestAnimationFrame(() => setTimeout(() => {
  const seen = [];
  const watch = new PerformanceObserver((list) => seen.push(...list.getEntries()));
  watch.observe({ type: "layout-shift", buffered: true });
  setTimeout(() => told([...seen, ...watch.takeRecords()].flatMap((shift) => shift.sources.map(
    ({ node, previousRect, currentRect }) => [node?.nodeName, node?.className, previousRect.y, currentRect.y]))), 100);
})))"""


def test_a_page_that_moves_by_itself_does_not_take_the_touch_that_was_on_its_way(
        plant: Plant, shift: dict[str, str], tablet: Callable[..., Page]) -> None:
    page = tablet()
    sign_in_page(page, plant.operator)
    page.goto(shift["entry, long tag"])
    expect(page.locator("[data-on-tablet]")).to_contain_text("round on this tablet")
    page.locator("html:not(.settling)").wait_for()
    running = page.locator("label.pick", has_text=re.compile("^Running$"))
    moved, touched = running.evaluate(MORE_THAN_FITS_THE_LINE)
    assert moved > 0
    assert touched == "HTML"  # nothing that answers
    running.tap()
    expect(page.locator("#state")).to_be_checked()


#: The line is drawn with more than it has room for: by how much that moved a choice, and what a touch then meets where
#: the choice was.
MORE_THAN_FITS_THE_LINE = """async (choice) => {
  const start = document.querySelector("script[src$='/offline/start.js']");
  const strip = await import(start.src.replace("start.js", "strip.js"));
  const line = document.querySelector("[data-on-tablet]");
  line.style.width = "380px";
  const { x, y } = choice.getBoundingClientRect();
  await strip.drawStrip(line, "operator", { usedPercent: 99, kept: true });
  return [choice.getBoundingClientRect().y - y, document.elementFromPoint(x + 9, y + 9).nodeName];
}"""


def test_once_undo_is_over_the_buttons_beside_it_stay_where_they_were(
        plant: Plant, shift: dict[str, str], tablet: Callable[..., Page]) -> None:
    page = tablet()
    sign_in_page(page, plant.operator)
    page.goto(shift["saved"])
    undo = page.get_by_role("button", name="Undo")
    places = "() => [...document.querySelectorAll('.bar a')].map((a) => a.offsetLeft)"
    expect(undo).to_contain_text(" s")
    before = page.evaluate(places)
    page.clock.run_for(12_000)
    expect(undo).to_be_hidden()
    assert page.evaluate(places) == before


def test_what_was_typed_wrong_is_found_from_the_summary(
        plant: Plant, shift: dict[str, str], tablet: Callable[..., Page]) -> None:
    page = tablet()
    sign_in_page(page, plant.operator)
    open_running(page, shift["entry, long tag"])
    page.locator("#amps_1").fill("12 A")
    page.get_by_role("button", name="Save").tap()
    summary = page.get_by_role("alert")
    expect(summary).to_contain_text("Nothing is stored yet.")
    expect(page).to_have_title(re.compile("^Error: "))
    summary.get_by_role("link", name="Ammeter").tap()
    expect(page.locator("#amps_1")).to_be_focused()
    expect(page.locator("#amps_1")).to_have_value("12 A")
    expect(page.locator("#amps_1")).to_have_attribute("aria-describedby", "amps_1-error")


def test_a_comma_typed_on_the_tablet_is_never_lost(
        plant: Plant, shift: dict[str, str], tablet: Callable[..., Page]) -> None:
    page = tablet()
    sign_in_page(page, plant.operator)
    open_running(page, shift["entry, long tag"])
    for typed in ("24,8", "7 1/2", "--3", "12 A"):
        page.locator("#amps_1").fill("")
        page.locator("#amps_1").tap()
        page.keyboard.type(typed)
        expect(page.locator("#amps_1")).to_have_value(typed)
    page.mouse.wheel(0, 300)  # a wheel over a figure does not turn it
    expect(page.locator("#amps_1")).to_have_value("12 A")
