"""What is sent in, read strictly: what cannot be true is refused at its field, and nothing is dropped in silence."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

import pytest

from app import entries
from app.api import schema
from app.entries import BadEntry, Entry, read_greasing, read_reading, read_start, read_stop, read_trip
from app.rules import facts
from tests.entering import greasing_body, reading_body


def faults(read: Any, body: Any) -> dict[str, str]:
    """Field -> what is wrong with it; nothing where the body is taken."""
    try:
        read(body)
    except BadEntry as error:
        return {p.field: p.says for p in error.problems}
    return {}


def reading(**fields: Any) -> Entry:
    return read_reading(reading_body(**fields))


# what is taken ----------------------------------------------------------------------------------------------


def test_a_reading_is_read_into_columns_of_its_own() -> None:
    entry = reading(bearing_temp_c={"DE": 63.0, "ODE": "could not read"}, current_a=[78, 79.1, 77.6], smoke="none",
                    vibration_feel={"DE": "as usual"}, winding_temp_c="not fitted", remarks="  a\tb \r\n c ")
    told = {k: v for k, v in entry.columns.items() if v not in (None, False)}
    assert told == {
        "state": "running", "bearing_temp_c_de": 63.0, "current_a_1": 78.0, "current_a_2": 79.1, "current_a_3": 77.6,
        "smoke": "none", "vibration_feel_de": "as usual", "remarks": "a\tb \n c",
        "unread": {"bearing_temp_c.ODE": "could not read", "winding_temp_c": "not fitted"}}


def test_one_reason_speaks_for_both_ends() -> None:
    assert reading(bearing_temp_c="not fitted").columns["unread"] == {
        "bearing_temp_c.DE": "not fitted", "bearing_temp_c.ODE": "not fitted"}


def test_blank_zero_not_fitted_and_could_not_read_are_four_answers() -> None:
    body = reading_body()
    answers = [{}, {"current_a": [0.0]}, {"current_a": "not fitted"}, {"current_a": "could not read"}]
    assert len({read_reading({**body, **a}).content for a in answers}) == 4


def test_a_null_is_a_field_that_was_not_sent() -> None:
    body = reading_body()
    nothing = dict.fromkeys([*entries.MEASURED, "skip_reason", "replaces", "replaces_why", "device_now"])
    assert read_reading({**body, **nothing}).content == read_reading(body).content


def test_a_later_device_now_is_the_same_content_and_another_figure_is_not() -> None:
    body = reading_body(current_a=[92.0])
    again = read_reading({**body, "device_now": "2026-11-24T13:13:00Z"})
    assert again.content == read_reading(body).content
    assert read_reading({**body, "current_a": [92.1]}).content != again.content


def test_the_same_instant_with_another_offset_is_the_same_content() -> None:
    body = reading_body()
    there = read_reading({**body, "taken_at": "2026-11-24T07:12:00-06:00"})
    assert there.content == read_reading({**body, "taken_at": "2026-11-24T14:12:00+01:00"}).content
    assert there.at_device == datetime(2026, 11, 24, 13, 12, tzinfo=UTC)


def test_a_skip_needs_its_reason_and_no_state() -> None:
    assert reading(state=None, skip_reason="no access").columns["skip_reason"] == "no access"
    assert faults(read_reading, reading_body(state=None)) == {
        "state": "This is needed: running, standby, out of service, locked out."}
    assert "state" in faults(read_reading, reading_body(state=None, skip_reason="   "))


# what cannot be true ----------------------------------------------------------------------------------------

#: The figures of entries.PLAUSIBLE: at the bound it is taken, just outside it is not.
BOUNDS = [(name, low, high) for name, (low, high, _) in entries.PLAUSIBLE.items() if name in entries.NUMBERS]
BOUNDS_BY_END = [(n, low, high) for n, (low, high, _) in entries.PLAUSIBLE.items() if n in entries.NUMBERS_BY_END]
BOUNDS_PHASES = [(n, low, high) for n, (low, high, _) in entries.PLAUSIBLE.items() if n in entries.PHASES]


def held(name: str, value: float) -> tuple[dict[str, Any], str]:
    """A body's fields that hold one figure of this name, and the field it is named by."""
    if name in entries.NUMBERS:
        return {name: value}, name
    if name in entries.PHASES:
        return {name: [value]}, f"{name}.1"
    return {name: {"DE": value}}, f"{name}.DE"


