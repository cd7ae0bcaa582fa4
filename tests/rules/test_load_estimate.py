"""Five ways to estimate load, on published readings."""

from __future__ import annotations

import pytest

from app.rules import load_estimate as est
from app.rules.tables import MakesNoSense


def test_the_ways_give_their_published_examples() -> None:
    assert est.by_no_load_line(100, 120, 35) == pytest.approx(76.5, abs=0.05)  # EC&M article
    assert est.by_half_no_load(16.5, 24.0, 9.3) == pytest.approx(61.2, abs=0.05)  # handbook inputs: 23.7 / 38.7
    assert est.by_slip(1770, 1800, 1750) == pytest.approx(60)  # US DOE fact sheet, from memory: 30 / 50
    assert est.by_ratio(40, 50, 483, 460) == pytest.approx(84.0)  # 0.8 × 1.05
    kw = est.input_kw([467, 473, 469], [36, 38, 37], [0.75, 0.78, 0.76])
    assert kw == pytest.approx(22.9, abs=0.1)  # US DOE fact sheet, from memory
    assert est.by_input_power(kw, 40, 0.93) == pytest.approx(71.5, abs=0.2)  # 22.9 / (40 × 0.7457 / 0.93)


def test_slip_is_corrected_by_the_square_of_the_volts() -> None:
    assert est.by_slip(1770, 1800, 1750, 483, 460) == pytest.approx(66.15)  # 60 × 1.05²


def test_the_straight_line_reads_lower_than_half_no_load() -> None:
    for amps, rated, none in ((100, 120, 35), (16.5, 24.0, 9.3)):
        gap = est.by_half_no_load(amps, rated, none) - est.by_no_load_line(amps, rated, none)
        assert 3.5 < gap < 12.5  # 4 to 12 points on the two published sets


@pytest.mark.parametrize("call", [
    lambda: est.by_ratio(40, 0, 460, 460), lambda: est.by_no_load_line(40, 35, 35),
    lambda: est.by_slip(1770, 1800, 1800),
    lambda: est.input_kw([], [1], [1]), lambda: est.by_input_power(20, 40, 0), lambda: est.by_half_no_load(10, 5, 10),
])
def test_figures_that_cannot_be_are_declined(call: object) -> None:
    with pytest.raises(MakesNoSense):
        call()  # type: ignore[operator]
