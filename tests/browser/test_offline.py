"""The round without a network: kept on the tablet, sent once, under who made it, and nothing lost on the way."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
import sqlalchemy as sa
from flask import Flask
from playwright.sync_api import Browser, BrowserContext, Locator, Page, Route, expect

from app.db import Database
from app.store.motors import Motor, tag_key
from app.store.rounds import Reading
from tests.browser.conftest import UPRIGHT, sign_in_page
from tests.browser.tablets import FILL, Unreliable, kill, served, switch_on, taken_along
from tests.browser.test_main_job import look_and_feel, save, type_amps
from tests.conftest import Clock
from tests.factories import NOW, Plant, make_motor
from tests.web.at_motor import greased_lately


@pytest.fixture
def motors(plant: Plant, app_database: Database) -> list[Motor]:
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        made = [plant.motor, *(make_motor(session, unit, f"P-{n}", route_order=n, service=f"pump {n}")
                               for n in (102, 103))]
        session.commit()
    greased_lately(app_database, *made)
    return made


def stored(database: Database) -> list[Reading]:
    with database.reading() as session:
        return list(session.scalars(sa.select(Reading).options(
            sa.orm.joinedload(Reading.person), sa.orm.joinedload(Reading.motor))
            .order_by(Reading.taken_at, Reading.id)))


def save_here(page: Page, amps: str = "81", stands: str = "On this tablet") -> None:
    """An entry at P-101A that the server does not get yet, or does not take; ends on what is shown of it."""
    page.get_by_role("link", name="Go to P-101A").tap()
    look_and_feel(page)
    type_amps(page, amps)
    page.get_by_role("button", name="Save").tap()
    expect(page.locator("[data-stands]")).to_have_text(stands)


def test_what_is_saved_without_a_network_is_here_first_and_at_the_server_later(
        plant: Plant, motors: list[Motor], new_context: Callable[..., BrowserContext], app_database: Database,
        shot: Callable[[Page, str], None]) -> None:
    """One online, one act now offline, one skipped offline; then the network is back."""
    context = new_context(viewport=UPRIGHT)
    page = context.new_page()
    sign_in_page(page, plant.operator)
    taken_along(page)
    page.get_by_role("link", name="Go to P-101A").tap()
    look_and_feel(page)
    type_amps(page, "81")
    save(page)
    context.set_offline(True)
    page.get_by_role("link", name="Next: P-102").tap()
    look_and_feel(page)
    type_amps(page, "105,0")  # 87 A times 1.15 is 100.05 A
    page.get_by_role("button", name="Save").tap()
    expect(page.locator("[data-stands]")).to_have_text("On this tablet")
    expect(page.get_by_role("alert")).to_contain_text("Nobody has been told yet: use the radio.")
    expect(page.locator(".find.act").nth(1)).to_contain_text("amps over nameplate")
    expect(page.get_by_text("105,0 A → 105 A")).to_be_visible()
    shot(page, "offline-result")
    page.get_by_role("link", name="Next: P-103").tap()
    page.get_by_role("link", name="Skip…").tap()
    page.get_by_role("button", name="No time this round").tap()
    expect(page.get_by_role("status").first).to_contain_text("P-103 skipped: no time this round. On this tablet.")
    expect(page.locator("[data-on-tablet]")).to_contain_text("2 waiting")
    expect(page.locator("tr", has_text="P-102")).to_contain_text("running, 07:12 · on this tablet")
    expect(page.locator(".strip .right")).to_contain_text("2 of 3")
    shot(page, "offline-sheet")
    page.locator("tr", has_text="P-102").get_by_role("link", name="running, 07:12").tap()
    expect(page.get_by_role("alert")).to_contain_text("Nobody has been told yet")
    context.set_offline(False)
    expect(page.locator("[data-stands]")).to_have_text("Received 07:12")
    expect(page.get_by_role("alert")).to_contain_text("Tell the head operator by radio at once.")
    expect(page.get_by_text("Nobody has been told yet")).to_have_count(0)
    expect(page.locator("[data-on-tablet]")).to_contain_text("0 waiting")
    assert sorted((r.motor.tag, r.current_a, r.skip_reason) for r in stored(app_database)) == [
        ("P-101A", (81.0,), None), ("P-102", (105.0,), None), ("P-103", (), "no time this round")]


def test_what_waits_is_sent_by_itself_where_no_event_tells_that_the_server_is_back(
        plant: Plant, motors: list[Motor], new_context: Callable[..., BrowserContext],
        app_database: Database) -> None:
    # Some browsers and web views tell neither "online" nor start the worker: the clock alone must bring it.
    page = new_context(viewport=UPRIGHT).new_page()
    sign_in_page(page, plant.operator)
    taken_along(page)
    page.route("**/tablet/readings", lambda route: route.abort())
    save_here(page)
    expect(page.locator("[data-on-tablet]")).to_contain_text("1 waiting")
    page.unroute("**/tablet/readings")
    page.clock.run_for(61_000)
    expect(page.locator("[data-on-tablet]")).to_contain_text("0 waiting")
    assert [r.current_a for r in stored(app_database)] == [(81.0,)]


def walk(page: Page, context: BrowserContext, clock: Clock, count: int) -> list[tuple[str, datetime]]:
    """So many motors one after the other, a minute each, as the black button leads; what was saved when."""
    walked = []
    for _ in range(count):
        page.locator("form.entry .bar button.main").wait_for()
        page.wait_for_load_state()  # drawn before its scripts have run: sent then, it would go to the server away
        tag = page.locator("h1").inner_text()
        context.clock.set_fixed_time(clock.advance(minutes=1))
        page.evaluate(FILL, "81")
        page.locator("[data-result]").wait_for()
        walked.append((tag, clock.now))
        page.locator(".bar a.main").click()
        page.wait_for_url(lambda address: "/tablet/" not in address)
    return walked


def make_route(database: Database, plant: Plant, count: int) -> None:
    with database.writing() as session:
        unit = session.merge(plant.unit)
        made = [plant.motor, *(make_motor(session, unit, f"P-{n}", route_order=n, service=f"pump {n}")
                               for n in range(102, 101 + count))]
        session.commit()
    greased_lately(database, *made)


def test_forty_motors_walked_without_a_network_and_the_browser_killed_are_forty_entries(
        app: Flask, plant: Plant, app_database: Database, clock: Clock, browser: Browser, tmp_path: Path) -> None:
    """The network is cut once the sheet is open. After 20 motors the browser is killed; it comes back without a
    network and without a server's word. Then a server that stores and drops every third answer; two pages send."""
    make_route(app_database, plant, 40)
    weak, profile = Unreliable(app.wsgi_app), tmp_path / "profile"
    with served(app, weak) as url:
        context = switch_on(browser, profile, url, clock.now)
        page = context.pages[0]
        sign_in_page(page, plant.operator)
        taken_along(page)
        context.set_offline(True)
        page.get_by_role("link", name="Go to P-101A").tap()
        walked = walk(page, context, clock, 20)
        kill(profile)

        weak.instead = ("502 Bad Gateway", b"no server behind this proxy")
        context = switch_on(browser, profile, url, clock.now)
        context.set_offline(True)
        page = context.pages[0]
        page.goto("/sheet")
        expect(page.locator("[data-on-tablet]")).to_contain_text("20 done20 waiting, oldest 07:13")
        page.locator(".bar a.main").click()
        walked += walk(page, context, clock, 20)
        expect(page.locator("[data-on-tablet]")).to_contain_text("40 done40 waiting")
        assert stored(app_database) == []

        context.set_offline(False)  # a network again, but a proxy whose server is away
        page.evaluate("dispatchEvent(new Event('online'))")
        page.goto("/tablet/entries")
        page.get_by_role("button", name="Send now").click()
        expect(page.locator("[data-on-tablet]")).to_contain_text("40 waiting")

        arrived = clock.advance(minutes=30)  # both clocks, while nothing gets through
        context.clock.set_fixed_time(arrived)
        page.wait_for_timeout(1000)
        weak.instead, weak.drop_every = None, 3
        other = context.new_page()  # two pages of one tablet send at once; the sign-in died with the browser
        other.goto("/sign-in")
        for each in (page, other):
            each.evaluate("dispatchEvent(new Event('online'))")
        for _ in range(120):  # the line is hidden before it is first drawn: the server's rows tell first
            if len(stored(app_database)) == 40:
                break
            other.wait_for_timeout(500)
        weak.drop_every = 0  # the last answers may have gone dead: asked once more, each is known to be there
        for each in (page, other):
            each.evaluate("dispatchEvent(new Event('online'))")
        expect(other.locator("[data-on-tablet]")).to_be_hidden(timeout=90_000)  # nobody is signed in, and nothing waits
        context.close()
    assert weak.posts > 40  # some were sent again
    rows = stored(app_database)
    assert [(r.motor.tag, r.taken_at) for r in rows] == walked
    assert {r.person.sign_in for r in rows} == {"operator"}
    assert {r.received_at for r in rows} == {arrived}
    assert {r.clock_offset_s for r in rows} == {0.0}


