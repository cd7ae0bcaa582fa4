"""Readings, greasings and starts through the JSON door: stored once, judged, answered; refused at the field."""

from __future__ import annotations

import json
import uuid
from typing import Any

import pytest
from flask import Flask

from app.store.rounds import Reading
from tests import factories
from tests.api.door import PROBLEM, Door, fields_of, make_token
from tests.conftest import Clock, on_both
from tests.entering import at_once, count, day, greasing_body, reading_body
from tests.factories import Plant

ACT, SHIFT, WATCH = "act now", "this shift", "watch"
AMPS, UNEVEN, HOT = "amps_over_nameplate", "bearings_uneven", "bearing_hot"


@pytest.fixture(autouse=True)
def _later(clock: Clock) -> None:
    """An hour after the times that the bodies hold."""
    clock.set(day(0, hours=1))


# at the motor, through the door -----------------------------------------------------------------------------

#: P-101A: 75 hp, 87 A, service factor 1.15, grease. What the entry says besides "running" -> rule, end, priority.
JUDGED = [
    # 87 × 1.15 = 100.05
    ("at rated amps", {"current_a": [87.0]}, None),
    ("just over rated", {"current_a": [87.1]}, (AMPS, None, SHIFT)),
    ("92 A is 105.7 %", {"current_a": [92.0]}, (AMPS, None, SHIFT)),
    ("at the computed service-factor amps", {"current_a": [100.05]}, (AMPS, None, SHIFT)),
    ("101 A is 116.1 %", {"current_a": [101.0]}, (AMPS, None, ACT)),
    ("101 A on a standing motor", {"state": "standby", "current_a": [101.0]}, None),
    ("71 against 61 °C", {"bearing_temp_c": {"DE": 71.0, "ODE": 61.0}}, None),
    ("71.2 against 61 °C", {"bearing_temp_c": {"DE": 71.2, "ODE": 61.0}}, (UNEVEN, "DE", SHIFT)),
    ("61 against 81.1 °C", {"bearing_temp_c": {"DE": 61.0, "ODE": 81.1}}, (UNEVEN, "ODE", ACT)),
    ("one feel grade apart", {"bearing_feel": {"DE": "hot", "ODE": "warm"}}, (UNEVEN, "DE", SHIFT)),
    ("one feel grade apart, standing", {"state": "standby", "bearing_feel": {"DE": "hot", "ODE": "warm"}}, None),
    ("90 °C", {"bearing_temp_c": {"DE": 90.0}}, None),
    ("90.1 °C", {"bearing_temp_c": {"DE": 90.1}}, (HOT, "DE", SHIFT)),
    ("100.1 °C", {"bearing_temp_c": {"DE": 100.1}}, (HOT, "DE", ACT)),
    ("guard missing", {"guard": "missing"}, ("guard_or_ground", None, ACT)),
    ("ground loose on a standing motor", {"state": "standby", "ground": "loose"}, ("guard_or_ground", None, ACT)),
    ("smoke on a standing motor", {"state": "standby", "smoke": "seen"}, ("smoke", None, ACT)),
    ("dusty", {"cleanliness": "dusty"}, ("dirty", None, WATCH)),
    ("low oil", {"lubricant": {"DE": "low"}}, ("lubricant", "DE", SHIFT)),
    ("severe", {"vibration_feel": {"ODE": "severe"}}, ("vibration", "ODE", ACT)),
]


@pytest.fixture
def quiet_chart(app: Flask, plant: Plant) -> None:
    """Greased yesterday, so that only the reading speaks."""
    with app.extensions["database"].writing() as session:
        for point in session.get_one(type(plant.motor), plant.motor.id).points:
            point.last_greased_at = day(-1)
        session.commit()


