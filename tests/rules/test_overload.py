"""Overload and short-circuit protection against the NEC as read."""

from __future__ import annotations

import pytest

from app.rules import overload
from app.rules.tables import MakesNoSense, NotInTable

SETTINGS = [("SF 1.15", 1.15, None, 125, 140), ("SF just under", 1.14, None, 115, 130), ("rise 40", 1.0, 40, 125, 140),
            ("rise 41", 1.0, 41, 115, 130), ("nothing known", None, None, 115, 130),
            ("SF 1.12 quiz", 1.12, None, 115, 130)]


@pytest.mark.parametrize("factor, rise, setting, ceiling", [s[1:] for s in SETTINGS], ids=[s[0] for s in SETTINGS])
def test_service_factor_or_rise_alone_is_enough(factor: float | None, rise: float | None, setting: float,
                                                ceiling: float) -> None:
    assert overload.setting_percent(factor, rise) == setting
    assert overload.ceiling_percent(factor, rise) == ceiling
    assert overload.setting_amps(20, factor, rise) == pytest.approx(20 * setting / 100)
    assert overload.ceiling_amps(20, factor, rise) == pytest.approx(20 * ceiling / 100)


@pytest.mark.parametrize("amps, percent, trip", [(9, 170, 15.3), (9.1, 156, 14.196), (14, 156, 21.84), (20, 156, 31.2),
                                                 (20.1, 140, 28.14)])
def test_an_integral_protector_goes_by_table_amps(amps: float, percent: float, trip: float) -> None:
    assert overload.integral_percent(amps) == percent
    assert overload.integral_amps(amps) == pytest.approx(trip)


@pytest.mark.parametrize("trip_class", [10, 20, 30])
def test_a_class_is_seconds_at_six_times(trip_class: int) -> None:
    assert overload.longest_trip_s(trip_class) == trip_class


def test_another_class_or_multiple_is_declined() -> None:
    with pytest.raises(NotInTable):
        overload.longest_trip_s(15)
    with pytest.raises(NotInTable):
        overload.longest_trip_s(20, 7.2)


@pytest.mark.parametrize("motor, device, percent", [
    ("squirrel cage", "inverse-time breaker", 250), ("squirrel cage", "instantaneous-trip breaker", 800),
    ("Design B energy-efficient", "instantaneous-trip breaker", 1100), ("wound rotor", "non-time-delay fuse", 150),
    ("synchronous", "dual-element time-delay fuse", 175),
])
def test_short_circuit_protection_is_the_code_s_table(motor: str, device: str, percent: float) -> None:
    assert overload.short_circuit_percent(motor, device) == percent


def test_above_1500_hp_embedded_detectors_are_required() -> None:
    assert not overload.embedded_detectors_required(1500) and overload.embedded_detectors_required(1501)


@pytest.mark.parametrize("control, restarts", [("three-wire", False), ("two-wire", True), ("low-voltage release", True),
                                               ("low-voltage protection", False), ("automatic start", True)])
def test_two_wire_control_restarts_by_itself(control: str, restarts: bool) -> None:
    assert overload.restarts_by_itself(control) is restarts


def test_a_control_that_is_none_is_declined() -> None:
    with pytest.raises(MakesNoSense):
        overload.restarts_by_itself("rope")
