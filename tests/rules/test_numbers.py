"""Typed numbers: comma or point, never both, nothing guessed.

Traps of other programs, each with where it was seen: nan and inf taken by float fields (encode/django-rest-framework
PR 9998), the decimal comma lost (wtforms #328), a separator of the other locale multiplying by a thousand (babel #589).
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.numbers import LONGEST, NotANumber, OutOfRange, read_number


@pytest.mark.parametrize(("typed", "value"), [
    ("87", 87.0), ("87.0", 87.0), ("24,8", 24.8), ("24.8", 24.8), ("0,12", 0.12), (".5", 0.5), ("5.", 5.0),
    ("-2.5", -2.5), ("−5", -5.0), ("+5", 5.0), ("0", 0.0), ("007", 7.0), (" 91.5 ", 91.5), ("0.0047", 0.0047),
    ("0.125", 0.125), ("1.2340", 1.234), ("1234.567", 1234.567), ("1785", 1785.0),
])
def test_a_number_is_read_as_it_was_meant(typed: str, value: float) -> None:
    assert read_number(typed) == value


@pytest.mark.parametrize("typed", [
    "", "  ", "nan", "NaN", "inf", "-Infinity", "1e5", "1E+05", "1e309", "9" * 400, "24.8.1", "1.234,5", "1,234,567",
    "7 1/2", "12 A", "--3", "-", ".", "½", "٣", "0x10", "1_000", "24;8",
])
def test_what_is_no_number_is_refused(typed: str) -> None:
    with pytest.raises(NotANumber):
        read_number(typed)


@pytest.mark.parametrize("typed", ["1,234", "1.234", "12,345", "999.999", "-1,500"])
def test_a_number_that_can_be_read_two_ways_is_asked_not_guessed(typed: str) -> None:
    with pytest.raises(NotANumber, match="two ways"):
        read_number(typed)


@pytest.mark.parametrize(("typed", "taken"), [("-60", True), ("-60.1", False), ("120", True), ("120.1", False)])
def test_the_range_holds_its_own_ends(typed: str, taken: bool) -> None:
    if taken:
        assert read_number(typed, -60, 120, "°C") == float(typed)
        return
    with pytest.raises(OutOfRange, match="°C"):
        read_number(typed, -60, 120, "°C")


@given(st.integers(-99_999, 99_999), st.integers(0, 5))
def test_comma_and_point_are_the_same_number(digits: int, places: int) -> None:
    text = f"{digits / 10**places:.{places}f}"
    try:
        value = read_number(text)
    except NotANumber as error:
        assert "two ways" in str(error)
        return
    assert value == float(text) == read_number(text.replace(".", ","))


@given(st.text(max_size=LONGEST + 3))
def test_whatever_is_typed_gives_a_finite_number_or_an_answer(text: str) -> None:
    try:
        assert math.isfinite(read_number(text))
    except NotANumber as error:
        assert str(error)
