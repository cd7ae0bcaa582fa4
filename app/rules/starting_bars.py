"""What a start is judged from, and what forbids it however long one waits: running, lock, trip, tries, no figures.

In that order. A motor above 1,500 hp without a written procedure: nobody is told yes.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from app.rules import trips
from app.rules.facts import LOCKED_OUT, OUT_OF_SERVICE, Nameplate
from app.rules.limits import PRACTICE, Limits
from app.rules.refusals import Refusal
from app.rules.starting_basis import Basis, basis
from app.rules.starting_facts import Run, StartHistory, StartPlan, as_of, runs_of, utc
from app.rules.starting_tries import Series, open_series, used_up

RUNNING_NOW, TRIES = "running now", "tries used up"


@dataclass(frozen=True)
class Standing:
    """Everything the answer is made from, worked out once."""

    history: StartHistory
    runs: tuple[Run, ...]
    series: Series
    basis: Basis
    now: datetime  # in UTC
    asked: datetime  # the same, in the zone it was asked in
    limits: Limits


def standing(nameplate: Nameplate, plan: StartPlan, history: StartHistory, now: datetime, limits: Limits) -> Standing:
    """The record as of `now` against the figures in force. Raises MakesNoSense for times without a zone."""
    known, figures = as_of(history, now), basis(nameplate, plan, limits)
    runs, moment = runs_of(known), utc(now)
    return Standing(known, runs, open_series(runs, known.releases, figures, moment), figures, moment, now, limits)


def barred(stands: Standing) -> Refusal | None:
    """What forbids a start however long one waits, in the order of the rules."""
    return _running(stands) or on_record(stands) or _tries(stands) or _no_figures(stands)


def on_record(stands: Standing) -> Refusal | None:
    """What only a named act ends: a lock, out of service, a trip not settled."""
    return _condition(stands) or trips.bars(stands.history, stands.asked)


def _running(stands: Standing) -> Refusal | None:
    if not stands.history.running:
        return None
    if stands.history.condition == LOCKED_OUT:
        return Refusal(RUNNING_NOW, "condition on record", "It runs although its lock is on record. Keep people clear "
                       "and tell the head operator at once.", "The lock, ended by the person whose lock it is.")
    return Refusal(RUNNING_NOW, "condition on record", "It is running. If you see it standing, record the stop first.",
                   "A stop on record.")


def _condition(stands: Standing) -> Refusal | None:
    if stands.history.condition == LOCKED_OUT:
        return Refusal(LOCKED_OUT, "lock on record", "Locked out. Leave the lock alone; only the person whose lock it "
                       "is takes it off, by procedure.", "The lock, ended by a named act.", grave=True)
    if stands.history.condition == OUT_OF_SERVICE:
        return Refusal(OUT_OF_SERVICE, "condition on record", "Out of service. Leave it stopped; ask the head operator "
                       "why it was taken out.", "The motor, put back in service.")
    return None


def _tries(stands: Standing) -> Refusal | None:
    if not used_up(stands.series, stands.basis):
        return None
    allowed = stands.basis.tries
    says = (f"All {int(allowed.value)} tries used up ({allowed.source}). Start it no more: find the cause; "
            "the head operator releases it.")
    return Refusal(TRIES, allowed.source, says, "The head operator's release, with the cause.", find_the_cause=True)


def _no_figures(stands: Standing) -> Refusal | None:
    reason = stands.basis.refuses
    if reason is None:
        return None
    return Refusal("written procedure", PRACTICE, f"No start limit is on record: {reason}. Start it only by "
                   "the unit's written procedure, with the head operator.",
                   "Starts an hour from the unit's written procedure, entered in the register.")
