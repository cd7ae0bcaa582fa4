"""The paper sheet: the same route, order and checks; typed in afterwards, each row judged and marked entered later."""

from __future__ import annotations

import re
import uuid
from typing import Any

import pytest
import sqlalchemy as sa
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.db import Database
from app.paper_codes import CHECKED, CLEAN, HEAT, LOOK, LUBRICANT, STATE, VIBRATION, read_row
from app.rules import facts
from app.store.motors import Motor
from app.store.rounds import Reading
from app.web.entry_form import LOOK as LOOK_CHOICES
from tests.conftest import Clock, on_both
from tests.factories import Plant, make_motor, make_point, post_form, sign_in
from tests.web.at_motor import flags_of, readings_of, words_of

PATH = "/sheet/paper/entries"
#: A running motor with nothing wrong, as it stands on the paper.
FINE = {"time": "07:05", "state": "R", "look": "N", "vib_ODE": "U", "vib_DE": "u", "heat_ODE": "W", "heat_DE": "W",
        "frame": "W", "amps": "81", "lube_ODE": "O", "lube_DE": "O", "clean": "C"}


@pytest.fixture
def operator(client: FlaskClient, plant: Plant, clock: Clock) -> FlaskClient:
    clock.set("2026-11-24T07:30:00-06:00")
    return sign_in(client, plant.operator)


@pytest.fixture
def more(app_database: Database, plant: Plant) -> dict[str, Motor]:
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        made = {"P-102": make_motor(session, unit, "P-102", area="Tank yard", route_order=2.0, ammeter="three"),
                "F-410": make_motor(session, unit, "F-410", area="Tank yard", route_order=3.0, ammeter="none",
                                    greased=False, condition="standby", interlock="automatic start")}
        make_point(session, made["F-410"], kind="sealed", lubricant=None, thickener=None, grease_g=None,
                   interval_days=None)
        session.commit()
    return made


def ids(client: FlaskClient) -> dict[str, str]:
    """Row ids as the page made them, by field name."""
    return dict(re.findall(r'name="(id-\d+)" value="([^"]+)"', client.get(PATH).get_data(as_text=True)))


def row(motor: Motor, key: str | None = None, **boxes: str) -> dict[str, str]:
    return {f"id-{motor.id}": key or str(uuid.uuid4()), **{f"{box}-{motor.id}": text for box, text in boxes.items()}}


def send(client: FlaskClient, *rows: dict[str, str], **page: str) -> TestResponse:
    return post_form(client, PATH, {name: value for each in (*rows, page) for name, value in each.items()})


# the letters ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("letters", "words"), [
    (STATE[:-1], facts.STATES), (VIBRATION, (*facts.VIBRATION_FEEL, facts.COULD_NOT_FEEL)),
    (HEAT, (*facts.TEMPERATURE_FEEL, facts.COULD_NOT_FEEL)), (LUBRICANT, facts.LUBRICANT), (CLEAN, facts.CLEANLINESS),
    (LOOK, tuple(word for word, _ in LOOK_CHOICES)),
], ids=["state", "vibration", "heat", "lubricant", "clean", "look"])
def test_every_word_has_a_letter_of_its_own(letters: Any, words: tuple[str, ...]) -> None:
    assert tuple(each.word for each in letters) == tuple(words)
    assert len({each.letter for each in letters}) == len(letters)


@pytest.mark.parametrize(("box", "typed", "fields"), [
    ("heat_DE", "63 i", {"bearing_temp_DE": "63", "method": "infrared"}),
    ("heat_DE", "63,5", {"bearing_temp_DE": "63,5"}),
    ("heat_DE", "t", {"bearing_feel_DE": "too hot to hold"}),
    ("frame", "98G", {"winding_temp": "98", "winding_method": "fitted"}),
    ("amps", "78/79,5/77", {"amps_1": "78", "amps_2": "79,5", "amps_3": "77"}),
    ("amps", "x", {"amps_unread": ["could not read"]}),
    ("look", "gm, k", {"look": ["guard missing", "leak"]}), ("lube_ODE", "P", {"lubricant_ODE": "purging"}),
])
def test_a_box_is_read_as_the_form_at_the_motor_has_it(box: str, typed: str, fields: dict[str, Any]) -> None:
    read, wrong = read_row({"state": "R", box: typed})
    assert wrong == {} and {k: v for k, v in read.items() if k not in ("state", "remarks")} == fields


