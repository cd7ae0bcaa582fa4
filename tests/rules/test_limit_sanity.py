"""Which limits stand in which order. The pairs are the client's own rules: an alarm below its shutdown."""

from __future__ import annotations

import pytest

from app.rules.facts import Show
from app.rules.limit_groups import HEADINGS, RAISES_NOTHING, heading, kind
from app.rules.limit_sanity import PAIRS, broken, order_fault, pairs_of, told, value_fault
from app.rules.limits import DEFAULTS, Limits

ALARM, SHUTDOWN = "bearing_hot_grease_alarm_c", "bearing_hot_grease_shutdown_c"


def held(**values: float) -> Limits:
    return Limits({name: (value, "unit's limit") for name, value in values.items()})


def test_the_limits_as_shipped_agree_with_each_other() -> None:
    assert broken(Limits()) == []
    for default in DEFAULTS.values():
        assert value_fault(default, default.value, Show()) is None, default.name


def test_every_alarm_and_every_act_now_limit_has_its_partner() -> None:
    graded = [n for n in DEFAULTS if "_alarm_" in n or "_shutdown_" in n or "_act_now_" in n or n.endswith("_limit_c")]
    alone = {n for n in graded if not pairs_of(n)}
    assert alone == {"warming_fast_act_now_k_per_min"}  # it has one grade only
    assert all(pair.lower in DEFAULTS and pair.higher in DEFAULTS for pair in PAIRS)


# as shipped the shutdown of a greased bearing is 100 °C
@pytest.mark.parametrize(("alarm", "agrees"), [(99.999999, True), (100.0, False), (100.000001, False)])
def test_an_alarm_stays_below_its_shutdown(alarm: float, agrees: bool) -> None:
    fault = order_fault(ALARM, held(**{ALARM: alarm}), Show())
    assert (fault is None) is agrees
    if fault:
        assert "below 100 °C" in fault and SHUTDOWN in fault


def test_a_shutdown_under_the_alarm_is_told_from_its_own_side_in_the_units_scale() -> None:
    fault = order_fault(SHUTDOWN, held(**{SHUTDOWN: 90.0}), Show(temperature="F"))
    assert fault is not None and "above 194 °F" in fault  # 90 × 1.8 + 32


# bearings uneven: this shift above 10 K as shipped; a band as wide would never let the flag return
@pytest.mark.parametrize(("band_k", "agrees"), [(7.9, True), (8.0, False), (10.0, False)])
def test_the_clearing_band_is_narrower_than_what_it_clears(band_k: float, agrees: bool) -> None:
    assert (order_fault("clearing_band_k", held(clearing_band_k=band_k), Show()) is None) is agrees


# 24 h a day: fresh grease may be waited for six days of the seven that it is watched, not eight
@pytest.mark.parametrize(("wait_h", "agrees"), [(167.0, True), (168.0, False)])
def test_a_greased_bearing_is_watched_longer_than_it_is_waited_for(wait_h: float, agrees: bool) -> None:
    assert (order_fault("step_greasing_wait_h", held(step_greasing_wait_h=wait_h), Show()) is None) is agrees


@pytest.mark.parametrize(("readings", "agrees"), [(20.0, True), (21.0, False)])
def test_a_normal_is_made_of_no_more_readings_than_are_looked_at(readings: float, agrees: bool) -> None:
    fault = order_fault("off_own_normal_min_readings", held(off_own_normal_min_readings=readings), Show())
    assert (fault is None) is agrees


@pytest.mark.parametrize(("name", "value", "says"), [
    (ALARM, 39.999, "from 40 °C to 150 °C"), (ALARM, 150.001, "from 40 °C to 150 °C"), (ALARM, 40.0, None),
    (ALARM, 150.0, None), (ALARM, float("nan"), "from 40"), (ALARM, float("inf"), "from 40"),
    ("start_to_50_hp_per_hour", 2.5, "whole number"), ("start_to_50_hp_per_hour", 2.0, None),
    ("heading_for_limit_watch_days", 10.5, None),
], ids=str)
def test_a_value_lies_in_its_plausible_range_and_what_is_counted_is_whole(name: str, value: float,
                                                                         says: str | None) -> None:
    fault = value_fault(DEFAULTS[name], value, Show())
    assert fault is None if says is None else fault is not None and says in fault


def test_a_difference_is_told_without_the_32() -> None:
    assert told(DEFAULTS["bearings_uneven_this_shift_k"], 10.0, Show(temperature="F")) == "18 °F"
    assert told(DEFAULTS[ALARM], 90.0, Show(temperature="F")) == "194 °F"


def test_every_limit_stands_under_a_heading_and_says_its_kind() -> None:
    assert {heading(name) for name in DEFAULTS} == set(HEADINGS.values())
    assert kind("bearing_hot_sleeve_shutdown_c") == "sleeve bearing"
    assert kind("winding_hot_f_sf_limit_c") == "class F, service factor 1.15"
    assert kind("start_over_50_hp_tries") == "over 50 hp"
    assert kind("greased_too_soon_amount_percent") == ""
    assert set(RAISES_NOTHING) <= set(DEFAULTS)
