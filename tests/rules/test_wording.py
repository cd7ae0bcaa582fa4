"""Figures in sentences: in the unit's display units, and never equal where they differ."""

from __future__ import annotations

import pytest

from app.rules import wording
from app.rules.facts import Show

F = Show(temperature="F", vibration="in/s", grease="oz")


@pytest.mark.parametrize("value, places, text", [
    (92.0, 1, "92"), (90.45, 1, "90.5"), (100.05, 2, "100.05"), (-0.01, 1, "0"), (1250.0, 0, "1,250"), (10.0, 0, "10"),
])
def test_digits_are_short_without_trailing_zeros(value: float, places: int, text: str) -> None:
    assert wording.digits(value, places) == text


def test_a_temperature_takes_the_32_and_a_difference_does_not() -> None:
    assert wording.figure(10.0, wording.temperature(F)) == "50 °F"
    assert wording.figure(10.0, wording.difference(F)) == "18 °F"
    assert wording.figure(10.0, wording.temperature(Show())) == "10 °C"
    assert wording.figure(10.0, wording.difference(Show())) == "10 K"


def test_vibration_and_grease_follow_the_unit() -> None:
    assert wording.figure(4.5, wording.vibration(F)) == "0.25 in/s peak"  # 4.5 / 17.961 = 0.2505
    assert wording.figure(4.5, wording.vibration(Show())) == "4.5 mm/s"
    assert wording.figure(23.1, wording.grease(F)) == "0.81 oz"  # a motor maker prints 0.81 oz for 6313
    assert wording.figure(23.1, wording.grease(Show())) == "23.1 g"


@pytest.mark.parametrize("value, shown", [(90.1, "90.1 °C"), (90.04, "90.04 °C"), (90.000001, "90.000001 °C")])
def test_a_value_just_over_never_reads_like_its_limit(value: float, shown: str) -> None:
    assert wording.pair(value, 90.0, wording.temperature(Show())) == (shown, "90 °C")


def test_equal_figures_stay_equal() -> None:
    assert wording.pair(90.0, 90.0, wording.Scale("°C")) == ("90 °C", "90 °C")


@pytest.mark.parametrize("words, text", [([], ""), (["a"], "a"), (["a", "b"], "a and b"),
                                         (["a", "b", "c"], "a, b and c")])
def test_a_list_reads_as_people_say_it(words: list[str], text: str) -> None:
    assert wording.listed(words) == text
