"""What the start rules are given: the motor's plan of starts, and what was recorded of it. Frozen, aware instants.

A run lasts from a start to the first stop or trip on record, else for its recorded duration, else to the next start,
else to when the motor was noted standing. Every energising is a start: tries that failed, bumps, automatic restarts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from app.rules.facts import RUNNING, STANDBY
from app.rules.tables import MakesNoSense

PRACTICE, TABLE, WRITTEN = "general practice", "table", "written procedure"
BASES = (PRACTICE, TABLE, WRITTEN)
RAN, DID_NOT_START, TRIPPED, AUTOMATIC = "ran", "did not start", "tripped while starting", "automatic"
OUTCOMES = (RAN, DID_NOT_START, TRIPPED, AUTOMATIC)
FAILED = (DID_NOT_START, TRIPPED)


@dataclass(frozen=True)
class StartPlan:
    """What the motor is set to. A written figure wins over the basis; None is not written, 0 min is none needed."""

    basis: str = PRACTICE  # a word of BASES
    written_starts_per_hour: float | None = None
    written_spacing_min: float | None = None  # start to start
    written_run_min: float | None = None
    written_tries: int | None = None
    load_wk2_lbft2: float | None = None  # else the nameplate's


@dataclass(frozen=True)
class StartRecord:
    """One energising. duration_s: how long it ran, or was held in; a recorded stop or trip goes before it."""

    at: datetime
    outcome: str = RAN  # a word of OUTCOMES
    duration_s: float | None = None
    #: False: nobody logged it; it lies no later than `at`, when the motor was found running
    logged: bool = True

    @property
    def failed(self) -> bool:
        return self.outcome in FAILED


@dataclass(frozen=True)
class TripRecord:
    """What opened, and what was done since. An instant that is None, or a blank text, has not happened."""

    at: datetime
    protection: str
    cause: str | None = None
    relay_reset_at: datetime | None = None
    head_operator_at: datetime | None = None  # the head operator agreed to a start
    cleared_at: datetime | None = None
    cleared_by: str | None = None  # the qualified person's name
    #: start of the shift it fell in; without it a trip counts as this shift's from the history's shift_start on
    shift_start: datetime | None = None


@dataclass(frozen=True)
class ReleaseRecord:
    """A head operator released the tries, with the cause. Without a name or a cause it releases nothing."""

    at: datetime
    by: str
    cause: str


@dataclass(frozen=True)
class StartHistory:
    """One motor's record. Nothing later than the moment asked about is looked at."""

    condition: str = STANDBY
    condition_since: datetime | None = None
    starts: tuple[StartRecord, ...] = ()
    stops: tuple[datetime, ...] = ()
    trips: tuple[TripRecord, ...] = ()
    releases: tuple[ReleaseRecord, ...] = ()
    running_since: datetime | None = None
    shift_start: datetime | None = None
    #: when a pre-start check was answered in full
    prestart_checks: tuple[datetime, ...] = ()
    #: the newest check in which an item was answered no
    prestart_refused_at: datetime | None = None
    #: when it last came back from out of service or locked out
    back_in_service_at: datetime | None = None
    #: newest reading that found it running: an older motor has had its first start
    seen_running_at: datetime | None = None
    #: when the machine that stands there now was fitted
    fitted_at: datetime | None = None

    @property
    def running(self) -> bool:
        return self.condition == RUNNING or self.running_since is not None


@dataclass(frozen=True)
class Run:
    """A start and what came of it. end and length are None while it runs; length also where nobody noted a stop."""

    start: StartRecord
    end: datetime | None
    length: timedelta | None

    @property
    def at(self) -> datetime:
        return self.start.at

    def short_of(self, required: timedelta) -> bool:
        """It ran, and less than required. A length that nobody knows is no ground for another try at once."""
        return self.start.logged and not self.start.failed and self.length is not None and self.length < required

    def may_be_short_of(self, required: timedelta) -> bool:
        """Nobody logged the start, so its length is the least that it ran: it may have been less than required."""
        return not self.start.logged and (self.length is None or self.length < required)


def utc(at: datetime) -> datetime:
    """The instant, so that differences are elapsed time. Raises MakesNoSense for a time without its zone."""
    if at.tzinfo is None:
        raise MakesNoSense("a time without its zone is no instant")
    return at.astimezone(UTC)


def as_of(history: StartHistory, now: datetime) -> StartHistory:
    """The record as it stood at `now`: in UTC, oldest first."""
    moment = utc(now)
    return replace(
        history, condition_since=_till(history.condition_since, moment),
        starts=tuple(sorted((replace(start, at=utc(start.at)) for start in history.starts if utc(start.at) <= moment),
                            key=lambda start: start.at)),
        stops=_all_till(history.stops, moment),
        trips=tuple(sorted((_trip_till(trip, moment) for trip in history.trips if utc(trip.at) <= moment),
                           key=lambda trip: trip.at)),
        releases=tuple(sorted((replace(release, at=utc(release.at)) for release in history.releases
                               if utc(release.at) <= moment), key=lambda release: release.at)),
        running_since=_till(history.running_since, moment), shift_start=_till(history.shift_start, moment),
        prestart_checks=_all_till(history.prestart_checks, moment),
        prestart_refused_at=_till(history.prestart_refused_at, moment),
        back_in_service_at=_till(history.back_in_service_at, moment),
        seen_running_at=_till(history.seen_running_at, moment), fitted_at=_till(history.fitted_at, moment))


def _till(at: datetime | None, moment: datetime) -> datetime | None:
    return utc(at) if at is not None and utc(at) <= moment else None


def _all_till(instants: Iterable[datetime], moment: datetime) -> tuple[datetime, ...]:
    return tuple(sorted(at for at in map(utc, instants) if at <= moment))


def _trip_till(trip: TripRecord, moment: datetime) -> TripRecord:
    return replace(trip, at=utc(trip.at), relay_reset_at=_till(trip.relay_reset_at, moment),
                   head_operator_at=_till(trip.head_operator_at, moment), cleared_at=_till(trip.cleared_at, moment),
                   shift_start=_till(trip.shift_start, moment))


def stops_and_trips(history: StartHistory) -> tuple[datetime, ...]:
    """Every instant at which it is on record to have stopped, oldest first."""
    return tuple(sorted((*history.stops, *(trip.at for trip in history.trips))))


def runs_of(history: StartHistory) -> tuple[Run, ...]:
    """Each start with what came of it, oldest first; `history` as as_of() gives it."""
    stops = stops_and_trips(history)
    following = [*(start.at for start in history.starts[1:]), None]
    return tuple(_run(start, next_at, stops, history)
                 for start, next_at in zip(history.starts, following, strict=False))


def _run(start: StartRecord, next_at: datetime | None, stops: tuple[datetime, ...], history: StartHistory) -> Run:
    end = _end(start, next_at, stops, history)
    if end is not None:
        return Run(start, end, end - start.at)
    return Run(start, None if history.running else start.at, None)


def _end(start: StartRecord, next_at: datetime | None, stops: tuple[datetime, ...],
         history: StartHistory) -> datetime | None:
    """None where nothing on record says when, or it runs still."""
    lasted = start.at + timedelta(seconds=start.duration_s or 0.0)
    if start.failed:
        return min(filter(None, (lasted, next_at)))
    noted = [at for at in stops if start.at < at and (next_at is None or at <= next_at)]
    if noted:
        return noted[0]
    if start.duration_s is not None and (next_at is not None or not history.running):
        return min(filter(None, (lasted, next_at)))
    standing = None if history.running else history.condition_since
    return next_at or (standing if standing is not None and standing > start.at else None)
