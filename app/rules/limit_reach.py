"""Which rules a limit has a say in: what must be judged again when it changes, and what stays as it was raised."""

from __future__ import annotations

from collections.abc import Iterable

AMPS, PHASES, BEARINGS, WINDINGS, VIBRATION = "amps", "phases and volts", "bearings", "windings", "vibration"
SETTLING, DRIFT, WARMING, LOOK_AGAIN = "settling", "drift", "warming", "look again"
GREASED, OIL, STARTS = "greased", "oil", "starts"
#: Judged on a reading; the others on a greasing, an oil entry, a start.
ON_READINGS = (AMPS, PHASES, BEARINGS, WINDINGS, VIBRATION, SETTLING, DRIFT, WARMING, LOOK_AGAIN)
FAMILIES = (*ON_READINGS, GREASED, OIL, STARTS)

#: What the names of a family's rules begin with.
RULES = {
    AMPS: ("amps_over_nameplate",), PHASES: ("phase_unbalance", "volts_off"),
    BEARINGS: ("bearings_uneven", "bearing_hot"), WINDINGS: ("winding_hot",), VIBRATION: ("vibration",),
    SETTLING: ("not_settled_bearing",), DRIFT: ("step_", "off_own_normal_", "heading_for_limit_"),
    WARMING: ("warming_fast",), LOOK_AGAIN: ("look_again",), GREASED: ("greased_too_soon",), OIL: ("drinks_oil",),
    STARTS: ("started_outside_limits", "tries_used_up", "no_prestart_check"),
}
#: What a limit's name begins with -> where it is read. All that fit count. A trend looks at the limit it heads for.
REACH = (
    ("amps_over_nameplate_", (AMPS,)), ("amps_over_nameplate_this_shift_", (DRIFT,)), ("phase_unbalance_", (PHASES,)),
    ("volts_off_", (PHASES,)), ("bearings_uneven_", (BEARINGS,)), ("bearings_uneven_this_shift_", (DRIFT,)),
    ("bearing_hot_", (BEARINGS, DRIFT)), ("winding_hot_", (WINDINGS, DRIFT)), ("vibration_", (VIBRATION,)),
    ("greased_too_soon_", (GREASED,)), ("step_", (DRIFT,)), ("step_greasing_wait_h", (SETTLING,)),
    ("step_start_wait_h", (SETTLING,)), ("off_own_normal_", (DRIFT,)),
    ("off_own_normal_window_readings", (SETTLING,)), ("off_own_normal_watch_distance", (OIL,)),
    ("heading_for_limit_", (DRIFT,)), ("look_again_", (LOOK_AGAIN,)), ("warming_fast_", (WARMING,)),
    ("clearing_band_k", (BEARINGS, WINDINGS, SETTLING, DRIFT)), ("clearing_band_percent", (AMPS, DRIFT)),
    ("not_settled_", (SETTLING,)), ("drinks_oil_", (OIL,)), ("start_", (STARTS,)), ("prestart_", (STARTS,)),
)


def families(names: Iterable[str]) -> frozenset[str]:
    """Where any of these limits is read; empty: in no rule that raises a flag."""
    return frozenset(family for name in names for start, found in REACH if name.startswith(start) for family in found)


def family_of(rule: str) -> str | None:
    """The family that a rule belongs to; None for one that no limit has a say in.

    >>> family_of("step_bearing"), family_of("smoke")
    ('drift', None)
    """
    return next((family for family, starts in RULES.items() if rule.startswith(starts)), None)
