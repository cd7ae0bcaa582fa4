"""What is due: by route and by lubricant with totals, eight weeks ahead, months behind; guns and the printed chart."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import event

from app.db import Database
from app.store import guns
from app.store.guns import GreaseGun
from app.store.motors import LubricationPoint
from app.store.people import Person
from tests.factories import NOW, Plant, make_motor, make_point, post_form, sign_in
from tests.web.at_motor import fields_of, tags_of, words_of

#: The view's own, beside those of every page: who is signed in, the banner, what stands half-way.
OWN_QUERIES = 8


def add(database: Database, plant: Plant, tag: str, area: str, route: float, greased: datetime | None,
        end: str = "DE", **line: Any) -> None:
    with database.writing() as session:
        motor = make_motor(session, session.merge(plant.unit), tag, area=area, route_order=route, greased=False)
        make_point(session, motor, end, last_greased_at=greased, **line)
        session.commit()


@pytest.fixture
def walk(app_database: Database, plant: Plant) -> None:
    """Five bearings in two areas, two lubricants: one overdue, one due this shift, one this week, one later, one never
    recorded. The plant's own motor is off the chart."""
    with app_database.writing() as session:
        session.execute(sa.delete(LubricationPoint))
        for name, stroke_g, holds in (("Gun 1", 1.35, "Blue EP"), ("Gun 2", 1.1, "Red EP")):
            guns.save_gun(session, plant.unit.id, None, session.get_one(Person, plant.supervisor.id), NOW, name=name,
                          stroke_g=stroke_g, lubricant=holds)
        session.commit()
    blue, red = {"lubricant": "Blue EP", "grease_g": 23.1}, {"lubricant": "Red EP", "grease_g": 10.0}
    add(app_database, plant, "P-201", "Feed", 2, NOW - timedelta(days=100), **blue)
    add(app_database, plant, "P-202", "Feed", 3, NOW - timedelta(days=90) + timedelta(hours=5), **red)
    add(app_database, plant, "P-301", "Cooling", 4, NOW - timedelta(days=88), **blue)
    add(app_database, plant, "P-302", "Cooling", 5, NOW - timedelta(days=70), **blue)
    add(app_database, plant, "P-303", "Cooling", 6, None, **red)


@pytest.fixture
def operator(plant: Plant, client: FlaskClient) -> FlaskClient:
    return sign_in(client, plant.operator)


def section(page: str, start: str, end: str) -> str:
    return page[page.index(start):page.index(end)]


def test_the_lists_are_overdue_now_this_week_never_recorded_and_later(walk: None, operator: FlaskClient) -> None:
    page = words_of(operator.get("/lubrication"))
    assert "1 overdue" in page
    assert "1 due this shift · 1 later this week · 1 never recorded" in page
    assert "P-201" in section(page, "Overdue, 1", "Now: falls due in this shift, 1")
    assert "P-202" in section(page, "Now: falls due in this shift, 1", "Later this week, 1")
    assert "P-301" in section(page, "Later this week, 1", "Never recorded, 1")
    assert "P-303" in section(page, "Never recorded, 1", "Later: 1 bearing")
    assert page.index("P-302") > page.index("Later: 1 bearing")


def test_totals_are_in_grams_and_in_strokes_of_the_gun_that_holds_it(walk: None, operator: FlaskClient) -> None:
    page = words_of(operator.get("/lubrication"))
    # two bearings of 23.1 g: 46.2 g; 17 strokes each at 1.35 g. One of 10 g: 9 strokes at 1.1 g
    assert "Blue EP 2 46.2 g 34 × Gun 1, 1.35 g a stroke" in page
    assert "Red EP 1 10 g 9 × Gun 2, 1.1 g a stroke" in page
    assert "23.1 g 17 × Gun 1" in page


def test_by_lubricant_one_walk_does_one_lubricant_in_walking_order(walk: None, operator: FlaskClient) -> None:
    page = words_of(operator.get("/lubrication?by=lubricant"))
    blue = section(page, "Blue EP: one walk, one gun", "Red EP: one walk, one gun")
    assert "Blue EP 2 46.2 g 34 × Gun 1" in blue
    assert blue.index("P-201") < blue.index("P-301")
    assert "P-202" not in blue


def test_one_area_alone(walk: None, operator: FlaskClient) -> None:
    page = words_of(operator.get("/lubrication?area=Cooling"))
    assert "Cooling only" in page
    assert "P-301" in page and "P-201" not in page
    assert "Blue EP 1 23.1 g 17 × Gun 1" in page


def test_the_next_eight_weeks_week_by_week(walk: None, operator: FlaskClient) -> None:
    page = words_of(operator.get("/lubrication/weeks"))
    assert "P-201 DE" in section(page, "before anything else", "2026-W48, this week")
    assert "P-202 DE" in section(page, "2026-W48, this week", "2026-W49")
    assert "P-301 DE" in section(page, "2026-W48, this week", "2026-W49")
    # P-302: 70 of 90 days gone, due on 14 December, a Monday
    assert "P-302 DE" in section(page, "2026-W51", "2026-W52")
    assert "P-303 DE" in page[page.index("in no week"):]
    assert "2027-W02" in page and "2027-W03" not in page


