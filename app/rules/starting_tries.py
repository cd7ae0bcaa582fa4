"""A series of tries: starts that failed or ran less than the required run, one after the other.

50 hp, two starts that failed: one try left; the third fails: nobody is told yes until the head operator releases it
with the cause. A full run ends a series, and so does 60 min of rest where no start of it failed; a release ends any.
Common practice, no published source.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from app.rules.starting_basis import HOUR, Basis
from app.rules.starting_facts import ReleaseRecord, Run

Series = tuple[Run, ...]


def failed(series: Series) -> int:
    return sum(run.start.failed for run in series)


def used_up(series: Series, basis: Basis) -> bool:
    """It failed as often as it may: only a release ends it."""
    return failed(series) >= basis.tries.value


def tries_left(series: Series, basis: Basis) -> int:
    """How many starts may still follow in this series."""
    return 0 if used_up(series, basis) else max(int(basis.tries.value) - len(series), 0)


def open_series(runs: tuple[Run, ...], releases: tuple[ReleaseRecord, ...], basis: Basis, now: datetime) -> Series:
    """The series that stands open at `now`; empty where a full run, rest or a release ended it."""
    series: Series = ()
    for run in runs:
        series = _carried(series, releases, basis, run.at)
        begins = run.start.failed or run.short_of(basis.run.time)
        begins = begins or (bool(series) and run.may_be_short_of(basis.run.time))  # it is no full run that ends one
        series = (*series, run) if begins or used_up(series, basis) else ()
    return _carried(series, releases, basis, now)


def _carried(series: Series, releases: tuple[ReleaseRecord, ...], basis: Basis, to: datetime) -> Series:
    """What is left of it at the next start, or now."""
    if not series or any(_releases(release, series[-1].at, to) for release in releases):
        return ()
    rested = not failed(series) and _rest(series[-1], to) >= HOUR
    return () if rested and not used_up(series, basis) else series


def _releases(release: ReleaseRecord, after: datetime, to: datetime) -> bool:
    return after < release.at <= to and bool(release.by.strip()) and bool(release.cause.strip())


def _rest(run: Run, to: datetime) -> timedelta:
    return to - run.end if run.end is not None else timedelta(0)
