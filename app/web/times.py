"""A time typed on a form: now when left empty, else the newest such local time that has passed."""

from __future__ import annotations

import re
from datetime import datetime, time, timedelta

from app.rules.shifts import local_instant
from app.store.units import Unit


class BadTime(ValueError):
    """Not a time such as 07:12 or 07:12:30; says so."""


def time_seen(text: str | None, unit: Unit, now: datetime) -> datetime:
    """The instant meant by a typed wall-clock time. Raises BadTime."""
    typed = (text or "").strip().replace(".", ":")
    if not typed:
        return now
    match = re.fullmatch(r"(\d{1,2}):(\d{2})(?::(\d{2}))?", typed)
    try:
        if not match:
            raise ValueError
        at = time(int(match[1]), int(match[2]), int(match[3] or 0))
    except ValueError:
        raise BadTime(f"“{typed[:20]}” is not a time such as 07:12 or 07:12:30.") from None
    zone = unit.calendar.zone
    today = now.astimezone(zone).date()
    seen = local_instant(today, at, zone)
    return seen if seen <= now else local_instant(today - timedelta(days=1), at, zone)
