"""What a tablet still says without a network: after a power dip, of the lubrication chart, of a start, and of readings;
and what the server says of the same later."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, Route, expect

from app.db import Database
from app.export.tables import figure
from app.rules import trips
from app.rules.rule_table import AT_THE_MOTOR
from app.store.limits import change_limit
from app.store.motors import Motor
from tests.browser.conftest import UPRIGHT, sign_in_page
from tests.browser.test_main_job import look_and_feel, save, tap, type_amps
from tests.browser.test_pages import DEAF, MOVED
from tests.factories import LONG_AGO, Plant, make_motor
from tests.web.at_motor import greased_lately

#: Asked within the page, which waits there.
ALL_KEPT = """async () => {
  for (let i = 0; i < 300 && !(await caches.keys()).some((name) => name.endsWith("-whole")); i++) {
    await new Promise((done) => setTimeout(done, 50));
  }
}"""


@pytest.fixture
def motors(plant: Plant, app_database: Database) -> list[Motor]:
    """P-101A that needs Start, one that restarts by itself, one of which nobody knows, one locked out with sleeves."""
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        made = [plant.motor,
                make_motor(session, unit, "G-305", route_order=2, service="vent fan", interlock="low-voltage release"),
                make_motor(session, unit, "X-9", route_order=3, service="sump pump", interlock=None, ammeter="three"),
                make_motor(session, unit, "K-201", route_order=4, service="gas compressor", condition="locked out",
                           lock_tag="L-17", lock_owner="R. Field",
                           plate={"de_bearing": "sleeve", "ode_bearing": "sleeve"})]
        change_limit(session, unit, "bearing_hot_grease_alarm_c", 80.0, "G-305", "runs cool", None, LONG_AGO)
        session.commit()
    greased_lately(app_database, *made)
    return made


@pytest.fixture
def tablet(plant: Plant, motors: list[Motor], new_context: Callable[..., BrowserContext]) -> Page:
    """Upright, signed in, the shift's pages on it, and the network gone."""
    page = new_context(viewport=UPRIGHT).new_page()
    sign_in_page(page, plant.operator)
    page.evaluate(ALL_KEPT)
    page.context.set_offline(True)
    return page


def test_after_a_dip_the_list_is_there_as_of_when_it_was_known(tablet: Page, shot: Callable[[Page, str], None]) -> None:
    tablet.goto("/dips")
    expect(tablet.get_by_role("status").first).to_contain_text("No network: this list is as of 07:12")
    stay_clear = tablet.locator("section", has_text="Stay clear: these restart by themselves")
    expect(stay_clear.locator("tbody th")).to_contain_text("G-305")
    expect(tablet.locator("section", has_text="Not known whether they restart")).to_contain_text("X-9")
    expect(tablet.locator("section", has_text="These need Start").last).to_contain_text("P-101A")
    expect(tablet.locator("section", has_text="Leave alone")).to_contain_text("K-201: locked out, tag L-17, R. Field")
    expect(tablet.get_by_role("button", name="Log the dip")).to_be_hidden()
    shot(tablet, "dips-no-network")
    tablet.goto("/lubrication/chart")
    expect(tablet.get_by_role("status").first).to_contain_text("No network: this chart is as of 07:12")
    expect(tablet.locator("table.lube")).to_contain_text("K-201")
    shot(tablet, "chart-no-network")
    tablet.goto("/dips")
    tablet.context.set_offline(False)
    tablet.evaluate("dispatchEvent(new Event('online'))")
    expect(tablet.get_by_role("button", name="Log the dip")).to_be_visible()
    expect(tablet.get_by_text("No network")).to_be_hidden()
    assert tablet.locator("html").get_attribute("data-kept") is None


def test_a_start_entered_here_is_counted_and_yes_is_never_said(tablet: Page, motors: list[Motor],
                                                               shot: Callable[[Page, str], None]) -> None:
    tablet.goto(f"/motors/{motors[1].id}/start")
    word = tablet.locator("[data-alone] .word")
    expect(word).to_have_text("No, it runs")
    tablet.get_by_role("button", name="Stopped by hand").tap()
    tablet.get_by_role("link", name="Back to G-305").tap()
    expect(word).to_have_text("Ask the control room")
    tablet.locator("#seen_at").fill("06:50")
    tablet.get_by_role("button", name="It ran").tap()
    tablet.get_by_role("link", name="Back to G-305").tap()
    expect(word).to_have_text("Not before 07:50:00")
    expect(tablet.locator(".answer")).to_contain_text("1 of 1 starts used in 60 min (general practice)")
    expect(tablet.locator(".answer")).to_contain_text("ask the control room before you start")
    expect(tablet.locator("[data-condition]")).to_contain_text("as of 07:12")
    shot(tablet, "start-no-network")
    assert "yes" not in re.sub("no yes", "", tablet.locator(".answer").inner_text().lower())