@pytest.mark.parametrize(("box", "typed"), [
    ("state", ""), ("state", "Q"), ("look", "N Z"), ("vib_DE", "W"), ("heat_DE", "63 F"), ("heat_DE", "63 C"),
    ("heat_ODE", "Z"), ("frame", "98 Q"), ("amps", "78/79"), ("lube_DE", "X"), ("clean", "W")])
def test_a_letter_that_is_none_of_the_box_is_told_there(box: str, typed: str) -> None:
    assert set(read_row({"state": "R", box: typed})[1]) == {box}


# printing ---------------------------------------------------------------------------------------------------


def test_the_sheet_has_the_route_the_checks_and_the_marks_and_no_figure_to_copy(
        operator: FlaskClient, plant: Plant, more: dict[str, Motor]) -> None:
    text = operator.get("/sheet/paper?paper=a4").get_data(as_text=True)
    sheet = text[text.index('class="paper-sheet'):]
    places = [sheet.index(f">{tag}</b>") for tag in ("P-101A", "P-102", "F-410")]
    assert places == sorted(places) and "may start by itself" in sheet[places[2]:]
    assert words_of(sheet).count("no meter") == 1 and words_of(sheet).count("sealed") == 1
    assert sheet.count("<i>1</i><i>2</i><i>3</i>") == 1  # a box a phase
    assert "87" not in words_of(sheet) and "90" not in words_of(sheet)  # neither rated amps nor the bearing alarm
    headings = re.findall(r"<th scope=\"col\"><b>([^<]+)", sheet)
    assert headings[:3] == ["Time", "State", "Look"] and headings[3:-1] == [b.heading for b in CHECKED]


def test_only_what_is_left_and_the_next_shift_can_be_printed(operator: FlaskClient, plant: Plant,
                                                             more: dict[str, Motor]) -> None:
    assert send(operator, row(plant.motor, **FINE)).status_code == 303
    left = operator.get("/sheet/paper?paper=letter&which=left").get_data(as_text=True)
    assert ">P-101A</b>" not in left and ">P-102</b>" in left
    following = words_of(operator.get("/sheet/paper?paper=letter&shift=next").get_data(as_text=True))
    assert "Night shift, Tue 24 Nov 2026" in following and "3 motors" in following
    assert operator.get("/sheet/paper?paper=a3").status_code == 302


# typing in --------------------------------------------------------------------------------------------------


@on_both
def test_a_row_is_stored_with_the_time_it_was_seen_and_judged_as_at_the_motor(
        operator: FlaskClient, app_database: Database, plant: Plant) -> None:
    answer = send(operator, row(plant.motor, **{**FINE, "heat_DE": "92 I", "amps": "101,5", "remarks": "hot wind"}))
    assert answer.status_code == 303
    (stored,) = readings_of(app_database, plant.motor)
    assert stored.taken_at.isoformat() == "2026-11-24T13:05:00+00:00" and stored.entered_later
    assert (stored.bearing_temp_c_de, stored.method, stored.current_a_1) == (92.0, "infrared", 101.5)
    assert (stored.smoke, stored.guard, stored.vibration_feel_ode, stored.remarks) == (
        "none", "in place", "as usual", "hot wind")
    found = {f.rule for f in flags_of(app_database, plant.motor)}
    assert {"bearing_hot", "amps_over_nameplate"} <= found  # 92 above 90 °C; 101.5 above 87 x 1.15 = 100.05 A
    assert "entered later" in words_of(operator.get(PATH))


def test_what_is_complete_is_stored_and_the_rest_stays_with_its_fault_beside_the_box(
        operator: FlaskClient, app_database: Database, plant: Plant, more: dict[str, Motor]) -> None:
    answer = send(operator, row(plant.motor, **FINE),
                  row(more["P-102"], **{**FINE, "vib_DE": "W", "time": "7:66", "remarks": "kept words"}),
                  row(more["F-410"]), walked_by="Head operator")
    text = answer.get_data(as_text=True)
    assert answer.status_code == 422
    for box in ("vib_DE", "time"):
        assert f'id="{box}-{more["P-102"].id}-error"' in text
    assert 'value="kept words"' in text and 'value="7:66"' in text
    assert [len(readings_of(app_database, m)) for m in (plant.motor, *more.values())] == [1, 0, 0]
    assert readings_of(app_database, plant.motor)[0].remarks == "on paper by Head operator"


