"""The arithmetic of a drawn axis, by hand: round ticks, places, days of the calendar, where a line must break."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.axis import LEAST_GAP, Axis, days, gap_after, pieces, round_step, seconds, values

CHICAGO = ZoneInfo("America/Chicago")
NOON = datetime(2026, 11, 24, 18, tzinfo=UTC)
HOUR = timedelta(hours=1)


# values ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("span", "most", "step"), [
    (100.0, 10, 10.0), (99.0, 10, 10.0), (101.0, 10, 20.0), (21.0, 4, 10.0), (20.0, 4, 5.0), (0.7, 7, 0.1),
    (0.71, 7, 0.2), (3000.0, 6, 500.0), (1e-6, 1, 1e-6)])
def test_a_step_is_1_2_or_5_times_a_power_of_ten(span: float, most: int, step: float) -> None:
    assert round_step(span, most) == pytest.approx(step)


@pytest.mark.parametrize("span", [0.0, -1.0, float("nan"), float("inf")])
def test_no_span_has_no_step(span: float) -> None:
    with pytest.raises(ValueError, match="span"):
        round_step(span, 5)


@pytest.mark.parametrize(("found", "options", "ticks"), [
    ([57.0, 63.0, 90.0], {}, (50, 60, 70, 80, 90)),
    ([86.0, 92.0], {"from_zero": True}, (0, 20, 40, 60, 80, 100)),
    ([1.1], {"from_zero": True, "most": 4}, (0, 0.5, 1, 1.5)),
    ([0.0], {"from_zero": True, "most": 5}, (0, 0.2, 0.4, 0.6, 0.8, 1)),
    ([-2.5, 4.0], {"about_zero": True, "most": 5}, (-4, -2, 0, 2, 4)),
    ([3.0, 4.0], {"about_zero": True, "most": 4}, (0, 1, 2, 3, 4)),
    ([-3.0, -4.0], {"about_zero": True, "most": 4}, (-4, -3, -2, -1, 0)),
    ([60.0], {"most": 4}, (50, 55, 60, 65, 70)),  # a tenth of room either way: 54 to 66
    ([60.0, 60.0, 60.0], {"most": 4}, (50, 55, 60, 65, 70)),
    ([0.0], {"most": 4}, (-1, -0.5, 0, 0.5, 1)),
    ([], {}, (0, 1)),
], ids=repr)
def test_an_axis_ends_on_ticks_and_holds_what_was_read(found: list[float], options: dict[str, object],
                                                       ticks: tuple[float, ...]) -> None:
    axis = values(found, **options)  # type: ignore[arg-type]
    assert axis.ticks == pytest.approx(ticks)
    assert (axis.low, axis.high) == (axis.ticks[0], axis.ticks[-1])


@given(st.lists(st.floats(-1e6, 1e6).map(lambda x: round(x, 3)), min_size=1, max_size=30), st.booleans(),
       st.booleans(), st.integers(2, 9))
def test_every_axis_holds_every_value_with_few_even_ticks(found: list[float], zero: bool, about: bool,
                                                          most: int) -> None:
    axis = values(found, from_zero=zero, about_zero=about, most=most)
    assert axis.low <= min(found) + 1e-6
    assert max(found) - 1e-6 <= axis.high
    assert 2 <= len(axis.ticks) <= most + 2
    assert not (zero or about) or axis.low <= 0 <= axis.high
    step = axis.ticks[1] - axis.ticks[0]
    assert all(abs(b - a - step) < step * 1e-6 for a, b in zip(axis.ticks, axis.ticks[1:], strict=False))


def test_places_go_up_the_drawing_and_stay_in_it() -> None:
    up = Axis(50.0, 100.0, (50.0, 100.0), start=206.0, end=16.0)
    assert [up.at(v) for v in (50.0, 75.0, 100.0, 40.0, 110.0)] == [206.0, 111.0, 16.0, 206.0, 16.0]


@pytest.mark.parametrize(("ticks", "places"), [((0, 20, 40), 0), ((0, 0.5, 1), 1), ((0, 0.05), 2), ((0, 1), 0),
                                               ((0.0, 0.2, 0.4), 1), ((7,), 0)])
def test_ticks_have_the_decimals_that_tell_them_apart(ticks: tuple[float, ...], places: int) -> None:
    assert Axis(0.0, 1.0, ticks).places == places


# time ------------------------------------------------------------------------------------------------------


def test_time_is_elapsed_time_whatever_the_clocks_do() -> None:
    start, end = datetime(2026, 11, 1, 5, tzinfo=UTC), datetime(2026, 11, 2, 6, tzinfo=UTC)  # 00:00 to 00:00: 25 h
    across = seconds(start, end).drawn(0.0, 250.0)
    first, second = (datetime(2026, 11, 1, hour, 30, tzinfo=UTC) for hour in (6, 7))  # 01:30, twice
    assert [across.at((at - start).total_seconds()) for at in (first, second)] == [15.0, 25.0]
    with pytest.raises(ValueError, match="span"):
        seconds(start, start)


@pytest.mark.parametrize(("long", "most", "told"), [
    (3, 8, ["24 Nov", "25 Nov", "26 Nov"]),
    (10, 8, ["24 Nov", "26 Nov", "28 Nov", "30 Nov", "2 Dec"]),
    (28, 8, ["30 Nov", "7 Dec", "14 Dec", "21 Dec"]),  # weeks stand on Mondays
    (84, 8, ["30 Nov", "14 Dec", "28 Dec", "11 Jan", "25 Jan", "8 Feb"]),
])
def test_days_are_local_and_so_few_that_their_names_do_not_meet(long: int, most: int, told: list[str]) -> None:
    start = datetime(2026, 11, 24, 6, tzinfo=UTC)  # midnight in Chicago, a Tuesday
    found = days(start, start + timedelta(days=long), CHICAGO, most)
    assert [f"{day.day} {day:%b}" for day, _ in found] == told
    assert all(at.astimezone(CHICAGO).hour == 0 for _, at in found)


# lines -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("pauses_h", "gap_h"), [
    ([], 36.0), ([12.0], 36.0), ([12.0] * 9, 36.0), ([24.0, 24.0, 24.0], 60.0), ([168.0, 168.0], 420.0),
    ([12.0, 12.0, 300.0], 36.0)])
def test_a_gap_is_a_pause_much_longer_than_the_usual_one(pauses_h: list[float], gap_h: float) -> None:
    instants = [NOON]
    for pause in pauses_h:
        instants.append(instants[-1] + pause * HOUR)
    assert gap_after(instants) == gap_h * HOUR
    assert gap_after(instants) >= LEAST_GAP


def test_a_line_breaks_at_a_long_pause_an_unmeasured_look_and_another_method() -> None:
    def at(hours: float) -> datetime:
        return NOON + hours * HOUR

    points = [(at(0), 60.0, "contact"), (at(12), 61.0, "contact"), (at(24), None, "contact"), (at(36), 62.0, "contact"),
              (at(72), 63.0, "contact"), (at(109), 64.0, "contact"), (at(121), 65.0, "infrared"),
              (at(133), 66.0, "infrared")]
    assert pieces(points, 36 * HOUR) == [[0, 1], [3, 4], [5], [6, 7]]  # 36 h joins, 37 h does not
    assert pieces([], 36 * HOUR) == []
    assert pieces([(at(0), None, "")], 36 * HOUR) == []