@pytest.mark.usefixtures("quiet_chart")
@pytest.mark.parametrize(("seen", "found"), [c[1:] for c in JUDGED], ids=[c[0] for c in JUDGED])
def test_what_was_found_is_judged_and_answered(door: Door, seen: dict[str, Any], found: Any) -> None:
    expected = {} if found is None else {found[:2]: found[2]}
    assert door.findings(reading_body(**seen)) == expected


@pytest.mark.usefixtures("quiet_chart")
def test_a_finding_says_figure_limit_source_and_what_to_do(door: Door) -> None:
    (found,) = door.send(reading_body(current_a=[92.0]))["findings"]
    assert found == {
        "rule": AMPS, "end": None, "priority": SHIFT, "value": 92.0, "limit": 87.0, "unit_of_measure": "A",
        "source": "nameplate", "says": "92 A is 105.7 % of 87 A rated (nameplate). Reduce load, shut down or tell the "
                                       "head operator, as procedure says."}


@pytest.mark.usefixtures("quiet_chart")
def test_figures_are_told_to_six_decimals(door: Door) -> None:
    (found,) = door.send(reading_body(bearing_temp_c={"DE": 71.2, "ODE": 61.0}))["findings"]
    assert found["value"] == 10.2  # 71.2 - 61 is 10.200000000000003 in a machine


class TestAUnitThatReadsFahrenheit:
    @pytest.fixture
    def plant(self, app: Flask) -> Plant:
        with app.extensions["database"].writing() as session:
            made = factories.make_plant(session, temperature="F")
            session.commit()
        return made

    @pytest.mark.usefixtures("quiet_chart")
    def test_the_door_speaks_si_and_the_sentence_fahrenheit(self, door: Door) -> None:
        body = reading_body(bearing_temp_c={"DE": 72.0, "ODE": 61.0})
        (found,) = door.send(body)["findings"]
        assert (found["value"], found["limit"], found["unit_of_measure"]) == (11.0, 10.0, "K")
        # 72 °C = 161.6 °F, 61 °C = 141.8 °F; 11 K = 19.8 °F, 10 K = 18 °F of difference
        assert "161.6 °F, ODE 141.8 °F: 19.8 °F apart, above 18 °F" in found["says"]
        (kept,) = door.told("/readings")["readings"]
        assert kept["bearing_temp_c"] == {"DE": 72.0, "ODE": 61.0}


def test_an_entry_by_token_is_never_asked_for_what_it_left_out(door: Door) -> None:
    assert ("not_measured", None) not in door.findings(reading_body(smoke="none"))


# once -------------------------------------------------------------------------------------------------------


def test_the_same_entry_sent_again_is_the_same_answer_and_one_entry(door: Door) -> None:
    body = reading_body(current_a=[92.0])
    first, second = door.post("/readings", body), door.post("/readings", {**body, "device_now": day(1).isoformat()})
    assert (first.status_code, second.status_code) == (201, 200)
    assert second.get_json() == {**first.get_json(), "stored": False}
    assert len(door.told("/readings")["readings"]) == 1


KINDS = [("/readings", reading_body(), {"current_a": [93.0]}), ("/greasings", greasing_body(), {"grams": 31.0})]


@pytest.mark.parametrize(("path", "body", "other"), KINDS, ids=["reading", "greasing"])
def test_the_same_id_with_other_content_is_refused_naming_both(door: Door, path: str, body: dict[str, Any],
                                                               other: dict[str, Any]) -> None:
    door.send(body, path)
    answer = door.post(path, {**body, **other, "by": "supervisor"})
    assert set(fields_of(answer, 409)) == {"by", *(f"{k}.1" if k == "current_a" else k for k in other)}
    told = answer.get_json()
    assert body["id"] in told["detail"] and "P-101A" in told["detail"]
    assert "stored as" in told["detail"] and "by operator; sent now is" in told["detail"]
    assert {"field": "by", "detail": "stored “operator”, sent “supervisor”"} in told["errors"]


