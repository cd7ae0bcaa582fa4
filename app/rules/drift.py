"""`step_*`, `off_own_normal_*`, `heading_for_limit_*`: a motor against its own earlier running readings.

Step: a bearing or the winding up more than 15 K since the last like reading: this shift (no published figure).
Off its own normal: farther from the median of its last 20 than 3.5 scaled median absolute deviations, which are never
taken smaller than a floor (3 K; 2 K for the difference of the ends; 3 % of its median amps); at least 8 readings; amps
and the difference both ways, temperatures upwards: watch. Twenty readings of 58 °C and then 69: 11 above, flagged.
Heading for a limit: the Theil–Sen line over at least 8 readings, the newest included, reaches the limit within 14
days, and has moved more than its own scatter explains: watch. The difference of the ends holds the scatter of two
readings, so its smallest scatter is the square root of 2 times that of one (independent errors add as
squares). Where the limit is passed already its own rule speaks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

from app.rules import bearings, elapsed, robust, windings, wording
from app.rules.facts import Facts, Reading
from app.rules.findings import THIS_SHIFT, WATCH, Finding, over, under
from app.rules.limits import Limits
from app.rules.own_history import (
    AMPS,
    BEARINGS,
    END_DIFFERENCE,
    QUANTITIES,
    WINDING,
    Quantity,
    before,
    candidates,
    now_value,
)
from app.rules.tables import MakesNoSense

STEPS = (*BEARINGS, WINDING)
BOTH_WAYS = (AMPS, END_DIFFERENCE)
Earlier = list[tuple[Reading, float]]


def check(facts: Facts, limits: Limits) -> list[Finding]:
    found: list[Finding | None] = []
    known = candidates(facts)
    for quantity in QUANTITIES:
        value = now_value(quantity, facts, limits)
        if value is None:
            continue
        earlier = before(quantity, facts, limits, known)
        found += [_step(quantity, value, earlier, facts, limits), _off_normal(quantity, value, earlier, facts, limits),
                  _heading(quantity, value, earlier, facts, limits)]
    return [finding for finding in found if finding is not None]


def _step(quantity: Quantity, value: float, earlier: Earlier, facts: Facts, limits: Limits) -> Finding | None:
    limit = limits["step_this_shift_k"]
    if quantity not in STEPS or not earlier or not over(value - earlier[0][1], limit.value):
        return None
    up, most = wording.pair(value - earlier[0][1], limit.value, wording.difference(facts.show))
    says = (f"{_name(quantity)} {wording.figure(value, _scale(quantity, facts))}, up {up} since its last reading, "
            f"above {most} ({limit.origin}). Check lubrication, load and cooling.")
    return Finding(f"step_{quantity.name}", quantity.end, THIS_SHIFT, value - earlier[0][1], limit.value, "K",
                   limit.origin, says)


def normal_band(values: list[float], floor: float, distance: float) -> tuple[float, float, float]:
    """Median, and the lower and upper end of the own normal."""
    centre = robust.median(values)
    reach = distance * robust.scatter(values, floor)
    return centre, centre - reach, centre + reach


@dataclass(frozen=True)
class OwnNormal:
    """What a motor was used to before a reading: median and ends of the band (SI), of how many readings, since when."""

    centre: float
    low: float
    high: float
    count: int
    since: datetime


def own_normal(quantity: Quantity, facts: Facts, limits: Limits) -> OwnNormal | None:
    """The own normal before the reading in `facts`; None where there are too few like readings to say."""
    earlier = before(quantity, facts, limits)
    if len(earlier) < limits.value("off_own_normal_min_readings"):
        return None
    figures = [figure for _, figure in earlier]
    distance = limits.value("off_own_normal_watch_distance")
    band = normal_band(figures, _floor(quantity, figures, limits), distance)
    return OwnNormal(*band, len(figures), earlier[-1][0].taken_at)


def _off_normal(quantity: Quantity, value: float, earlier: Earlier, facts: Facts, limits: Limits) -> Finding | None:
    values = [figure for _, figure in earlier]
    if len(values) < limits.value("off_own_normal_min_readings"):
        return None
    distance = limits["off_own_normal_watch_distance"]
    centre, low, high = normal_band(values, _floor(quantity, values, limits), distance.value)
    below = quantity in BOTH_WAYS and under(value, low)
    if not below and not over(value, high):
        return None
    edge, scale = (low if below else high), _scale(quantity, facts)
    figure, limit = wording.pair(value, edge, scale)
    source = f"own last {len(values)} readings, {distance.origin}"
    says = (f"{_name(quantity)} {figure}, usually {wording.figure(centre, scale)}; its normal ends at {limit} "
            f"({source}). {_advice(quantity, below)}")
    return Finding(f"off_own_normal_{quantity.name}", quantity.end, WATCH, value, edge, quantity.unit, source, says)


def _heading(quantity: Quantity, value: float, earlier: Earlier, facts: Facts, limits: Limits) -> Finding | None:
    reading, ahead = facts.reading, _limit_ahead(quantity, facts, limits)
    size = abs if quantity is END_DIFFERENCE else float  # the ends may drift apart either way
    if reading is None or ahead is None or not earlier or over(size(value), ahead[0]):
        return None
    # a reading that fell back below what is usual is not on the way up, whatever the line through the others says
    if not over(size(value), robust.median([size(figure) for _, figure in earlier])):
        return None
    points = [(-elapsed.days(taken.taken_at, reading.taken_at), size(figure)) for taken, figure in earlier]
    points.append((0.0, size(value)))
    days = days_to_limit(points, ahead[0], _scatter_floor(quantity, points, limits), limits)
    within = limits["heading_for_limit_watch_days"]
    if days is None or over(days, within.value):
        return None
    scale = _scale(quantity, facts)
    figure, limit = wording.pair(size(value), ahead[0], scale)
    soon, most = f"{wording.digits(days, 1)} days", wording.figure(within.value, wording.DAYS)
    says = (f"{_name(quantity)} {figure}, rising: {limit} ({ahead[1]}) in {soon}, within {most} ({within.origin}). "
            "Plan a closer look.")
    return Finding(f"heading_for_limit_{quantity.name}", quantity.end, WATCH, days, within.value, "days",
                   within.origin, says)


def days_to_limit(points: list[tuple[float, float]], limit: float, floor: float, limits: Limits) -> float | None:
    """Days from x = 0 until the Theil–Sen line reaches the limit; None without enough readings or a real rise."""
    if len(points) < limits.value("heading_for_limit_min_readings"):
        return None
    try:
        slope, now = robust.theil_sen(points)
    except MakesNoSense:
        return None
    about = robust.scatter([y - slope * x - now for x, y in points], floor)
    moved = slope * (max(x for x, _ in points) - min(x for x, _ in points))
    if slope <= 0 or not over(moved, limits.value("heading_for_limit_scatter_ratio") * about):
        return None
    return max(0.0, (limit - now) / slope)


def _limit_ahead(quantity: Quantity, facts: Facts, limits: Limits) -> tuple[float, str] | None:
    """The first limit of this quantity's own rule, and its name in the sentence."""
    plate, reading = facts.motor.nameplate, facts.reading
    if quantity is AMPS:
        share = limits.value("amps_over_nameplate_this_shift_percent") / 100.0
        return (plate.rated_amps * share, "rated amps") if plate.rated_amps else None
    if quantity is END_DIFFERENCE:
        return limits.value("bearings_uneven_this_shift_k"), "uneven limit"
    if quantity.end is not None:
        return bearings.alarm_c(plate, quantity.end, limits), "alarm"
    method = reading.winding_method if reading is not None else None
    return windings.limit_c(plate, "alarm", method, limits)[0], "alarm"


