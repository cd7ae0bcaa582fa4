"""The review and the life of a flag, by the pages: what stands, who decides what, and what comes back by itself."""

from __future__ import annotations

import csv
import re
import uuid
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.config import Settings
from app.db import Database
from app.store.changes import Change
from app.store.flags import Flag, Note
from app.store.limits import LimitChange, change_limit
from app.store.motors import Motor
from tests import factories
from tests.conftest import Clock, on_both
from tests.factories import Plant, post_form, sign_in
from tests.web.at_motor import FINE, enter, greased_lately, words_of

#: DE at 92 °C by a contact probe: above the alarm of 90, below the shutdown of 100, with 20 K between two feels hidden.
HOT: dict[str, Any] = {"bearing_feel_DE": None, "bearing_temp_DE": "92", "method": "contact"}


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """A life of several days is followed here by the same people: their sessions outlast it."""
    (tmp_path / "instance").mkdir()
    return Settings(instance=tmp_path / "instance", desk_hours=24 * 60, desk_idle_minutes=24 * 3600)


@pytest.fixture
def head(client: FlaskClient, plant: Plant, app_database: Database) -> FlaskClient:
    greased_lately(app_database, plant.motor)
    return sign_in(client, plant.head_operator)


@pytest.fixture
def boss(app: Any, plant: Plant) -> FlaskClient:
    return sign_in(app.test_client(), plant.supervisor)


def hot(client: FlaskClient, motor: Motor, de_c: str = "92", **more: Any) -> None:
    answer = enter(client, motor, **{**HOT, "bearing_temp_DE": de_c, **more})
    assert answer.status_code == 303, words_of(answer)


def cool(client: FlaskClient, motor: Motor, **more: Any) -> None:
    hot(client, motor, "60", **more)


def stored(database: Database, rule: str = "bearing_hot") -> Flag:
    """The newest flag of a rule."""
    with database.reading() as session:
        found = session.scalars(sa.select(Flag).where(Flag.rule == rule).order_by(Flag.id.desc())).first()
        assert found is not None, f"no flag of {rule}"
        return found


def kinds(database: Database, flag: Flag) -> list[tuple[str, str]]:
    with database.reading() as session:
        return [(n.kind, n.text) for n in session.scalars(sa.select(Note).where(Note.flag_id == flag.id)
                                                          .order_by(Note.id))]


def act(client: FlaskClient, flag: Flag, name: str, **fields: Any) -> TestResponse:
    """Posts an act as its form does, with the version that was looked at."""
    return post_form(client, f"/flags/{flag.id}/{name}", {"version": flag.version, **fields})


def review(client: FlaskClient, flag: Flag | None = None) -> str:
    return words_of(client.get(f"/review?open={flag.id}" if flag else "/review"))


def test_a_flag_opened_shows_what_a_decision_needs(head: FlaskClient, plant: Plant, app_database: Database,
                                                   clock: Clock) -> None:
    for temp in ("61", "63", "92"):
        hot(head, plant.motor, temp)
        clock.advance(hours=12)
    page = head.get(f"/review?open={stored(app_database).id}").get_data(as_text=True)
    assert re.search(r"<title[^>]*>DE bearing over the last 3 readings</title>", page)
    assert "first 61 °C, newest 92 °C, lowest 61 °C, highest 92 °C. Limit 90 °C." in page
    assert page.count('<circle class="read"') == 2 and page.count('<rect class="flagged"') == 1
    told = words_of(page)
    for words in ("1 reading, 1 shift, 1 person", "Rated amps 87 A", "Readings behind it", "The same as a table",
                  "The motor's last entries", "Run on, and look again", "Shelve until a shift begins"):
        assert words in told


def test_what_was_done_and_who_will_by_when_stays_with_its_name(head: FlaskClient, plant: Plant,
                                                                app_database: Database) -> None:
    hot(head, plant.motor)
    flag = stored(app_database)
    answer = act(head, flag, "done", text="Told mechanical by radio 07:20", owner="Mechanical", due_at="18:00")
    assert answer.status_code == 303
    after = stored(app_database)
    # 18:00 in Chicago on 24 November is midnight UTC
    assert (after.owner, after.due_at and after.due_at.isoformat()) == ("Mechanical", "2026-11-25T00:00:00+00:00")
    assert after.action == "Told mechanical by radio 07:20. Mechanical will, by 24 Nov 2026, 18:00"
    assert [k for k, _ in kinds(app_database, flag)] == ["seen", "done"]
    assert "Mechanical, by 24 Nov 2026, 18:00" in review(head)


