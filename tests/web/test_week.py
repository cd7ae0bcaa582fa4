"""The supervisor's week on the page and as files: what stood, narrowed, empty, and for nobody else."""

from __future__ import annotations

import io
from datetime import timedelta

import openpyxl
import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient

from app.db import Database
from app.export.week import week_csv
from app.export.week_sheets import week_workbook
from app.store.flags import Note
from tests import factories
from tests.conftest import Clock, on_both
from tests.export.hand_made import AFTERWARDS, TUESDAY, WEEK, make_flag, utc
from tests.factories import Plant, sign_in

PAGES = [f"/week/{WEEK}", f"/week/{WEEK}/meeting", f"/week/{WEEK}.csv", f"/week/{WEEK}.xlsx"]


@pytest.fixture(autouse=True)
def _after_the_week(clock: Clock) -> None:
    clock.set(AFTERWARDS)


@pytest.fixture
def supervisor(client: FlaskClient, plant: Plant) -> FlaskClient:
    return sign_in(client, plant.supervisor)


@pytest.fixture
def four_flags(app_database: Database, plant: Plant) -> None:
    """A smoke flag, two of cleanliness in another area, one closed."""
    with app_database.writing() as session:
        motor = session.merge(plant.motor, load=False)
        other = factories.make_motor(session, plant.unit, "F-200", area="Cooling <b>", service="fin fan")
        reading = factories.make_reading(session, other, plant.operator, TUESDAY, remarks="<script>alert(1)</script>")
        make_flag(session, other, rule="dirty", priority="watch", says="Vents blocked: clean them.",
                  raised_cause_id=reading.id)
        make_flag(session, other, rule="dirty", end="DE", priority="watch", says="Dusty.", times_seen=3)
        make_flag(session, motor, rule="smoke", priority="act now", says="Smoke seen: stop it and call.")
        make_flag(session, motor, rule="vibration", end="ODE", says="Rougher than usual.",
                  closed_at=TUESDAY + timedelta(hours=4), closed_by_id=plant.head_operator.id)
        session.commit()