def _floor(quantity: Quantity, values: list[float], limits: Limits) -> float:
    if quantity is AMPS:
        return abs(robust.median(values)) * limits.value("off_own_normal_amps_floor_percent") / 100.0
    return limits.value(f"off_own_normal_{quantity.name}_floor_k")


def _scatter_floor(quantity: Quantity, points: list[tuple[float, float]], limits: Limits) -> float:
    if quantity is AMPS:
        share = limits.value("heading_for_limit_scatter_floor_percent") / 100.0
        return abs(robust.median([y for _, y in points])) * share
    floor = limits.value("heading_for_limit_scatter_floor_k")
    # two thermometer readings, each with its own scatter: independent ones add as squares
    return floor * math.sqrt(2.0) if quantity is END_DIFFERENCE else floor


def _name(quantity: Quantity) -> str:
    names = {"amps": "Amps", "end_difference": "DE less ODE", "winding": "Winding"}
    return f"{quantity.end} bearing" if quantity.end else names[quantity.name]


def _scale(quantity: Quantity, facts: Facts) -> wording.Scale:
    if quantity is AMPS:
        return wording.AMPS
    return wording.difference(facts.show) if quantity is END_DIFFERENCE else wording.temperature(facts.show)


def _advice(quantity: Quantity, below: bool) -> str:
    if quantity is AMPS:
        return "Lost load? Check the driven machine." if below else "Check the driven machine and the volts."
    if quantity is END_DIFFERENCE:
        return f"Check the {'ODE' if below else 'DE'} bearing."
    return "Check lubrication." if quantity.end else "Check load and cooling."
