"""A no that waiting does not cure, and how an instant reads in a sentence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from app.rules.starting_facts import utc


@dataclass(frozen=True)
class Refusal:
    """Which rule says no, its source, what to do, what would change it. grave: a start over it is act now."""

    decided_by: str
    source: str
    says: str
    would_change: str
    find_the_cause: bool = False
    grave: bool = False


def clock(at: datetime, now: datetime) -> str:
    """at in now's zone, never earlier than it is: 11:00:00; with the zone's letters in the hour that comes twice."""
    whole = utc(at) + timedelta(microseconds=-utc(at).microsecond % 1_000_000)
    local, here = whole.astimezone(now.tzinfo), utc(now).astimezone(now.tzinfo)
    text = f"{local:%H:%M:%S}"
    if local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset():
        text += f" {local.tzname()}"
    return text if local.date() == here.date() else f"{text} on {local.day} {local:%b}"