def text_of(client: FlaskClient, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    return answer.get_data(as_text=True)


def tags_shown(page: str) -> list[str]:
    """The motors of the exceptions' table, in order."""
    table = page.partition('class="sheet exceptions"')[2].partition("</table>")[0]
    return [piece.partition(">")[2].partition("<")[0] for piece in table.split('<th scope="row" class="where"><a ')[1:]]


# who and which week ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/week", *PAGES])
@pytest.mark.parametrize("role", ["operator", "head_operator"])
def test_the_week_is_the_supervisors(client: FlaskClient, plant: Plant, path: str, role: str) -> None:
    assert sign_in(client, getattr(plant, role)).get(path).status_code == 403


@pytest.mark.parametrize("path", ["/week", *PAGES])
def test_nobody_sees_it_without_signing_in(client: FlaskClient, plant: Plant, path: str) -> None:
    answer = client.get(path)
    assert (answer.status_code, answer.location.partition("?")[0]) == (302, "/sign-in")


@pytest.mark.parametrize(("now", "week"), [
    ("2026-11-24T07:12:00-06:00", "2026-W48"),
    ("2026-11-22T23:59:00-06:00", "2026-W47"),  # Monday in UTC, Sunday in the unit
    ("2027-01-01T12:00:00-06:00", "2026-W53"),
    ("2024-12-30T12:00:00-06:00", "2025-W01"),
], ids=["Tuesday", "Sunday night", "New Year's Day", "30 December 2024"])
def test_week_goes_to_the_units_own_iso_week(client: FlaskClient, plant: Plant, clock: Clock, now: str,
                                             week: str) -> None:
    clock.set(now)
    assert sign_in(client, plant.supervisor).get("/week").location == f"/week/{week}"


@pytest.mark.parametrize("text", ["2026-W54", "2025-W53", "2026-W00", "2026-W1", "2026-w48", "2026W48", "W48", "x",
                                  "0000-W01", "3000-W01", "2026-W48.pdf", "%EF%BC%92026-W48", "2026-W48%20",
                                  "2026-W48--2026-W47", "2026-11-31", "2026-01-01--2027-06-01"])
def test_what_is_no_week_is_not_found(supervisor: FlaskClient, text: str) -> None:
    for ending in ("", "/meeting", ".csv", ".xlsx"):
        assert supervisor.get(f"/week/{text}{ending}").status_code == 404


def test_weeks_are_linked_to_their_neighbours(supervisor: FlaskClient, clock: Clock) -> None:
    page = text_of(supervisor, "/week/2026-W48")
    assert 'href="/week/2026-W47"' in page
    assert 'href="/week/2026-W49"' in page
    assert "23 to 29 Nov 2026" in page
    running = text_of(supervisor, "/week/2026-W49")
    assert 'href="/week/2026-W50"' not in running  # it has not begun
    assert "still running" in running
    assert "30 Nov to 6 Dec 2026" in running
    assert "28 Dec 2026 to 3 Jan 2027" in text_of(supervisor, "/week/2026-W53")
    assert "/week/1969" not in text_of(supervisor, "/week/1970-W01")
    assert "/week/3000" not in text_of(supervisor, "/week/2999-W52")


@pytest.mark.parametrize(("query", "where"), [
    ("from=2026-11-23&to=2026-11-29", "2026-W48"), ("from=2026-11-02&to=2026-11-29", "2026-W45--2026-W48"),
    ("from=2026-11-24&to=2026-11-26", "2026-11-24--2026-11-26"), ("from=2026-11-24", "2026-11-24--2026-11-24"),
    ("from=2026-11-29&to=2026-11-23", "2026-W49"), ("from=29.11.2026&to=x", "2026-W49"), ("from=&to=", "2026-W49"),
])
def test_two_days_lead_to_their_span_and_what_is_none_says_so(supervisor: FlaskClient, query: str, where: str) -> None:
    answer = supervisor.get(f"/week?{query}")
    assert answer.location == f"/week/{where}"
    assert ("Nothing was looked up" in text_of(supervisor, answer.location)) is (where == "2026-W49")


def test_a_span_has_one_address(supervisor: FlaskClient) -> None:
    for ending in ("", "/meeting", ".csv", ".xlsx"):
        answer = supervisor.get(f"/week/2026-11-23--2026-11-29{ending}?rule=dirty")
        assert answer.location.startswith(f"/week/2026-W48{ending}?")
        assert "rule=dirty" in answer.location


def test_a_span_of_weeks_has_its_page_its_files_and_its_neighbours(supervisor: FlaskClient, four_flags: None) -> None:
    page = text_of(supervisor, "/week/2026-W47--2026-W48")
    assert "Weeks 47 to 48, 2026" in page
    assert "16 to 29 Nov 2026" in page
    assert 'href="/week/2026-W45--2026-W46"' in page
    assert len(tags_shown(page)) == 4
    assert "Mean of 4" not in page
    assert "In the span before" not in page
    answer = supervisor.get("/week/2026-W47--2026-W48.csv")
    assert answer.data.count(b"2026-W47--2026-W48,Unit 2,") == 4
    assert "2026-W47--2026-W48_made" in answer.headers["Content-Disposition"]
    assert "Week 53, 2026 to week 1, 2027" in text_of(supervisor, "/week/2026-W53--2027-W01")
    assert "28 Dec 2026 to 10 Jan 2027" in text_of(supervisor, "/week/2026-W53--2027-W01")


# what the page shows ---------------------------------------------------------------------------------------


@on_both
def test_exceptions_stand_gravest_first_each_linked_to_its_flag(supervisor: FlaskClient, four_flags: None) -> None:
    page = text_of(supervisor, f"/week/{WEEK}")
    assert tags_shown(page) == ["P-101A", "P-101A", "F-200", "F-200"]
    assert "4 flags stood" in page
    assert "4 raised, 1 closed in the week" in page
    for flag_id in (1, 2, 3, 4):
        assert f'href="/flags/{flag_id}"' in page


@pytest.mark.parametrize(("query", "tags"), [
    ("?priority=act+now", ["P-101A"]),
    ("?rule=dirty", ["F-200", "F-200"]),
    ("?area=Feed", ["P-101A", "P-101A"]),
    ("?area=Cooling+%3Cb%3E", ["F-200", "F-200"]),
    ("?state=closed", ["P-101A"]),
    ("?state=active&rule=dirty", ["F-200", "F-200"]),
    ("?area=Feed&rule=dirty", []),
    ("?rule=&area=&state=&priority=", ["P-101A", "P-101A", "F-200", "F-200"]),
    ("?shift=Day", ["P-101A", "P-101A", "F-200", "F-200"]), ("?shift=Night", []),
    ("?rule=no_such_rule", []),
])
def test_the_table_is_narrowed_by_what_is_asked(supervisor: FlaskClient, four_flags: None, query: str,
                                                tags: list[str]) -> None:
    page = text_of(supervisor, f"/week/{WEEK}{query}")
    assert tags_shown(page) == tags
    assert "4 flags stood" in page  # the counts are the whole week's
    assert ("No exception is like that" in page) is (not tags)


def test_what_people_typed_is_shown_as_text(supervisor: FlaskClient, four_flags: None) -> None:
    page = text_of(supervisor, f"/week/{WEEK}?rule=%3Cscript%3E")
    assert "<script>" not in page
    assert "Cooling <b>" not in page
    assert "&lt;script&gt;alert(1)" in text_of(supervisor, f"/week/{WEEK}")


def test_what_keeps_coming_back_is_named(supervisor: FlaskClient, four_flags: None) -> None:
    page = text_of(supervisor, f"/week/{WEEK}")
    assert "Keeps coming back" in page
    assert ">F-200</a></th>" in page.partition('id="repeats"')[2].partition("</table>")[0]


def test_rounds_missed_are_on_the_page(supervisor: FlaskClient) -> None:
    page = text_of(supervisor, f"/week/{WEEK}")
    assert '<b>0 of 14</b><span><a href="#rounds">rounds complete</a></span>' in page
    assert '<b>14</b><span><a href="#rounds">rounds missed</a></span>' in page
    assert "Nothing stood this week" in page
    assert "No motor was read either" in page


def test_a_week_to_come_says_so_and_offers_no_file(supervisor: FlaskClient, four_flags: None) -> None:
    page = text_of(supervisor, "/week/2027-W20")
    assert "This week has not begun" in page
    assert "Download" not in page


def test_another_units_week_is_its_own(client: FlaskClient, app_database: Database, plant: Plant,
                                       four_flags: None) -> None:
    with app_database.writing() as session:
        other = factories.make_unit(session, "Unit 3")
        boss = factories.make_person(session, other, "supervisor", sign_in="other")
        session.commit()
    page = text_of(sign_in(client, boss), f"/week/{WEEK}")
    assert "P-101A" not in page
    assert "0 flags stood" in page
    assert b"P-101A" not in client.get(f"/week/{WEEK}.csv").data


def test_a_page_shows_the_first_of_very_many_and_says_so(supervisor: FlaskClient, app_database: Database,
                                                         plant: Plant) -> None:
    with app_database.writing() as session:
        motor = session.merge(plant.motor, load=False)
        for _ in range(502):
            make_flag(session, motor)
        session.commit()
    page = text_of(supervisor, f"/week/{WEEK}")
    assert len(tags_shown(page)) == 500
    assert "The first 500 of 502 are shown" in page
    assert "502 flags stood" in page
    assert supervisor.get(f"/week/{WEEK}.csv").data.count(b"\r\n") == 503


def test_a_large_file_is_sent_whole_too(supervisor: FlaskClient, app_database: Database, plant: Plant) -> None:
    with app_database.writing() as session:
        motor = session.merge(plant.motor, load=False)
        for _ in range(600):
            make_flag(session, motor, action="x" * 2000)
        session.commit()
    answer = supervisor.get(f"/week/{WEEK}.csv")
    assert len(answer.data) == int(answer.headers["Content-Length"]) > 1_200_000
    assert answer.data.count(b"\r\n") == 601


@on_both
def test_late_actions_run_ons_and_what_waits_are_named_with_whose_word_it_is(
        supervisor: FlaskClient, app_database: Database, plant: Plant, clock: Clock) -> None:
    clock.set("2026-11-29T20:00:00-06:00")
    with app_database.writing() as session:
        motor = session.merge(plant.motor, load=False)
        make_flag(session, motor, rule="vibration", end="DE", owner="millwright 2", action="asked",
                  due_at=utc("2026-11-27T20:00:00-06:00"))
        make_flag(session, motor, rule="vibration", end="ODE", owner="fitter 1", action="asked",
                  due_at=utc("2026-11-24T20:00:00-06:00"), closed_at=utc("2026-11-25T08:00:00-06:00"))
        make_flag(session, motor, rule="dirty", owner="cleaner 3", action="asked",
                  due_at=utc("2026-11-30T08:00:00-06:00"))  # not due yet
        runs = make_flag(session, motor, rule="bearing_hot", end="DE", run_on_reason="no spare in the store",
                         run_on_watch="92 °C", run_on_at=TUESDAY, run_on_review_at=utc("2026-11-29T18:00:00-06:00"))
        session.add(Note(flag_id=runs.id, person_id=plant.head_operator.id, at=TUESDAY, kind="run on", text="x"))
        make_flag(session, motor, rule="lubricant", end="DE", says="Low.")  # nobody did anything since Tuesday
        session.commit()
    page = text_of(supervisor, f"/week/{WEEK}")

    def part(anchor: str) -> str:
        return page.partition(f'id="{anchor}"')[2].partition("</table>")[0]

    late = part("late")
    assert ("millwright 2" in late, "fitter 1" in late, "cleaner 3" in late) == (True, True, False)
    assert "2 days" in late
    assert "0.5 days" in late  # done, but half a day late
    assert "no spare in the store" in part("run-on")
    assert "92 °C" in part("run-on")
    assert "Head Operator, 24 Nov 2026, 08:00" in part("run-on")
    assert "time has come" in part("run-on")
    assert "Low." in part("waiting")
    assert "<b>2</b><span><a href=\"#late\">actions late</a>" in page
    assert "millwright 2" in text_of(supervisor, f"/week/{WEEK}/meeting")


def test_the_one_page_for_the_meeting_holds_the_gravest_and_says_how_many_more(
        supervisor: FlaskClient, app_database: Database, plant: Plant) -> None:
    with app_database.writing() as session:
        motor = session.merge(plant.motor, load=False)
        for i in range(11):
            make_flag(session, motor, says=f"Finding {i}.", priority="act now" if i == 10 else "watch")
        session.commit()
    page = text_of(supervisor, f"/week/{WEEK}/meeting")
    assert page.index("Finding 10.") < page.index("Finding 0.") < page.index("Finding 3.")
    assert "Finding 4." not in page
    assert "and 6 more in the full list" in page


# the files -------------------------------------------------------------------------------------------------


@on_both
def test_the_page_and_the_command_give_the_same_csv(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                                    four_flags: None) -> None:
    answer = supervisor.get(f"/week/{WEEK}.csv")
    with app_database.reading() as session:
        assert answer.data == b"".join(week_csv(session, plant.unit, WEEK, AFTERWARDS))
    assert answer.mimetype == "text/csv"
    assert answer.headers["Content-Disposition"] == (
        "attachment; filename=exceptions_unit-2_2026-W48_made-20261201T1500Z.csv")
    assert int(answer.headers["Content-Length"]) == len(answer.data)
    assert answer.headers["Cache-Control"] == "no-store"


@on_both
def test_the_page_and_the_command_give_the_same_workbook(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                                         four_flags: None) -> None:
    answer = supervisor.get(f"/week/{WEEK}.xlsx")
    file = io.BytesIO()
    with app_database.reading() as session:
        week_workbook(session, plant.unit, WEEK, AFTERWARDS, file)
    assert answer.data == file.getvalue()
    assert openpyxl.load_workbook(io.BytesIO(answer.data))["Exceptions"].max_row == 5
    assert answer.headers["Content-Disposition"].endswith("made-20261201T1500Z.xlsx")
    assert int(answer.headers["Content-Length"]) == len(answer.data)


def test_the_files_hold_the_whole_week_however_the_page_is_narrowed(supervisor: FlaskClient, four_flags: None) -> None:
    assert supervisor.get(f"/week/{WEEK}.csv?rule=smoke").data == supervisor.get(f"/week/{WEEK}.csv").data


@on_both
def test_a_files_failure_is_an_error_page_and_never_half_a_file(app: Flask, supervisor: FlaskClient,
                                                                app_database: Database, four_flags: None) -> None:
    with app_database.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE note RENAME TO note_elsewhere")
    try:
        answer = supervisor.get(f"/week/{WEEK}.csv")
    finally:  # the next test has the same tables on PostgreSQL
        with app_database.engine.begin() as connection:
            connection.exec_driver_sql("ALTER TABLE note_elsewhere RENAME TO note")
    assert answer.status_code == 503
    assert "attachment" not in answer.headers.get("Content-Disposition", "")


def test_the_page_asks_the_database_as_often_for_many_flags_as_for_few(supervisor: FlaskClient, app_database: Database,
                                                                       plant: Plant, four_flags: None) -> None:
    asked: list[str] = []
    sa.event.listen(app_database.engine, "before_cursor_execute", lambda *told: asked.append(told[2]))
    text_of(supervisor, f"/week/{WEEK}")
    few = len(asked)
    with app_database.writing() as session:
        motor = session.merge(plant.motor, load=False)
        for i in range(60):
            reading = factories.make_reading(session, motor, plant.operator, TUESDAY + timedelta(minutes=i))
            make_flag(session, motor, raised_cause_id=reading.id, raised_by_id=plant.operator.id)
        session.commit()
    asked.clear()
    text_of(supervisor, f"/week/{WEEK}")
    assert len(asked) <= few + 2  # the round's own people


def test_the_hour_that_comes_twice_is_told_apart_on_the_page(supervisor: FlaskClient, app_database: Database,
                                                             plant: Plant) -> None:
    with app_database.writing() as session:
        motor = session.merge(plant.motor, load=False)
        make_flag(session, motor, utc("2026-11-01T01:30:00-06:00"))
        session.commit()
    assert "1 Nov 2026, 01:30 (second)" in text_of(supervisor, "/week/2026-W44")
