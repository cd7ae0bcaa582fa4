"""`started_locked_out` as seen on the walk: a motor that runs although its lock was never ended. The lock stands.

Common practice, no published source for the wording; the duty behind it is 29 CFR 1910.147 (from memory).
"""

from __future__ import annotations

from app.rules.facts import LOCKED_OUT, Facts
from app.rules.findings import ACT_NOW, Finding
from app.rules.limits import Limits

RULE = "started_locked_out"
SOURCE = "the lock on record"
SAYS = ("{tag} was seen running while its lock is on record ({source}). "
        "Tell the head operator at once; keep people clear.")


def check(facts: Facts, limits: Limits) -> list[Finding]:
    reading = facts.reading
    if reading is None or not reading.running or reading.condition_before != LOCKED_OUT:
        return []
    says = SAYS.format(tag=facts.motor.tag, source=SOURCE)
    return [Finding(RULE, None, ACT_NOW, None, None, None, SOURCE, says)]