def test_zero_is_other_content_than_nothing(door: Door) -> None:
    body = reading_body()
    door.send(body)
    assert fields_of(door.post("/readings", {**body, "ambient_c": 0.0}), 409) == ["ambient_c"]


def test_one_id_names_one_entry_of_whatever_kind(door: Door) -> None:
    body = reading_body()
    door.send(body)
    answer = door.post("/greasings", greasing_body(id=body["id"]))
    assert answer.status_code == 409 and "another kind" in answer.get_json()["detail"]


def test_another_units_entry_is_refused_without_a_word_of_what_it_holds(app: Flask, door: Door) -> None:
    body = reading_body(remarks="ours alone")
    door.send(body)
    with app.extensions["database"].writing() as session:
        other = factories.make_unit(session, "Unit 3")
        factories.make_person(session, other, "operator", "else")
        factories.make_motor(session, other, "P-101A")
        session.commit()
    answer = Door(app, make_token(app, other)).post("/readings", {**body, "by": "else"})
    assert answer.status_code == 409 and answer.get_json().get("errors") is None
    assert "ours alone" not in answer.get_data(as_text=True) and "operator" not in answer.get_data(as_text=True)


@on_both
def test_eight_that_send_the_same_entry_at_once_store_it_once(app: Flask, door: Door) -> None:
    body = reading_body(current_a=[92.0])
    answers = at_once([lambda: Door(app, door.token).post("/readings", body) for _ in range(8)])
    assert sorted(a.status_code for a in answers) == [200] * 7 + [201]
    assert len({json.dumps({**a.get_json(), "stored": None}, sort_keys=True) for a in answers}) == 1
    with app.extensions["database"].reading() as session:
        assert count(session, Reading) == 1


@on_both
def test_of_eight_that_claim_one_id_with_other_content_one_is_stored(app: Flask, door: Door) -> None:
    body = reading_body()
    answers = at_once([lambda i=i: Door(app, door.token).post("/readings", {**body, "current_a": [70.0 + i]})
                       for i in range(8)])
    assert sorted(a.status_code for a in answers) == [201] + [409] * 7


# lists ------------------------------------------------------------------------------------------------------


def test_a_list_is_answered_in_order_each_on_its_own(door: Door) -> None:
    good, again, bad, clash = reading_body(current_a=[92.0]), reading_body(), reading_body(smoke="lots"), reading_body()
    door.send(again)
    door.send(clash)
    sent = [good, again, bad, 7, {**clash, "state": "standby"}, reading_body(tag="P-999")]
    answer = door.post("/readings", sent)
    assert answer.status_code == 200
    told = answer.get_json()
    assert [t["stored"] for t in told] == [True, False, False, False, False, False]
    assert [t.get("problem", {}).get("status") for t in told] == [None, None, 422, 422, 409, 422]
    assert [t["id"] for t in told] == [good["id"], again["id"], bad["id"], None, clash["id"], sent[5]["id"]]
    assert told[2]["problem"]["errors"][0]["field"] == "smoke"
    assert set(told[0]) == set(told[1]) == {"id", "stored", "findings"}
    assert AMPS in {f["rule"] for f in told[0]["findings"]}


def test_the_same_entry_twice_in_one_list_is_stored_once(door: Door) -> None:
    body = reading_body()
    assert [t["stored"] for t in door.post("/readings", [body, body]).get_json()] == [True, False]


def test_an_empty_list_is_answered_with_one(door: Door) -> None:
    answer = door.post("/readings", [])
    assert (answer.status_code, answer.get_json()) == (200, [])


@pytest.mark.parametrize(("how_many", "status"), [(500, 200), (501, 413)])
def test_a_list_holds_up_to_500(door: Door, how_many: int, status: int) -> None:
    answer = door.post("/readings", [None] * how_many)
    assert answer.status_code == status
    if status == 200:
        assert len(answer.get_json()) == 500
    else:
        assert answer.content_type == PROBLEM and "500" in answer.get_json()["detail"]


