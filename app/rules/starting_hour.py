"""The limits at one moment: how many in the hour, how far apart, how long it ran, how long it rested.

The window is rolling and half-open: a start exactly 60 min old no longer counts. Started 10:00, 10:20, 10:40 with three
an hour: the next not before 11:00. Three ways lead to a yes (an ordinary start, a try after a failed one, a short start
before continuous running); the earliest of them counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from app.rules.starting_basis import HOUR, SHORT_START, Basis, Figure
from app.rules.starting_facts import Run, StartHistory, stops_and_trips
from app.rules.starting_tries import Series, tries_left

COUNT, SPACING, RUN, REST = "starts in 60 min", "spacing", "run between starts", "rest"
ORDINARY, TRY, SHORT = "ordinary start", "tries", "short starts"


@dataclass(frozen=True)
class Hold:
    """One thing to wait for. value against limit in `unit` ("starts", "min", "s"); over once `until` is reached."""

    rule: str
    until: datetime
    value: float
    limit: float
    unit: str
    source: str


@dataclass(frozen=True)
class Way:
    """One way to a yes, and what still holds it back."""

    name: str
    holds: tuple[Hold, ...]
    figure: Figure  # how many: starts in the hour, or tries

    @property
    def binding(self) -> Hold | None:
        """The hold that ends last; None where the way is open."""
        return max(self.holds, key=lambda hold: hold.until, default=None)

    def open_at(self, now: datetime) -> datetime:
        return self.binding.until if self.binding else now


def in_hour(runs: tuple[Run, ...], now: datetime) -> int:
    """Starts of the last 60 min, half-open."""
    return sum(now - run.at < HOUR for run in runs)


def not_logged(runs: tuple[Run, ...], now: datetime) -> str:
    """What a count of the last 60 min must add where nobody logged some of them; empty where all were."""
    count = sum(now - run.at < HOUR and not run.start.logged for run in runs)
    return f", {count} of them not logged" if count else ""


def ordinary(runs: tuple[Run, ...], series: Series, history: StartHistory, basis: Basis, now: datetime) -> Way:
    """Hour, spacing, run since the last, rest since the stop."""
    holds = [_count(runs, basis.count, now), _spacing(runs, basis.spacing, now), _run(series, basis.run),
             _rest(runs, history, basis.rest_s, now)]
    return Way(ORDINARY, _still(holds, now), basis.count)


def best_way(runs: tuple[Run, ...], series: Series, history: StartHistory, basis: Basis, now: datetime,
             then_continuous: bool) -> Way:
    """The way that opens first; an ordinary start where two open together."""
    ways = [ordinary(runs, series, history, basis, now)]
    if basis.at_once and series and tries_left(series, basis):
        ways.append(Way(TRY, _still([_others(runs, series, basis, now)], now), basis.tries))
    if then_continuous and basis.short_count is not None:
        ways.append(_short(runs, basis.short_count, now))
    return min(ways, key=lambda way: way.open_at(now))


def _still(holds: list[Hold | None], now: datetime) -> tuple[Hold, ...]:
    return tuple(hold for hold in holds if hold is not None and hold.until > now)


def _count(runs: tuple[Run, ...], allowed: Figure, now: datetime) -> Hold | None:
    """Fewer than the count in the hour: the start that many back must have left it."""
    most = int(allowed.value)
    if not 0 < most <= len(runs):
        return None
    return Hold(COUNT, runs[-most].at + HOUR, in_hour(runs, now), most, "starts", allowed.source)


def _spacing(runs: tuple[Run, ...], spacing: Figure, now: datetime) -> Hold | None:
    if not runs:
        return None
    return Hold(SPACING, runs[-1].at + spacing.time, _minutes(now - runs[-1].at), spacing.value, "min", spacing.source)


def _run(series: Series, run: Figure) -> Hold | None:
    """The last start ran, and not long enough. It cannot run longer while it stands: 60 min of rest end that."""
    last = series[-1] if series else None
    if last is None or last.end is None or last.length is None or not last.short_of(run.time):
        return None
    return Hold(RUN, last.end + HOUR, _minutes(last.length), run.value, "min", run.source)


def _rest(runs: tuple[Run, ...], history: StartHistory, rest_s: Figure, now: datetime) -> Hold | None:
    """C since the last stop. Where it runs on record nobody noted a stop, and no rest can be told."""
    if any(run.end is None for run in runs[-1:]):
        return None
    stopped = max((*stops_and_trips(history), *(run.end for run in runs[-1:] if run.end is not None)), default=None)
    if stopped is None or rest_s.value <= 0:
        return None
    until = stopped + timedelta(seconds=rest_s.value)
    return Hold(REST, until, max((now - stopped).total_seconds(), 0.0), rest_s.value, "s", rest_s.source)


def _others(runs: tuple[Run, ...], series: Series, basis: Basis, now: datetime) -> Hold | None:
    """A try at once only where every start of the hour belongs to the series."""
    before = runs[:-len(series)]
    if not before:
        return None
    return Hold(TRY, before[-1].at + HOUR, in_hour(runs, now), basis.count.value, "starts", basis.count.source)


def _short(runs: tuple[Run, ...], allowed: Figure, now: datetime) -> Way:
    """Short starts evenly spaced: no other start may stand in the hour."""
    spacing = Figure(60.0 / allowed.value, allowed.source)
    longer = [run for run in runs if run.start.failed or not run.start.logged or run.length is None
              or run.length > SHORT_START]
    other = None if not longer else Hold(SHORT, longer[-1].at + HOUR, in_hour(runs, now), allowed.value, "starts",
                                         allowed.source)
    holds = _still([_count(runs, allowed, now), _spacing(runs, spacing, now), other], now)
    return Way(SHORT, holds, allowed)


def _minutes(length: timedelta) -> float:
    return length.total_seconds() / 60.0
