"""`started_outside_limits`, `tries_used_up`, `started_locked_out`, `no_prestart_check`: what a start on record says.

What was done is stored and flagged, never refused. Started 10:00, 10:20, 10:40, 10:59 with three an hour: four in
60 min, this shift. A start over an uncleared fault trip, over a lock, or after the last try: act now; the last try
that fails raises `tries_used_up` too, so that somebody releases it. Automatic restarts are starts.
"""

from __future__ import annotations

from dataclasses import replace

from app.rules import prestart, trips
from app.rules.facts import LOCKED_OUT, OUT_OF_SERVICE, Nameplate
from app.rules.findings import ACT_NOW, THIS_SHIFT, Finding
from app.rules.limits import PRACTICE, Limits
from app.rules.starting_bars import Standing, standing
from app.rules.starting_facts import AUTOMATIC, StartHistory, StartPlan, StartRecord
from app.rules.starting_hour import COUNT, REST, RUN, SPACING, Hold, best_way, not_logged, ordinary
from app.rules.starting_tries import used_up
from app.rules.wording import digits, listed

OUTSIDE, USED_UP = "started_outside_limits", "tries_used_up"
LOCKED, UNCHECKED = "started_locked_out", "no_prestart_check"
RULES = (OUTSIDE, USED_UP, LOCKED, UNCHECKED)


def check_start(record: StartRecord, nameplate: Nameplate, plan: StartPlan, history_before: StartHistory, *,
                limits: Limits, then_continuous: bool | None = None) -> list[Finding]:
    """Every finding of one start, at most one a rule. history_before: the record and the condition as they stood then.

    then_continuous: what the person said; None where nobody was asked, and then short starts get the benefit.
    Raises MakesNoSense for times without a zone, and for a load inertia that cannot be.
    """
    stands = standing(nameplate, plan, history_before, record.at, limits)
    after = replace(history_before, starts=(*history_before.starts, record))
    found = (_locked(record, stands), _outside(record, stands, then_continuous is not False),
             _tries(record, stands, standing(nameplate, plan, after, record.at, limits)),
             _unchecked(record, history_before, limits))
    return [finding for finding in found if finding is not None]


def _locked(record: StartRecord, stands: Standing) -> Finding | None:
    if stands.history.condition != LOCKED_OUT:
        return None
    source = "lock on record"
    says = f"{_what(record)} while its lock is on record ({source}). Keep people clear; tell the head operator at once."
    return Finding(LOCKED, None, ACT_NOW, None, None, None, source, says)


def _tries(record: StartRecord, before: Standing, after: Standing) -> Finding | None:
    allowed = before.basis.tries
    if used_up(before.series, before.basis):
        says = (f"{_what(record)} after all {int(allowed.value)} tries were used up ({allowed.source}), not released. "
                "Tell the head operator; find the cause.")
    elif used_up(after.series, after.basis):
        most = int(allowed.value)
        says = (f"Try {most} of {most} failed ({allowed.source}). Start it no more: find the cause; "
                "the head operator releases it.")
    else:
        return None
    failed = float(sum(run.start.failed for run in after.series))
    return Finding(USED_UP, None, ACT_NOW, failed, allowed.value, "tries", allowed.source, says)


def _unchecked(record: StartRecord, history_before: StartHistory, limits: Limits) -> Finding | None:
    why = prestart.prestart_due(history_before, record.at, limits)
    if why is None:
        return None
    how = f"although {why} in its pre-start check" if why == prestart.ANSWERED_NO else f"without its check ({why})"
    says = f"{_what(record)} {how}. Go through the pre-start check now; watch the first run."
    return Finding(UNCHECKED, None, THIS_SHIFT, None, None, None, prestart.SOURCE, says)


def _outside(record: StartRecord, stands: Standing, then_continuous: bool) -> Finding | None:
    """The gravest of: a trip not settled, out of service, no figures at all, a limit passed; it names the others."""
    trip = trips.bars(stands.history, record.at)
    out = stands.history.condition == OUT_OF_SERVICE
    holds = _holds(stands, then_continuous)
    reasons = [*([f"over an unsettled {trip.decided_by}"] if trip else []), *([OUT_OF_SERVICE] if out else []),
               *([stands.basis.refuses] if stands.basis.refuses else []), *(_passed(hold, stands) for hold in holds)]
    if not reasons:
        return None
    binding = holds[0] if holds else None
    source = trip.source if trip else "condition on record" if out else binding.source if binding else PRACTICE
    others = f"; also {listed([_name(reason) for reason in reasons[1:]])}" if len(reasons) > 1 else ""
    says = f"{_what(record)}: {reasons[0]} ({source}){others}. Tell the head operator."
    value, limit, unit = (binding.value, binding.limit, binding.unit) if binding else (None, None, None)
    return Finding(OUTSIDE, None, ACT_NOW if trip and trip.grave else THIS_SHIFT, value, limit, unit, source, says)


def _holds(stands: Standing, then_continuous: bool) -> list[Hold]:
    """The ordinary limits that were passed, the last to end first; none where any way was open."""
    given = (stands.runs, stands.series, stands.history, stands.basis, stands.now)
    if stands.basis.refuses or not best_way(*given, then_continuous).holds:
        return []
    passed = (replace(hold, value=hold.value + 1) if hold.rule == COUNT else hold for hold in ordinary(*given).holds)
    return sorted(passed, key=lambda hold: hold.until, reverse=True)


def _passed(hold: Hold, stands: Standing) -> str:
    value, limit = digits(hold.value, 1), digits(hold.limit, 1)
    return {
        COUNT: f"{value} starts in 60 min, {limit} allowed{not_logged(stands.runs, stands.now)}",
        SPACING: f"{value} min after the last, {limit} required",
        RUN: f"the last ran {value} min, {limit} required",
        REST: f"{value} s of rest, {limit} s required",
    }[hold.rule]


def _name(reason: str) -> str:
    """The others, short: the sentence has thirty words."""
    return reason.split(",")[0]


def _what(record: StartRecord) -> str:
    return "Restarted by itself" if record.outcome == AUTOMATIC else "Started"
