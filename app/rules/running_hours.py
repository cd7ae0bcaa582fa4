"""Running hours estimated from what was observed, and how sure that is. One method, the same everywhere.

A motor is taken to stay as it was last observed (reading, start, stop, trip, change by hand) until the next
observation; before its first one it is taken to have run, so that grease errs on the early side. Unsure are the hours
in which it may have been otherwise: a gap at whose end a look finds another state and no start or stop says when it
changed; what a gap has over 24 h without anybody looking; all time before the first observation.

Running at 06:00, found standing at 18:00: 12 h counted, 12 h unsure. With a stop recorded at 10:00: 4 h, none unsure.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from app.rules import elapsed
from app.rules.facts import RUNNING

#: Rounds look at a motor at least once a day: longer than this without a look, it may have stopped and started.
LOOKED_AT_EVERY_H = 24.0
#: Shares of the calendar hours that may be otherwise, up to which an estimate is called sure and fairly sure (common
#: practice, no published source).
SURE, FAIRLY_SURE, ROUGH = "sure", "fairly sure", "rough"
SURE_TO, FAIRLY_SURE_TO = 0.05, 0.25
WEEK_H = 168.0


@dataclass(frozen=True)
class Seen:
    """One observation of a motor's state. exact: it says when the state changed (start, stop, change by hand)."""

    at: datetime
    state: str
    exact: bool = False


def unsure_h(gap_h: float, changed: bool, exact: bool) -> float:
    """Of a gap between two observations, the hours in which the motor may have been in another state."""
    if changed and not exact:
        return gap_h
    return max(0.0, gap_h - LOOKED_AT_EVERY_H)


def add_up(seen: Iterable[Seen], until: datetime | None = None) -> tuple[float, float]:
    """Running hours and unsure hours from the first observation to the newest, or on to `until`."""
    run, unsure, last = 0.0, 0.0, None
    for here in sorted(seen, key=lambda s: s.at):
        if last is not None:
            gap_h = elapsed.hours(last.at, here.at)
            run += gap_h if last.state == RUNNING else 0.0
            unsure += unsure_h(gap_h, last.state != here.state, here.exact)
        last = here
    if last is not None and until is not None:
        gap_h = max(0.0, elapsed.hours(last.at, until))
        run += gap_h if last.state == RUNNING else 0.0
        unsure += unsure_h(gap_h, False, False)
    return run, unsure


def how_sure(unsure: float | None, over_h: float) -> str:
    """sure, fairly sure or rough, by the share of the calendar hours in which it may be otherwise."""
    if unsure is None:
        return ROUGH
    share = unsure / over_h if over_h > 0 else 0.0
    return SURE if share <= SURE_TO else FAIRLY_SURE if share <= FAIRLY_SURE_TO else ROUGH


def running_share(run_h: float | None, over_h: float) -> float:
    """The share of the time a motor runs, 0 to 1. With less than a week on record it is taken to run always."""
    if run_h is None or over_h < WEEK_H:
        return 1.0
    return min(1.0, max(0.0, run_h / over_h))
