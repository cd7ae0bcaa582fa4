"""Every reader of what comes from outside either understands it or refuses it in its own words; nothing else escapes.

The cases are drawn from fixed seeds (`derandomize`), so that a run can be told again; a case that once broke something
stands above its test as an example. `--hypothesis-seed` draws others.
"""

from __future__ import annotations

import contextlib
import json
import math
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from app import tickets
from app.entries import BadEntry, read_greasing, read_reading, read_start, read_stop, read_trip
from app.rules import bearing_numbers, plate
from app.rules.numbers import NotANumber, read_number
from app.rules.shifts import BadWeek, parse_week
from app.rules.tables import MakesNoSense, NotInTable
from app.store.motors import tag_key
from app.store.register_file import read_register
from tests.factories import NOW

FIXED = settings(max_examples=400, derandomize=True, deadline=None)
#: Text as people and broken programs produce it: figures and marks above all, any character now and then.
TYPED = st.one_of(
    st.text(alphabet="0123456789.,/- +eE'\u00a0\u2212\u00bd½xX°", max_size=14), st.text(max_size=30),
    st.from_regex(r"\s*[0-9]{1,4}([.,/ -][0-9]{1,4}){0,3}\s*", fullmatch=True))


@FIXED
@example("٣")  # a figure of another script
@example("1e309")
@example("9" * 400)
@given(TYPED)
def test_a_typed_number_is_finite_and_in_its_range_or_refused(text: str) -> None:
    try:
        value = read_number(text, -50.0, 400.0, "°C")
    except NotANumber as error:
        assert str(error)
    else:
        assert math.isfinite(value) and -50.0 <= value <= 400.0


@FIXED
@example("1/0", "1")
@example("7 1/2/3", "")
@given(TYPED, TYPED)
def test_a_plates_figures_are_above_zero_or_refused(first: str, second: str) -> None:
    for read in (plate.read_figures, plate.read_hp):
        try:
            got = read(first)
        except NotANumber as error:
            assert str(error)
        else:
            flat = plate.flatten(got) if not isinstance(got, float) else (got,)
            assert all(math.isfinite(v) and v > 0 for v in flat)
    try:
        volts, amps = plate.read_figures(first), plate.read_figures(second)
        plate.check_pairs(volts, amps)
    except NotANumber:
        pass


@FIXED
@given(TYPED | st.from_regex(r"[A-Z0-9/ -]{0,14}", fullmatch=True))
def test_a_bearings_number_is_read_or_not_known(text: str) -> None:
    bearing_numbers.is_sealed(text)
    with contextlib.suppress(MakesNoSense, NotInTable):
        bearing_numbers.read_bearing(text)
    with contextlib.suppress(MakesNoSense, NotInTable):
        assert all(size > 0 for size in bearing_numbers.dimensions(text))


HEADER = "tag,area,amps,volts,hp,condition,de_bearing,fitted_on,remarks"


@FIXED
@example(b"")
@example(b"\xff\xfe")
@example(b"\xef\xbb\xbf")
@example(b"tag,area\n\"unclosed")
@example(b"tag,area\r\n\x00,\x00")
@given(st.one_of(
    st.binary(max_size=200),
    st.lists(st.lists(TYPED, max_size=11), max_size=6).map(
        lambda rows: "\n".join([HEADER, *(",".join(r) for r in rows)]).encode("utf-8", "surrogatepass")),
    st.text(alphabet="tagre,;\t\"'\n\r\x00é°=+-@", max_size=80).map(lambda t: f"tag,area\n{t}".encode("utf-16"))))
def test_a_register_file_is_read_or_its_faults_are_named_with_their_lines(data: bytes) -> None:
    found = read_register(data)
    assert all(error.line >= 1 and str(error) for error in found.errors)


@FIXED
@example("")
@example(".")
@example("é.é")
@example("A.A.A")
@given(st.text(max_size=120) | st.from_regex(r"[A-Za-z0-9_-]{0,60}\.[A-Za-z0-9_-]{0,60}", fullmatch=True))
def test_a_ticket_that_is_not_ours_is_refused(text: str) -> None:
    with pytest.raises(tickets.BadTicket):
        tickets.read(b"secret", text, NOW)


@FIXED
@given(st.integers(0, 400), st.integers(1, 255))
def test_a_ticket_changed_in_one_place_is_refused(place: int, turn: int) -> None:
    given_ = tickets.Ticket(7, 2, "Day 2026-11-24", NOW, NOW, NOW, datetime(2027, 1, 1, tzinfo=UTC))
    good = tickets.issue(b"secret", given_)
    place %= len(good)
    spoiled = good[:place] + chr(ord(good[place]) ^ (turn % 127 or 1)) + good[place + 1:]
    if spoiled == good:
        return
    with contextlib.suppress(tickets.BadTicket):
        assert tickets.read(b"secret", spoiled, NOW) == given_  # the last sign of base64 may hold spare bits


ANY_JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-2**70, 2**70) | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=12), inner, max_size=3), max_leaves=8)
FIELDS = ("id", "tag", "taken_at", "at", "device_now", "by", "state", "skip_reason", "smoke", "guard", "ground",
          "vibration_feel", "vibration_mm_s", "bearing_feel", "bearing_temp_c", "winding_feel", "winding_temp_c",
          "winding_method", "current_a", "voltage_v", "lubricant", "cleanliness", "leak", "ambient_c", "method",
          "entered_later", "remarks", "replaces", "replaces_why", "outcome", "duration_s", "protection", "cause",
          "end", "grams")
GOOD: dict[str, Any] = {"id": "0193f0aa-0000-7000-8000-000000000001", "tag": "P-101A", "by": "operator",
                        "taken_at": NOW.isoformat(), "at": NOW.isoformat(), "state": "running"}


@FIXED
@example({"id": "0" * 32, "taken_at": "9999-12-31T23:59:59+00:00"})
@example({"taken_at": "0001-01-01T00:00:00+14:00"})
@example({"current_a": [1e308, 1e308, 1e308]})
@given(st.dictionaries(st.sampled_from(FIELDS), ANY_JSON, max_size=5) | ANY_JSON)
def test_an_entrys_body_is_read_or_its_fields_are_named(changes: Any) -> None:
    body = {**GOOD, **changes} if isinstance(changes, dict) else changes
    for read in (read_reading, read_start, read_stop, read_trip, read_greasing):
        try:
            entry = read(body)
        except BadEntry as error:
            assert error.problems and all(p.says for p in error.problems)
        else:
            json.dumps(str(entry.id))


@FIXED
@example("2026-W54")
@given(st.text(max_size=12) | st.from_regex(r"[0-9]{1,5}-W[0-9]{1,3}", fullmatch=True))
def test_a_week_is_one_or_refused(text: str) -> None:
    try:
        parse_week(text)
    except BadWeek as error:
        assert str(error)


@FIXED
@given(st.text(max_size=40))
def test_a_tags_key_is_the_same_for_the_tag_and_for_its_key(text: str) -> None:
    assert tag_key(tag_key(text)) == tag_key(text)
