"""`temporary_state_past_end`: something left half-way on a motor past the end that was expected for it.

A drain plug out, a guard off, a temporary fan, a bypass: each has who, since when, and an expected end, and stands on
every sheet and handover until somebody ends it. Past its end: this shift; a guard off or a bypass: act now, for nobody
stands beside it to keep hands away.
"""

from __future__ import annotations

from datetime import datetime

from app.rules import elapsed, wording
from app.rules.facts import ENDS, Facts, TemporaryState
from app.rules.findings import ACT_NOW, THIS_SHIFT, Finding, over, rank
from app.rules.limits import Limits

RULE = "temporary_state_past_end"
PLUG_OUT, GUARD_OFF, FAN, BYPASS, OTHER = "drain plug out", "guard off", "temporary fan", "bypass", "other"
KINDS = (PLUG_OUT, GUARD_OFF, FAN, BYPASS, OTHER)
SOURCE = "the end expected for it"


def past_end(state: TemporaryState, now: datetime) -> bool:
    return over(elapsed.hours(state.expected_end, now), 0.0)


def check(facts: Facts, limits: Limits) -> list[Finding]:
    """One finding an end; the gravest, longest past its end, speaks, and the others are counted."""
    late = [state for state in facts.history.temporary if past_end(state, facts.now)]
    found = []
    for end in (None, *ENDS):
        here = sorted((s for s in late if s.end == end), key=lambda s: (rank(_priority(s)), s.expected_end))
        if here:
            found.append(_finding(here[0], len(here) - 1, facts.now))
    return found


def _priority(state: TemporaryState) -> str:
    return ACT_NOW if state.kind in (GUARD_OFF, BYPASS) else THIS_SHIFT


def _finding(state: TemporaryState, more: int, now: datetime) -> Finding:
    stood, expected = elapsed.hours(state.since, now), elapsed.hours(state.since, state.expected_end)
    hours, most = wording.pair(stood, expected, wording.Scale("h", 1))
    kind = "Temporary state" if state.kind == OTHER else state.kind[:1].upper() + state.kind[1:]
    where = f" at {state.end}" if state.end else ""
    by = f", {state.person}" if state.person else ""
    also = f" {more} more past the end." if more else ""
    says = f"{kind}{where} for {hours}; {most} was expected ({SOURCE}{by}). End it, or give a new end.{also}"
    return Finding(RULE, state.end, _priority(state), stood, expected, "h", SOURCE, says)
