"""Median, median absolute deviation and the Theil–Sen line: estimates that one odd reading does not move.

Checked against SciPy (median_abs_deviation, theilslopes). For points on a straight line the slope is exact.

>>> median([3.0, 1.0, 2.0]), mad([1.0, 1.0, 2.0, 2.0, 4.0, 6.0, 9.0])
(2.0, 1.0)
"""

from __future__ import annotations

from collections.abc import Sequence

from app.rules.tables import MakesNoSense

#: makes the median absolute deviation of normal scatter equal its standard deviation
MAD_SCALE = 1.4826


def median(values: Sequence[float]) -> float:
    """The middle value, or the mean of the middle two. Raises MakesNoSense when there is none."""
    if not values:
        raise MakesNoSense("a median needs at least one value")
    ordered, half = sorted(values), len(values) // 2
    return ordered[half] if len(values) % 2 else (ordered[half - 1] + ordered[half]) / 2


def mad(values: Sequence[float]) -> float:
    """Median absolute deviation from the median, not scaled. Raises MakesNoSense when there is none."""
    centre = median(values)
    return median([abs(value - centre) for value in values])


def scatter(values: Sequence[float], floor: float) -> float:
    """Scaled median absolute deviation, never below `floor`, so that a steady motor does not flag noise."""
    return max(MAD_SCALE * mad(values), floor)


def theil_sen(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Slope and value at x = 0: the median of all pairwise slopes, through the medians of x and y.

    Raises MakesNoSense without two different x.
    """
    slopes = [(y2 - y1) / (x2 - x1)
              for i, (x1, y1) in enumerate(points) for x2, y2 in points[i + 1:] if x1 != x2]
    if not slopes:
        raise MakesNoSense("a slope needs two different times")
    slope = median(slopes)
    return slope, median([y for _, y in points]) - slope * median([x for x, _ in points])
