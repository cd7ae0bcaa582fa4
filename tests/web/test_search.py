"""The search at the foot of every page: what it shows, what it says of its reach, what it leaves to other units."""

from __future__ import annotations

from datetime import timedelta

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient

from app.db import Database
from app.store.base import new_id
from app.store.rounds import Reading
from tests.conftest import on_both
from tests.factories import NOW, Plant, make_motor, make_reading, make_unit, post_form, sign_in
from tests.web.at_motor import enter, flags_of, greased_lately, words_of


@pytest.fixture
def found(plant: Plant, client: FlaskClient, app_database: Database) -> FlaskClient:
    """An operator where "tar" is in a service, a serial, a register remark, a remark at the motor, a note on a flag."""
    greased_lately(app_database, plant.motor)
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        make_motor(session, unit, "TAR-1", service="crude tar pump", route_order=5)
        make_motor(session, unit, "K-2", plate={"serial": "X-TAR-9"}, remarks="tar coats the cowl <i>here</i>")
        make_motor(session, make_unit(session, "Unit 9"), "TAR-9", service="foreign tar pump")
        session.commit()
    sign_in(client, plant.head_operator)
    enter(client, plant.motor, amps_1="92", remarks="smells of Tar & oil")
    flag = flags_of(app_database, plant.motor)[0]
    post_form(client, f"/flags/{flag.id}/done", {"version": "1", "text": "tar wiped off"})
    return client


@on_both
def test_each_thing_stands_under_where_it_was_found(found: FlaskClient) -> None:
    page = words_of(found.get("/search?q=tar"))
    for heading in ("By tag: 1", "By service: 1", "By maker's serial: 1", "By remark in the register: 1",
                    "Written at the motor: 1", "Written on flags: 1"):
        assert heading in page, heading
    for shown in ("TAR-1", "crude tar pump", "X-TAR-9", "tar coats the cowl <i>here</i>", "smells of Tar & oil",
                  "done: tar wiped off", "Head Operator"):
        assert shown in page, shown
    assert "foreign" not in page
    assert "TAR-9" not in page.replace("X-TAR-9", "")


def test_what_is_found_leads_to_its_page(found: FlaskClient) -> None:
    import re

    page = found.get("/search?q=tar").get_data(as_text=True)
    links = set(re.findall(r'href="(/(?:motors|entries|flags)/[^"]+)"', page))
    assert len(links) == 5
    assert {found.get(link).status_code for link in links} == {200}


@pytest.mark.parametrize("q", ["zebra", "%", "_", "\\", "'; DROP TABLE motor", "<script>alert(1)</script>", "\x00",
                               "x" * 400, "–"])
def test_nothing_found_says_so_and_what_was_asked_stays_text(found: FlaskClient, q: str) -> None:
    answer = found.get("/search", query_string={"q": q})
    assert answer.status_code == 200
    assert "Nothing was found" in words_of(answer)
    assert "<script>alert" not in answer.get_data(as_text=True)


def test_an_empty_search_says_what_can_be_searched(found: FlaskClient) -> None:
    assert "p101a finds P-101A" in words_of(found.get("/search?q=+"))


def test_the_page_says_how_far_back_it_looked_and_goes_further_when_asked(
        found: FlaskClient, plant: Plant, app_database: Database) -> None:
    with app_database.writing() as session:
        first = make_reading(session, session.merge(plant.motor), session.merge(plant.operator),
                             NOW - timedelta(minutes=1), remarks="knock 1")
        alike = {c.key: getattr(first, c.key) for c in sa.inspect(Reading).column_attrs}
        session.execute(sa.insert(Reading), [
            {**alike, "id": new_id(), "taken_at": NOW - timedelta(minutes=i), "remarks": f"knock {i}"}
            for i in range(2, 2002)])
        session.commit()
    page = found.get("/search?q=knock")
    assert "Written at the motor: 1999" in words_of(page)  # and "smells of Tar & oil" is the 2,000th looked at
    assert "1949 more of these are not shown" in words_of(page)
    assert "Looked through the newest 2000 remarks, back to" in words_of(page)
    onward = page.get_data(as_text=True).split('href="/search?q=knock&amp;')[1].split('"')[0].replace("&amp;", "&")
    older = words_of(found.get(f"/search?q=knock&{onward}"))
    assert "knock 2000" in older
    assert "knock 2001" in older
    assert "Looked through all 2 remarks before" in older


@pytest.mark.parametrize("before", ["yesterday", "2026-11-24T07:00", "", "9" * 50])
def test_a_point_to_look_back_from_that_is_none_is_left_out(found: FlaskClient, before: str) -> None:
    answer = found.get("/search", query_string={"q": "tar", "before": before})
    assert answer.status_code == 200
    assert "By tag: 1" in words_of(answer)


def test_the_box_stands_on_every_page_of_whoever_is_signed_in(app: Flask, found: FlaskClient, plant: Plant) -> None:
    for path in ("/sheet", "/motors", f"/motors/{plant.motor.id}/entry", "/lubrication", "/help", "/me",
                 "/motors/987654"):
        assert 'action="/search"' in found.get(path).get_data(as_text=True), path
    assert 'action="/search"' not in app.test_client().get("/help").get_data(as_text=True)