def test_what_one_leaves_on_the_tablet_is_sent_as_theirs_and_none_of_their_pages_stay(
        plant: Plant, motors: list[Motor], new_context: Callable[..., BrowserContext], app_database: Database,
        shot: Callable[[Page, str], None]) -> None:
    """A guest network's page answers 200 to every entry: that is no receipt. The operator leaves the entry on the
    tablet, the head operator takes over, and it goes through under the operator's name."""
    context = new_context(viewport=UPRIGHT)
    page = context.new_page()
    sign_in_page(page, plant.operator)
    taken_along(page)
    context.set_offline(True)
    save_here(page)
    page.get_by_role("button", name="Sign out").tap()
    expect(page.get_by_role("alertdialog")).to_contain_text("Not signed out: 1 entry of yours is not at the server yet")
    shot(page, "offline-sign-out")
    page.get_by_role("button", name="Leave them here").tap()
    expect(page.locator("[data-leaving]")).to_contain_text("you are still signed in")
    page.goto("/tablet/entries")
    page.get_by_role("button", name="Show as text").tap()
    expect(page.locator("pre")).to_contain_text("P-101A feed pump")
    expect(page.locator("pre")).to_contain_text("Amps: 81 A")
    page.route("**/tablet/readings", lambda route: route.fulfill(status=200, body="guest network"))
    context.set_offline(False)
    page.get_by_role("button", name="Send now").tap()
    page.get_by_role("button", name="Sign out").tap()
    page.get_by_role("button", name="Leave them here").tap()
    page.wait_for_url("**/sign-in*")
    assert stored(app_database) == []
    assert page.evaluate("async () => (await caches.keys()).filter((name) => name.startsWith('pages-'))") == []
    expect(page.locator("[data-on-tablet]")).to_contain_text("1 waiting")
    page.unroute("**/tablet/readings")
    page.reload()  # the entry goes by its ticket; the line above goes with it, and nothing moves under the finger after
    expect(page.locator("[data-on-tablet]")).to_be_hidden()
    sign_in_page(page, plant.head_operator)
    expect(page.locator("[data-on-tablet]")).to_be_hidden()
    assert [(r.motor.tag, r.person.sign_in) for r in stored(app_database)] == [("P-101A", "operator")]
    page.goto(f"/entries/{stored(app_database)[0].id}")
    sent = re.compile("^Operator, sent (by Head Operator|while nobody was signed in)$")
    expect(page.get_by_text(sent)).to_be_visible()