@pytest.mark.parametrize(("fields", "says"), [
    ({"text": ""}, "Write what was done"),
    ({"text": "told", "owner": "Mechanical"}, "Say by when"),
    ({"text": "told", "due_at": "18:00"}, "Say who will"),
    ({"text": "told", "owner": "Mechanical", "due_at": "soon"}, "Enter a date and time"),
    ({"text": "told", "owner": "Mechanical", "due_at": "2026-11-24 07:12"}, "This time has passed"),
    ({"text": "told", "owner": "Mechanical", "due_at": "2026-02-30 07:12"}, "Enter a date and time"),
], ids=["nothing", "no time", "nobody", "no date", "passed", "no such day"])
def test_half_a_plan_is_refused_at_its_field_with_the_words_kept(
        head: FlaskClient, plant: Plant, app_database: Database, fields: dict[str, str], says: str) -> None:
    hot(head, plant.motor)
    answer = act(head, stored(app_database), "done", **fields)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422 and says in page
    assert all(value in page for value in fields.values())
    assert stored(app_database).action is None


def test_a_run_on_comes_back_on_top_at_its_time(head: FlaskClient, plant: Plant, app_database: Database,
                                                clock: Clock) -> None:
    hot(head, plant.motor, "101")  # act now: above the shutdown of 100
    flag = stored(app_database)
    answer = act(head, flag, "run-on", reason="No spare until Thursday", watch="DE above 105 °C: stop",
                 review_at="10:00")
    assert answer.status_code == 303
    assert "Runs on: No spare until Thursday. Look again 24 Nov 2026, 10:00" in review(head)
    assert "Run on: look again" not in review(head)
    clock.set("2026-11-24T10:00:00-06:00")
    told = review(head)
    assert "1 run on: look again" in told
    assert told.index("Run on: look again since 24 Nov 2026, 10:00") < told.index("The sheet")
    assert kinds(app_database, flag)[-1] == (
        "run on", "No spare until Thursday. Watch: DE above 105 °C: stop. Look again: 24 Nov 2026, 10:00")
    answer = act(head, stored(app_database), "end-run-on", text="Swapped to the spare")
    assert answer.status_code == 303 and "Run on: look again" not in review(head)
    assert stored(app_database).run_on_reason == "No spare until Thursday"


@pytest.mark.parametrize("missing", ["reason", "watch", "review_at"])
def test_a_run_on_without_reason_value_or_time_is_none(head: FlaskClient, plant: Plant, app_database: Database,
                                                       missing: str) -> None:
    hot(head, plant.motor)
    said = {"reason": "No spare", "watch": "above 95 °C", "review_at": "10:00"}
    answer = act(head, stored(app_database), "run-on", **{**said, missing: ""})
    assert answer.status_code == 422
    assert all(value in answer.get_data(as_text=True) for name, value in said.items() if name != missing)
    assert stored(app_database).run_on_reason is None


def test_shelved_it_waits_until_its_shift_begins(head: FlaskClient, plant: Plant, app_database: Database,
                                                 clock: Clock) -> None:
    hot(head, plant.motor)
    flag = stored(app_database)
    until = "2026-11-24T18:00:00-06:00"  # the night shift
    answer = act(head, flag, "shelve", reason="Fan is being made", watch="DE temperature", until=until)
    assert answer.status_code == 303
    told = review(head)
    assert "1 shelved and waiting" not in told and "1 shelved and waking" in told
    assert "wakes at the start of the next shift : Fan is being made. Watch: DE temperature" in told
    assert stored(app_database).state(clock.now) == "shelved"
    clock.set(until)
    assert "Woke 18:00" in review(head) and stored(app_database).state(clock.now) == "active"


@pytest.mark.parametrize(("role", "until", "stays"), [
    ("head operator", "2026-11-25T18:00:00-06:00", True),  # the third shift start after the day shift of the 24th
    ("head operator", "2026-11-26T06:00:00-06:00", False),
    ("head operator", "2026-11-25T12:00:00-06:00", False),
    ("supervisor", "2026-12-08T06:00:00-06:00", True),  # 14 days on less an hour and twelve minutes
    ("supervisor", "2026-12-08T18:00:00-06:00", False),
    ("supervisor", "2026-11-24T06:00:00-06:00", False),
], ids=["3 shifts", "4 shifts", "no shift's start", "14 days", "over 14 days", "passed"])
def test_how_long_a_flag_may_be_shelved_depends_on_who_does(
        app: Any, plant: Plant, app_database: Database, role: str, until: str, stays: bool) -> None:
    who = plant.supervisor if role == "supervisor" else plant.head_operator
    client = sign_in(app.test_client(), who)
    hot(client, plant.motor)
    answer = act(client, stored(app_database), "shelve", reason="why", watch="what", until=until)
    assert answer.status_code == (303 if stays else 422)
    assert (stored(app_database).shelved_until is not None) is stays


