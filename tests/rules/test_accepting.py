"""Which limit moves when a supervisor finds that a motor has always been so. The rule is ours; no source."""

from __future__ import annotations

import pytest

from app.rules import accepting
from app.rules.accepting import FEEL, LIMIT, NEW_NORMAL, Way, way
from app.rules.facts import Ends, Nameplate
from app.rules.limits import DEFAULTS, Limits

PLATE = Nameplate(rated_amps=87.0, hp=75.0, insulation_class="F", service_factor=1.0, mounting="rigid",
                  bearing=Ends("6313", "sleeve"))


@pytest.mark.parametrize(("rule", "end", "value", "name", "suggested"), [
    ("bearing_hot", "DE", 92.0, "bearing_hot_grease_alarm_c", 92.0),
    ("bearing_hot", "ODE", 86.2, "bearing_hot_sleeve_alarm_c", 87.0),
    ("winding_hot", None, 156.5, "winding_hot_f_alarm_c", 157.0),
    ("bearings_uneven", "DE", 11.5, "bearings_uneven_this_shift_k", 12.0),
    ("amps_over_nameplate", None, 87.87, "amps_over_nameplate_this_shift_percent", 101.0),  # 87.87 of 87 A
    ("vibration", "DE", 3.01, "vibration_group2_rigid_this_shift_mm_s", 3.1),  # 75 hp is 56 kW: group 2
    ("step_bearing", "DE", 16.0, "step_this_shift_k", 16.0),
    ("phase_unbalance", None, 12.2, "phase_unbalance_this_shift_percent", 13.0),
])
def test_a_measured_flag_moves_the_limit_that_raised_it(rule: str, end: str | None, value: float, name: str,
                                                       suggested: float) -> None:
    found = way(rule, end, "this shift", value, "", PLATE, Limits())
    assert found is not None
    assert (found.kind, found.name, found.suggested) == (LIMIT, name, suggested)
    assert name in DEFAULTS and found.unit == DEFAULTS[name].unit and found.least <= found.suggested


def test_a_winding_read_on_the_frame_counts_with_what_the_surface_is_below_the_probe() -> None:
    found = way("winding_hot", None, "this shift", 131.0, "", PLATE, Limits(), surface=True)
    assert found is not None and found.least == 156.0  # 131 and the allowance of 25 K


@pytest.mark.parametrize(("says", "name"), [
    ("Voltage unbalance 3.5 %", "volts_off_unbalance_this_shift_percent"),
    ("410 V is 10.9 % below", "volts_off_this_shift_percent")])
def test_volts_have_two_limits(says: str, name: str) -> None:
    found = way("volts_off", None, "this shift", 3.5, says, PLATE, Limits())
    assert found is not None and found.name == name


@pytest.mark.parametrize(("rule", "priority", "value", "feel"), [
    ("bearing_hot", "act now", 101.0, None), ("bearing_hot", "this shift", None, None),
    ("smoke", "act now", None, None), ("guard_or_ground", "act now", None, None),
    ("lubricant", "watch", None, None), ("dirty", "watch", None, None), ("not_checked", "this shift", None, None),
    ("started_outside_limits", "this shift", 2.0, None), ("winding_hot", "this shift", None, "too hot to hold"),
    ("winding_hot", "this shift", None, None)])
def test_what_is_nobodys_normal(rule: str, priority: str, value: float | None, feel: str | None) -> None:
    assert way(rule, "DE", priority, value, "", PLATE, Limits(), feel) is None


def test_a_winding_that_always_feels_hot_is_normal_so() -> None:
    assert way("winding_hot", None, "this shift", None, "", PLATE, Limits(), "hot") == Way(FEEL, feel="hot")


@pytest.mark.parametrize("rule", ["off_own_normal_amps", "heading_for_limit_bearing"])
def test_against_its_own_history_the_history_begins_anew(rule: str) -> None:
    assert way(rule, None, "watch", 92.0, "", PLATE, Limits()) == Way(NEW_NORMAL)


@pytest.mark.parametrize(("name", "graver"), [
    ("bearing_hot_sleeve_alarm_c", "bearing_hot_sleeve_shutdown_c"),
    ("winding_hot_f_sf_alarm_c", "winding_hot_f_sf_limit_c"),
    ("bearings_uneven_this_shift_k", "bearings_uneven_act_now_k"),
    ("vibration_class1_this_shift_mm_s", "vibration_class1_act_now_mm_s"),
    ("phase_unbalance_this_shift_percent", None), ("step_this_shift_k", None)])
def test_the_act_now_limit_above_it_stays(name: str, graver: str | None) -> None:
    assert accepting.graver(name) == graver