def test_a_list_of_greasings_or_starts_is_answered_the_same_way(door: Door) -> None:
    assert [t["stored"] for t in door.post("/greasings", [greasing_body(), {}]).get_json()] == [True, False]
    start = {k: v for k, v in greasing_body().items() if k in ("id", "tag", "at", "by")}
    answer = door.post("/starts", [{**start, "outcome": "ran"}, {**start, "outcome": "ran"}])
    assert [t["stored"] for t in answer.get_json()] == [True, False]


# refused ----------------------------------------------------------------------------------------------------


def test_another_units_motor_and_person_are_not_known_here(app: Flask, door: Door) -> None:
    with app.extensions["database"].writing() as session:
        other = factories.make_unit(session, "Unit 3")
        factories.make_motor(session, other, "Q-1")
        factories.make_person(session, other, "operator", "else")
        session.commit()
    assert fields_of(door.post("/readings", reading_body(tag="Q-1"))) == ["tag"]
    assert fields_of(door.post("/readings", reading_body(by="else"))) == ["by"]
    assert fields_of(door.post("/readings", reading_body(by="nobody"))) == ["by"]


def test_a_correction_names_an_entry_of_its_motor_once(app: Flask, door: Door, plant: Plant) -> None:
    with app.extensions["database"].writing() as session:
        factories.make_motor(session, plant.unit, "P-102")
        session.commit()
    slip = door.send(reading_body(bearing_temp_c={"DE": 136.0}))

    def again(**fields: Any) -> Any:
        return door.post("/readings", reading_body(replaces=slip["id"], replaces_why="slip", **fields))

    assert fields_of(again(tag="P-102")) == ["replaces"]
    assert fields_of(door.post("/readings", reading_body(replaces=str(uuid.uuid4()), replaces_why="?"))) == ["replaces"]
    assert again(bearing_temp_c={"DE": 63.0}).status_code == 201
    assert fields_of(again(bearing_temp_c={"DE": 64.0})) == ["replaces"]
    flag = next(f for f in door.told("/flags")["flags"] if f["rule"] == HOT)
    assert flag["state"] == "closed"


def test_somebody_elses_entry_is_corrected_by_a_head_operator_only(door: Door, app: Flask, plant: Plant) -> None:
    with app.extensions["database"].writing() as session:
        factories.make_person(session, plant.unit, "operator", "other")
        session.commit()
    slip = door.send(reading_body())
    body = reading_body(replaces=slip["id"], replaces_why="slip")
    assert fields_of(door.post("/readings", {**body, "by": "other"}), 403) == []
    assert door.post("/readings", {**body, "by": "head-operator"}).status_code == 201


# times ------------------------------------------------------------------------------------------------------


def test_times_go_out_in_the_units_local_time_with_the_offset_of_then(door: Door, clock: Clock) -> None:
    door.send(reading_body(taken_at="2026-11-24T14:12:00+01:00"))
    (kept,) = door.told("/readings")["readings"]
    assert kept["taken_at"] == "2026-11-24T07:12:00-06:00"
    clock.set("2026-07-01T12:00:00Z")
    door.send(reading_body(taken_at="2026-07-01T11:00:00Z"))
    summer = door.told("/readings", **{"from": "2026-07-01T00:00:00Z", "to": "2026-07-02T00:00:00Z"})["readings"]
    assert [r["taken_at"] for r in summer] == ["2026-07-01T06:00:00-05:00"]


def test_a_time_that_has_not_come_asks_for_the_senders_clock(door: Door, clock: Clock) -> None:
    future = reading_body(taken_at=day(300).isoformat())
    assert fields_of(door.post("/readings", future)) == ["taken_at"]
    told = door.send({**future, "device_now": day(300, hours=1).isoformat()})
    (kept,) = door.told("/readings")["readings"]
    assert (told["stored"], kept["taken_at"]) == (True, "2026-11-24T07:12:00-06:00")  # an hour before it arrived
    assert kept["clock_offset_s"] == -300 * 86400


