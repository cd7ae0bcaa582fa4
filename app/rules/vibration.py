"""`vibration`: a hand's words against this motor's usual, an instrument against the zones of its size and mounting.

Rougher than usual or zone C (above the B/C boundary): this shift. Severe or zone D: act now. Over 15 to 300 kW the
boundaries are 2.8 / 4.5 mm/s RMS rigid, 4.5 / 7.1 flexible; over 300 kW 4.5 / 7.1 and 7.1 / 11.0 (ISO 20816-3 and
10816-3). At 15 kW (20 hp) and less that standard does not apply: ISO 10816-1 class I, 1.8 / 4.5, an older table.
Where size or mounting is not known the stricter is taken, and the source says so. Feel is never turned into mm/s.
"""

from __future__ import annotations

from dataclasses import replace

from app.rules import units, wording
from app.rules.facts import ENDS, Facts, Nameplate, Reading
from app.rules.findings import ACT_NOW, THIS_SHIFT, Finding, gravest, over
from app.rules.limits import PRACTICE, Limits

RULE = "vibration"
SMALL_TO_KW = 15.0
MEDIUM_TO_KW = 300.0
FELT = {"rougher than usual": THIS_SHIFT, "severe": ACT_NOW}
ZONE = {ACT_NOW: "D", THIS_SHIFT: "C"}
GRADES = (("act_now", ACT_NOW), ("this_shift", THIS_SHIFT))
SAYS = {
    ACT_NOW: "{end} vibration {value}, zone D above {limit} ({source}). Shut down by procedure.",
    THIS_SHIFT: "{end} vibration {value}, zone C above {limit} ({source}). Have it looked at.",
    "felt too": "{says} Feels {feel} too.",
    "measured too": "{says} Measured {value}, zone {zone}.",
}
DO = {ACT_NOW: "Shut down by procedure.", THIS_SHIFT: "Have it looked at."}


def zone_key(plate: Nameplate) -> tuple[str, str]:
    """The size and mounting part of the limit's name, and what had to be assumed ("" where nothing)."""
    kw = None if plate.hp is None else units.kw_from_hp(plate.hp)
    # 20 hp is 14.92 kW: still the small table. The sizes are compared as limits are.
    if kw is not None and not over(kw, SMALL_TO_KW):
        return "class1", ""
    size = "group1" if kw is not None and over(kw, MEDIUM_TO_KW) else "group2"
    mounting = plate.mounting if plate.mounting in ("rigid", "flexible") else "rigid"
    missing = [name for name, known in (("size", kw is not None), ("mounting", plate.mounting == mounting))
               if not known]
    return f"{size}_{mounting}", f", {wording.listed(missing)} not known" if missing else ""


def limit_mm_s(plate: Nameplate, grade: str, limits: Limits) -> tuple[float, str]:
    """The boundary in mm/s RMS where zone C ("this_shift") or D ("act_now") begins, and where it comes from."""
    key, assumed = zone_key(plate)
    limit = limits[f"vibration_{key}_{grade}_mm_s"]
    return limit.value, f"{limit.origin}{assumed}"


def check(facts: Facts, limits: Limits) -> list[Finding]:
    reading = facts.reading
    if reading is None or not reading.running:
        return []
    return [found for end in ENDS for found in _end(end, reading, facts, limits)]


def _end(end: str, reading: Reading, facts: Facts, limits: Limits) -> list[Finding]:
    measured = _measured(end, reading.vibration_mm_s[end], facts, limits)
    felt = _felt(end, reading.vibration_feel[end])
    if measured is None or felt is None:
        return [found for found in (measured, felt) if found is not None]
    worst = gravest((measured, felt))
    if worst is measured:
        says = SAYS["felt too"].format(says=worst.says, feel=reading.vibration_feel[end])
    else:
        value = wording.figure(measured.value or 0.0, wording.vibration(facts.show))
        says = SAYS["measured too"].format(says=worst.says, value=value, zone=ZONE[measured.priority])
    return [replace(worst, says=says)]


def _measured(end: str, mm_s: float | None, facts: Facts, limits: Limits) -> Finding | None:
    if mm_s is None:
        return None
    for grade, priority in GRADES:
        limit, source = limit_mm_s(facts.motor.nameplate, grade, limits)
        if over(mm_s, limit):
            value, most = wording.pair(mm_s, limit, wording.vibration(facts.show))
            says = SAYS[priority].format(end=end, value=value, limit=most, source=source)
            return Finding(RULE, end, priority, mm_s, limit, "mm/s", source, says)
    return None


def _felt(end: str, feel: str | None) -> Finding | None:
    if feel not in FELT:
        return None
    priority = FELT[feel]
    says = f"{end} vibration feels {feel}; as usual is expected ({PRACTICE}). {DO[priority]}"
    return Finding(RULE, end, priority, None, None, None, PRACTICE, says)
