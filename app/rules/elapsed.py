"""Elapsed time, whatever the clocks on the wall do in between."""

from __future__ import annotations

from datetime import UTC, datetime


def hours(earlier: datetime, later: datetime) -> float:
    """Hours from earlier to later. Two times in one zone are compared as instants, not as wall clocks."""
    zone = earlier.tzinfo
    if zone is later.tzinfo and zone is not UTC and zone is not None:  # only then Python compares the wall clocks
        earlier, later = earlier.astimezone(UTC), later.astimezone(UTC)
    return (later - earlier).total_seconds() / 3600.0


def days(earlier: datetime, later: datetime) -> float:
    """Days of 24 h from earlier to later."""
    return hours(earlier, later) / 24.0