def test_the_same_page_sent_twice_stores_each_row_once(operator: FlaskClient, app_database: Database,
                                                       plant: Plant) -> None:
    key = ids(operator)[f"id-{plant.motor.id}"]
    assert [send(operator, row(plant.motor, key, **FINE)).status_code for _ in range(2)] == [303, 303]
    answer = send(operator, row(plant.motor, key, **{**FINE, "amps": "82"}))
    assert answer.status_code == 422 and "Stored before with other content" in words_of(answer)
    assert [r.current_a_1 for r in readings_of(app_database, plant.motor)] == [81.0]


@pytest.mark.parametrize(("boxes", "box"), [
    ({"time": ""}, "time"), ({"time": "05:59"}, "time"), ({"time": "07:31"}, "time"), ({"time": "late"}, "time"),
    ({"state": "S"}, "vib_DE"), ({"state": "L"}, "lube_DE"), ({"state": "X"}, "remarks"), ({"state": "Q"}, "state"),
    ({"amps": "1.234"}, "amps"), ({"heat_DE": "1e5"}, "heat_DE"), ({"look": "N S"}, "look"),
    ({"frame": "700 G"}, "frame"),
    ({"heat_ODE": "60 P", "heat_DE": "63 I"}, "heat_ODE"),
], ids=str)
def test_what_cannot_be_stored_is_told_at_its_box(operator: FlaskClient, app_database: Database, plant: Plant,
                                                  boxes: dict[str, str], box: str) -> None:
    answer = send(operator, row(plant.motor, **{**FINE, **boxes}))
    assert answer.status_code == 422 and f'id="{box}-{plant.motor.id}-error"' in answer.get_data(as_text=True)
    assert readings_of(app_database, plant.motor) == []


def test_a_standby_motor_and_a_skipped_one(operator: FlaskClient, app_database: Database, plant: Plant,
                                           more: dict[str, Motor]) -> None:
    answer = send(operator, row(more["F-410"], time="0706", state="s", look="n", lube_ODE="o", clean="c"),
                  row(more["P-102"], time="07.10", state="X", remarks="area closed by permit"))
    assert answer.status_code == 303, words_of(answer)
    (standing,), (skipped,) = readings_of(app_database, more["F-410"]), readings_of(app_database, more["P-102"])
    assert (standing.state, standing.lubricant_ode) == ("standby", "ok")
    assert (skipped.skip_reason, skipped.entered_later) == ("area closed by permit", True)


def test_a_figure_that_is_hardly_meant_is_asked_and_the_answer_kept(operator: FlaskClient, app_database: Database,
                                                                    plant: Plant) -> None:
    written = {**FINE, "amps": "810"}  # the plate says 87 A: 81.0 is asked for
    key = str(uuid.uuid4())
    text = send(operator, row(plant.motor, key, **written)).get_data(as_text=True)
    name, value = re.findall(rf'name="(sure_amps_1-{plant.motor.id})" value="(kept[^"]*)"', text)[0]
    assert readings_of(app_database, plant.motor) == []
    assert send(operator, row(plant.motor, key, **written), **{name: value}).status_code == 303
    assert readings_of(app_database, plant.motor)[0].current_a_1 == 810.0


def test_a_night_sheet_typed_in_by_day_lies_in_its_own_shift(operator: FlaskClient, app_database: Database,
                                                             plant: Plant) -> None:
    text = operator.get(PATH).get_data(as_text=True)
    night = re.findall(r'<option value="(\d+)">Night 23 Nov 2026', text)[0]
    answer = send(operator, row(plant.motor, **{**FINE, "time": "02:10"}), shift=night)
    assert answer.status_code == 303 and night in answer.headers["Location"]
    with app_database.reading() as session:
        (stored,) = session.scalars(sa.select(Reading))
        assert stored.taken_at.isoformat() == "2026-11-24T08:10:00+00:00" and stored.round.label == "Night 2026-11-23"
    assert operator.get(PATH + "?shift=12345x").status_code == 404


def test_forty_rows_typed_at_one_time_are_no_pace_nobody_walks(operator: FlaskClient, app_database: Database,
                                                               plant: Plant, more: dict[str, Motor]) -> None:
    rows = [row(m, **{**FINE, **({"amps": "81/81/81"} if m is more["P-102"] else {})})
            for m in (plant.motor, more["P-102"])]
    assert send(operator, *rows).status_code == 303
    assert "look_again" not in {f.rule for m in (plant.motor, more["P-102"]) for f in flags_of(app_database, m)}
