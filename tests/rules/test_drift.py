"""A motor against its own earlier running readings: steps, its own normal, and the way to a limit."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from app.rules import drift, own_history
from app.rules.facts import Ends, Facts, Greasing, History, LubricationPoint, Reading, Show
from app.rules.findings import THIS_SHIFT, WATCH, Finding
from app.rules.limits import Limits
from app.rules.own_history import BEARINGS
from tests.rules.plant import LIMITS, NOW, facts, of, reading


def temps(de: float | None = None, ode: float | None = None, **seen: Any) -> dict[str, Any]:
    return {"bearing_temp_c": Ends(de, ode), "method": "contact", **seen}


def earlier(values: list[dict[str, Any]], every_h: float = 12.0) -> tuple[Reading, ...]:
    """Readings before NOW, newest first, from values oldest first."""
    return tuple(reading(at=NOW - timedelta(hours=every_h * back), **seen)
                 for back, seen in enumerate(reversed(values), start=1))


def judged(now: dict[str, Any], running: tuple[Reading, ...], state: str = "running", **history: Any) -> list[Finding]:
    given: Facts = facts(reading(state, **now), history=History(running=running, **history))
    return drift.check(given, LIMITS)


STEADY = [58.0] * 20
#: alternately 56 and 60: median 58, absolute deviations all 2, scaled 2.9652, below the floor of 3
BUSY = [54.0, 62.0] * 10


# steps ----------------------------------------------------------------------------------------------------------

STEPS = [("exactly 15 K up", 60.0, 75.0, False), ("15.1 K up", 60.0, 75.1, True), ("60 then 76", 60.0, 76.0, True),
         ("far down", 76.0, 40.0, False)]


@pytest.mark.parametrize("last, now, flagged", [s[1:] for s in STEPS], ids=[s[0] for s in STEPS])
def test_a_step_up_at_a_bearing_is_this_shift(last: float, now: float, flagged: bool) -> None:
    found = judged(temps(ode=now), earlier([temps(ode=last)]))
    assert of("step_bearing", found) == ([("ODE", THIS_SHIFT)] if flagged else [])


def test_a_step_up_of_the_winding_is_this_shift() -> None:
    history = earlier([{"winding_temp_c": 98.0, "winding_method": "fitted"}])
    found = judged({"winding_temp_c": 113.5, "winding_method": "fitted"}, history)
    assert of("step_winding", found) == [(None, THIS_SHIFT)] and found[0].value == 15.5
    assert "up 15.5 K since its last reading, above 15 K (general practice)" in found[0].says


def test_amps_and_the_difference_of_the_ends_have_no_step() -> None:
    found = judged({"current_a": (85.0,), **temps(70.0, 50.0)}, earlier([{"current_a": (40.0,), **temps(60.0, 60.0)}]))
    assert [f.rule for f in found] == []


def test_only_the_newest_like_reading_is_the_last() -> None:
    history = earlier([temps(60.0), temps(70.0)])  # 70 is the newer
    assert judged(temps(80.0), history) == []


def test_fahrenheit_steps_have_no_32() -> None:
    given = facts(reading(**temps(76.0)), history=History(running=earlier([temps(60.0)])), show=Show(temperature="F"))
    says = drift.check(given, LIMITS)[0].says
    assert "168.8 °F, up 28.8 °F since its last reading, above 27 °F" in says  # 76 °C; 16 K × 1.8; 15 K × 1.8


UNLIKE = [
    ("another method", {"method": "infrared"}), ("method not known", {"method": None}),
    ("another plate", {"nameplate_key": 2}),
]


@pytest.mark.parametrize("seen", [u[1] for u in UNLIKE], ids=[u[0] for u in UNLIKE])
def test_only_like_is_held_against_like(seen: dict[str, Any]) -> None:
    assert judged(temps(90.0), earlier([temps(60.0) | seen] * 20)) == []


def test_a_standing_reading_is_no_reading_of_its_normal_and_is_not_judged() -> None:
    cold = tuple(reading("standby", at=NOW - timedelta(hours=12 * i), **temps(25.0)) for i in range(1, 21))
    assert judged(temps(60.0), cold) == []
    assert judged(temps(25.0), earlier([temps(58.0)] * 20), state="standby") == []
    assert drift.check(facts(None, history=History(running=cold)), LIMITS) == []


def test_a_reading_from_before_a_new_normal_does_not_count() -> None:
    history = earlier([temps(58.0)] * 20)
    assert judged(temps(76.0), history, new_normal_at=NOW - timedelta(hours=1)) == []
    # one taken at that very instant belongs to the new normal
    assert of("step_bearing", judged(temps(76.0), history, new_normal_at=history[0].taken_at)) == [("DE", THIS_SHIFT)]


def test_a_later_reading_is_no_history() -> None:
    later = reading(at=NOW + timedelta(hours=1), **temps(20.0))
    same = reading(at=NOW, **temps(20.0))
    assert judged(temps(60.0), (later, same)) == []


def test_without_a_reading_there_is_no_history_of_its_kind() -> None:
    assert own_history.before(BEARINGS[0], facts(None, history=History(running=earlier([temps(60.0)]))), LIMITS) == []


# waits ----------------------------------------------------------------------------------------------------------

WAITS = [("greased 23.9 h ago", 23.9, "DE", None, True), ("greased 24 h ago", 24.0, "DE", None, False),
         ("the other end greased", 1.0, "ODE", None, False), ("started 1.9 h ago", None, None, 1.9, True),
         ("started 2 h ago", None, None, 2.0, False)]


@pytest.mark.parametrize("greased_h, end, started_h, waits", [w[1:] for w in WAITS], ids=[w[0] for w in WAITS])
def test_an_end_just_greased_and_a_motor_just_started_are_not_judged(greased_h: float | None, end: str | None,
                                                                     started_h: float | None, waits: bool) -> None:
    greasings = (Greasing(end or "DE", NOW - timedelta(hours=greased_h)),) if greased_h is not None else ()
    started = NOW - timedelta(hours=started_h) if started_h is not None else None
    # 30 h apart, so that no earlier reading falls into the wait itself
    history = earlier([temps(60.0)] * 10, every_h=30.0)
    found = judged(temps(76.0), history, greasings=greasings, last_start_at=started)
    assert (of("step_bearing", found) == []) is waits
    assert (of("off_own_normal_bearing", found) == []) is waits


def test_the_chart_s_own_date_counts_as_a_greasing() -> None:
    chart = {"lubrication": Ends(LubricationPoint(kind="grease", last_greased_at=NOW - timedelta(hours=3)))}
    given = facts(reading(**temps(76.0)), motor=chart, history=History(running=earlier([temps(60.0)])))
    assert drift.check(given, LIMITS) == []


def test_greasing_one_end_does_not_silence_amps_but_does_the_difference() -> None:
    history = earlier([{"current_a": (78.0,), **temps(62.0, 58.0)}] * 10, every_h=30.0)
    greased = (Greasing("DE", NOW - timedelta(hours=3)),)
    found = judged({"current_a": (36.0,), **temps(90.0, 58.0)}, history, greasings=greased)
    assert [f.rule for f in found] == ["off_own_normal_amps"]


def test_a_reading_taken_while_warming_up_or_after_greasing_is_no_normal() -> None:
    started = NOW - timedelta(hours=13)
    warm_up = reading(at=NOW - timedelta(hours=12), **temps(30.0))
    assert judged(temps(58.0), (warm_up,), last_start_at=started) == []
    greased = (Greasing("DE", NOW - timedelta(hours=30)),)
    settling = reading(at=NOW - timedelta(hours=12), **temps(40.0))  # 18 h after greasing
    assert judged(temps(58.0), (settling,), greasings=greased) == []


# its own normal -------------------------------------------------------------------------------------------------

NORMAL = [
    # 3.5 × floor 3 K = 10.5 above the median 58
    ("steady, at the edge", STEADY, 68.5, False), ("steady, just over", STEADY, 68.6, True),
    ("steady, far below is no flag", STEADY, 30.0, False),
    # deviations all 4, scaled 5.9304, × 3.5 = 20.7564 above 58
    ("busy, at the edge", BUSY, 78.7564, False), ("busy, just over", BUSY, 78.7565, True),
    ("seven readings are too few", STEADY[:7], 90.0, False), ("eight are enough", STEADY[:8], 69.0, True),
]


@pytest.mark.parametrize("values, now, flagged", [n[1:] for n in NORMAL], ids=[n[0] for n in NORMAL])
def test_a_bearing_above_its_own_normal_is_a_watch(values: list[float], now: float, flagged: bool) -> None:
    found = judged(temps(now), earlier([temps(v) for v in values]))
    assert of("off_own_normal_bearing", found) == ([("DE", WATCH)] if flagged else [])


def test_under_its_limit_is_not_silent() -> None:
    found = judged(temps(69.0), earlier([temps(v) for v in STEADY]))
    assert [f.rule for f in found] == ["off_own_normal_bearing"]
    assert (found[0].value, found[0].limit, found[0].unit_of_measure) == (69.0, 68.5, "°C")
    assert "69 °C, usually 58 °C; its normal ends at 68.5 °C (own last 20 readings, general practice)" in found[0].says


AMPS = [
    # 3 % of 78 is 2.34, × 3.5 = 8.19: 69.81 to 86.19
    ("inside below", 69.82, False), ("just below", 69.8, True), ("inside above", 86.18, False),
    ("just above", 86.2, True),
    ("lost load", 36.0, True),
]


@pytest.mark.parametrize("now, flagged", [a[1:] for a in AMPS], ids=[a[0] for a in AMPS])
def test_amps_are_judged_both_ways(now: float, flagged: bool) -> None:
    found = judged({"current_a": (now,)}, earlier([{"current_a": (78.0,)}] * 20))
    assert of("off_own_normal_amps", found) == ([(None, WATCH)] if flagged else [])


def test_low_amps_ask_for_lost_load() -> None:
    low = judged({"current_a": (36.0,)}, earlier([{"current_a": (78.0,)}] * 20))[0]
    assert "Amps 36 A, usually 78 A" in low.says and "Lost load?" in low.says
    high = judged({"current_a": (86.5,)}, earlier([{"current_a": (78.0,)}] * 20))[0]
    assert "Lost load?" not in high.says


@pytest.mark.parametrize("de, ode, names", [(66.0, 50.0, "Check the DE bearing"), (54.0, 58.0, "Check the ODE bearing"),
                                            (65.0, 54.0, None)])
def test_the_difference_of_the_ends_is_judged_both_ways(de: float, ode: float, names: str | None) -> None:
    # usual +4; floor 2 K × 3.5 = 7: from −3 to 11
    found = [f for f in judged(temps(de, ode), earlier([temps(62.0, 58.0)] * 20)) if "difference" in f.rule]
    assert [f.rule for f in found] == ([] if names is None else ["off_own_normal_end_difference"])
    assert names is None or (found[0].end is None and names in found[0].says)


def test_only_the_last_20_are_its_normal() -> None:
    old = [temps(90.0)] * 30 + [temps(58.0)] * 20
    assert of("off_own_normal_bearing", judged(temps(69.0), earlier(old))) == [("DE", WATCH)]


# heading for a limit --------------------------------------------------------------------------------------------

def daily(first: float, step: float, count: int) -> list[float]:
    return [first + step * i for i in range(count)]


HEADING = [
    # one a day, the newest today; grease alarm 90
    ("14 days off", 69.0, 1.0, 8, True),          # newest 76: 14 days
    ("just more than 14 days off", 68.9, 1.0, 8, False),
    ("seven readings are too few", 80.0, 1.0, 7, False),
    ("falling", 80.0, -1.0, 8, False), ("level", 85.0, 0.0, 8, False),
    # 0.2 K a day over 7 days is 1.4 K, less than 3 × the least scatter of 0.5 K
    ("no more than noise", 87.0, 0.2, 8, False),
    ("passed already", 84.0, 1.0, 8, False),       # newest 91 is bearing_hot's
]


@pytest.mark.parametrize("first, step, count, flagged", [h[1:] for h in HEADING], ids=[h[0] for h in HEADING])
def test_a_trend_that_reaches_the_alarm_within_14_days_is_a_watch(first: float, step: float, count: int,
                                                                  flagged: bool) -> None:
    *past, now = daily(first, step, count)
    found = judged(temps(now), earlier([temps(v) for v in past], every_h=24.0))
    assert of("heading_for_limit_bearing", found) == ([("DE", WATCH)] if flagged else [])


def test_the_sentence_says_which_limit_and_when() -> None:
    *past, now = daily(70.0, 1.0, 8)
    found = judged(temps(now), earlier([temps(v) for v in past], every_h=24.0))[0]
    assert (found.value, found.limit, found.unit_of_measure) == (pytest.approx(13.0), 14.0, "days")  # 90 − 77
    assert "77 °C, rising: 90 °C (alarm) in 13 days, within 14 days (general practice)" in found.says


def test_one_odd_reading_is_no_trend() -> None:
    past = [70.0] * 7
    past[3] = 30.0
    assert of("heading_for_limit_bearing", judged(temps(70.5), earlier([temps(v) for v in past], every_h=24.0))) == []


def test_a_reading_that_fell_back_is_not_on_the_way_up() -> None:
    history = earlier([temps(v) for v in daily(64.0, 1.0, 20)], every_h=24.0)  # 64 to 83, the next would be 84
    assert of("heading_for_limit_bearing", judged(temps(84.0), history)) == [("DE", WATCH)]
    assert of("heading_for_limit_bearing", judged(temps(73.5), history)) == []  # the median of the twenty
    assert of("heading_for_limit_bearing", judged(temps(73.6), history)) == [("DE", WATCH)]


def test_amps_head_for_the_plate_and_only_where_it_is_known() -> None:
    *past, now = daily(80.0, 0.5, 8)  # newest 83.5; 87 in 7 days
    history = earlier([{"current_a": (v,)} for v in past], every_h=24.0)
    assert of("heading_for_limit_amps", judged({"current_a": (now,)}, history)) == [(None, WATCH)]
    bare = facts(reading(current_a=(now,)), {"rated_amps": None}, history=History(running=history))
    assert of("heading_for_limit_amps", drift.check(bare, LIMITS)) == []


@pytest.mark.parametrize("sign", [1, -1], ids=["DE hotter", "ODE hotter"])
def test_the_ends_may_drift_apart_either_way(sign: int) -> None:
    *past, now = daily(1.0, 0.5, 8)  # newest 4.5 K apart; 10 K in 11 days
    history = earlier([temps(60.0 + sign * v, 60.0) for v in past], every_h=24.0)
    found = judged(temps(60.0 + sign * now, 60.0), history)
    assert of("heading_for_limit_end_difference", found) == [(None, WATCH)]


@pytest.mark.parametrize("step, flagged", [(0.30, False), (0.31, True)])
def test_the_difference_of_the_ends_must_move_by_the_scatter_of_two_readings(step: float, flagged: bool) -> None:
    """Independent errors add as squares (JCGM 100:2008, 5.1.2, cited from memory): the smallest scatter of a difference
    is √2 × 0.5 K = 0.707 K, three times that 2.12 K; seven steps of 0.30 are 2.10 K, of 0.31 2.17 K."""
    *past, now = daily(6.0, step, 8)  # newest 8.1 or 8.2 K apart; 10 K within 7 days
    history = earlier([temps(60.0 + v, 60.0) for v in past], every_h=24.0)
    found = judged(temps(60.0 + now, 60.0), history)
    assert of("heading_for_limit_end_difference", found) == ([(None, WATCH)] if flagged else [])


def test_a_winding_heads_for_the_alarm_of_its_class() -> None:
    *past, now = daily(150.0, 1.0, 8)  # newest 157; class F at 1.15: alarm 160
    history = earlier([{"winding_temp_c": v, "winding_method": "fitted"} for v in past], every_h=24.0)
    found = judged({"winding_temp_c": now, "winding_method": "fitted"}, history)
    assert of("heading_for_limit_winding", found) == [(None, WATCH)]


def test_readings_all_of_one_instant_give_no_line() -> None:
    assert drift.days_to_limit([(0.0, 80.0)] * 8, 90.0, 0.5, LIMITS) is None


def test_a_line_already_at_the_limit_reaches_it_now() -> None:
    points = [(-float(i), 90.5 - i) for i in range(8)]
    assert drift.days_to_limit(points, 90.0, 0.5, LIMITS) == 0.0


def test_the_limits_of_the_unit_are_used() -> None:
    limits = Limits({"step_this_shift_k": (10.0, "unit's limit")})
    given = facts(reading(**temps(71.0)), history=History(running=earlier([temps(60.0)])))
    assert drift.check(given, limits)[0].source == "unit's limit"
