"""What uneven volts do to a motor."""

from __future__ import annotations

import pytest

from app.rules import voltage_unbalance as vu
from app.rules.tables import MakesNoSense, NotInTable


@pytest.mark.parametrize("percent, factor", [(0, 1.0), (1, 1.0), (1.5, 0.97), (2, 0.95), (2.5, 0.93), (3, 0.89),
                                             (4, 0.82),
                                             (5, 0.76), (1.75, 0.96)])
def test_the_curve_is_the_page_s(percent: float, factor: float) -> None:
    assert vu.derating(percent) == pytest.approx(factor)


def test_above_5_percent_no_factor_is_given() -> None:
    with pytest.raises(NotInTable):
        vu.derating(5.01)


@pytest.mark.parametrize("percent, more", [(3.0, 18.0), (3.5, 24.5), (0, 0)])
def test_extra_rise_is_twice_the_square(percent: float, more: float) -> None:
    assert vu.rise_increase_percent(percent) == pytest.approx(more)  # a calculator page: 18 %; another: 25 % at 3.5


def test_amps_go_six_to_ten_times_further() -> None:
    assert vu.current_unbalance_percent(2.0) == (12.0, 20.0)


@pytest.mark.parametrize("volts, hertz, ok", [(10, 0, True), (10.1, 0, False), (-10, 0, True), (0, 5, True),
                                              (0, 5.1, False),
                                              (6, 4, True), (6, -4.1, False)])
def test_volts_and_hertz_share_ten_percent(volts: float, hertz: float, ok: bool) -> None:
    assert vu.within_tolerance(volts, hertz) is ok


@pytest.mark.parametrize("call", [vu.derating, vu.rise_increase_percent, vu.current_unbalance_percent])
def test_an_unbalance_below_zero_is_declined(call: object) -> None:
    with pytest.raises(MakesNoSense):
        call(-0.1)  # type: ignore[operator]