@pytest.mark.parametrize(("name", "low", "high"), BOUNDS + BOUNDS_BY_END + BOUNDS_PHASES)
def test_a_figure_is_taken_up_to_what_is_possible_and_not_beyond(name: str, low: float, high: float) -> None:
    for value in (low, high):
        assert faults(read_reading, reading_body(**held(name, value)[0])) == {}
    for value in (low - 0.001, high + 0.001):
        fields, field = held(name, value)
        assert list(faults(read_reading, reading_body(**fields))) == [field]


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1e309, 10**300, "63", "63,0", "", True, False, [63.0],
                                   {"c": 63.0}], ids=repr)
@pytest.mark.parametrize("name", ["winding_temp_c", "bearing_temp_c", "current_a"])
def test_what_is_no_figure_is_refused_at_its_field(name: str, value: Any) -> None:
    fields, field = held(name, value)
    assert list(faults(read_reading, reading_body(**fields))) == [field]


WRONG = [
    ("a word of another list", {"smoke": "missing"}, "smoke"),
    ("a word in other letters", {"smoke": "Seen"}, "smoke"),
    ("an empty word", {"guard": ""}, "guard"),
    ("a list for a word", {"guard": ["missing"]}, "guard"),
    ("a number for a word", {"state": 1}, "state"),
    ("a feel grade of another kind", {"bearing_feel": {"DE": "severe"}}, "bearing_feel.DE"),
    ("a value without its end", {"bearing_temp_c": 63.0}, "bearing_temp_c"),
    ("an end that is none", {"bearing_temp_c": {"NDE": 63.0}}, "bearing_temp_c.NDE"),
    ("two phases", {"current_a": [78.0, 79.0]}, "current_a"),
    ("four phases", {"current_a": [78.0] * 4}, "current_a"),
    ("no phase", {"current_a": []}, "current_a"),
    ("a phase left out", {"current_a": [78.0, None, 78.0]}, "current_a.2"),
    ("a bare number of amps", {"current_a": 78.0}, "current_a"),
    ("a field that is not known", {"bearing_temp_f": 145.0}, "bearing_temp_f"),
    ("text for a yes or no", {"entered_later": "false"}, "entered_later"),
    ("a number for text", {"remarks": 7}, "remarks"),
    ("remarks too long", {"remarks": "x" * 2001}, "remarks"),
    ("a null character", {"remarks": "a\0b"}, "remarks"),
    ("half a character", {"by": "op\ud800erator"}, "by"),
    ("no tag", {"tag": None}, "tag"),
    ("a tag of blanks", {"tag": " \t"}, "tag"),
    ("a tag of control characters", {"tag": "\x01\x02"}, "tag"),
    ("a number for a tag", {"tag": 101}, "tag"),
    ("no id", {"id": None}, "id"),
    ("an id that is none", {"id": "7"}, "id"),
    ("an id in braces", {"id": "{12345678-1234-1234-1234-123456789abc}"}, "id"),
    ("a correction without a reason", {"replaces": "12345678-1234-1234-1234-123456789abc"}, "replaces_why"),
    ("a reason without a correction", {"replaces_why": "slip"}, "replaces"),
    ("no time", {"taken_at": None}, "taken_at"),
    ("a time without its offset", {"taken_at": "2026-11-24T07:12:00"}, "taken_at"),
    ("a day alone", {"taken_at": "2026-11-24"}, "taken_at"),
    ("a time of the day that is not", {"taken_at": "2026-11-24T25:12:00Z"}, "taken_at"),
    ("a number for a time", {"taken_at": 1764000000}, "taken_at"),
    ("a time before the calendar", {"taken_at": "0001-01-01T00:00:00+14:00"}, "taken_at"),
    ("a time after the calendar", {"taken_at": "9999-12-31T23:59:59-14:00"}, "taken_at"),
    ("a clock without its offset", {"device_now": "2026-11-24T07:12:00"}, "device_now"),
]


