"""The week and the trends as a browser shows and prints them: readable in every light, nothing cut off, few pages."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page

from app.db import Database
from tests import factories
from tests.browser.axe import grave_in, lights
from tests.browser.conftest import UPRIGHT, sign_in_page
from tests.browser.test_pages import CUT_OFF, LONG_TAG
from tests.conftest import Clock
from tests.export.hand_made import make_flag
from tests.factories import NOW, Plant

PAGES = ("/week/2026-W48", "/week/2026-W48/meeting", "/week/2026-W47--2026-W48", "/trends", "/motors/1/trends")


@pytest.fixture
def week(app_database: Database, plant: Plant, clock: Clock) -> None:
    """A bad week: 60 flags with long words, readings, something late, something run on."""
    clock.set(NOW + timedelta(days=3))
    with app_database.writing() as session:
        motor = session.merge(plant.motor, load=False)
        long = factories.make_motor(session, plant.unit, LONG_TAG, area="Tank yard", service="x" * 90)
        for i in range(30):
            factories.make_reading(session, motor, plant.operator, NOW - timedelta(hours=12 * i), method="contact",
                                   current_a_1=80.0 + i, bearing_temp_c_de=60.0 + i, bearing_temp_c_ode=57.0,
                                   winding_temp_c=98.0, winding_method="fitted", vibration_mm_s_de=3.0)
        for i in range(60):
            make_flag(session, long if i % 2 else motor, NOW + timedelta(minutes=i), says="Above its limit. " * 9,
                      priority=("act now", "this shift", "watch")[i % 3], times_seen=3, owner="fitter " * 12,
                      action="asked the millwright " * 12, due_at=NOW + timedelta(hours=9),
                      run_on_reason="no spare in the store " * 9 if i % 4 == 0 else None)
        session.commit()


@pytest.mark.slow
@pytest.mark.parametrize("path", PAGES)
def test_the_week_and_the_trends_keep_nobody_out_and_nothing_is_cut_off(
        plant: Plant, week: None, new_context: Callable[..., BrowserContext], shot: Callable[[Page, str], None],
        path: str) -> None:
    page = new_context(viewport=UPRIGHT).new_page()
    sign_in_page(page, plant.supervisor)
    page.goto(path)
    faults: list[Any] = []
    for light in lights(page):
        shot(page, f"{light}{path.replace('/', '-')}")
        wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        faults += [*grave_in(light, page), *page.evaluate(CUT_OFF), *([f"{wide} px too wide"] if wide > 0 else [])]
    assert faults == []


def pages_of(printed: bytes) -> int:
    """How many pages a PDF of Chromium's has."""
    return len(re.findall(rb"/Type\s*/Page\b", printed))


@pytest.mark.slow
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_sheet_for_the_meeting_is_one_page_however_bad_the_week(plant: Plant, week: None, page: Page,
                                                                    paper: str) -> None:
    sign_in_page(page, plant.supervisor)
    page.goto("/week/2026-W48/meeting")
    assert pages_of(page.pdf(format=paper)) == 1
    page.goto("/week/2026-W48")
    assert 3 < pages_of(page.pdf(format=paper)) < 40
    page.goto("/motors/1/trends")
    assert 1 < pages_of(page.pdf(format=paper)) < 8
