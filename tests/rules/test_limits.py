"""Every threshold is a named setting with unit, source, confirmation and a plausible range."""

from __future__ import annotations

import pytest

from app.rules.limits import DEFAULTS, PRACTICE, Default, Limits

#: from the rules paper: name, value
PAPER = [
    ("bearing_hot_grease_alarm_c", 90), ("bearing_hot_grease_shutdown_c", 100), ("bearing_hot_sleeve_alarm_c", 85),
    ("bearing_hot_sleeve_shutdown_c", 95), ("bearings_uneven_this_shift_k", 10), ("bearings_uneven_act_now_k", 20),
    ("amps_over_nameplate_act_now_percent", 110), ("phase_unbalance_this_shift_percent", 10),
    ("phase_unbalance_single_phasing_percent", 5), ("volts_off_this_shift_percent", 10),
    ("volts_off_unbalance_watch_percent", 1), ("volts_off_unbalance_this_shift_percent", 3),
    ("volts_off_unbalance_act_now_percent", 5), ("step_this_shift_k", 15), ("step_greasing_wait_h", 24),
    ("step_start_wait_h", 2), ("off_own_normal_min_readings", 8), ("off_own_normal_window_readings", 20),
    ("heading_for_limit_watch_days", 14), ("heading_for_limit_min_readings", 8), ("clearing_band_k", 3),
    ("clearing_band_percent", 3), ("prestart_idle_days", 30), ("greased_too_soon_interval_percent", 50),
    ("greased_too_soon_amount_percent", 150), ("warming_fast_act_now_k_per_min", 2), ("nameplate_amps_ask_percent", 25),
    ("start_to_50_hp_per_hour", 3), ("start_over_50_hp_per_hour", 1), ("start_to_50_hp_run_min", 15),
    ("start_to_50_hp_short_per_hour", 6), ("start_over_50_hp_short_per_hour", 3), ("start_to_50_hp_tries", 3),
    ("start_over_50_hp_tries", 2),
]


@pytest.mark.parametrize("name, value", PAPER, ids=lambda v: str(v))
def test_the_shipped_value_is_the_paper_s(name: str, value: float) -> None:
    assert DEFAULTS[name].value == value


@pytest.mark.parametrize("default", DEFAULTS.values(), ids=lambda d: d.name)
def test_a_default_lies_within_its_plausible_range_and_says_where_it_comes_from(default: Default) -> None:
    assert default.low < default.value <= default.high or default.low <= default.value < default.high
    assert default.says and default.source and default.confirmed and default.unit
    assert default.name == default.name.lower()


def test_a_milder_grade_starts_below_the_graver() -> None:
    for alarm, limit in (("alarm_c", "shutdown_c"), ("alarm_c", "limit_c"), ("this_shift_mm_s", "act_now_mm_s"),
                         ("this_shift_k", "act_now_k"), ("watch_percent", "act_now_percent")):
        for name in DEFAULTS:
            pair = name.removesuffix(alarm) + limit
            if name.endswith(alarm) and pair in DEFAULTS:
                assert DEFAULTS[name].value < DEFAULTS[pair].value, name


def test_a_figure_from_memory_says_so_wherever_its_source_is_shown() -> None:
    memory = Limits()["bearing_hot_sleeve_alarm_c"]
    assert memory.from_memory and memory.origin == f"{PRACTICE}, from memory"
    assert Limits()["bearing_hot_grease_alarm_c"].origin == PRACTICE


def test_a_limit_set_here_wins_and_carries_its_own_source() -> None:
    limits = Limits({"bearing_hot_sleeve_alarm_c": (82.0, "unit's limit")})
    limit = limits["bearing_hot_sleeve_alarm_c"]
    assert (limit.value, limit.origin, limit.unit) == (82.0, "unit's limit", "°C")
    assert limits.value("bearing_hot_sleeve_shutdown_c") == 95.0


def test_a_name_that_is_no_limit_is_an_error_and_never_a_guess() -> None:
    with pytest.raises(KeyError):
        Limits()["bearing_hot_alarm"]
