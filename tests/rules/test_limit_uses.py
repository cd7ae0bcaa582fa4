"""What a reading's figures are held against, by a 75 hp motor: 460 V, 87 A, service factor 1.15, class F, rigid."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from app.rules.facts import Ends, Nameplate, Reading
from app.rules.limit_uses import WITH_HISTORY, applies, compared, passes
from app.rules.limits import DEFAULTS, Limits

PLATE = Nameplate(rated_amps=87.0, service_factor=1.15, volts=460.0, hp=75.0, insulation_class="F", mounting="rigid",
                  bearing=Ends("6313", "6312"))
AT = datetime(2026, 11, 24, 13, 12, tzinfo=UTC)
FULL = Reading("running", AT, bearing_temp_c=Ends(72.0, 61.0), winding_temp_c=98.0, winding_method="fitted",
               vibration_mm_s=Ends(2.1, 1.8), current_a=(92.0, 87.0, 85.0), voltage_v=(460.0, 467.0, 450.0))


def held_against(plate: Nameplate = PLATE, reading: Reading = FULL) -> dict[str, list[float]]:
    found: dict[str, list[float]] = {}
    for name, figure in compared(plate, reading, Limits()):
        found.setdefault(name, []).append(figure)
    return found


def test_each_figure_is_held_against_the_limits_of_its_kind_of_machine() -> None:
    found = held_against()
    assert found["bearing_hot_grease_alarm_c"] == [72.0, 61.0]
    assert found["bearings_uneven_act_now_k"] == [11.0]
    assert found["winding_hot_f_sf_limit_c"] == [98.0]  # service factor 1.15
    assert found["vibration_group2_rigid_act_now_mm_s"] == [2.1, 1.8]  # 55.95 kW
    assert found["amps_over_nameplate_this_shift_percent"] == [pytest.approx(105.747, abs=1e-3)]  # 92 / 87
    assert found["phase_unbalance_this_shift_percent"] == [pytest.approx(4.545, abs=1e-3)]  # mean 88, farthest 4
    assert found["volts_off_unbalance_watch_percent"] == [pytest.approx(1.961, abs=1e-3)]  # NEMA MG 1 14.36's case
    assert found["volts_off_this_shift_percent"] == [pytest.approx(2.174, abs=1e-3)]  # 450 V: 10 / 460
    assert "amps_over_nameplate_act_now_percent" not in found  # service-factor amps decide there
    assert all(applies(name, PLATE) for name in found)


def test_a_surface_reading_is_held_as_the_winding_behind_it() -> None:
    found = held_against(reading=replace(FULL, winding_method="infrared"))
    assert found["winding_hot_f_sf_alarm_c"] == [123.0]  # 98 and the allowance of 25 K


def test_a_motor_that_stands_is_held_against_nothing_and_a_blank_is_no_zero() -> None:
    assert held_against(reading=replace(FULL, state="standby")) == {}
    assert held_against(reading=Reading("running", AT)) == {}


@pytest.mark.parametrize(("name", "figure", "passed"), [
    ("bearing_hot_grease_alarm_c", 90.0, False), ("bearing_hot_grease_alarm_c", 90.1, True),
    ("phase_unbalance_single_phasing_percent", 5.0, False), ("phase_unbalance_single_phasing_percent", 4.9, True),
], ids=str)
def test_a_limit_is_passed_above_it_and_single_phasing_below(name: str, figure: float, passed: bool) -> None:
    assert passes(name, figure, Limits()) is passed


def test_a_sleeve_bearing_has_other_limits_than_a_greased_one() -> None:
    sleeve = replace(PLATE, bearing=Ends("sleeve", "sleeve"))
    assert applies("bearing_hot_sleeve_alarm_c", sleeve) and not applies("bearing_hot_grease_alarm_c", sleeve)
    assert applies("start_over_50_hp_tries", PLATE) and not applies("start_to_50_hp_tries", PLATE)
    assert applies("step_this_shift_k", PLATE)
    assert set(WITH_HISTORY) <= set(DEFAULTS)