def test_act_now_is_never_shelved(head: FlaskClient, boss: FlaskClient, plant: Plant, app_database: Database) -> None:
    hot(head, plant.motor, "101")
    flag = stored(app_database)
    assert "Shelve until" not in review(boss, flag)
    answer = act(boss, flag, "shelve", reason="why", watch="what", until="2026-11-24T18:00:00-06:00")
    assert answer.status_code == 422 and "never shelved" in words_of(answer)
    assert stored(app_database).shelved_until is None


def test_closed_before_a_reading_showed_it_the_record_says_so(head: FlaskClient, plant: Plant,
                                                              app_database: Database) -> None:
    hot(head, plant.motor)
    assert "No reading since 24 Nov 2026, 07:12 shows it yet" in review(head, stored(app_database))
    assert act(head, stored(app_database), "close", text="Swapped to the spare").status_code == 303
    closed = stored(app_database)
    assert closed.closed_at is not None and closed.closed_reading_id is None
    assert closed.closed_why == "Swapped to the spare"
    assert "closed before a reading showed it" in words_of(head.get(f"/flags/{closed.id}"))


def _later(database: Database, plant: Plant, hours: list[float], **columns: Any) -> list[str]:
    """Readings so many hours after the first entry, which nothing judged; their ids as a form offers them."""
    with database.writing() as session:
        made = [factories.make_reading(session, plant.motor, plant.operator, at, **columns)
                for at in (factories.NOW + timedelta(hours=h) for h in hours)]
        session.commit()
        return [str(row.id) for row in made]


def _offered(page: str) -> list[str]:
    """The readings that the form for closing offers."""
    return re.findall(r'<option value="([0-9a-f-]{36})"', page)


@on_both
def test_a_look_is_offered_to_close_with_however_many_rounds_it_was_skipped_since(
        head: FlaskClient, plant: Plant, app_database: Database) -> None:
    hot(head, plant.motor)
    look = _later(app_database, plant, [1.0])
    _later(app_database, plant, [2.0 + h for h in range(40)], state=None, skip_reason="fog")
    page = head.get(f"/flags/{stored(app_database).id}").text
    assert _offered(page) == look and "shows it yet" not in page


@on_both
def test_of_many_looks_the_newest_eight_and_the_first_are_offered_and_the_page_says_so(
        head: FlaskClient, plant: Plant, app_database: Database) -> None:
    hot(head, plant.motor)
    says, ids = "the newest 8 since it was last seen, and the first", _later(app_database, plant, [1.0, 2.0])
    assert _offered(head.get(f"/flags/{stored(app_database).id}").text) == ids[::-1]
    assert says not in words_of(head.get(f"/flags/{stored(app_database).id}"))
    ids += _later(app_database, plant, [3.0 + h for h in range(10)])
    answer = head.get(f"/flags/{stored(app_database).id}")
    assert _offered(answer.text) == [*ids[:-9:-1], ids[0]] and says in words_of(answer)
    act(head, stored(app_database), "close", text="Bearing changed", reading=ids[0])
    assert str(stored(app_database).closed_reading_id) == ids[0]


def test_closing_names_the_reading_that_shows_it(head: FlaskClient, plant: Plant, app_database: Database,
                                                 clock: Clock) -> None:
    hot(head, plant.motor)
    clock.advance(hours=2)
    cool(head, plant.motor)
    assert "24 Nov 2026, 09:12, running, Head Operator" in review(head, stored(app_database))
    assert act(head, stored(app_database), "close", text="Greased and wiped").status_code == 303
    closed = stored(app_database)
    assert (closed.closed_why, closed.closed_reading_id is not None) == ("Greased and wiped", True)
    assert "the reading of 24 Nov 2026, 09:12" in words_of(head.get(f"/flags/{closed.id}"))