def drawn_again(page: Page) -> None:
    """As when another page of this tablet stored or sent something."""
    page.evaluate("() => new BroadcastChannel('round-sheet').postMessage('change')")
    page.wait_for_timeout(700)


def takes_touches(page: Page) -> None:
    """A page that has just moved takes none."""
    page.locator("html:not(.settling)").wait_for()


def pressed_while_drawn_again(page: Page, control: Locator) -> None:
    """The finger is on it while the page is drawn again."""
    takes_touches(page)
    control.hover()
    page.mouse.down()
    drawn_again(page)
    page.mouse.up()


def refuse(route: Route) -> None:
    """As the server does, by its own word on this entry."""
    route.fulfill(status=422, json={
        "id": route.request.post_data_json["id"], "detail": "Amps: 81 A is not what it says.", "errors": []})


def test_a_list_of_entries_that_is_drawn_again_keeps_what_is_under_the_finger_and_what_was_asked_of_it(
        plant: Plant, motors: list[Motor], new_context: Callable[..., BrowserContext],
        shot: Callable[[Page, str], None]) -> None:
    """Drawn at every change of what waits here, and every 15 s. A quick second touch of a wet glove removes nothing."""
    context = new_context(viewport=UPRIGHT)
    page = context.new_page()
    sign_in_page(page, plant.operator)
    taken_along(page)
    page.route("**/tablet/readings", lambda route: route.abort())
    save_here(page)
    pressed_while_drawn_again(page, page.get_by_role("link", name="1 waiting"))
    page.wait_for_url("**/tablet/entries")
    pressed_while_drawn_again(page, page.get_by_role("button", name="Show as text"))
    expect(page.locator("pre")).to_contain_text("P-101A feed pump")
    expect(page.locator("pre")).to_contain_text("reading by Operator, 24 Nov 2026, 07:12 (America/Chicago)")
    drawn_again(page)
    expect(page.locator("pre")).to_have_count(1)
    expect(page.get_by_role("button", name="Show as text")).to_have_count(0)
    assert "null" not in page.locator("main").inner_text()
    shot(page, "entries-as-text")

    page.unroute("**/tablet/readings")
    page.route("**/tablet/readings", refuse)
    pressed_while_drawn_again(page, page.get_by_role("button", name="Send now"))
    expect(page.locator("[data-state=attention]")).to_contain_text("81 A is not what it says")
    takes_touches(page)
    page.get_by_role("button", name="Remove from this tablet").dblclick(force=True)
    drawn_again(page)
    shot(page, "entries-refused")
    pressed_while_drawn_again(page, page.get_by_role("button", name="Remove it for good?"))
    expect(page.get_by_role("heading", name="Nothing waits here")).to_be_visible()


