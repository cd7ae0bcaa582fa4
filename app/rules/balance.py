"""`phase_unbalance` and `volts_off`: three phases against their mean, and volts against the nameplate.

Current: the largest deviation from the mean over the mean; 33/29/34 A is 9.4 % (mean 32, farthest 3). One phase below
5 % of the mean of the other two is single-phasing. One leg alone gives no figure.
Voltage unbalance after NEMA MG 1 14.36: 100 × the largest deviation from the average over the average, searched on
both sides and without rounding the average; 460/467/450 V is 1.961 %.
"""

from __future__ import annotations

from collections.abc import Sequence

from app.rules import wording
from app.rules.facts import Facts
from app.rules.findings import ACT_NOW, THIS_SHIFT, WATCH, Finding, gravest, over, under
from app.rules.limits import Limit, Limits
from app.rules.tables import MakesNoSense

CURRENT = "phase_unbalance"
VOLTS = "volts_off"
ASK = "Have the supply checked by a qualified person."
GRADES = (("act_now", ACT_NOW), ("this_shift", THIS_SHIFT), ("watch", WATCH))
SAYS = {
    "single": "Phase currents {amps} A: one is {value} of the others, below {limit} ({source}): "
              "single-phasing. Shut down by procedure; call an electrician.",
    "spread": "Phase currents {amps} A: {value} from their mean, above {limit} ({source}). "
              "Have supply and connections checked by a qualified person.",
    "level": "{volts} is {value} {side} {nameplate} nameplate, outside {limit} ({source}). " + ASK,
    ACT_NOW: "Voltage unbalance {value}, above {limit} ({source}). Stop by procedure; have the supply checked.",
    THIS_SHIFT: "Voltage unbalance {value}, above {limit} ({source}). " + ASK,
    WATCH: "Voltage unbalance {value}, above {limit} ({source}). " + ASK,
    "level too": "{says} Farthest line {value} % off nameplate too.",
    "uneven too": "{says} Unbalance {value} % too.",
}


def unbalance_percent(values: Sequence[float]) -> float:
    """100 × largest deviation from the mean ÷ mean, of three amps or three line volts. Raises MakesNoSense."""
    if len(values) != 3 or sum(values) <= 0:
        raise MakesNoSense("unbalance needs three values, not all zero")
    a, b, c = values
    mean = (a + b + c) / 3  # not sum(): newer Pythons add otherwise than a tablet does
    return 100.0 * max(abs(value - mean) for value in values) / mean


def lowest_share_percent(values: Sequence[float]) -> float:
    """The lowest phase as percent of the mean of the other two. Raises MakesNoSense."""
    if len(values) != 3 or sum(values) <= 0:
        raise MakesNoSense("single-phasing needs three values, not all zero")
    low, a, b = sorted(values)
    return 100.0 * low / ((a + b) / 2)


def away_percent(value: float, nameplate: float) -> float:
    """Signed distance from the nameplate value in percent of it."""
    return 100.0 * (value - nameplate) / nameplate


def check(facts: Facts, limits: Limits) -> list[Finding]:
    reading = facts.reading
    if reading is None or not reading.running:
        return []
    found = [*_current(reading.current_a, limits), *_volts(reading.voltage_v, facts.motor.nameplate.volts, limits)]
    return found


def _current(current_a: Sequence[float], limits: Limits) -> list[Finding]:
    if len(current_a) != 3 or sum(current_a) <= 0:
        return []
    amps = ", ".join(wording.digits(a, 1) for a in current_a)
    single = limits["phase_unbalance_single_phasing_percent"]
    share = lowest_share_percent(current_a)
    if under(share, single.value):
        value, limit = wording.pair(share, single.value, wording.PERCENT)
        says = SAYS["single"].format(amps=amps, value=value, limit=limit, source=single.origin)
        return [Finding(CURRENT, None, ACT_NOW, share, single.value, "%", single.origin, says)]
    spread, top = unbalance_percent(current_a), limits["phase_unbalance_this_shift_percent"]
    if over(spread, top.value):
        value, limit = wording.pair(spread, top.value, wording.PERCENT)
        says = SAYS["spread"].format(amps=amps, value=value, limit=limit, source=top.origin)
        return [Finding(CURRENT, None, THIS_SHIFT, spread, top.value, "%", top.origin, says)]
    return []


def _volts(volts: Sequence[float], nameplate: float | None, limits: Limits) -> list[Finding]:
    level = _level(volts, nameplate, limits["volts_off_this_shift_percent"])
    uneven = _unbalance(volts, limits)
    if level is None or uneven is None:
        return [found for found in (level, uneven) if found is not None]
    first = gravest((uneven, level))
    rest = level if first is uneven else uneven
    also = SAYS["level too" if rest is level else "uneven too"]
    says = also.format(says=first.says, value=wording.digits(rest.value or 0, 1))
    return [Finding(VOLTS, None, first.priority, first.value, first.limit, "%", first.source, says)]


def _level(volts: Sequence[float], nameplate: float | None, limit: Limit) -> Finding | None:
    if not volts or not nameplate:
        return None
    farthest = max(volts, key=lambda v: abs(away_percent(v, nameplate)))
    away = away_percent(farthest, nameplate)
    if not over(abs(away), limit.value):
        return None
    value, most = wording.pair(abs(away), limit.value, wording.PERCENT)
    says = SAYS["level"].format(
        volts=wording.figure(farthest, wording.VOLTS), value=value, side="above" if away > 0 else "below",
        nameplate=wording.figure(nameplate, wording.VOLTS), limit=most, source=limit.origin)
    return Finding(VOLTS, None, THIS_SHIFT, abs(away), limit.value, "%", limit.origin, says)


def _unbalance(volts: Sequence[float], limits: Limits) -> Finding | None:
    if len(volts) != 3 or sum(volts) <= 0:
        return None
    percent = unbalance_percent(volts)
    for grade, priority in GRADES:
        limit = limits[f"volts_off_unbalance_{grade}_percent"]
        if over(percent, limit.value):
            value, most = wording.pair(percent, limit.value, wording.PERCENT)
            says = SAYS[priority].format(value=value, limit=most, source=limit.origin)
            return Finding(VOLTS, None, priority, percent, limit.value, "%", limit.origin, says)
    return None
