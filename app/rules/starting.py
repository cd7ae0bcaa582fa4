"""May it be started? Yes, not before a time, or no, with the rule that decides, its source, and what would change it.

In order: it runs; locked out or out of service; a fault trip not cleared; an overload trip not settled; tries used up;
the limits (starting_basis, starting_hour); a pre-start check due. 30 hp by general practice, started 10:00, 10:20,
10:40 and run 18 min each: at 10:59 not before 11:00, at 11:00 yes. It advises; it never says that a motor is safe to
work on or to stand beside.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from app.rules import prestart
from app.rules.facts import Nameplate
from app.rules.limits import Limits
from app.rules.mg10 import Mg10Row as Mg10Row
from app.rules.mg10 import mg10 as mg10
from app.rules.mg10 import mg10_starts_per_hour as mg10_starts_per_hour
from app.rules.refusals import Refusal, clock
from app.rules.starting_bars import Standing, barred, standing
from app.rules.starting_check import check_start as check_start
from app.rules.starting_facts import ReleaseRecord as ReleaseRecord
from app.rules.starting_facts import StartHistory as StartHistory
from app.rules.starting_facts import StartPlan as StartPlan
from app.rules.starting_facts import StartRecord as StartRecord
from app.rules.starting_facts import TripRecord as TripRecord
from app.rules.starting_hour import COUNT, REST, RUN, SHORT, SPACING, TRY, Hold, Way, best_way, in_hour, not_logged
from app.rules.starting_tries import tries_left
from app.rules.wording import digits

YES, NOT_BEFORE, NO = "yes", "not before", "no"
FIND_THE_CAUSE = "no, find the cause"
#: Why it is not before a time. value with no decimals but for minutes run, limit as it is.
BECAUSE = {
    COUNT: "{value} of {limit} starts used in 60 min", SPACING: "{limit} min between starts",
    RUN: "it ran {value} min of {limit}; 60 min of rest", REST: "{limit} s of rest after the stop",
    TRY: "another start stands in the hour", SHORT: "a longer start stands in the hour",
}


@dataclass(frozen=True)
class Permission:
    """The answer. `answer` is one of three words; `verdict` says more: "yes, try 2 of 3", "no, find the cause"."""

    answer: str
    verdict: str
    not_before: datetime | None  # in UTC: two times of one zone compare by the clock on the wall
    decided_by: str
    source: str
    starts_last_60_min: int
    allowed_per_hour: int | None  # None where nothing may be allowed
    tries_left: int
    says: str
    would_change: str


def start_permission(nameplate: Nameplate, plan: StartPlan, history: StartHistory, now: datetime, *,
                     then_continuous: bool = False, limits: Limits) -> Permission:
    """May it be started at `now`? then_continuous: the person says that continuous running follows.

    Raises MakesNoSense for times without a zone, and for a load inertia that cannot be.
    """
    stands = standing(nameplate, plan, history, now, limits)
    if refused := barred(stands):
        return _no(refused, stands)
    way = best_way(stands.runs, stands.series, stands.history, stands.basis, stands.now, then_continuous)
    if way.binding:
        return _not_before(way, way.binding, stands, then_continuous)
    if why := prestart.prestart_due(history, now, limits):
        return _no(prestart.refusal(why), stands)
    return _yes(way, stands)


# the answers -----------------------------------------------------------------------------------------------


def _answer(stands: Standing, answer: str, verdict: str, decided_by: str, source: str, says: str, would_change: str,
            not_before: datetime | None = None, allowed: int | None = None) -> Permission:
    most = allowed or int(stands.basis.count.value)
    return Permission(answer, verdict, not_before, decided_by, source, in_hour(stands.runs, stands.now),
                      None if stands.basis.refuses else most, tries_left(stands.series, stands.basis), says,
                      would_change)


def _no(refused: Refusal, stands: Standing) -> Permission:
    return _answer(stands, NO, FIND_THE_CAUSE if refused.find_the_cause else NO, refused.decided_by, refused.source,
                   refused.says, refused.would_change)


def _not_before(way: Way, hold: Hold, stands: Standing, then_continuous: bool) -> Permission:
    when = clock(hold.until, stands.asked)
    changes = [f"Waiting until {when}"]
    short = best_way(stands.runs, stands.series, stands.history, stands.basis, stands.now, True)
    if not then_continuous and not short.binding:
        changes.append("saying that continuous running follows")
    due = prestart.prestart_due(stands.history, stands.now, stands.limits)
    also = "; a pre-start check is due as well" if due else ""
    return _answer(stands, NOT_BEFORE, NOT_BEFORE, hold.rule, hold.source,
                   f"Not before {when}: {_because(hold)}{_unlogged(hold, stands)} ({hold.source}). Wait until then.",
                   f"{', or '.join(changes)}{also}.", not_before=hold.until,
                   allowed=int(way.figure.value) if way.name == SHORT else None)


def _unlogged(hold: Hold, stands: Standing) -> str:
    """Why it may be more careful than the log: a start that nobody logged counts as late as it can have been."""
    if hold.rule == SPACING and not stands.runs[-1].start.logged:
        return ", the last not logged"
    return not_logged(stands.runs, stands.now) if hold.rule == COUNT else ""


def _because(hold: Hold) -> str:
    value = digits(hold.value, 1 if hold.rule == RUN else 0)
    return BECAUSE[hold.rule].format(value=value, limit=digits(hold.limit, 2))


def _yes(way: Way, stands: Standing) -> Permission:
    """A start in an open series is a try, whichever way it is allowed."""
    number, most = len(stands.series) + 1, int(stands.basis.tries.value)
    if stands.series and number <= most:
        source = stands.basis.tries.source
        says = (f"Try {number} of {most} ({source}). Keep people clear; start by procedure. Not turning in about 2 s: "
                "switch off at once.")
        return _answer(stands, YES, f"yes, try {number} of {most}", TRY, source, says,
                       "A failed try: then fewer are left." if number < most else "A failed try: then find the cause.")
    used, allowed = in_hour(stands.runs, stands.now), int(way.figure.value)
    unlogged = not_logged(stands.runs, stands.now)
    says = (f"The limits allow a start: {used} of {allowed} used in 60 min{unlogged} ({way.figure.source}). "
            "Keep people clear; start by procedure.")
    return _answer(stands, YES, YES, way.name, way.figure.source, says, "Another start, a trip, or a lock.",
                   allowed=allowed)
