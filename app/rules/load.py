"""`amps_over_nameplate`: the highest phase against rated amps for the connected voltage.

This shift above rated amps. Act now above service-factor amps: as stamped; else rated × service factor, named
"computed"; and where the service factor is 1.0 or not known, above 110 % (common practice, no published source).
At nameplate amps is not over.

75 hp, rated 87 A, SF 1.15: 92 A is 105.7 % (this shift); 101 A is 116.1 %, above the computed 100.05 A (act now).
Without rated amps there is no percent and no finding: nothing is invented.
"""

from __future__ import annotations

from collections.abc import Sequence

from app.rules import wording
from app.rules.facts import Facts, Nameplate
from app.rules.findings import ACT_NOW, THIS_SHIFT, Finding, over
from app.rules.limits import Limit, Limits

RULE = "amps_over_nameplate"
SAYS = {
    ACT_NOW: "{value}{where} is {percent} of rated, above {limit} ({source}). "
             "Reduce load or shut down at once, as your procedure says.",
    THIS_SHIFT: "{value}{where} is {percent} of rated, above {limit} ({source}). "
                "Reduce load, shut down or tell the head operator, as procedure says.",
    "above rated": "{value}{where} is {percent} of {limit} rated ({source}). "
                   "Reduce load, shut down or tell the head operator, as procedure says.",
}
WHERE = " on phase {number}"


def percent_of_rated(current_a: float, rated_a: float | None) -> float | None:
    """Amps as percent of rated amps; None where no rated amps are known."""
    return 100.0 * current_a / rated_a if rated_a else None


def highest(current_a: Sequence[float]) -> float | None:
    """The highest phase in A; None when nothing was read."""
    return max(current_a) if current_a else None


def service_factor_amps(plate: Nameplate) -> tuple[float, str] | None:
    """Service-factor amps and where they come from; None where the service factor is 1.0 or not known."""
    stamped, rated = plate.service_factor_amps, plate.rated_amps
    # a stamp at or below rated amps cannot be service-factor amps: judged as if it were not there
    if stamped is not None and (rated is None or over(stamped, rated)):
        return stamped, "service-factor amps, nameplate"
    if rated is not None and plate.service_factor is not None and over(plate.service_factor, 1.0):
        return rated * plate.service_factor, "service-factor amps, computed"
    return None


def act_now_above(plate: Nameplate, rated_a: float, limits: Limits) -> tuple[float, str]:
    """The amps above which it is act now, and where that limit comes from."""
    stamped = service_factor_amps(plate)
    if stamped is not None:
        return stamped
    limit = limits["amps_over_nameplate_act_now_percent"]
    return rated_a * limit.value / 100.0, f"{wording.digits(limit.value, 2)} % of nameplate, {limit.origin}"


def this_shift_above(rated_a: float, limit: Limit) -> tuple[float, str]:
    """The amps above which it is this shift: rated amps, unless a limit was set here."""
    return rated_a * limit.value / 100.0, limit.origin


def check(facts: Facts, limits: Limits) -> list[Finding]:
    reading, plate = facts.reading, facts.motor.nameplate
    if reading is None or not reading.running or not plate.rated_amps or not reading.current_a:
        return []
    worst = max(reading.current_a)
    grave, grave_source = act_now_above(plate, plate.rated_amps, limits)
    mild, mild_source = this_shift_above(plate.rated_amps, limits["amps_over_nameplate_this_shift_percent"])
    if not over(worst, min(grave, mild)):
        return []
    where = WHERE.format(number=reading.current_a.index(worst) + 1) if len(reading.current_a) > 1 else ""
    percent = wording.pair(100.0 * worst / plate.rated_amps, 100.0, wording.PERCENT)[0]
    if over(worst, grave):
        value, limit = wording.pair(worst, grave, wording.Scale("A", 2))
        says = SAYS[ACT_NOW].format(value=value, where=where, percent=percent, limit=limit, source=grave_source)
        return [Finding(RULE, None, ACT_NOW, worst, grave, "A", grave_source, says)]
    if over(worst, mild):
        value, limit = wording.pair(worst, mild, wording.AMPS)
        words = SAYS["above rated" if mild == plate.rated_amps else THIS_SHIFT]
        says = words.format(value=value, where=where, percent=percent, limit=limit, source=mild_source)
        return [Finding(RULE, None, THIS_SHIFT, worst, mild, "A", mild_source, says)]
    return []