#: motor in walking order, amps, what else is tapped: (field, choice); each is an entry of its own
WALK: list[tuple[int, str, list[tuple[str, str]], dict[str, str]]] = [
    (0, "90,5", [("vibration_both", "Not as usual"), ("vibration_feel_DE", "Severe")], {}),
    (1, "87.0", [], {"bearing_temp_DE": "83.5", "bearing_temp_ODE": "62", "volts_1": "510", "volts_2": "470",
                     "volts_3": "455"}),
    (2, "", [("cleanliness", "Vents blocked")], {"amps_1": "80", "amps_2": "80", "amps_3": "2.5", "winding_temp": "167",
                                                 "vibration_DE": "3.1"}),
    (3, "101", [], {"bearing_temp_ODE": "95.1"}),
]


def test_what_was_found_here_is_what_the_server_finds_on_receiving(tablet: Page, motors: list[Motor]) -> None:
    for number, amps, taps, typed in WALK:
        tablet.goto(f"/motors/{motors[number].id}/entry")
        look_and_feel(tablet)
        for field, choice in taps:
            tap(tablet, field, choice)
        if amps:
            type_amps(tablet, amps)
        for field, text in typed.items():
            box = tablet.locator(f"#{field}")
            box.evaluate("(box) => { const more = box.closest('details'); if (more) more.open = true; }")
            box.evaluate("(box, text) => { box.value = text; box.dispatchEvent(new Event('input', {bubbles: true})) }",
                         text)
        tablet.get_by_role("button", name="Save").tap()
        question = tablet.get_by_role("button", name=re.compile("^Yes|kept|right", re.IGNORECASE))
        expect(tablet.locator("[data-stands]").or_(question.first)).to_be_visible()
        if not tablet.locator("[data-stands]").count():
            question.first.tap()
        expect(tablet.locator("[data-stands]")).to_have_text("On this tablet")
    tablet.context.set_offline(False)
    tablet.evaluate("dispatchEvent(new Event('online'))")
    expect(tablet.locator("[data-on-tablet]")).to_contain_text("0 waiting")
    entries: list[dict[str, Any]] = tablet.evaluate(
        "import(document.querySelector('script[src*=\"offline/start.js\"]').src.replace('start.js', 'queue.js'))"
        ".then((queue) => queue.all())")
    assert sorted(entry["motor"]["tag"] for entry in entries) == ["G-305", "K-201", "P-101A", "X-9"]
    here = {name for names in AT_THE_MOTOR.values() for name in names}
    for entry in entries:
        told = [{**found, **{name: figure(found[name]) for name in ("value", "limit")}} for found in entry["findings"]]
        assert told == [found for found in entry["answer"] if found["rule"] in here], entry["motor"]
        assert entry["findings"]
    assert {found["rule"] for entry in entries for found in entry["findings"]} >= {
        "amps_over_nameplate", "phase_unbalance", "volts_off", "bearings_uneven", "bearing_hot", "winding_hot",
        "vibration", "dirty", "started_locked_out"}


def test_what_only_the_server_keeps_stays_on_the_page_until_the_server_is_there(
        tablet: Page, motors: list[Motor], shot: Callable[[Page, str], None]) -> None:
    tablet.context.set_offline(False)
    tablet.goto(f"/motors/{motors[0].id}/grease?end=DE")
    tablet.locator("#grams").fill("29.7")
    tablet.locator("label.pick", has_text="Out, and back in").tap()
    tablet.locator("label.pick", has_text="The chart's").tap()
    tablet.locator("#why").fill("squealed on the round")
    tablet.context.set_offline(True)
    record = tablet.locator(".bar button.main")
    record.tap()
    told = tablet.locator("[data-held]")
    expect(told).to_contain_text("Not sent: the server cannot be reached from here, and nothing is stored.")
    expect(told).to_be_focused()
    expect(tablet.locator("#grams")).to_have_value("29.7")
    shot(tablet, "greasing-not-sent")
    tablet.context.set_offline(False)
    record.tap()
    tablet.wait_for_url("**/greasings/*")
    expect(tablet.locator("main")).to_contain_text("29.7 g")


def test_without_a_network_the_next_page_comes_with_as_much_place_as_the_line_needs(
        tablet: Page, motors: list[Motor]) -> None:
    tablet.add_init_script(DEAF)
    tablet.goto(f"/motors/{motors[0].id}/skip")
    tablet.get_by_role("button", name="No time this round").tap()
    line = tablet.locator("[data-on-tablet]")
    expect(line).to_contain_text("1 waiting, oldest 07:12")
    expect(line).to_contain_text("no server since 07:12")
    for motor in motors[1:]:
        tablet.wait_for_timeout(400)  # the touch before is over
        tablet.goto(f"/motors/{motor.id}/entry")
        expect(line).to_contain_text("no server since 07:12")
        assert [*tablet.evaluate(MOVED), *tablet.evaluate("deaf")] == []


