"""The round without a network: kept on the tablet, sent once, under who made it, and nothing lost on the way."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa
from playwright.sync_api import BrowserContext, Page, expect

from app.db import Database
from app.store.motors import Motor
from app.store.rounds import Reading
from tests.browser.conftest import UPRIGHT, sign_in_page
from tests.browser.tablets import taken_along
from tests.browser.test_main_job import look_and_feel, save, type_amps
from tests.factories import Plant, make_motor
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


def test_what_is_saved_without_a_network_is_here_first_and_at_the_server_later(
        plant: Plant, motors: list[Motor], new_context: Callable[..., BrowserContext], app_database: Database,
        shot: Callable[[Page, str], Path]) -> None:
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
