"""Whether an entry shows that a standing flag's condition is gone, still within the clearing band, or tells nothing.

A flag that opened above a limit returns only below the limit less the band (clearing_band_k, clearing_band_percent of
rated amps; words have no band). The same rule judges: once as it is, once with the flagged quantity worse by the band.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from app.rules import required, sheet
from app.rules.facts import COULD_NOT_FEEL, ENDS, Ends, Facts, Reading
from app.rules.findings import Finding
from app.rules.limits import Limits

GONE, IN_BAND, SHOWS, NO_WORD = "gone", "in band", "shows", "no word"
#: Values are compared after rounding to six decimals. Below the limit less the band, not at it: the band and this.
JUST_OVER = 1e-6

#: Closed by what a person does, not by a better reading.
BY_ACT_ONLY = frozenset({"greased_too_soon", "wrong_lubricant", "started_outside_limits", "tries_used_up",
                         "started_locked_out", "no_prestart_check", "warming_fast", "greasing_overdue",
                         "temporary_state_past_end", "drinks_oil", "start_not_logged"})

HEADING = "heading_for_limit_"
#: quantity -> the rule that says its limit is passed
PAST = {"bearing": "bearing_hot", "winding": "winding_hot", "amps": "amps_over_nameplate"}


def verdict(facts: Facts, rule: str, end: str | None, measured: bool, limits: Limits,
            judge: Callable[[Facts, Limits], list[Finding]] = sheet.judge) -> str:
    """GONE, IN_BAND, SHOWS or NO_WORD: what this entry says of a flag of this rule and end.

    measured: the flag was raised on a figure, so only a figure can clear it. judge: by which rules, where fewer do.
    """
    reading = facts.reading
    if reading is None or rule in BY_ACT_ONLY or not _tells(facts, reading, rule, end, measured):
        return NO_WORD
    found = {(f.rule, f.end) for f in judge(facts, limits)}
    if (rule, end) in found:
        return SHOWS
    if any(rule == HEADING + quantity and (past, end) in found for quantity, past in PAST.items()):
        return NO_WORD  # it no longer heads for the limit because it has passed it: that is no return to normal
    worse = _worse(facts, reading, rule, end, limits)
    return IN_BAND if any(_fires(each, rule, end, limits, judge) for each in worse) else GONE


def _fires(facts: Facts, rule: str, end: str | None, limits: Limits,
           judge: Callable[[Facts, Limits], list[Finding]]) -> bool:
    return any(f.rule == rule and f.end == end for f in judge(facts, limits))


def _felt(reading: Reading, end: str) -> bool:
    return reading.bearing_feel[end] not in (None, COULD_NOT_FEEL)


def _both(reading: Reading, measured: bool) -> bool:
    if measured:
        return all(reading.bearing_temp_c[end] is not None for end in ENDS)
    return all(_felt(reading, end) for end in ENDS)


def _tells(facts: Facts, reading: Reading, rule: str, end: str | None, measured: bool) -> bool:
    """Whether what the rule judges was looked at."""
    at = end or "DE"
    looked: dict[str, Callable[[], bool]] = {
        "smoke": lambda: reading.smoke is not None,
        "guard_or_ground": lambda: reading.guard is not None and reading.ground is not None,
        "dirty": lambda: reading.cleanliness is not None,
        "lubricant": lambda: reading.lubricant[at] is not None if end else reading.leak is not None,
        "not_measured": lambda: facts.walked and bool(required.required(facts.motor, reading.state)),
        "not_checked": lambda: facts.walked or reading.smoke is not None,
        "look_again": lambda: facts.walked,
        "amps_over_nameplate": lambda: reading.running and bool(reading.current_a)
        and facts.motor.nameplate.rated_amps is not None,
        "phase_unbalance": lambda: reading.running and len(reading.current_a) == 3,
        "volts_off": lambda: reading.running and bool(reading.voltage_v),
        "bearings_uneven": lambda: reading.running and _both(reading, measured),
        "bearing_hot": lambda: reading.running and (reading.bearing_temp_c[at] is not None if measured else
                                                    _felt(reading, at)),
        "winding_hot": lambda: reading.running and (reading.winding_temp_c is not None if measured else
                                                    reading.winding_feel not in (None, COULD_NOT_FEEL)),
        "vibration": lambda: reading.running and (reading.vibration_mm_s[at] is not None if measured else
                                                  reading.vibration_feel[at] not in (None, COULD_NOT_FEEL)),
    }
    if rule in looked:
        return looked[rule]()
    return reading.running and _quantity_read(reading, rule, at)


def _quantity_read(reading: Reading, rule: str, end: str) -> bool:
    """The rules with history are one a quantity: step_bearing, off_own_normal_amps, heading_for_limit_winding, ..."""
    if rule.endswith("_amps"):
        return bool(reading.current_a)
    if rule.endswith("_winding"):
        return reading.winding_temp_c is not None
    if rule.endswith("_end_difference"):
        return _both(reading, measured=True)
    return reading.bearing_temp_c[end] is not None


def _warmer(temps: Ends[float], end: str | None, by: float) -> Ends[float]:
    def at(here: str, value: float | None) -> float | None:
        return None if value is None else value + (by if end in (None, here) else 0.0)

    return Ends(at("DE", temps.de), at("ODE", temps.ode))


def _worse(facts: Facts, reading: Reading, rule: str, end: str | None, limits: Limits) -> list[Facts]:
    """The same facts with the flagged quantity further out by the band; both ways where a rule looks both ways."""
    band_k = limits.value("clearing_band_k") + JUST_OVER
    rated = facts.motor.nameplate.rated_amps
    changed: list[Reading] = []
    if rule == "amps_over_nameplate" or rule.endswith("_amps"):
        band_a = (rated or 0.0) * limits.value("clearing_band_percent") / 100 + JUST_OVER
        ways = (1,) if rule == "amps_over_nameplate" else (1, -1)
        changed = [replace(reading, current_a=tuple(max(0.0, a + way * band_a) for a in reading.current_a))
                   for way in ways]
    elif rule == "winding_hot" or rule.endswith("_winding"):
        if reading.winding_temp_c is not None:
            changed = [replace(reading, winding_temp_c=reading.winding_temp_c + band_k)]
    elif rule in ("bearing_hot", "bearings_uneven") or rule.endswith("_bearing"):
        changed = [replace(reading, bearing_temp_c=_warmer(reading.bearing_temp_c, end, band_k))]
    elif rule.endswith("_end_difference"):
        changed = [replace(reading, bearing_temp_c=_warmer(reading.bearing_temp_c, e, band_k)) for e in ENDS]
    return [replace(facts, reading=each) for each in changed]
