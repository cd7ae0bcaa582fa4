"""Vibration tables against the standards as read."""

from __future__ import annotations

import pytest

from app.rules import vibration_standards as vs
from app.rules.tables import MakesNoSense, NotInTable


@pytest.mark.parametrize("kw, height, group", [
    (400, 400, "group 1"), (75, 225, "group 2"), (15, None, "class I"), (15.1, None, "group 2"), (300, None, "group 2"),
    (300.1, None, "group 1"), (None, 315, "group 1"), (None, 314, "group 2"), (None, 160, "group 2"),
    (250, 355, "group 1"),
    (400, 280, "group 2"), (22, 132, "group 2"), (11, 160, "class I"),
])
def test_size_decides_the_group_and_shaft_height_first(kw: float | None, height: float | None, group: str) -> None:
    assert vs.group(kw, height) == group


def test_a_size_nobody_gave_or_no_group_holds_is_declined() -> None:
    with pytest.raises(MakesNoSense):
        vs.group()
    with pytest.raises(NotInTable):
        vs.group(None, 132)


@pytest.mark.parametrize("mm_s, group, support, zone", [
    (5.0, "group 1", "rigid", "C"), (5.0, "group 1", "flexible", "B"), (2.3, "group 1", "rigid", "A"),
    (2.31, "group 1", "rigid", "B"), (4.5, "group 1", "rigid", "B"), (4.51, "group 1", "rigid", "C"),
    (7.11, "group 1", "rigid", "D"), (1.5, "class I", "rigid", "B"), (1.81, "class I", "flexible", "C"),
    (18.1, "class IV", "rigid", "D"), (3.0, "group 4", "rigid", "C"),
])
def test_a_boundary_still_belongs_to_the_milder_zone(mm_s: float, group: str, support: str, zone: str) -> None:
    assert vs.zone(mm_s, group, support) == zone


def test_displacement_boundaries_and_unknown_groups() -> None:
    assert vs.boundary_um("group 2", "B/C", "rigid") == 45
    with pytest.raises(NotInTable):
        vs.boundary_mm_s("group 9", "B/C")
    with pytest.raises(NotInTable):
        vs.boundary_um("class I", "B/C")  # the older table gives none


@pytest.mark.parametrize("rpm, mounting, limit", [
    (3600, "resilient", 0.15), (3570, "resilient", 0.15), (1800, "rigid", 0.12), (1200, "resilient", 0.15),
    (1500, "resilient", 0.15), (900, "resilient", 0.12), (885, "resilient", 0.12), (720, "resilient", 0.09),
    (600, "rigid", 0.064), (450, "resilient", 0.0589),  # π × 7.5 Hz × 2.5 mil
    (1000, "resilient", 0.1309),  # π × 16.67 Hz × 2.5 mil
])
def test_mg1_limits_of_a_new_motor(rpm: float, mounting: str, limit: float) -> None:
    assert vs.mg1_limit_in_s_peak(rpm, mounting) == pytest.approx(limit, abs=0.0001)


@pytest.mark.parametrize("rpm, limit", [(3600, 1.0), (1800, 1.5), (1499.5, 2.0), (1200, 2.0), (900, 2.5)])
def test_mg1_limits_of_old_nameplates(rpm: float, limit: float) -> None:
    assert vs.mg1_old_limit_mil_pp(rpm) == limit


def test_speeds_beyond_the_tables_are_declined() -> None:
    with pytest.raises(NotInTable):
        vs.mg1_limit_in_s_peak(3601)
    with pytest.raises(MakesNoSense):
        vs.mg1_limit_in_s_peak(0)
    with pytest.raises(MakesNoSense):
        vs.mg1_limit_in_s_peak(1800, "floating")
    with pytest.raises(NotInTable):
        vs.mg1_old_limit_mil_pp(4001)


@pytest.mark.parametrize("height, grade, support, mm_s", [
    (56, "A", "rigid", "1.3"), (132, "A", "free suspension", "1.6"), (132.1, "A", "rigid", "1.8"),
    (280, "B", "free", "1.1"),
    (281, "A", "rigid", "2.3"), (400, "B", "rigid", "1.5"),
])
def test_acceptance_of_a_new_motor_by_shaft_height(height: float, grade: str, support: str, mm_s: str) -> None:
    assert vs.acceptance_row(height, grade, support)["velocity_mm_s_rms"] == mm_s


@pytest.mark.parametrize("height, grade, support", [(50, "A", "rigid"), (100, "B", "rigid"), (100, "C", "rigid")])
def test_acceptance_that_is_not_listed_is_declined(height: float, grade: str, support: str) -> None:
    with pytest.raises(NotInTable):
        vs.acceptance_row(height, grade, support)


def test_alarms_from_a_motor_s_own_baseline() -> None:
    assert vs.iso_alarm_mm_s(2.0, "group 1") == pytest.approx(3.125)  # 2.0 + 0.25 × 4.5
    assert vs.iso_alarm_mm_s(5.0, "group 1") == pytest.approx(5.625)  # not above 1.25 × 4.5
    assert vs.baseline_alarm(0.08) == pytest.approx(0.144) and vs.baseline_trip(0.08) == pytest.approx(0.224)
    assert not vs.change_is_significant(1.125, "group 1") and vs.change_is_significant(-1.126, "group 1")