def test_accepted_as_normal_moves_this_motors_limit_from_now_on(
        head: FlaskClient, boss: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    hot(head, plant.motor)
    flag = stored(app_database)
    assert "Accept as this motor's normal" not in review(head, flag)
    assert act(head, flag, "accept", why="runs hot by design", value="93").status_code == 403
    assert "New limit for this motor, °C" in review(boss, flag)
    clock.advance(minutes=5)
    assert act(boss, flag, "accept", why="runs hot by design", value="91").status_code == 422  # below the 92 found
    assert act(boss, flag, "accept", why="runs hot by design", value="100").status_code == 422  # the shutdown itself
    assert act(boss, flag, "accept", why="", value="93").status_code == 422
    assert act(boss, flag, "accept", why="runs hot by design", value="93").status_code == 303
    with app_database.reading() as session:
        change = session.scalars(sa.select(LimitChange)).one()
        assert (change.name, change.value, change.why, change.motor_id) == (
            "bearing_hot_grease_alarm_c", 93.0, "runs hot by design", plant.motor.id)
        assert session.scalars(sa.select(Change.field)).all() == ["bearing_hot_grease_alarm_c"]
    assert stored(app_database).closed_why == "accepted as this motor's normal: runs hot by design"
    clock.advance(hours=12)
    hot(head, plant.motor)
    assert stored(app_database).id == flag.id  # at 92 nothing new stands; at 93.1 something does
    clock.advance(hours=12)
    hot(head, plant.motor, "93.1")
    assert stored(app_database).id != flag.id and stored(app_database).source == "this motor's limit"


def test_a_windings_feel_accepted_is_its_normal(head: FlaskClient, boss: FlaskClient, plant: Plant,
                                                app_database: Database, clock: Clock) -> None:
    enter(head, plant.motor, winding_feel="hot")
    assert act(boss, stored(app_database, "winding_hot"), "accept", why="modern frame").status_code == 303
    with app_database.reading() as session:
        assert session.get_one(Motor, plant.motor.id).accepted_normal_feel == "hot"
    clock.advance(hours=12)
    enter(head, plant.motor, winding_feel="hot")
    assert stored(app_database, "winding_hot").closed_at is not None


def test_smoke_is_nobodys_normal(head: FlaskClient, boss: FlaskClient, plant: Plant, app_database: Database) -> None:
    enter(head, plant.motor, look="smoke")
    flag = stored(app_database, "smoke")
    assert "Accept as this motor's normal" not in review(boss, flag)
    assert act(boss, flag, "accept", why="always so", value="1").status_code == 422
    assert stored(app_database, "smoke").open


def test_of_two_on_one_flag_one_wins_and_the_other_is_told(app: Any, head: FlaskClient, plant: Plant,
                                                           app_database: Database) -> None:
    hot(head, plant.motor)
    with app_database.writing() as session:
        second = factories.make_person(session, plant.unit, "head operator", "second-head", "Second Head")
        session.commit()
    other, flag = sign_in(app.test_client(), second), stored(app_database)
    assert act(head, flag, "run-on", reason="No spare", watch="95 °C", review_at="10:00").status_code == 303
    answer = act(other, flag, "shelve", reason="Fan is being made", watch="DE",
                 until="2026-11-24T18:00:00-06:00")
    told = words_of(answer)
    assert answer.status_code == 409
    assert "Head Operator, run on, “No spare. Watch: 95 °C." in told and "Nothing of yours was stored" in told
    assert "Fan is being made" in answer.get_data(as_text=True)
    assert stored(app_database).shelved_until is None and stored(app_database).run_on_reason == "No spare"


def test_several_findings_of_one_entry_are_one_entry_with_lines(head: FlaskClient, plant: Plant) -> None:
    hot(head, plant.motor, "92", amps_1="92", cleanliness="oily")
    told = review(head)
    assert "P-101A 3 flags from one entry" in told


def test_what_stands_three_shifts_with_nothing_done_rises(head: FlaskClient, boss: FlaskClient, plant: Plant,
                                                          app_database: Database, clock: Clock) -> None:
    with app_database.writing() as session:
        other = factories.make_motor(session, plant.unit, "P-102", route_order=2.0, greased=False)
        session.commit()
    hot(head, plant.motor)  # this shift
    enter(head, other, cleanliness="dusty")  # watch
    for _ in range(2):
        clock.advance(hours=12)
        hot(head, plant.motor)
        if not _:
            assert "nothing done" not in review(head)
            assert "without an action" not in words_of(boss.get("/week", follow_redirects=True))
    told = review(head)
    assert "Stands 3 shifts, nothing done" in told and "3 shifts · 3×" in told
    assert (stored(app_database).times_seen, stored(app_database).raised_at) == (3, factories.NOW)
    week = words_of(boss.get("/week", follow_redirects=True))
    assert "Standing more than 2 shifts without an action" in week
    act(head, stored(app_database), "done", text="Told mechanical")
    assert "Stands 3 shifts, nothing done" not in review(head).split("P-102")[0]


def set_alarm(database: Database, plant: Plant, value_c: float, at: datetime) -> None:
    with database.writing() as session:
        change_limit(session, session.merge(plant.unit), "bearing_hot_grease_alarm_c", value_c, None, "procedure",
                     session.merge(plant.supervisor), at)
        session.commit()


def test_the_same_flag_on_three_rounds_is_one_row_and_returns_after_two_good_ones(
        head: FlaskClient, boss: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    """Alarm 80: 83, 83, 83; then 79, within the band of 3 K; then 76 twice, below 77."""
    set_alarm(app_database, plant, 80.0, clock.now)
    for _ in range(3):
        hot(head, plant.motor, "83")
        clock.advance(hours=12)
    rows = list(csv.DictReader(boss.get("/week/2026-W48.csv").get_data().decode("utf-8-sig").splitlines()))
    (row,) = [r for r in rows if r["rule"] == "bearing_hot"]
    assert [row[name] for name in ("times_seen", "shifts_open", "limit", "limit_source")] == [
        "3", "3", "80", "unit's limit"]
    for de_c, state in (("79", "improving"), ("76", "improving"), ("76", "returned to normal")):
        hot(head, plant.motor, de_c)
        assert stored(app_database).state(clock.now) == state
        clock.advance(hours=12)
    assert stored(app_database).open and "returned to normal, unseen" in review(head)
    act(head, stored(app_database), "seen")
    assert stored(app_database).closed_why == "returned to normal"


def test_a_limit_changed_at_noon_judges_nothing_that_came_before_it(
        head: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    clock.set("2026-11-24T12:30:00-06:00")
    set_alarm(app_database, plant, 80.0, datetime.fromisoformat("2026-11-24T12:00:00-06:00"))
    hot(head, plant.motor, "83", seen_at="11:59")
    with app_database.reading() as session:
        assert not session.scalars(sa.select(Flag).where(Flag.rule == "bearing_hot")).all()
    hot(head, plant.motor, "83", seen_at="12:00")
    assert stored(app_database).limit == 80.0


def test_a_corrected_entry_is_struck_wherever_it_shows_and_its_flag_closes(
        head: FlaskClient, boss: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    hot(head, plant.motor, "101", remarks="read in the dark")
    flag = stored(app_database)
    clock.advance(minutes=10)
    fields = {**FINE, "bearing_feel_DE": "", "bearing_temp_DE": "61", "method": "contact", "id": str(uuid.uuid4())}
    path = f"/entries/{flag.raised_cause_id}/correct"
    assert post_form(head, path, fields).status_code == 422  # why is asked for
    assert post_form(head, path, {**fields, "replaces_why": "read 101 for 61"}).status_code == 303
    assert stored(app_database).closed_why == "entry corrected"
    for page in (f"/motors/{plant.motor.id}", f"/flags/{flag.id}", f"/entries/{flag.raised_cause_id}"):
        assert re.search(r'class="[^"]*struck', head.get(page).get_data(as_text=True)), page
    rows = list(csv.DictReader(boss.get("/week/2026-W48.csv").get_data().decode("utf-8-sig").splitlines()))
    assert [r["remarks"] for r in rows if r["rule"] == "bearing_hot"] == [
        "Entry corrected: read 101 for 61. It said: read in the dark"]


@on_both
def test_the_review_costs_the_same_however_much_stands(app: Any, client: FlaskClient, plant: Plant,
                                                       app_database: Database) -> None:
    head = sign_in(client, plant.head_operator)
    greased_lately(app_database, plant.motor)
    with app_database.writing() as session:
        more = [factories.make_motor(session, plant.unit, f"P-2{n:02d}", route_order=10.0 + n, greased=False)
                for n in range(12)]
        session.commit()
    review(head)  # opens the sheet
    for motor in more:
        hot(head, motor)
    asked: list[str] = []
    sa.event.listen(app_database.engine, "before_cursor_execute", lambda *a: asked.append(a[2]))
    assert "12 new this shift" in review(head)
    selects = [sql for sql in asked if sql.startswith("SELECT")]
    assert len(selects) <= 4 + 9, "\n\n".join(selects)  # who is signed in and in which unit; then the page
