"""Runs every rule over one motor's facts: what the page, the tablet, the JSON door and the rehearsal all call."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from app.rules import (
    balance,
    bearings,
    drift,
    greasing,
    load,
    lockout,
    look_again,
    lubricant,
    safety,
    settling,
    temporary,
    unlogged,
    vibration,
    warming,
    windings,
)
from app.rules import required as round_list
from app.rules.cautions import caution_for as caution_for
from app.rules.facts import Facts
from app.rules.findings import Finding, gravest, rank
from app.rules.limits import Limits
from app.rules.required import required as required

Rule = Callable[[Facts, Limits], list[Finding]]

#: judged on what one person found at one time; nothing of these needs history
AT_THE_MOTOR: tuple[Rule, ...] = (
    safety.check, lockout.check, load.check, balance.check, bearings.check, windings.check, vibration.check,
    lubricant.check,
    round_list.check,
)
WITH_HISTORY: tuple[Rule, ...] = (greasing.check, settling.check, temporary.check, drift.check, warming.check,
                                look_again.check, unlogged.check)


def judge(facts: Facts, limits: Limits) -> list[Finding]:
    """Every finding of this motor, gravest first, then by rule and end; at most one a rule and end."""
    return judge_by((*AT_THE_MOTOR, *WITH_HISTORY), facts, limits)


def judge_by(rules: Iterable[Rule], facts: Facts, limits: Limits) -> list[Finding]:
    """The same by some of the rules only: where it is known that no other can say anything new."""
    found = _one_an_end(finding for check in rules for finding in check(facts, limits))
    return _sorted(settling.said(found, facts, limits))


def judge_at_the_motor(facts: Facts, limits: Limits) -> list[Finding]:
    """The rules that need no history, as the tablet shows them while offline."""
    return _sorted(_one_an_end(finding for check in AT_THE_MOTOR for finding in check(facts, limits)))


def _one_an_end(findings: Iterable[Finding]) -> list[Finding]:
    """The gravest of each rule and end. A rule already names the rest in its sentence."""
    kept: dict[tuple[str, str | None], Finding] = {}
    for finding in findings:
        key = (finding.rule, finding.end)
        kept[key] = gravest((kept[key], finding)) if key in kept else finding
    return list(kept.values())


def _sorted(findings: Iterable[Finding]) -> list[Finding]:
    return sorted(findings, key=lambda f: (rank(f.priority), f.rule, f.end or ""))
