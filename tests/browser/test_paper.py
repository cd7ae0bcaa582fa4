"""The paper sheet as a printer gets it: A4 and Letter, nothing cut; then typed in by keys alone."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from app.db import Database
from tests.browser.axe import grave
from tests.browser.conftest import sign_in_page
from tests.conftest import Clock
from tests.factories import Plant, make_motor

#: Points, 72 an inch: A4 is 297 x 210 mm, Letter 11 x 8.5 in, both lying.
SIZES = {"a4": (841.89, 595.28), "letter": (792.0, 612.0)}
#: Printable width in CSS px, 96 an inch: the sheet less 10 mm at each side.
WIDTHS = {"a4": round((297 - 20) / 25.4 * 96), "letter": round((279.4 - 20) / 25.4 * 96)}
MOTORS = 30
CUT = """() => [...document.querySelectorAll(".paper-sheet :is(th, td, p)")]
  .filter(e => e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1 && e.clientHeight > 0)
  .map(e => e.innerText.slice(0, 60))"""


@pytest.fixture
def plant(plant: Plant, app_database: Database) -> Plant:
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        for i in range(1, MOTORS):
            make_motor(session, unit, f"P-{100 + i}" if i % 7 else f"Pumpe №{i} / a?b#c in the far corner",
                       greased=False, area=("Pump row", "Tank yard", "Compressor house")[i // 10],
                       route_order=float(10 * i),
                       service="condensate return pump to the deaerator, west side" if i % 5 == 0 else "feed pump",
                       ammeter=("one", "three", "none", "control room")[i % 4],
                       condition="standby" if i % 3 == 0 else "running",
                       interlock="automatic start" if i % 6 == 0 else "low-voltage protection")
        session.commit()
    return plant


@pytest.mark.parametrize("paper", SIZES)
def test_the_sheet_prints_on_the_paper_chosen_and_nothing_is_cut(
        plant: Plant, new_context: Callable[..., BrowserContext], shot: Callable[[Page, str], None], paper: str,
        tmp_path: Path) -> None:
    page = new_context(viewport={"width": WIDTHS[paper], "height": 700}).new_page()
    sign_in_page(page, plant.operator)
    page.goto(f"/sheet/paper?paper={paper}")
    assert grave(page) == []
    shot(page, f"paper-{paper}-screen")
    page.emulate_media(media="print")
    assert page.evaluate(CUT) == []
    boxes = [box for cell in page.locator(".blank td:not(.none)").all()[:24]
             if (box := cell.bounding_box()) is not None]
    assert min(box["height"] for box in boxes) >= 52 and min(box["width"] for box in boxes) >= 48  # 14 mm, 13 mm
    printed = page.pdf(prefer_css_page_size=True, path=tmp_path / f"{paper}.pdf")
    sizes = [tuple(float(n) for n in found.split())
             for found in re.findall(rb"/MediaBox \[0 0 ([\d.]+ [\d.]+)\]", printed)]
    pages = len(re.findall(rb"/Type ?/Page\b", printed))
    assert len(sizes) == pages and 3 <= pages <= 5  # 30 rows of 15 mm, ten to a page
    assert all(abs(w - SIZES[paper][0]) < 1 and abs(h - SIZES[paper][1]) < 1 for w, h in sizes)


def test_a_sheet_is_typed_in_by_keys_alone(plant: Plant, new_context: Callable[..., BrowserContext], clock: Clock,
                                           shot: Callable[[Page, str], None]) -> None:
    clock.set("2026-11-24T07:30:00-06:00")
    page = new_context(viewport={"width": 1280, "height": 800}).new_page()
    sign_in_page(page, plant.operator)
    page.goto("/sheet/paper/entries")
    page.get_by_label("P-101A, Time").focus()
    for text in ("0705", "r", "n", "u", "u", "w", "w", "63 i", "81", "o", "o", "c", "first row"):
        page.keyboard.type(text)
        page.keyboard.press("Tab")
    page.get_by_label("P-101, Time", exact=True).fill("0708")
    page.keyboard.press("Tab")
    page.keyboard.type("q")
    page.keyboard.press("Enter")
    expect(page.locator("#errors")).to_contain_text("P-101, State: Enter R, S, O, L or X.")
    expect(page.locator(".said")).to_contain_text("1 row stored, marked entered later.")
    expect(page.get_by_role("link", name="running, 07:05, Operator, entered later")).to_be_visible()
    assert page.get_by_label("P-101, Time", exact=True).input_value() == "0708"
    shot(page, "paper-typing")
    assert grave(page) == []
