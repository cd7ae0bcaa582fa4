"""When a pre-start check is due before a start, and what it asks.

Before a first start, the first after repair (out of service or locked out), and the first after long idle: 30 days
without running, and without a check, is due; 29 is not. Common practice, no published source, except where an item
says so. A tick here is no release: locks are taken off by those who put them on.
"""

from __future__ import annotations

from datetime import datetime

from app.rules import elapsed
from app.rules.facts import LOCKED_OUT, OUT_OF_SERVICE
from app.rules.limits import Limits
from app.rules.refusals import Refusal
from app.rules.starting_facts import StartHistory, as_of, runs_of

FIRST, REPAIR, IDLE = "first start", "first start after repair", "first start after long idle"
SOURCE = "pre-start check due"
#: After motor makers' manuals read in hosted copies, and common practice; each site's procedure goes before it.
ITEMS = (
    "Tag on the motor, on the starter and here are the same.",
    "Every lock and tag was taken off by its owner; people are clear; the area has been told.",
    "Guards, terminal cover and ground are in place; tools are out; drain and vent plugs are in.",
    "The shaft turned freely by hand while it was still isolated.",
    "Oil stands at the mark, or the grease is fresh after long storage.",
    "A qualified person tested the insulation, and the value is kept.",
    "The direction of rotation is agreed with the driven machine.",
    "The load is eased: valves set as the procedure says.",
    "The overload relay is reset, and set for the nameplate that is fitted now.",
    "One person watches the motor with a stop in reach; nobody stands before the starter door.",
    "If it has not begun to turn in about 2 s, or labours, it is switched off at once.",
    "The first run is watched: bearings at 10, 30, 60 and 120 min.",
)


def prestart_due(history: StartHistory, now: datetime, limits: Limits) -> str | None:
    """Why a check is due before a start at `now`: FIRST, REPAIR or IDLE; None where none is, or it was answered."""
    known = as_of(history, now)
    if _first(known):
        return FIRST
    if _after_repair(known):
        return REPAIR
    since = _idle_since(known)
    idle = since is not None and round(elapsed.days(since, now), 6) >= limits.value("prestart_idle_days")
    return IDLE if idle and not known.running else None


def refusal(why: str) -> Refusal:
    """The no of a check that is due."""
    return Refusal("pre-start check", SOURCE, f"A pre-start check is due: {why}. Go through it at the motor and record "
                   "each answer, then ask again.", "The pre-start check, answered.")


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
    if since is None:
        return down and not history.prestart_checks
    checked = any(at >= since for at in history.prestart_checks)
    return not checked and (down or not any(start.at >= since for start in history.starts))


def _idle_since(history: StartHistory) -> datetime | None:
    runs = runs_of(history)
    turned = [run.end or run.at for run in runs[-1:]] + [*history.prestart_checks[-1:]]
    return max(filter(None, (*turned, history.seen_running_at)), default=None)
