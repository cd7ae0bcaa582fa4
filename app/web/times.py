"""A time typed on a form: now when left empty, else the newest such local time that has passed."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from app.store.units import Unit

#: A time so little ahead was meant for today, by a clock on the wall that is fast: it is not yesterday's.
NOT_YESTERDAY = timedelta(hours=1)


class BadTime(ValueError):
    """Not a time such as 07:12 or 07:12:30, or one that has not come yet; says so."""


def time_seen(text: str | None, unit: Unit, now: datetime) -> datetime:
    """The instant meant by a typed wall-clock time. Raises BadTime."""
    typed = (text or "").strip().replace(".", ":")
    if not typed:
        return now
    at, zone = _time(typed), unit.calendar.zone
    today = now.astimezone(zone).date()
    if not _instants(today, at, zone):
        raise BadTime(f"There was no {typed[:20]} today: the clocks go forward over it.")
    known = [moment for day in (-1, 0, 1) for moment in _instants(today + timedelta(days=day), at, zone)]
    soon = any(now < moment <= now + NOT_YESTERDAY for moment in known)
    if soon and not any(now - NOT_YESTERDAY <= moment <= now for moment in known):  # not the hour that comes twice
        raise BadTime(f"{typed[:20]} has not come yet: here it is {now.astimezone(zone):%H:%M:%S}. "
                      "Leave it empty for now.")
    return max((moment for moment in known if moment <= now), default=now)


def _time(typed: str) -> time:
    match = re.fullmatch(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?", typed)
    try:
        if not match:
            raise ValueError
        return time(int(match[1]), int(match[2]), int(match[3] or 0))
    except ValueError:
        raise BadTime(f"“{typed[:20]}” is not a time such as 07:12 or 07:12:30.") from None


def _instants(day: date, at: time, zone: ZoneInfo) -> list[datetime]:
    """Every instant at which a clock on the wall shows this: two where it comes twice, none where it is skipped."""
    wall = datetime.combine(day, at)
    both = {wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1)}
    return [moment for moment in both if moment.astimezone(zone).replace(tzinfo=None) == wall]
