"""Trends as pages: pictures that a screen reader can follow, zoomed by links, in the unit's own scale."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
import sqlalchemy as sa
from flask.testing import FlaskClient

from app.db import Database
from tests import factories
from tests.conftest import Clock, on_both
from tests.export.hand_made import make_flag
from tests.factories import NOW, Plant, sign_in

PATH = "/motors/1/trends"


@pytest.fixture
def measured(app_database: Database, plant: Plant) -> None:
    """Ten rounds, one pause of a week, one corrected reading, one over the limit."""
    with app_database.writing() as session:
        motor = session.merge(plant.motor, load=False)
        for i in range(10):
            at = NOW - timedelta(hours=12 * i, days=7 if i > 4 else 0)
            factories.make_reading(session, motor, plant.operator, at, method="contact", current_a_1=80.0 + i,
                                   bearing_temp_c_de=92.0 if i == 0 else 60.0, bearing_temp_c_ode=57.0)
        wrong = factories.make_reading(session, motor, plant.operator, NOW - timedelta(hours=30), method="infrared",
                                       bearing_temp_c_de=161.0)
        factories.make_reading(session, motor, plant.operator, NOW - timedelta(hours=30), method="infrared",
                               bearing_temp_c_de=61.0, replaces_id=wrong.id, replaces_why="typed <wrongly>")
        session.commit()


def text_of(client: FlaskClient, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    return answer.get_data(as_text=True)


def figure(page: str, name: str) -> str:
    return next(piece for piece in page.split('<figure class="chart">') if f"<b>{name}</b>" in piece)


@on_both
def test_each_picture_is_told_in_words_and_followed_by_its_table(client: FlaskClient, plant: Plant,
                                                                 measured: None) -> None:
    page = text_of(sign_in(client, plant.operator), PATH)
    de = figure(page, "Coupling end (DE) bearing")
    assert 'role="img" aria-labelledby="chart-3-title chart-3-desc"' in de
    assert "11 readings from 12 Nov 2026, 19:12 to 24 Nov 2026, 07:12" in de  # 7 days and 9 shifts of 12 h before
    assert "first 60 °C, newest 92 °C, lowest 60 °C, highest 92 °C" in de
    assert "Limits: alarm 90 °C, shutdown 100 °C. Above one: 1, of them act now 0." in de
    assert "24 Nov 2026, 07:12: 92 °C, by contact, above a limit: this shift" in de
    assert "161 °C, by infrared, corrected since" in de
    assert 'class="struck-out"' in de
    assert page.index('id="chart-3-title"') < page.index("The same as a table")
    table = page.partition("The same as a table")[2]
    assert table.count("<tr") == 13  # the headings, ten rounds, the wrong one and its correction
    assert "corrected since" in table
    assert "typed &lt;wrongly&gt;" in table


def test_a_line_joins_no_readings_over_a_pause_and_none_by_another_method(client: FlaskClient, plant: Plant,
                                                                          measured: None) -> None:
    page = text_of(sign_in(client, plant.operator), PATH)
    amps = re.findall(r'class="run" points="([^"]+)"', figure(page, "Amps, highest phase"))
    assert sorted(len(run.split()) for run in amps) == [2, 3, 5]  # a look without amps parts two from three
    de = re.findall(r'class="run" points="([^"]+)"', figure(page, "Coupling end (DE) bearing"))
    assert sorted(len(run.split()) for run in de) == [2, 3, 5]  # the one by infrared stands alone


def test_figures_are_in_the_units_own_scale_and_amps_from_zero(client: FlaskClient, app_database: Database,
                                                               plant: Plant, measured: None) -> None:
    with app_database.writing() as session:
        session.merge(plant.unit, load=False).temperature = "F"
        session.commit()
    page = text_of(sign_in(client, plant.operator), PATH)
    de = figure(page, "Coupling end (DE) bearing")
    assert "alarm 194 °F" in de  # 90 °C
    assert "newest 197.6 °F" in de  # 92 °C
    assert "DE hotter 18 °F" in figure(page, "DE less ODE")  # 10 K, without the 32
    ticks = re.findall(r'class="tick"[^>]*>([^<]+)<', figure(page, "Amps, highest phase"))
    assert (ticks[0], ticks[-1]) == ("0", "120")  # the act now limit is 115 %
    assert "limit 100 %" in figure(page, "Amps, highest phase")


@pytest.mark.parametrize(("query", "title", "earlier", "later"), [
    ("", "28 Oct to 24 Nov 2026", "weeks=4&amp;to=2026-10-27", None),
    ("?weeks=2", "11 to 24 Nov 2026", "weeks=2&amp;to=2026-11-10", None),
    ("?weeks=2&to=2026-11-10", "28 Oct to 10 Nov 2026", "weeks=2&amp;to=2026-10-27", "weeks=2&amp;to=2026-11-24"),
    ("?weeks=2&to=2026-11-20", "7 to 20 Nov 2026", "weeks=2&amp;to=2026-11-06", "weeks=2&amp;to=2026-11-24"),
    ("?weeks=99&to=2030-01-01", "28 Oct to 24 Nov 2026", "weeks=4&amp;to=2026-10-27", None),
    ("?weeks=52&to=1970-01-01", "13 Jan 1970 to 11 Jan 1971", "weeks=52&amp;to=1970-01-12",
     "weeks=52&amp;to=1972-01-10"),
])
def test_zooming_and_moving_are_links(client: FlaskClient, plant: Plant, measured: None, query: str, title: str,
                                      earlier: str, later: str | None) -> None:
    page = text_of(sign_in(client, plant.operator), PATH + query)
    assert title in page
    assert f"{PATH}?{earlier}" in page
    assert ("Later →" in page) is (later is not None)
    assert later is None or f"{PATH}?{later}" in page


@pytest.mark.parametrize("path", [f"{PATH}?to=24.11.2026", f"{PATH}?to=2026-11-31", "/trends?to=2026-W54",
                                  "/trends?to=2026-W40--2026-W44", "/trends?to=2026-11-24", "/trends?to=1970-W01"])
def test_a_last_day_or_week_that_is_none_is_not_found(client: FlaskClient, plant: Plant, path: str) -> None:
    assert sign_in(client, plant.supervisor).get(path).status_code == 404


def test_nothing_read_and_nothing_measured_say_so(client: FlaskClient, app_database: Database, plant: Plant) -> None:
    sign_in(client, plant.operator)
    assert "That says nothing about the motor" in text_of(client, PATH)
    with app_database.writing() as session:
        factories.make_reading(session, session.merge(plant.motor, load=False), plant.operator, NOW,
                               bearing_feel_de="warm")
        session.commit()
    page = text_of(client, PATH)
    assert "what was found by hand and eye stands in the table" in page
    assert "warm" in page.partition("The same as a table")[2]


@on_both
def test_the_unit_shows_each_motors_gravest_flag_week_by_week(client: FlaskClient, app_database: Database,
                                                              plant: Plant, clock: Clock) -> None:
    with app_database.writing() as session:
        motor = session.merge(plant.motor, load=False)
        fan = factories.make_motor(session, plant.unit, "F-<1>", area="Cooling", route_order=2.0)
        make_flag(session, motor, NOW, priority="act now")
        make_flag(session, motor, NOW, priority="watch")
        factories.make_reading(session, fan, plant.operator, NOW)
        session.commit()
    page = text_of(sign_in(client, plant.head_operator), "/trends?weeks=6")
    rows = dict(re.findall(r'<tr>\s*<th scope="row"><a[^>]*>([^<]+)</a></th>(.*?)</tr>', page, re.S))
    assert list(rows) == ["P-101A", "F-&lt;1&gt;"]
    assert [rows["P-101A"].count(f'class="{word}') for word in ("cell act", "quiet", "unread")] == [1, 0, 5]
    assert [rows["F-&lt;1&gt;"].count(f'class="{word}') for word in ("cell", "quiet", "unread")] == [0, 1, 5]
    assert "flags that stood in each week, act now 0 0 0 0 0 1; this shift 0 0 0 0 0 0; watch 0 0 0 0 0 1" in page
    assert "2026-W48: 1 act now" in page
    assert "W43" in page
    assert 'href="/week/' not in page  # the week is the supervisor's
    assert "/trends?weeks=6&amp;to=2026-W42" in page
    earlier = text_of(client, "/trends?weeks=6&to=2026-W42")
    assert "/trends?weeks=6&amp;to=2026-W48" in earlier
    assert 'class="cell act' not in earlier


def test_the_pages_ask_the_database_eight_times_at_most_besides_what_every_page_asks(
        client: FlaskClient, app_database: Database, plant: Plant, measured: None) -> None:
    asked: list[str] = []
    sa.event.listen(app_database.engine, "before_cursor_execute",
                    lambda *told: asked.append(told[2]) if not told[2].startswith("BEGIN") else None)
    sign_in(client, plant.head_operator)

    def count(path: str) -> int:
        asked.clear()
        text_of(client, path)
        return len(asked)

    every = count("/help")
    assert count(PATH) - every <= 8
    assert count("/trends") - every <= 8