def test_a_correction_stays_on_the_page_too(tablet: Page, motors: list[Motor]) -> None:
    # Its form has a field called "method", which hides the form's own from scripts.
    tablet.context.set_offline(False)
    tablet.goto(f"/motors/{motors[0].id}/entry")
    look_and_feel(tablet)
    type_amps(tablet, "81")
    save(tablet)
    tablet.get_by_role("link", name="Correct this entry").tap()
    tablet.locator("#replaces_why").fill("misread")
    tablet.context.set_offline(True)
    tablet.get_by_role("button", name="Save the correction").tap()
    expect(tablet.locator("[data-held]")).to_contain_text("Not sent")
    expect(tablet.locator("#replaces_why")).to_have_value("misread")


def test_undo_says_that_it_needs_the_server_and_goes_on_saying_it(tablet: Page, motors: list[Motor]) -> None:
    tablet.context.set_offline(False)
    tablet.goto(f"/motors/{motors[0].id}/entry")
    look_and_feel(tablet)
    type_amps(tablet, "81")
    save(tablet)
    undo = tablet.get_by_role("button", name="Undo")
    expect(undo).to_contain_text(" s")
    tablet.route("**/healthz", lambda route: route.abort())  # the tablet shows a network, and no server is behind it
    undo.tap()
    expect(undo).to_have_text("Undo needs the network: correct it later")
    tablet.clock.run_for(12_000)
    expect(undo).to_have_text("Undo needs the network: correct it later")


def test_a_list_asks_again_at_once_where_the_network_comes_back_while_it_asks_in_vain(tablet: Page) -> None:
    asked: list[Route] = []
    tablet.route("**/dips", lambda route: route.continue_() if asked else asked.append(route))  # the first one waits
    tablet.goto("/dips")
    expect(tablet.get_by_role("status").first).to_contain_text("No network: this list is as of 07:12")
    while not asked:
        tablet.wait_for_timeout(50)
    tablet.context.set_offline(False)
    tablet.evaluate("dispatchEvent(new Event('online'))")
    asked[0].abort()
    expect(tablet.get_by_role("button", name="Log the dip")).to_be_visible()


def test_a_trip_is_entered_without_a_network_from_the_start_page_on(tablet: Page, motors: list[Motor]) -> None:
    tablet.goto(f"/motors/{motors[0].id}/start")
    tablet.locator("#seen_at").fill("07:02")
    tablet.get_by_role("button", name="Tripped while running").tap()
    tablet.wait_for_url("**/trip")
    expect(tablet.get_by_role("status").first).to_have_text("You wrote 07:02 under “When”. Write it again here.")
    tablet.locator("#seen_at").fill("07:02")
    tablet.locator("label.pick", has_text="Overload relay").tap()
    tablet.get_by_role("button", name="Record the trip").tap()
    expect(tablet.locator("[data-stands]")).to_have_text("On this tablet")
    expect(tablet.locator("[data-on-tablet]")).to_contain_text("1 waiting")


@pytest.mark.parametrize(("place", "opened", "hands_off", "steps"), [
    (0, "Fuse", "Leave it stopped. Press nothing, reset nothing; call a qualified person.",
     trips.trip_guide(trips.FUSE)),
    (0, "Overload relay", None, trips.trip_guide(trips.OVERLOAD, second_in_shift=True)),
    (1, "Low voltage", "Stay clear: it restarts by itself when the volts return.",
     trips.trip_guide(trips.LOW_VOLTAGE, "low-voltage release")),
], ids=["fuse", "overload", "low voltage, restarts by itself"])
def test_without_a_network_too_a_trip_says_what_it_asks_for_and_of_whom(
        tablet: Page, motors: list[Motor], shot: Callable[[Page, str], None], place: int, opened: str,
        hands_off: str | None, steps: tuple[trips.Step, ...]) -> None:
    tablet.goto(f"/motors/{motors[place].id}/trip")
    tablet.locator("label.pick", has_text=opened).tap()
    tablet.get_by_role("button", name="Record the trip").tap()
    expect(tablet.locator("[data-stands]")).to_have_text("On this tablet")
    expect(tablet.locator("ol li")).to_have_text([f"{step.does} ({step.who})" for step in steps])
    expect(tablet.locator(".caution")).to_contain_text("Never reset and retry in a row.")
    if hands_off:
        expect(tablet.get_by_role("alert")).to_contain_text(hands_off)
    else:
        expect(tablet.get_by_role("alert")).to_have_count(0)
    shot(tablet, f"trip-{opened}")
    tablet.reload()  # it is the entry's own, not the form's
    expect(tablet.locator("ol li")).to_have_count(len(steps))


def test_a_stop_taken_back_leads_to_the_page_it_came_from(tablet: Page, motors: list[Motor]) -> None:
    tablet.goto(f"/motors/{motors[0].id}/start")
    tablet.get_by_role("button", name="Stopped by hand").tap()
    expect(tablet.locator("[data-result]")).to_contain_text("Stop")
    expect(tablet.locator("[data-result]")).to_contain_text("by hand")
    tablet.get_by_role("button", name="Take it back").tap()
    tablet.wait_for_url(f"**/motors/{motors[0].id}/start")
    expect(tablet.locator("[data-on-tablet]")).to_contain_text("0 waiting")
