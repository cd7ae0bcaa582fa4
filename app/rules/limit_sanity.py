"""Which limits must stand in which order, and what else a limit's value must be, whoever sets it.

An alarm above its shutdown never warns; a clearing band as wide as the limit it belongs to never lets a flag return.
Alarm 90 and shutdown 100 °C agree; 100 and 100 do not: the alarm would say nothing that the shutdown does not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from app.rules import wording
from app.rules.facts import Show
from app.rules.findings import over, under
from app.rules.limits import DEFAULTS, Default, Limits

#: Counted, never measured: a whole number.
COUNTED = ("readings", "rounds", "figures", "motors", "starts", "tries", "spans")


@dataclass(frozen=True)
class Pair:
    """Two limits whose values must stand in this order, both in one unit of measure but for `factor`."""

    lower: str
    higher: str
    #: what one of the higher is in the lower's unit: 24 h a day
    factor: float = 1.0
    may_equal: bool = False

    def broken(self, limits: Limits) -> bool:
        low, high = limits.value(self.lower), limits.value(self.higher) * self.factor
        return over(low, high) if self.may_equal else not under(low, high)


def _steps() -> Iterator[Pair]:
    """The grades of one quantity, found by their names."""
    grades = (("_this_shift_", "_act_now_"), ("_watch_percent", "_this_shift_percent"), ("_alarm_c", "_shutdown_c"),
              ("_alarm_c", "_limit_c"))
    for name in DEFAULTS:
        for low, high in grades:
            other = name.replace(low, high)
            if other != name and other in DEFAULTS:
                yield Pair(name, other)


PAIRS: tuple[Pair, ...] = (
    *_steps(),
    *(Pair("clearing_band_k", name) for name in ("bearings_uneven_this_shift_k", "step_this_shift_k",
                                                 "not_settled_this_shift_k")),
    Pair("off_own_normal_min_readings", "off_own_normal_window_readings", may_equal=True),
    Pair("heading_for_limit_min_readings", "off_own_normal_window_readings", may_equal=True),
    Pair("step_greasing_wait_h", "not_settled_watch_days", factor=24.0),
    Pair("start_to_50_hp_per_hour", "start_to_50_hp_short_per_hour", may_equal=True),
    Pair("start_over_50_hp_per_hour", "start_over_50_hp_short_per_hour", may_equal=True),
)


def pairs_of(name: str) -> tuple[Pair, ...]:
    return tuple(pair for pair in PAIRS if name in (pair.lower, pair.higher))


def value_fault(default: Default, value: float, show: Show) -> str | None:
    """What is wrong with a value by itself, with what to do; None: nothing. Not a number is outside every range."""
    if not default.low <= value <= default.high:
        return f"Enter a value from {told(default, default.low, show)} to {told(default, default.high, show)}."
    if default.unit in COUNTED and value != int(value):
        return f"Enter a whole number: {default.unit} are counted."
    return None


def order_fault(name: str, limits: Limits, show: Show) -> str | None:
    """The first pair of this limit that its value breaks, named with the other's value; None: all agree."""
    for pair in pairs_of(name):
        if pair.broken(limits):
            other, side = (pair.higher, "below") if name == pair.lower else (pair.lower, "above")
            beside = DEFAULTS[other]
            also = f"at or {side}" if pair.may_equal else side
            return (f"This must be {also} {told(beside, limits.value(other), show)}, which is {other} "
                    f"({beside.says}). Change that one first, or choose another value.")
    return None


def told(default: Default, value: float, show: Show, places: int = wording.MOST_PLACES) -> str:
    """A limit's value with its unit as this plant reads it."""
    scale = wording.of_measure(show, default.unit)
    return wording.figure(value, replace(scale, places=places))


def broken(limits: Limits) -> list[Pair]:
    """Every pair out of order among the limits in force."""
    return [pair for pair in PAIRS if pair.broken(limits)]
