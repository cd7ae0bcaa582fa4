"""What a tablet takes along of one motor's starts: enough to say "not before" by itself, and never enough to say yes.

The record as of now and the figures of an ordinary start; the script adds what was entered on the tablet and works out
the same four holds as starting_hour.ordinary. What others entered it cannot know, so its other answer is a question.
30 hp, started 10:00, 10:20, 10:40: not before 11:00 whatever else is unknown.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from app.rules import prestart
from app.rules.facts import Nameplate
from app.rules.limits import Limits
from app.rules.starting import BECAUSE
from app.rules.starting_bars import Standing, on_record, standing
from app.rules.starting_basis import HOUR, Figure
from app.rules.starting_facts import StartHistory, StartPlan, stops_and_trips
from app.rules.starting_hour import COUNT, REST, RUN, SPACING
from app.rules.starting_tries import failed, open_series

#: Changed whenever a script of before could not read what is here.
SHAPE = 1
HOLDS = (COUNT, SPACING, RUN, REST)


def known(nameplate: Nameplate, plan: StartPlan, history: StartHistory, now: datetime,
          limits: Limits) -> dict[str, Any]:
    """The record and the figures, ready for JSON; times in UTC. Raises MakesNoSense as start_permission does.

    no: what bars a start however long one waits, by what is on record; what runs may have been stopped since.
    """
    stands = standing(nameplate, plan, history, now, limits)
    starts = [run.start for run in stands.runs[:-1] if stands.now - run.at < HOUR] + [r.start for r in stands.runs[-1:]]
    stops = stops_and_trips(stands.history)
    refused, basis = on_record(stands), stands.basis
    since = stands.history.condition_since
    return {
        "shape": SHAPE, "now": _iso(stands.now), "running": stands.history.running, "since": _iso(since),
        "no": refused.decided_by if refused else None, "refuses": basis.refuses is not None,
        "check_due": prestart.prestart_due(history, now, limits),
        "starts": [[_iso(start.at), start.failed, start.duration_s] for start in starts],
        "stops": [_iso(at) for at in stops if at == stops[-1] or (starts and at > starts[0].at)],
        "released": _iso(stands.history.releases[-1].at) if stands.history.releases else None,
        "failed_before": _failed_before(stands), "tries": _told(basis.tries),
        "figures": {COUNT: _told(basis.count), SPACING: _told(basis.spacing), RUN: _told(basis.run),
                    REST: _told(basis.rest_s)},
        "because": {rule: BECAUSE[rule] for rule in HOLDS},
    }


def _failed_before(stands: Standing) -> int:
    """Failed starts of the series before the last start on record: how long that one ran may only be learned later."""
    if not stands.runs:
        return 0
    *before, last = stands.runs
    return failed(open_series(tuple(before), stands.history.releases, stands.basis, last.at))


def _iso(at: datetime | None) -> str | None:
    """To the millisecond that a script counts in, never earlier than it is."""
    whole = at and at + timedelta(microseconds=-at.microsecond % 1000)
    return whole.isoformat(timespec="milliseconds") if whole else None


def _told(figure: Figure) -> tuple[float, str]:
    return figure.value, figure.source
