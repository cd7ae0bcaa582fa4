"""Three phases against their mean, volts against the plate."""

from __future__ import annotations

import pytest

from app.rules import balance
from app.rules.findings import ACT_NOW, THIS_SHIFT, WATCH
from app.rules.limits import Limits
from app.rules.tables import MakesNoSense
from tests.rules.plant import LIMITS, facts, of, reading

CURRENT = [
    # mean 32, farthest 3 below: 9.375 %
    ("33/29/34 is 9.4 %", (33.0, 29.0, 34.0), None),
    # mean 30, farthest 3: exactly 10 %
    ("exactly 10 %", (33.0, 30.0, 27.0), None),
    # mean 30, farthest 3.1: 10.33 %
    ("just over 10 %", (33.1, 30.0, 26.9), THIS_SHIFT),
    # one at 2 A, others 40: 5.0 % of their mean, which is not below; far over 10 %
    ("one at exactly 5 % of the others", (40.0, 2.0, 40.0), THIS_SHIFT),
    ("one just below 5 % of the others", (40.0, 1.9, 40.0), ACT_NOW),
    ("one dead phase", (70.0, 70.0, 0.0), ACT_NOW),
    ("one leg gives no figure", (33.0,), None),
    ("two legs give no figure", (33.0, 10.0), None),
    ("all zero gives no figure", (0.0, 0.0, 0.0), None),
]
VOLTS = [
    # plate 460: ±10 % is 414 to 506
    ("at the plate", (460.0, 460.0, 460.0), None),
    ("exactly 10 % up", (506.0, 506.0, 506.0), None),
    ("just over 10 % up", (506.1, 506.1, 506.1), THIS_SHIFT),
    ("just over 10 % down", (413.9, 413.9, 413.9), THIS_SHIFT),
    # one line alone still tells its level
    ("one line 11 % down", (409.4,), THIS_SHIFT),
    # mean 460, farthest 4.6: exactly 1 %
    ("unbalance exactly 1 %", (464.6, 460.0, 455.4), None),
    ("unbalance just over 1 %", (464.7, 460.0, 455.3), WATCH),
    # mean 460, farthest 13.8: exactly 3 %
    ("unbalance exactly 3 %", (473.8, 460.0, 446.2), WATCH),
    ("unbalance just over 3 %", (473.9, 460.0, 446.1), THIS_SHIFT),
    # mean 460, farthest 23: exactly 5 %
    ("unbalance exactly 5 %", (483.0, 460.0, 437.0), THIS_SHIFT),
    ("unbalance just over 5 %", (483.1, 460.0, 436.9), ACT_NOW),
    ("nothing read", (), None),
    ("all zero", (0.0, 0.0, 0.0), THIS_SHIFT),
]


@pytest.mark.parametrize("amps, priority", [c[1:] for c in CURRENT], ids=[c[0] for c in CURRENT])
def test_phase_currents_are_judged_about_their_mean(amps: tuple[float, ...], priority: str | None) -> None:
    found = balance.check(facts(reading(current_a=amps)), LIMITS)
    assert of(balance.CURRENT, found) == ([] if priority is None else [(None, priority)])


@pytest.mark.parametrize("volts, priority", [c[1:] for c in VOLTS], ids=[c[0] for c in VOLTS])
def test_volts_are_judged_against_the_plate_and_each_other(volts: tuple[float, ...], priority: str | None) -> None:
    found = balance.check(facts(reading(voltage_v=volts)), LIMITS)
    assert of(balance.VOLTS, found) == ([] if priority is None else [(None, priority)])


@pytest.mark.parametrize("volts, percent, tolerance", [
    ((462.0, 463.0, 455.0), 1.087, 0.001),  # NEMA MG 1 definition example, government tip sheet: 1.1
    ((460.0, 467.0, 450.0), 1.961, 0.001),  # NEMA MG 1 14.36 example: 1.96
    ((460.0, 460.0, 430.0), 4.444, 0.001),  # the low phase is the farthest: 20 / 450
])
def test_unbalance_is_the_published_figure(volts: tuple[float, ...], percent: float, tolerance: float) -> None:
    assert balance.unbalance_percent(volts) == pytest.approx(percent, abs=tolerance)


@pytest.mark.parametrize("values", [(1.0, 2.0), (0.0, 0.0, 0.0), ()])
def test_a_figure_that_would_divide_by_nothing_is_declined(values: tuple[float, ...]) -> None:
    with pytest.raises(MakesNoSense):
        balance.unbalance_percent(values)
    with pytest.raises(MakesNoSense):
        balance.lowest_share_percent(values)


def test_level_and_unbalance_together_are_one_finding_that_names_both() -> None:
    # plate 460: 510 is 10.9 % up; mean 483.3, farthest 26.7: 5.5 %
    both = balance.check(facts(reading(voltage_v=(510.0, 480.0, 460.0))), LIMITS)
    assert of(balance.VOLTS, both) == [(None, ACT_NOW)]
    assert "5.5 %" in both[0].says and "10.9 % off nameplate too" in both[0].says
    # 520/520/500: 13 % up is the graver; mean 513.3, farthest 13.3: 2.6 % is a watch
    level = balance.check(facts(reading(voltage_v=(520.0, 520.0, 500.0))), LIMITS)
    assert of(balance.VOLTS, level) == [(None, THIS_SHIFT)]
    assert "13 % above 460 V nameplate" in level[0].says and "Unbalance 2.6 % too" in level[0].says


def test_without_plate_volts_only_unbalance_is_judged() -> None:
    found = balance.check(facts(reading(voltage_v=(520.0, 520.0, 520.0)), {"volts": None}), LIMITS)
    assert found == []


def test_a_standing_motor_s_volts_and_amps_are_no_finding() -> None:
    assert balance.check(facts(reading("standby", voltage_v=(0.0, 0.0, 0.0), current_a=(0.0, 0.0, 9.0))), LIMITS) == []
    assert balance.check(facts(None), LIMITS) == []


def test_the_limit_set_for_the_unit_is_used_and_named() -> None:
    limits = Limits({"phase_unbalance_this_shift_percent": (5.0, "unit's limit")})
    found = balance.check(facts(reading(current_a=(33.0, 29.0, 34.0))), limits)
    assert (found[0].source, found[0].value) == ("unit's limit", pytest.approx(9.375))


def test_a_signed_distance_tells_low_from_high() -> None:
    assert balance.away_percent(414.0, 460.0) == pytest.approx(-10.0)
