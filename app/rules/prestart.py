"""When a pre-start check is due before a start; what it asks stands in prestart_items.

Before a first start, the first after repair (out of service or locked out), and the first after long idle: 30 days
without running, and without a check, is due; 29 is not. A check with a "no" in it stands against a start, due or not,
until it is answered again without one. Common practice, no published source. A tick is no release: locks are taken off
by those who put them on.
"""

from __future__ import annotations

from datetime import datetime

from app.rules import elapsed
from app.rules.facts import LOCKED_OUT, OUT_OF_SERVICE
from app.rules.limits import Limits
from app.rules.refusals import Refusal
from app.rules.starting_facts import StartHistory, as_of, runs_of

FIRST, REPAIR, IDLE = "first start", "first start after repair", "first start after long idle"
ANSWERED_NO = "an item was answered no"
SOURCE = "pre-start check due"


def prestart_due(history: StartHistory, now: datetime, limits: Limits) -> str | None:
    """Why a check is due before a start at `now`: ANSWERED_NO, FIRST, REPAIR or IDLE; None where none is."""
    known = as_of(history, now)
    if _answered_no(known):
        return ANSWERED_NO
    if _first(known):
        return FIRST
    if _after_repair(known):
        return REPAIR
    since = _idle_since(known)
    idle = since is not None and round(elapsed.days(since, now), 6) >= limits.value("prestart_idle_days")
    return IDLE if idle and not known.running else None


def refusal(why: str) -> Refusal:
    """The no of a check that is due."""
    if why == ANSWERED_NO:
        says = "An item of the pre-start check was answered no. Put it right, then answer the whole check again."
        return Refusal("pre-start check", "pre-start check on record", says, "The check, answered without a no.")
    return Refusal("pre-start check", SOURCE, f"A pre-start check is due: {why}. Go through it at the motor and record "
                   "each answer, then ask again.", "The pre-start check, answered.")


def _answered_no(history: StartHistory) -> bool:
    refused = history.prestart_refused_at
    return refused is not None and not any(at > refused for at in history.prestart_checks)


def _first(history: StartHistory) -> bool:
    """Nothing says it ever turned here: no start whatever its outcome, no running reading, no check answered."""
    if history.running:
        return False
    turned = (*(start.at for start in history.starts), *filter(None, [history.seen_running_at]),
              *history.prestart_checks)
    return not any(history.fitted_at is None or at >= history.fitted_at for at in turned)


def _after_repair(history: StartHistory) -> bool:
    """No start and no check since it came back; or it never came back by an act on record."""
    down = history.condition in (OUT_OF_SERVICE, LOCKED_OUT)
    since = history.condition_since if down else history.back_in_service_at
    if since is None:  # taken out at a time that nobody noted: after its last start, as far as is known
        return down and not any(_after_last_start(at, history) for at in history.prestart_checks)
    checked = any(at >= since for at in history.prestart_checks)
    return not checked and (down or not any(start.at >= since for start in history.starts))


def _after_last_start(at: datetime, history: StartHistory) -> bool:
    return all(start.at < at for start in history.starts[-1:])


def _idle_since(history: StartHistory) -> datetime | None:
    runs = runs_of(history)
    turned = [run.end or run.at for run in runs[-1:]] + [*history.prestart_checks[-1:]]
    return max(filter(None, (*turned, history.seen_running_at)), default=None)
