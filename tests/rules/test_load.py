"""Amps over the nameplate: rated amps, service-factor amps as stamped or computed, and 110 % where neither is known."""

from __future__ import annotations

from typing import Any

import pytest

from app.rules import load
from app.rules.findings import ACT_NOW, THIS_SHIFT
from app.rules.limits import Limits
from tests.rules.plant import LIMITS, PLATE, facts, of, reading

STAMPED: dict[str, Any] = {"rated_amps": 24.8, "service_factor": 1.15, "service_factor_amps": 28.0}
NO_FACTOR: dict[str, Any] = {"service_factor": None}
ONE: dict[str, Any] = {"service_factor": 1.0}

CASES = [
    # rated 87, SF 1.15: 87 × 1.15 = 100.05
    ("under rated", {}, (86.9,), None),
    ("at rated is not over", {}, (87.0,), None),
    ("just over rated", {}, (87.1,), THIS_SHIFT),
    ("92 A is 105.7 %", {}, (92.0,), THIS_SHIFT),
    ("at service-factor amps", {}, (100.05,), THIS_SHIFT),
    ("just over service-factor amps", {}, (100.06,), ACT_NOW),
    ("101 A is 116.1 %", {}, (101.0,), ACT_NOW),
    # the stamp wins over 24.8 × 1.15 = 28.52
    ("26 A against a stamp of 28", STAMPED, (26.0,), THIS_SHIFT),
    ("28.1 A against a stamp of 28", STAMPED, (28.1,), ACT_NOW),
    # 110 % of 87 is 95.7
    ("no service factor, at 110 %", NO_FACTOR, (95.7,), THIS_SHIFT),
    ("no service factor, over 110 %", NO_FACTOR, (95.8,), ACT_NOW),
    ("service factor 1.0, over 110 %", ONE, (95.8,), ACT_NOW),
    ("a stamp at rated amps is no service factor", {**ONE, "service_factor_amps": 87.0}, (90.0,), THIS_SHIFT),
    ("the highest of three phases decides", {}, (80.0, 92.0, 81.0), THIS_SHIFT),
    ("no rated amps, no percent, no flag", {"rated_amps": None, "amps_unknown_because": "plate not confirmed"},
     (200.0,), None),
    ("nothing read", {}, (), None),
]


@pytest.mark.parametrize("plate, amps, priority", [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_amps_are_judged_against_the_connected_plate(plate: dict[str, Any], amps: tuple[float, ...],
                                                     priority: str | None) -> None:
    found = load.check(facts(reading(current_a=amps), plate), LIMITS)
    assert of(load.RULE, found) == ([] if priority is None else [(None, priority)])


def test_the_finding_names_percent_phase_limit_and_where_the_limit_comes_from() -> None:
    mild = load.check(facts(reading(current_a=(80.0, 92.0, 81.0))), LIMITS)[0]
    assert (mild.value, mild.limit, mild.unit_of_measure, mild.source) == (92.0, 87.0, "A", "nameplate")
    assert "92 A on phase 2 is 105.7 % of 87 A rated (nameplate)" in mild.says  # 92 / 87
    grave = load.check(facts(reading(current_a=(101.0,))), LIMITS)[0]
    assert grave.limit == pytest.approx(100.05) and grave.source == "service-factor amps, computed"
    assert "116.1 %" in grave.says and "100.05 A" in grave.says  # 101 / 87; 87 × 1.15
    stamped = load.check(facts(reading(current_a=(28.1,)), STAMPED), LIMITS)[0]
    assert (stamped.limit, stamped.source) == (28.0, "service-factor amps, nameplate")


def test_just_over_rated_never_reads_as_100_percent() -> None:
    assert "100.001 %" in load.check(facts(reading(current_a=(87.001,))), LIMITS)[0].says  # 87.001 / 87


def test_a_limit_set_for_the_motor_is_used_and_named() -> None:
    limits = Limits({"amps_over_nameplate_this_shift_percent": (95.0, "this motor's limit"),
                     "amps_over_nameplate_act_now_percent": (105.0, "unit's limit")})
    mild = load.check(facts(reading(current_a=(83.0,))), limits)[0]
    assert (mild.limit, mild.source) == (pytest.approx(82.65), "this motor's limit")  # 87 × 0.95
    grave = load.check(facts(reading(current_a=(91.4,)), ONE), limits)[0]  # above 87 × 1.05 = 91.35
    assert (grave.priority, grave.source) == (ACT_NOW, "105 % of nameplate, unit's limit")


@pytest.mark.parametrize("state", ["standby", "out of service", "locked out"])
def test_a_motor_that_stands_draws_no_finding(state: str) -> None:
    assert load.check(facts(reading(state, current_a=(101.0,))), LIMITS) == []
    assert load.check(facts(None), LIMITS) == []


def test_percent_of_rated_is_none_where_the_plate_is_not_known() -> None:
    assert load.percent_of_rated(92.0, 87.0) == pytest.approx(105.747, abs=0.001)
    assert load.percent_of_rated(92.0, None) is None
    assert load.highest((33.0, 29.0, 34.0)) == 34.0 and load.highest(()) is None
    assert load.service_factor_amps(PLATE) == (pytest.approx(100.05), "service-factor amps, computed")
