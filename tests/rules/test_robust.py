"""Median, median absolute deviation and Theil–Sen against SciPy."""

from __future__ import annotations

from math import isclose

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from app.rules import robust
from app.rules.tables import MakesNoSense

VALUES = st.lists(st.floats(-1e4, 1e4, allow_nan=False).map(lambda v: round(v, 4)), min_size=1, max_size=30)
POINTS = st.lists(st.tuples(st.integers(-1000, 0).map(float), st.floats(-200, 200).map(lambda v: round(v, 3))),
                  min_size=2, max_size=21)


@given(VALUES)
def test_mad_is_scipy_s(values: list[float]) -> None:
    assert isclose(robust.mad(values), float(stats.median_abs_deviation(values)), abs_tol=1e-9)


# SciPy takes a root of rounding noise for its confidence band when many values tie; the band is not used here
@pytest.mark.filterwarnings("ignore:invalid value encountered in sqrt:RuntimeWarning")
@given(POINTS)
def test_theil_sen_is_scipy_s(points: list[tuple[float, float]]) -> None:
    assume(len({x for x, _ in points}) > 1)
    reference = stats.theilslopes([y for _, y in points], [x for x, _ in points])
    slope, at_zero = robust.theil_sen(points)
    assert isclose(slope, float(reference.slope), rel_tol=1e-9, abs_tol=1e-9)
    assert isclose(at_zero, float(reference.intercept), rel_tol=1e-9, abs_tol=1e-6)


def test_one_wild_reading_moves_neither_line_nor_median() -> None:
    # 1 K a day from 70 °C, one misread value of 700
    points = [(float(x), 70.0 + x) for x in range(-9, 1)]
    points[4] = (points[4][0], 700.0)
    assert robust.theil_sen(points)[0] == pytest.approx(1.0)
    assert robust.median([58.0] * 9 + [580.0]) == 58.0


def test_a_steady_motor_is_credited_with_the_floor() -> None:
    assert robust.scatter([58.0] * 20, 3.0) == 3.0
    # deviations 0, 2, 2, 4, 4 have the median 2, scaled 2.965
    assert robust.scatter([60.0, 58.0, 62.0, 56.0, 64.0], 0.1) == pytest.approx(2.9652)


def test_nothing_and_one_instant_are_declined() -> None:
    with pytest.raises(MakesNoSense):
        robust.median([])
    with pytest.raises(MakesNoSense):
        robust.theil_sen([(0.0, 1.0), (0.0, 2.0)])