def test_what_the_server_did_not_take_leads_from_its_result_to_its_text_and_to_the_list_and_back(
        plant: Plant, motors: list[Motor], new_context: Callable[..., BrowserContext]) -> None:
    """The result stands in the place of the form, or of the list: the address alone tells them apart."""
    page = new_context(viewport=UPRIGHT).new_page()
    sign_in_page(page, plant.operator)
    taken_along(page)
    page.route("**/tablet/readings", refuse)
    save_here(page, stands="Needs attention")
    page.get_by_role("link", name="Show it as text").tap()
    expect(page.locator("pre")).to_contain_text("Amps: 81 A")
    page.get_by_role("link", name="P-101A, reading, 07:12, Operator").tap()
    expect(page.get_by_role("alert")).to_contain_text("81 A is not what it says")
    page.go_back()
    expect(page.get_by_role("heading", name="1 entry not at the server")).to_be_visible()


def test_that_the_motor_before_was_skipped_is_not_said_beside_what_was_entered_here(
        plant: Plant, motors: list[Motor], new_context: Callable[..., BrowserContext]) -> None:
    page = new_context(viewport=UPRIGHT).new_page()
    sign_in_page(page, plant.operator)
    taken_along(page)
    page.route("**/tablet/readings", lambda route: route.abort())
    page.get_by_role("link", name="Go to P-101A").tap()
    page.get_by_role("link", name="Skip…").tap()
    page.get_by_role("button", name="No time this round").tap()
    expect(page.locator(".said")).to_contain_text("P-101A skipped")
    expect(page.locator("h1")).to_have_text("P-102")
    look_and_feel(page)
    type_amps(page, "81")
    page.get_by_role("button", name="Save").tap()
    expect(page.locator("[data-stands]")).to_have_text("On this tablet")
    expect(page.locator(".said")).to_have_count(0)


def test_what_is_shown_of_an_entry_stays_under_the_finger_where_the_server_answers_meanwhile(
        plant: Plant, motors: list[Motor], new_context: Callable[..., BrowserContext], app_database: Database) -> None:
    context = new_context(viewport=UPRIGHT)
    page = context.new_page()
    sign_in_page(page, plant.operator)
    taken_along(page)
    page.route("**/tablet/readings", lambda route: route.abort())
    save_here(page)
    takes_touches(page)
    page.get_by_role("link", name="Next: P-102").hover()
    page.mouse.down()
    page.unroute("**/tablet/readings")
    page.evaluate("() => { dispatchEvent(new Event('online')) }")
    expect(page.locator("[data-stands]")).to_have_text("Received 07:12")
    takes_touches(page)
    page.mouse.up()
    expect(page.locator("h1")).to_have_text("P-102")


def test_an_entry_the_server_did_not_take_is_put_right_as_it_was_typed_and_at_its_time(
        plant: Plant, motors: list[Motor], new_context: Callable[..., BrowserContext], app_database: Database,
        clock: Clock) -> None:
    """Without a network at 07:12; meanwhile the supervisor renames the motor; sent at 07:42, refused, put right."""
    context = new_context(viewport=UPRIGHT)
    page = context.new_page()
    sign_in_page(page, plant.operator)
    taken_along(page)
    context.set_offline(True)
    save_here(page, "84,5")
    with app_database.writing() as session:
        motor = session.get_one(Motor, plant.motor.id)
        motor.tag, motor.tag_key = "P-111", tag_key("P-111")
        session.commit()
    context.clock.set_fixed_time(clock.advance(minutes=30))
    context.set_offline(False)
    page.get_by_role("link", name="Put it right").tap()
    expect(page.get_by_role("alert")).to_contain_text("The server did not take this entry of 07:12")
    expect(page.locator("#amps_1")).to_have_value("84,5")
    expect(page.locator("[name=state][value=running]")).to_be_checked()
    expect(page.locator("#seen_at")).to_have_value("07:12")
    assert stored(app_database) == []
    save(page)
    (row,) = stored(app_database)
    assert (row.motor.tag, row.current_a, row.taken_at, row.entered_later) == ("P-111", (84.5,), NOW, True)
