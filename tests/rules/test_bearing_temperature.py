"""Bearing temperature after the makers."""

from __future__ import annotations

import pytest

from app.rules import bearing_temperature as bt
from app.rules.tables import MakesNoSense, NotInTable


def test_alarm_and_trip_from_the_motor_s_own_worst_case() -> None:
    assert (bt.own_alarm_c(72), bt.own_trip_c(72), bt.own_trip_c(72, winding=True)) == (82, 87, 92)


@pytest.mark.parametrize("reading, state", [(90, "normal"), (90.1, "alarm"), (92, "alarm"), (95, "alarm"),
                                            (95.1, "trip")])
def test_a_setting_is_passed_only_above_it(reading: float, state: str) -> None:
    assert bt.state(reading, 90, 95) == state  # a TEFC maker's 90 / 95


def test_a_trip_below_its_alarm_is_declined() -> None:
    with pytest.raises(MakesNoSense):
        bt.state(90, 95, 90)


def test_a_sleeve_is_judged_by_its_rise() -> None:
    assert bt.rise_k(72, 30) == 42 and bt.sleeve_rise_limit_k("installed") == 40
    assert bt.sleeve_rise_limit_k("temporary") == 35
    with pytest.raises(MakesNoSense):
        bt.sleeve_rise_limit_k("glued")


def test_ieee_841_gives_two_poles_more() -> None:
    assert bt.ieee841_rise_limit_k(2) == 50 and bt.ieee841_rise_limit_k(4) == 45


def test_a_maker_s_row_by_its_record() -> None:
    assert bt.setting("maker_b_sleeve_alarm") == 95
    with pytest.raises(NotInTable):
        bt.setting("maker_z")
