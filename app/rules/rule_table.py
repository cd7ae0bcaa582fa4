"""What a script needs to judge at the motor without a server: every sentence, word and caution of those rules, as data.

The same for every motor and unit; a motor's own figures are in limits_in_force.py. What a word alone decides (smoke,
dirt, lubricant, a hand's grades) is here as the finding that the rule itself gives for that word, so that no word is
written twice. A rule that is not judged at the motor is named under `later`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from app.rules import (
    balance,
    bearings,
    drift,
    facts,
    greasing,
    load,
    lockout,
    look_again,
    lubricant,
    own_history,
    required,
    safety,
    settling,
    temporary,
    unlogged,
    vibration,
    warming,
    windings,
)
from app.rules.cautions import CAUTIONS, GENERAL
from app.rules.facts import ENDS, Ends, Facts, Motor, Reading
from app.rules.findings import Finding
from app.rules.limits import Limits

Rule = Callable[[Facts, Limits], list[Finding]]

#: Changed whenever a script of before could not read what is here.
SHAPE = 1
#: Which rules each check of sheet.AT_THE_MOTOR may find.
AT_THE_MOTOR: dict[Rule, tuple[str, ...]] = {
    safety.check: (safety.SMOKE, safety.GUARD, safety.DIRTY), lockout.check: (lockout.RULE,),
    load.check: (load.RULE,), balance.check: (balance.CURRENT, balance.VOLTS),
    bearings.check: (bearings.UNEVEN, bearings.HOT), windings.check: (windings.RULE,),
    vibration.check: (vibration.RULE,), lubricant.check: (lubricant.RULE,), required.check: (required.RULE,),
}
_FOLLOWED = tuple(dict.fromkeys(quantity.name for quantity in own_history.QUANTITIES))
#: Which rules each check of sheet.WITH_HISTORY may find: judged when received.
LATER: dict[Rule, tuple[str, ...]] = {
    greasing.check: (greasing.OVERDUE,), settling.check: (settling.RULE,), temporary.check: (temporary.RULE,),
    drift.check: tuple(f"{kind}_{name}" for kind in ("step", "off_own_normal", "heading_for_limit")
                       for name in _FOLLOWED),
    warming.check: (warming.RULE,), look_again.check: (look_again.RULE,),
    unlogged.check: (unlogged.RULE,),
}
_BARE = Reading(facts.RUNNING, datetime(2000, 1, 1, tzinfo=UTC))
#: rule, end, priority, source, says
Told = list[str | None]


def rule_table() -> dict[str, Any]:
    """The table, ready for JSON. A finding of words is [rule, end, priority, source, says]."""
    here = [name for names in AT_THE_MOTOR.values() for name in names]
    return {
        "shape": SHAPE, "rules": here, "later": [name for names in LATER.values() for name in names],
        "feel": facts.TEMPERATURE_FEEL, "words": _words(), "required": {"fields": required.FIELDS,
                                                                        "words": required.WORDS,
                                                                        "source": required.SOURCE},
        "says": {load.RULE: {**load.SAYS, "where": load.WHERE}, "balance": balance.SAYS,
                 "bearings": {**bearings.SAYS, "hot": bearings.ALSO_FELT},
                 windings.RULE: {**windings.SAYS, "hot": windings.ALSO_FELT}, vibration.RULE: vibration.SAYS,
                 required.RULE: required.SAYS, lockout.RULE: lockout.SAYS},
        "zone": vibration.ZONE, "lock": lockout.SOURCE,
        "cautions": {name: CAUTIONS[name] for name in here if name in CAUTIONS}, "caution": GENERAL,
    }


def _words() -> dict[str, Any]:
    """field -> word -> finding; by end -> word where the ends differ; two fields deep where two words decide."""
    return {
        "smoke": _each("smoke", facts.SMOKE), "cleanliness": _each("cleanliness", facts.CLEANLINESS),
        "leak": _each("leak", facts.LEAK),
        "guard": {guard: _each("ground", facts.IN_PLACE, guard=guard) for guard in facts.IN_PLACE},
        "ground": _each("ground", facts.IN_PLACE),
        "lubricant": _by_end("lubricant", facts.LUBRICANT),
        "bearing_feel": _by_end("bearing_feel", (bearings.TOO_HOT,)),
        "vibration_feel": _by_end("vibration_feel", facts.VIBRATION_FEEL),
        "uneven": {de: _told({ode: replace(_BARE, bearing_feel=Ends(de, ode)) for ode in facts.TEMPERATURE_FEEL},
                             bearings.UNEVEN) for de in facts.TEMPERATURE_FEEL},
    }


def _each(field: str, words: tuple[str, ...], **also: str) -> dict[str, Told]:
    return _told({word: replace(_BARE, **{field: word}, **also) for word in words})  # type: ignore[arg-type]


def _by_end(field: str, words: tuple[str, ...]) -> dict[str, dict[str, Told]]:
    return {end: _told({word: replace(_BARE, **{field: _at(end, word)}) for word in words})  # type: ignore[arg-type]
            for end in ENDS}


def _at(end: str, word: str) -> Ends[str]:
    return Ends(word, None) if end == "DE" else Ends(None, word)


def _told(readings: dict[str, Reading], rule: str | None = None) -> dict[str, Told]:
    """What the rules find of each of these readings, which differ from a bare one by words alone."""
    told = {}
    for word, reading in readings.items():
        given = Facts(Motor(""), reading.taken_at, reading, walked=False)
        found = [f for check in AT_THE_MOTOR for f in check(given, Limits()) if rule in (None, f.rule)]
        for finding in found:
            told[word] = [finding.rule, finding.end, finding.priority, finding.source, finding.says]
    return told