def test_months_are_the_supervisors(walk: None, operator: FlaskClient, plant: Plant, app: Flask) -> None:
    assert operator.get("/lubrication/months").status_code == 403
    page = words_of(sign_in(app.test_client(), plant.supervisor).get("/lubrication/months"))
    assert "Nov 2026 0 g 0 1 (this shift)" in page or "Nov 2026 0 g 0 1 P-201 DE" in page


def test_the_chart_prints_area_by_area_and_marks_what_is_computed(
        walk: None, operator: FlaskClient, app_database: Database, plant: Plant) -> None:
    add(app_database, plant, "P-400", "Effluent", 9, None, grease_g=None, interval_days=None)
    add(app_database, plant, "P-401", "Effluent", 10, None, kind="sealed", grease_g=None, interval_days=None)
    page = words_of(operator.get("/lubrication/chart?area=Effluent"))
    assert "P-201" not in page
    # DE 6313: 23.1 g and 10 × (14e6 / (1775 × √65) − 260) = 7,183 h
    assert "23.1 g computed, not confirmed 7183 running h computed, not confirmed" in page
    assert "Sealed: not greased by the lubrication chart" in page
    whole = operator.get("/lubrication/chart").get_data(as_text=True)
    assert whole.count('class="wide chart-area"') == 3


def test_pages_cost_the_same_however_many_bearings(
        walk: None, operator: FlaskClient, app_database: Database, plant: Plant) -> None:
    seen: list[str] = []
    event.listen(app_database.engine, "before_cursor_execute",
                 lambda c, cur, statement, p, ctx, many: seen.append(statement))

    def queries(path: str) -> int:
        seen.clear()
        assert operator.get(path).status_code == 200
        return len([s for s in seen if s.startswith("SELECT")])

    frame = queries("/help")
    paths = ("/lubrication", "/lubrication?by=lubricant", "/lubrication/weeks", "/lubrication/chart",
             "/lubrication/oil", "/lubrication/guns", "/temporary", f"/motors/{plant.motor.id}/grease?end=DE",
             f"/motors/{plant.motor.id}/chart", f"/motors/{plant.motor.id}/oil")
    few = {path: queries(path) for path in paths}
    for i in range(30):
        add(app_database, plant, f"M-{i}", "Tank farm", 20 + i, NOW - timedelta(days=80 + i % 15))
    assert {path: queries(path) for path in paths} == few
    assert {path: n for path, n in few.items() if n - frame > OWN_QUERIES} == {}


# guns ------------------------------------------------------------------------------------------------------


def test_the_head_operator_keeps_the_guns(plant: Plant, app: Flask, app_database: Database) -> None:
    head = sign_in(app.test_client(), plant.head_operator)
    answer = post_form(head, "/lubrication/guns/add", {"name": "Gun 7", "stroke": "1,35", "lubricant": "Blue EP",
                                                       "thickener": "polyurea"})
    assert answer.status_code == 303
    with app_database.reading() as session:
        (gun,) = guns.guns_of(session, plant.unit.id)
    assert (gun.name, gun.stroke_g, gun.lubricant, gun.thickener) == ("Gun 7", 1.35, "Blue EP", "polyurea")
    held = fields_of(head.get(f"/lubrication/guns/{gun.id}"))
    assert (held["name"], held["stroke"]) == ("Gun 7", "1.35")
    post_form(head, f"/lubrication/guns/{gun.id}", {"name": "Gun 7", "stroke": "1.4", "put_away": "y"})
    with app_database.reading() as session:
        assert guns.guns_of(session, plant.unit.id) == []
        (gun,) = guns.guns_of(session, plant.unit.id, put_away=True)
        assert (gun.stroke_g, gun.put_away_at, gun.lubricant) == (1.4, NOW, None)
    assert "Gun 7 1.4 g" in words_of(head.get("/lubrication/guns"))


@pytest.mark.parametrize(("fields", "wrong"), [
    ({"name": ""}, "name"), ({"name": "gun  1"}, "name"), ({"stroke": ""}, "stroke"), ({"stroke": "0"}, "stroke"),
    ({"stroke": "-1"}, "stroke"), ({"stroke": "31"}, "stroke"), ({"stroke": "1.2.3"}, "stroke"),
    ({"lubricant": "x" * 201}, "lubricant")], ids=str)
def test_a_gun_that_cannot_be_is_refused_at_its_field(
        plant: Plant, app: Flask, app_database: Database, fields: dict[str, str], wrong: str) -> None:
    head = sign_in(app.test_client(), plant.head_operator)
    post_form(head, "/lubrication/guns/add", {"name": "Gun 1", "stroke": "1.35"})
    answer = post_form(head, "/lubrication/guns/add", {"name": "Gun 2", "stroke": "1.1", **fields})
    assert answer.status_code == 422
    marked = {(a["id"] or "").split("-error")[0] for _, a in tags_of(answer) if a.get("class") == "field-error"}
    assert marked == {wrong}
    with app_database.reading() as session:
        assert session.scalar(sa.select(sa.func.count()).select_from(GreaseGun)) == 1


def test_an_operator_sees_the_guns_and_changes_none(plant: Plant, operator: FlaskClient) -> None:
    assert "The head operator keeps the guns." in words_of(operator.get("/lubrication/guns"))
    assert operator.get("/lubrication/guns/add").status_code == 403
    assert post_form(operator, "/lubrication/guns/add", {"name": "Gun 9", "stroke": "1"}).status_code == 403
