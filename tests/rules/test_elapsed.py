"""Elapsed time whatever the clocks on the wall do."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from app.rules import elapsed

CHICAGO = ZoneInfo("America/Chicago")


@pytest.mark.parametrize("earlier, later, hours", [
    # 1 November 2026, 02:00 CDT goes back to 01:00 CST
    (datetime(2026, 11, 1, 0, tzinfo=CHICAGO), datetime(2026, 11, 1, 4, tzinfo=CHICAGO), 5.0),
    (datetime(2026, 11, 1, 1, 30, tzinfo=CHICAGO), datetime(2026, 11, 1, 1, 30, fold=1, tzinfo=CHICAGO), 1.0),
    # 14 March 2027, 02:00 CST goes on to 03:00 CDT
    (datetime(2027, 3, 14, 0, tzinfo=CHICAGO), datetime(2027, 3, 14, 4, tzinfo=CHICAGO), 3.0),
    (datetime(2026, 11, 24, 12, tzinfo=UTC), datetime(2026, 11, 24, 7, tzinfo=CHICAGO), 1.0),
])
def test_two_times_are_compared_as_instants(earlier: datetime, later: datetime, hours: float) -> None:
    assert elapsed.hours(earlier, later) == hours
    assert elapsed.days(earlier, later) == hours / 24


def test_a_clock_without_a_zone_is_taken_as_it_stands() -> None:
    assert elapsed.hours(datetime(2026, 1, 1), datetime(2026, 1, 2)) == 24.0  # noqa: DTZ001 - that is the case
