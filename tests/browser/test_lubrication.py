"""Greasing by taps on a tablet, the second crew told before it enters anything; and every page of it readable."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, expect

from app.db import Database
from app.store import guns
from app.store.people import Person
from tests.browser.axe import grave_in_any_light
from tests.browser.conftest import UPRIGHT, sign_in_page
from tests.browser.test_pages import MEASURE, apart
from tests.conftest import Clock
from tests.factories import NOW, Plant, make_motor, make_point
from tests.web.at_motor import greased_lately


@pytest.fixture
def plant(plant: Plant, app_database: Database) -> Plant:
    """The plant's motor greased 80 days ago, a compressor in oil, a sealed fan, two guns."""
    with app_database.writing() as session:
        unit, person = session.merge(plant.unit), session.get_one(Person, plant.head_operator.id)
        oil = make_motor(session, unit, "K-201", greased=False, route_order=2.0)
        make_point(session, oil, kind="oil", lubricant="VG 32", thickener=None, grease_g=None)
        fan = make_motor(session, unit, "F-410", greased=False, route_order=3.0)
        make_point(session, fan, kind="sealed", lubricant=None, thickener=None, grease_g=None, interval_days=None)
        for name, holds in (("Gun 1", "motor grease NLGI 2"), ("Gun 2", "Red EP")):
            guns.save_gun(session, unit.id, None, person, NOW, name=name, stroke_g=1.35, lubricant=holds)
        session.commit()
    greased_lately(app_database, plant.motor, days=80)
    return plant


@pytest.mark.parametrize("script", [True, False], ids=["with script", "without script"])
def test_day_shift_greases_by_taps_and_another_tablet_is_told_at_night(
        plant: Plant, new_context: Callable[..., BrowserContext], clock: Clock, script: bool) -> None:
    clock.set("2026-11-24T09:00:00-06:00")
    page = new_context(viewport=UPRIGHT, java_script_enabled=script).new_page()
    sign_in_page(page, plant.operator)
    page.goto(f"/motors/{plant.motor.id}")
    page.get_by_role("link", name="Grease", exact=True).tap()
    page.get_by_role("link", name="Grease the coupling end").tap()
    expect(page.locator(".give")).to_contain_text("22 strokes")  # 30 g at 1.35 g
    page.locator("label.pick", has_text="Gun 1").tap()
    page.get_by_label("Strokes of this gun").fill("22")
    page.locator("label.pick", has_text="Out, and back in").tap()
    page.get_by_role("button", name="Record: P-101A DE").tap()
    page.wait_for_url("**/greasings/*")
    expect(page.locator("main")).to_contain_text("29.7 g, 22 strokes of Gun 1")

    clock.set("2026-11-24T20:00:00-06:00")
    other = new_context(viewport=UPRIGHT).new_page()
    sign_in_page(other, plant.head_operator)
    other.goto(f"/motors/{plant.motor.id}/grease?end=DE")
    warning = other.locator(".find", has_text="Greased 11 h ago: do not grease again")
    expect(warning).to_be_in_viewport()
    other.locator("label.pick", has_text="Gun 1").tap()
    other.get_by_label("Strokes of this gun").fill("22")
    other.get_by_role("button", name="Record, with the reason").tap()
    expect(other.locator("#why-error")).to_contain_text("Say why it was greased all the same.")
    assert other.get_by_label("Strokes of this gun").input_value() == "22"
    other.locator("#why").fill("squealed on the round")
    other.get_by_role("button", name="Record, with the reason").tap()
    other.wait_for_url("**/greasings/*")
    expect(other.locator("main")).to_contain_text("greased too soon")


@pytest.mark.slow
def test_no_page_of_lubrication_keeps_anybody_out_in_any_light(
        plant: Plant, new_context: Callable[..., BrowserContext]) -> None:
    page = new_context(viewport=UPRIGHT).new_page()
    sign_in_page(page, plant.supervisor)
    at = f"/motors/{plant.motor.id}"
    paths = ["/lubrication", "/lubrication?by=lubricant", "/lubrication/weeks", "/lubrication/months",
             "/lubrication/chart", "/lubrication/oil", "/lubrication/guns", "/lubrication/guns/1",
             "/lubrication/thickeners", f"{at}/grease", f"{at}/grease?end=DE", f"{at}/chart", f"{at}/chart/DE",
             f"{at}/oil", f"{at}/temporary", "/temporary"]
    faults: dict[str, list[str]] = {}
    for path in paths:
        page.goto(path)
        faults[path] = grave_in_any_light(page)
        over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert over <= 0, path
    for path in (f"{at}/grease?end=DE", f"{at}/temporary", f"{at}/oil"):
        page.goto(path)
        with page.expect_navigation():
            page.locator(".bar button.main").tap()
        faults[f"refused {path}"] = grave_in_any_light(page)
    page.goto(f"{at}/temporary")
    page.locator("label.pick", has_text="Guard off").tap()
    page.locator("label.pick", has_text="In 2 h").tap()
    page.get_by_role("button", name="Put on record").tap()
    page.wait_for_url("**/temporary/*")
    faults["temporary state"] = grave_in_any_light(page)
    assert {name: found for name, found in faults.items() if found} == {}


@pytest.mark.parametrize("path", ["grease?end=DE", "oil", "temporary"])
def test_a_gloved_finger_finds_every_control(
        plant: Plant, new_context: Callable[..., BrowserContext], path: str) -> None:
    page = new_context(viewport=UPRIGHT).new_page()
    sign_in_page(page, plant.operator)
    page.goto(f"/motors/{plant.motor.id}/{path}")
    controls = page.evaluate(MEASURE)
    assert controls
    assert [c["what"] for c in controls if c["w"] < 76 or c["h"] < 76] == []
    assert [c["what"] for c in controls if c["inBar"] and c["h"] < 112] == []
    form = [c for c in controls if not c["inBar"]]
    assert [(a["what"], b["what"]) for i, a in enumerate(form) for b in form[i + 1:] if apart(a, b) < 19] == []