@pytest.mark.parametrize(("fields", "field"), [c[1:] for c in WRONG], ids=[c[0] for c in WRONG])
def test_what_cannot_be_taken_is_named(fields: dict[str, Any], field: str) -> None:
    found = faults(read_reading, reading_body(**fields))
    assert found.get(field)
    assert set(found) <= {field, ""}  # "" lists the known fields


@pytest.mark.parametrize("body", [None, 7, "P-101A", [], True], ids=repr)
def test_what_is_no_object_is_refused(body: Any) -> None:
    assert list(faults(read_reading, body)) == [""]


def test_every_fault_is_told_at_once_up_to_fifty() -> None:
    three = faults(read_reading, reading_body(tag=None, state="on", ambient_c=99.0))
    assert set(three) == {"tag", "state", "ambient_c"}
    with pytest.raises(BadEntry) as refused:
        read_reading(reading_body(bearing_temp_c={f"E{i}": 1.0 for i in range(300)}))
    assert len(refused.value.problems) == entries.MOST_PROBLEMS + 1
    assert refused.value.problems[-1].says == "And 250 more faults."


def test_a_long_digit_string_of_a_figure_is_the_nearest_figure() -> None:
    assert reading(ambient_c=31.0000000000000000000000000000000000000001).columns["ambient_c"] == 31.0


# text -------------------------------------------------------------------------------------------------------


def test_text_is_cleaned_of_what_no_file_can_hold_and_kept_otherwise() -> None:
    assert entries.clean_text(" belt\x0b worn\x1b\r\nsee P‑101A №2 \x07") == "belt worn\nsee P‑101A №2"
    assert entries.clean_text("=1+1") == "=1+1"


@pytest.mark.parametrize("tag", ["1E05", "3-4", "007", "a/b?c#d", "Pumpe №2", "P‑101A", "P-101 #2?", "6312-2Z/C3"])
def test_a_tag_stays_as_it_was_typed(tag: str) -> None:
    assert reading(tag=tag).tag == tag


# the other kinds --------------------------------------------------------------------------------------------

OTHERS: list[tuple[Any, dict[str, Any]]] = [
    (read_greasing, {"end": "DE"}), (read_start, {"outcome": "ran"}), (read_stop, {}),
    (read_trip, {"protection": "fuse"})]


@pytest.mark.parametrize(("read", "least"), OTHERS, ids=["greasing", "start", "stop", "trip"])
def test_the_least_is_taken_and_each_needed_field_is_missed(read: Any, least: dict[str, Any]) -> None:
    body = {k: v for k, v in greasing_body().items() if k in ("id", "tag", "at", "by")}
    assert faults(read, {**body, **least}) == {}
    for name in ("id", "tag", "at", "by", *least):
        assert list(faults(read, {k: v for k, v in {**body, **least}.items() if k != name})) == [name]
    assert "grammes" in faults(read, {**body, **least, "grammes": 1})


AMOUNTS = [(0.0, True), (5000.0, True), (-0.1, False), (5000.1, False), ("30", False)]


@pytest.mark.parametrize(("grams", "good"), AMOUNTS)
def test_an_amount_of_grease_is_plausible(grams: Any, good: bool) -> None:
    assert (faults(read_greasing, greasing_body(grams=grams)) == {}) is good


def test_the_description_lists_the_fields_that_the_readers_know() -> None:
    for name, fields in schema.READ_BY.items():
        assert set(schema.NAMED[name]["properties"]) == set(fields), name
    assert set(schema.MEASURED) == set(entries.MEASURED)
    assert schema.READING["properties"]["state"]["enum"][:-1] == list(facts.STATES)
