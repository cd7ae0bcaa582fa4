"""Labels as they leave the printer, read back by a decoder that is not ours; and the way from a label to the motor."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa
import zxingcpp
from flask import Flask
from PIL import Image
from playwright.sync_api import BrowserContext, Page, expect

from app.config import Settings
from app.db import Database
from app.store.motors import Motor
from tests.browser.axe import grave, grave_in, lights
from tests.browser.conftest import UPRIGHT, sign_in_page
from tests.browser.test_pages import CUT_OFF, LONG_TAG
from tests.factories import Plant, make_motor

ADDRESS = "https://rounds.example"
POINTS_PER_MM = 72 / 25.4


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    instance = tmp_path / "instance"
    instance.mkdir()
    return replace(Settings(instance=instance), public_url=ADDRESS, trusted_hosts=("127.0.0.1", "localhost"))


@pytest.fixture
def yard(plant: Plant, app_database: Database) -> Plant:
    """Twenty-three motors: two sheets of twenty-one."""
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        for i in range(2, 24):
            tag = {2: LONG_TAG, 3: "P\u2011102", 4: "Pumpe №2"}.get(i, f"P-{100 + i}")
            make_motor(session, unit, tag, route_order=float(i), interlock="low-voltage release" if i % 2 else None)
        session.commit()
    return plant


def keys_of(database: Database) -> dict[str, str]:
    with database.reading() as session:
        return {row.label_key: row.tag for row in session.execute(sa.select(Motor.label_key, Motor.tag))}


def boxes_of(pdf: bytes) -> list[tuple[float, float]]:
    """Width and height of every page of a PDF, in mm."""
    found = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", pdf)
    return [(float(w) / POINTS_PER_MM, float(h) / POINTS_PER_MM) for w, h in found]


@pytest.mark.parametrize(("grid", "sheets", "paper"), [
    ("a4-21", 2, (210, 297)), ("a4-65", 1, (210, 297)), ("letter-30", 1, (215.9, 279.4))])
def test_every_printed_code_opens_its_own_motor_and_the_paper_is_the_right_one(
        app: Flask, yard: Plant, page: Page, app_database: Database, grid: str, sheets: int,
        paper: tuple[float, float], shot: Callable[[Page, str], None]) -> None:
    sign_in_page(page, yard.supervisor)
    page.goto(f"/register/labels/sheet?grid={grid}&which=all")
    shot(page, f"labels-{grid}")
    boxes = boxes_of(page.pdf(prefer_css_page_size=True))
    assert len(boxes) == sheets
    for box in boxes:
        assert box == pytest.approx(paper, abs=0.3)
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 1100, "height": 1600})
    assert page.locator("header.top, footer, .caution").filter(visible=True).count() == 0
    keys, read = keys_of(app_database), []
    for drawn in page.locator("svg.label-sheet").all():
        picture = Image.open(io.BytesIO(drawn.screenshot()))
        wide = picture.resize((picture.width * 3, picture.height * 3), Image.Resampling.NEAREST).convert("L")
        read += [code.text for code in zxingcpp.read_barcodes(wide, formats=zxingcpp.BarcodeFormat.QRCode)]
    assert sorted(read) == sorted(f"{ADDRESS}/m/{key}" for key in keys)


def test_letters_on_a_printed_label_stay_within_it_as_the_browser_draws_them(yard: Plant, page: Page) -> None:
    """What the widths of letters were reckoned at is put beside what the browser's own letters take."""
    sign_in_page(page, yard.supervisor)
    for grid in ("a4-21", "a4-65", "letter-10"):
        page.goto(f"/register/labels/sheet?grid={grid}&which=all&outlines=y")
        out = page.evaluate("""() => [...document.querySelectorAll("g[role=img]")].flatMap((label) => {
          const box = label.querySelector(".outline").getBoundingClientRect();
          return [...label.querySelectorAll("text")].filter((t) => { const r = t.getBoundingClientRect();
            return r.left < box.left || r.right > box.right + 0.5 || r.bottom > box.bottom + 1; })
            .map((t) => t.textContent); })""")
        assert out == [], grid


def test_a_supervisor_chooses_motors_and_sheet_by_finger(
        yard: Plant, new_context: Callable[..., BrowserContext], shot: Callable[[Page, str], None]) -> None:
    page = new_context(viewport=UPRIGHT).new_page()
    sign_in_page(page, yard.supervisor)
    page.goto("/register/labels")
    shot(page, "labels-choose")
    assert grave(page) == []
    assert page.evaluate(CUT_OFF) == []
    page.get_by_label("The ones ticked below").tap()
    page.get_by_text("Tick single motors").tap()
    page.get_by_label("P-105").tap()
    page.get_by_label("First free label").fill("99")
    page.get_by_role("button", name="Show the sheets").tap()
    page.get_by_role("alert").get_by_role("link").tap()
    expect(page.locator("#first")).to_be_focused()
    expect(page.get_by_label("P-105")).to_be_checked()
    page.locator("#first").fill("5")
    page.get_by_role("button", name="Show the sheets").tap()
    expect(page.get_by_role("img", name=re.compile("P-105"))).to_be_visible()
    assert grave(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_from_a_label_or_the_last_four_to_the_entry_of_the_motor_one_stands_at(
        yard: Plant, new_context: Callable[..., BrowserContext], app_database: Database,
        shot: Callable[[Page, str], None]) -> None:
    page = new_context(viewport=UPRIGHT).new_page()
    sign_in_page(page, yard.operator)
    key = next(key for key, tag in keys_of(app_database).items() if tag == LONG_TAG)
    page.goto(f"/m/{key}")
    expect(page.get_by_text("Do you stand at this motor?")).to_be_visible()
    shot(page, "scanned")
    assert grave(page) == []
    assert page.evaluate(CUT_OFF) == []
    page.get_by_role("link", name="No, another motor").tap()
    page.get_by_label("Last four of the tag").fill("p1")
    page.get_by_role("button", name="Show").tap()
    expect(page.get_by_role("heading", name="Which motor?")).to_be_visible()
    shot(page, "which-motor")
    assert grave(page) == []
    page.goto("/sheet")
    shot(page, "sheet-last-four")
    page.get_by_label("Last four of its tag").fill("p105")
    page.get_by_role("button", name="Open", exact=True).tap()
    page.get_by_role("link", name="Yes: enter a reading").tap()
    expect(page).to_have_url(re.compile(r"/motors/\d+/entry$"))
    expect(page.get_by_role("heading", name="P-105")).to_be_visible()


def test_the_search_reads_well_in_any_light(
        yard: Plant, new_context: Callable[..., BrowserContext], shot: Callable[[Page, str], None]) -> None:
    page = new_context(viewport=UPRIGHT).new_page()
    sign_in_page(page, yard.operator)
    page.locator("footer").get_by_label("Search").fill("p10")
    page.keyboard.press("Enter")
    expect(page.get_by_text("By tag: 7")).to_be_visible()  # P-101A, P-102, P-105 to P-109
    for light in lights(page):
        shot(page, f"search-{light}")
        assert grave_in(light, page) == []
        assert page.evaluate(CUT_OFF) == []
    page.goto("/search?q=zebra")
    for light in lights(page):
        shot(page, f"search-empty-{light}")
        assert grave_in(light, page) == []
