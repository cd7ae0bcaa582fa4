"""A tablet that a crew shares, by finger: names, PIN, what is half typed, the lock, no way back for the next one."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
import sqlalchemy as sa
from playwright.sync_api import BrowserContext, Page, expect

from app.db import Database
from app.store.rounds import Reading
from tests.browser.axe import grave
from tests.browser.conftest import ACROSS, UPRIGHT, sign_in_page
from tests.browser.tablets import at_result, until
from tests.browser.test_main_job import look_and_feel, type_amps
from tests.browser.test_pages import CUT_OFF
from tests.conftest import Clock
from tests.factories import SECRET, Plant, make_motor, make_person
from tests.web.tablets_ground import OTHER_PIN, PIN, give_pin

LONG_NAME = "Maximiliana Featherstonehaugh-Wojciechowska of the long night"


@pytest.fixture
def crew(plant: Plant, app_database: Database) -> Plant:
    """A crew of many names, two with a PIN."""
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        for i, name in enumerate(("Robin Alder", "Casey Birch", "Ødegård Åse", "王芳", LONG_NAME, "Jo")):
            make_person(session, unit, sign_in=f"hand-{i}", name=name)
        make_motor(session, unit, "P-102", route_order=2)
        session.commit()
    give_pin(app_database, plant.operator)
    give_pin(app_database, plant.head_operator, OTHER_PIN)
    return plant


def enrol(page: Page, plant: Plant) -> None:
    """As a supervisor does it: on the tablet, then out of hand."""
    sign_in_page(page, plant.supervisor)
    page.goto("/settings/tablets")
    page.get_by_label("Name of the tablet").fill("North 2")
    page.get_by_role("button", name="Enrol this browser").tap()
    expect(page.get_by_role("status")).to_contain_text("This is now “North 2”")
    page.get_by_role("button", name="Not you?").tap()
    expect(page.get_by_role("heading", name="Tap your name")).to_be_visible()


def take(page: Page, name: str, pin: str) -> int:
    """Taps the name and the PIN on the pad; how many taps it took."""
    page.get_by_role("button", name=re.compile(f"^{name}")).first.tap()
    for figure in pin:
        page.locator(".pad").get_by_role("button", name=figure, exact=True).tap()
    with page.expect_navigation():
        page.get_by_role("button", name="Sign in").tap()
    return 2 + len(pin)


def hand_on(page: Page) -> None:
    page.get_by_role("button", name="Not you?").tap()
    page.wait_for_url("**/sign-in**")


@pytest.mark.parametrize("held", [ACROSS, UPRIGHT], ids=["across", "upright"])
def test_a_tablet_changes_hands_in_ten_touches_and_what_was_half_typed_waits_for_its_own_person(
        crew: Plant, new_context: Callable[..., BrowserContext], held: dict[str, int],
        shot: Callable[[Page, str], None]) -> None:
    page = new_context(viewport=held).new_page()
    enrol(page, crew)
    shot(page, f"names-{held['width']}")
    assert grave(page) == []
    assert page.evaluate(CUT_OFF) == []
    page.get_by_role("button", name="Operator", exact=True).tap()
    expect(page.get_by_role("heading", name="Operator")).to_be_visible()
    page.locator("#secret").fill("80")
    shot(page, f"pin-{held['width']}")
    assert grave(page) == []
    page.go_back()
    # "Not you?" was one, then the name, six figures and Sign in: at half a second each well under five seconds
    assert 1 + take(page, "Operator", PIN) <= 9

    at_motor = f"/motors/{crew.motor.id}/entry"
    page.goto(at_motor)
    key = page.locator("[name=id]").input_value()
    page.locator("label.pick", has_text="Running").tap()
    page.locator("label.pick", has_text="Nothing wrong").first.tap()
    page.locator("#amps_1").fill("81,5")
    page.locator("summary").tap()
    page.locator("#remarks").fill("hums in the <b>fan</b> cowl")
    until(page, "() => localStorage.length === 1")
    hand_on(page)
    assert "hums" not in str(page.evaluate("JSON.stringify(localStorage)"))  # closed with its person's key

    page.go_back()
    expect(page.get_by_role("heading", name="Tap your name")).to_be_visible()
    take(page, "Head Operator", OTHER_PIN)
    page.goto(at_motor)
    expect(page.locator(".draft")).to_have_count(0)
    expect(page.locator("#amps_1")).to_have_value("")
    expect(page.locator("[name=state]:checked")).to_have_count(0)
    page.locator("label.pick", has_text="Standby").tap()
    until(page, "() => localStorage.length === 2")
    hand_on(page)

    take(page, "Operator", PIN)
    page.goto("/motors")
    page.goto(f"/motors/{crew.motor.id + 1}/entry")
    expect(page.locator(".draft")).to_have_count(0)  # another motor
    page.goto(at_motor)
    expect(page.locator(".draft")).to_contain_text("You began this motor at 07:12")
    expect(page.locator("[name=state]:checked")).to_have_value("running")
    expect(page.locator("#amps_1")).to_have_value("81,5")
    expect(page.locator("#remarks")).to_have_value("hums in the <b>fan</b> cowl")
    expect(page.locator("[name=vibration_both]:checked")).to_have_count(0)  # nothing that was not typed
    assert page.locator("[name=id]").input_value() == key
    shot(page, f"draft-{held['width']}")
    assert grave(page) == []

    page.get_by_role("button", name="Start with an empty page").tap()
    expect(page.locator(".draft")).to_have_count(0)
    expect(page.locator("#amps_1")).to_have_value("")
    page.locator("label.pick", has_text="Locked out").tap()
    page.locator("label.pick", has_text="Nothing wrong").first.tap()
    until(page, "() => localStorage.length === 2")
    page.get_by_role("button", name="Save").tap()
    at_result(page)
    until(page, "() => localStorage.length === 1")  # saved: only the other one's is left
    page.goto(at_motor)
    expect(page.locator(".draft")).to_have_count(0)


def test_a_tablet_nobody_touches_asks_for_a_name_and_keeps_what_was_typed(
        crew: Plant, new_context: Callable[..., BrowserContext], clock: Clock) -> None:
    context = new_context()
    page = context.new_page()
    enrol(page, crew)
    take(page, "Operator", PIN)
    page.goto(f"/motors/{crew.motor.id}/entry")
    page.locator("label.pick", has_text="Running").tap()
    page.locator("#amps_1").fill("79")
    until(page, "() => localStorage.length === 1")
    context.clock.set_fixed_time(clock.advance(minutes=11))
    page.evaluate("dispatchEvent(new Event('focus'))")
    page.wait_for_url(f"**/sign-in?next=*{crew.motor.id}*")
    take(page, "Operator", PIN)
    expect(page).to_have_url(f"/motors/{crew.motor.id}/entry")
    expect(page.locator("#amps_1")).to_have_value("79")
    expect(page.locator(".draft")).to_contain_text("If you do not stand there now, write 07:12 under “Entered later”.")
    hand_on(page)
    context.clock.set_fixed_time(clock.advance(hours=12) + timedelta(seconds=1))
    take(page, "Operator", PIN)
    page.goto(f"/motors/{crew.motor.id}/entry")
    expect(page.locator("#amps_1")).to_have_value("")  # what was felt in another shift is not felt now
    expect(page.locator(".draft")).to_have_count(0)


def test_without_the_network_the_tablet_asks_whether_it_is_still_the_same_person_and_lets_nobody_else_in(
        crew: Plant, new_context: Callable[..., BrowserContext], clock: Clock,
        shot: Callable[[Page, str], None]) -> None:
    context = new_context(viewport=UPRIGHT)
    page = context.new_page()
    enrol(page, crew)
    take(page, "Operator", PIN)
    page.goto(f"/motors/{crew.motor.id}/entry")
    page.locator("label.pick", has_text="Running").tap()
    context.set_offline(True)
    page.get_by_role("button", name="Not you?").tap()
    lock = page.get_by_role("dialog")
    expect(lock.get_by_role("heading", name="Still Operator?")).to_be_visible()
    page.keyboard.press("Escape")
    expect(lock).to_be_visible()
    lock.get_by_role("button", name="No, somebody else").tap()
    expect(lock.get_by_role("status")).to_contain_text("nobody else can sign in here")
    shot(page, "lock-offline")
    lock.get_by_role("button", name="Yes, Operator: go on").tap()
    expect(lock).to_have_count(0)
    expect(page.locator("[name=state]:checked")).to_have_value("running")
    context.clock.set_fixed_time(clock.advance(minutes=11))
    page.evaluate("dispatchEvent(new Event('focus'))")
    expect(lock).to_contain_text("Nobody touched this tablet for 10 min")
    context.set_offline(False)
    lock.get_by_role("button", name="No, somebody else").tap()
    page.wait_for_url("**/sign-in**")


def test_a_touch_on_the_page_keeps_the_tablet_awake(
        crew: Plant, new_context: Callable[..., BrowserContext], clock: Clock) -> None:
    context = new_context()
    page = context.new_page()
    enrol(page, crew)
    take(page, "Operator", PIN)
    page.goto(f"/motors/{crew.motor.id}/entry")
    for _ in range(3):
        context.clock.set_fixed_time(clock.advance(minutes=9))
        with page.expect_response("**/still-here") as told:
            page.locator("label.pick", has_text="Running").tap()
        assert told.value.status == 204
    page.reload()
    expect(page.get_by_role("link", name="Operator", exact=True)).to_be_visible()


def test_an_office_machine_has_neither_names_nor_lock(crew: Plant, page: Page) -> None:
    sign_in_page(page, crew.operator, SECRET)
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()
    expect(page.get_by_role("button", name="Not you?")).to_have_count(0)
    page.get_by_role("button", name="Sign out").tap()
    expect(page.locator("#sign_in")).to_be_visible()
    expect(page.get_by_text("Robin Alder")).to_have_count(0)


def test_an_entry_that_waits_through_a_change_of_hands_is_sent_by_the_next_under_who_made_it(
        crew: Plant, new_context: Callable[..., BrowserContext], app_database: Database) -> None:
    context = new_context(viewport=UPRIGHT)
    page = context.new_page()
    enrol(page, crew)
    take(page, "Operator", PIN)
    until(page, "async () => (await caches.keys()).some((name) => name.endsWith('-whole'))")
    context.route("**/tablet/readings", lambda route: route.abort())
    page.goto(f"/motors/{crew.motor.id}/entry")
    look_and_feel(page)
    type_amps(page, "81")
    page.get_by_role("button", name="Save").tap()
    expect(page.locator("[data-on-tablet]")).to_contain_text("1 waiting")
    assert page.evaluate("Object.keys(localStorage).filter((name) => name.startsWith('draft:')).length") == 0
    hand_on(page)
    assert page.evaluate("async () => (await caches.keys()).filter((name) => name.startsWith('pages-'))") == []
    page.context.set_offline(True)
    page.goto(f"/motors/{crew.motor.id}/entry")
    assert "P-101A" not in page.content()  # nobody is signed in: no page of the one before
    page.context.set_offline(False)
    page.goto("/sign-in")
    take(page, "Head Operator", OTHER_PIN)
    assert stored_by(app_database) == []
    context.unroute("**/tablet/readings")
    page.goto("/sheet")
    expect(page.locator("[data-on-tablet]")).to_contain_text("0 waiting")
    assert stored_by(app_database) == [("Operator", 81.0)]


def stored_by(database: Database) -> list[tuple[str, float | None]]:
    with database.reading() as session:
        return [(r.person.name, r.current_a_1) for r in session.scalars(sa.select(Reading))]
