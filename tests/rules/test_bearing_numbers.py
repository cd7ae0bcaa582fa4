"""Bearing numbers as plates stamp them."""

from __future__ import annotations

import pytest

from app.rules import bearing_numbers
from app.rules.tables import MakesNoSense, NotInTable

#: DIN 625 / ISO 15 sizes as in bearing charts and a motor maker's relubrication table
SIZES = [("6203", 17, 40, 12), ("6201", 12, 32, 10), ("6200", 10, 30, 9), ("6202", 15, 35, 11), ("6311", 55, 120, 29),
         ("NU319", 95, 200, 45), ("6228", 140, 250, 42), ("6034", 170, 260, 42), ("NU1034", 170, 260, 42),
         ("NU 216", 80, 140, 26), ("nj312", 60, 130, 31), ("NUP212", 60, 110, 22)]
SEALS = [("6312-2Z/C3", True), ("6312 ZZ", True), ("6312ZZC3", True), ("6312-2RS1", True), ("6312 2RSH/C3", True),
         ("6312DDU", True), ("6312LLU", True), ("6312", False), ("6312-Z", False), ("6312 C3", False),
         ("6312/C3", False),
         ("6312-RS", False), ("NU312 ECP", False), ("6312 M", False)]


@pytest.mark.parametrize("text, bore, outside, width", SIZES)
def test_bore_outside_diameter_and_width_are_the_standard_s(text: str, bore: float, outside: float,
                                                            width: float) -> None:
    assert bearing_numbers.dimensions(text) == (bore, outside, width)


@pytest.mark.parametrize("text, sealed", SEALS)
def test_closed_on_both_sides_is_sealed_and_one_shield_is_not(text: str, sealed: bool) -> None:
    assert bearing_numbers.is_sealed(text) is sealed


@pytest.mark.parametrize("text, kind", [("6312", "ball"), ("NU312", "cylindrical roller"),
                                        ("22320", "spherical roller"),
                                        ("32210", "tapered roller"), ("7312", "angular contact ball"), ("1205", None)])
def test_the_kind_is_read_from_the_series(text: str, kind: str | None) -> None:
    assert bearing_numbers.read_bearing(text).kind == kind


def test_what_was_typed_is_kept_and_an_unlisted_size_still_tells_its_bore() -> None:
    read = bearing_numbers.read_bearing(" 6323-2Z ")
    assert (read.typed, read.number, read.bore_mm, read.outside_mm, read.sealed) == (" 6323-2Z ", "6323", 115.0, None,
                                                                                     True)
    with pytest.raises(NotInTable):
        bearing_numbers.dimensions("6323")


@pytest.mark.parametrize("text", ["sleeve", "", "ball", "312", "123456", "NU12345", "C3"])
def test_a_text_that_is_no_bearing_number_is_declined(text: str) -> None:
    with pytest.raises(MakesNoSense):
        bearing_numbers.read_bearing(text)
    assert bearing_numbers.is_sealed(text) is False


def test_no_number_is_not_sealed() -> None:
    assert bearing_numbers.is_sealed(None) is False
