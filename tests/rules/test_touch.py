"""How hot is too hot for a hand."""

from __future__ import annotations

import pytest

from app.rules import touch
from app.rules.tables import MakesNoSense, NotInTable


@pytest.mark.parametrize("seconds, threshold", [(0.5, 65), (1, 65), (4, 58), (10, 55), (60, 51), (600, 48), (28800, 43),
                                                (100000, 43)])
def test_the_threshold_is_the_lower_end_of_the_standard_s_band(seconds: float, threshold: float) -> None:
    assert touch.burn_threshold_c(seconds) == pytest.approx(threshold)


def test_between_two_times_the_threshold_lies_between() -> None:
    assert 58 < touch.burn_threshold_c(2) < 65


@pytest.mark.parametrize("surface, seconds, burns", [(70, 1.5, True), (50.9, 60, False), (51, 60, True),
                                                     (60, 1, False)])
def test_at_the_threshold_a_burn_is_possible(surface: float, seconds: float, burns: bool) -> None:
    assert touch.burn_possible(surface, seconds) is burns


def test_below_half_a_second_there_are_no_figures() -> None:
    with pytest.raises(MakesNoSense):
        touch.burn_possible(90, 0.49)


@pytest.mark.parametrize("surface, material, seconds", [(52, "metal", 120), (55, "metal", 30), (60, "metal", 5),
                                                        (61, "metal", 5), (68, "metal", 1), (90, "metal", 1),
                                                        (70, "glass", 5), (85, "plastic", 5), (62, "glass", 120)])
def test_the_burn_institute_s_times(surface: float, material: str, seconds: float) -> None:
    assert touch.serious_burn_within_s(surface, material) == seconds


def test_below_the_chart_no_time_is_given() -> None:
    with pytest.raises(NotInTable):
        touch.serious_burn_within_s(51.9)


def test_at_60_c_an_instrument_is_due() -> None:
    assert touch.use_an_instrument(60) and not touch.use_an_instrument(59.9)


@pytest.mark.parametrize("use, metal, limit", [("held", True, 55), ("held", False, 65), ("touched", True, 70),
                                               ("touched", False, 80), ("not touched", True, 80),
                                               ("not touched", False, 90)])
def test_the_uk_wiring_rules_of_1992(use: str, metal: bool, limit: float) -> None:
    assert touch.equipment_limit_c(use, metal) == limit


def test_osha_has_no_number() -> None:
    with pytest.raises(NotInTable, match="1910"):
        touch.osha_limit_c()