# what a machine may send by mistake -------------------------------------------------------------------------


RAW = [
    ("NaN", '"ambient_c": NaN', 400), ("Infinity", '"ambient_c": -Infinity', 400),
    ("beyond any float", '"ambient_c": 1e400', 422), ("a huge integer", f'"ambient_c": {"9" * 4000}', 422),
    ("an integer too long to read", f'"ambient_c": {"9" * 5000}', 400),
    ("forty digits", '"ambient_c": 31.0000000000000000000000000000000000000001', 201),
    ("a number as text", '"ambient_c": "31"', 422), ("true for a number", '"ambient_c": true', 422),
    ("half a character in a text", '"remarks": "\\ud800"', 422), ("a null character", '"remarks": "a\\u0000"', 422),
    ("half a character in a word", '"smoke": "\\udfff"', 422), ("half a character in a key", '"\\ud800": 1', 422),
    ("a null character in a tag", '"tag": "P\\u0000"', 422), ("a key twice", '"smoke": "none", "smoke": "seen"', 400),
    ("an emoji", '"remarks": "\\ud83d\\ude00"', 201),
]


@on_both
def test_a_body_of_nonsense_is_a_clear_problem(door: Door) -> None:
    for name, field, status in RAW:
        least = {k: v for k, v in reading_body().items() if f'"{k}"' not in field}
        answer = door.raw("/readings", json.dumps(least)[:-1] + f", {field}}}")
        assert answer.status_code == status, name
        assert status == 201 or answer.content_type == PROBLEM, name


@pytest.mark.parametrize("deep", [50, 300, 600, 800, 900, 950, 1000, 5000, 100_000])
@pytest.mark.parametrize("field", ["smoke", "bearing_temp_c", "remarks", "taken_at", "id"])
def test_json_of_any_depth_is_a_clear_problem(door: Door, deep: int, field: str) -> None:
    for bracket in ("[]", '{"a":}'):
        left, right = bracket[:-1], bracket[-1]
        nested = left * deep + ("1" if bracket != "[]" else "") + right * deep
        body = json.dumps({**reading_body(), field: 0}).replace(f'"{field}": 0', f'"{field}": {nested}')
        answer = door.raw("/readings", body)
        assert answer.status_code in (400, 422) and answer.content_type == PROBLEM


WRONG_BODY = [
    (b"", 400), (b"{", 400), (b"\xff\xfe", 400), (b'{"a": "\xff"}', 400), (b"null", 422), (b"7", 422), (b'"text"', 422),
]


@pytest.mark.parametrize(("data", "status"), WRONG_BODY)
def test_a_body_that_is_none_is_a_clear_problem(door: Door, data: bytes, status: int) -> None:
    answer = door.raw("/readings", data)
    assert (answer.status_code, answer.content_type) == (status, PROBLEM)


def test_a_hundred_thousand_unknown_fields_are_not_all_told(door: Door) -> None:
    answer = door.post("/readings", {**reading_body(), **{f"f{i}": 1 for i in range(100_000)}})
    assert answer.status_code == 422 and len(answer.data) < 20_000


@pytest.mark.usefixtures("quiet_chart")
def test_a_figure_that_was_asked_about_keeps_the_question_and_only_figures_have_one(door: Door) -> None:
    words = {"bearing_temp_c.DE": "158 °C, asked: 158 °F (= 70 °C)?"}
    body = reading_body(bearing_temp_c={"DE": 158.0}, method="contact", confirmed=words)
    assert door.findings(body)[("bearing_hot", "DE")] == "act now"
    (told,) = door.get("/readings").json["readings"]
    assert told["confirmed"] == words
    refused = door.post("/readings", reading_body(confirmed={"smoke": "sure"}))
    assert fields_of(refused) == ["confirmed"]
