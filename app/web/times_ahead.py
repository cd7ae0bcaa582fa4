"""An end that is expected: a few hours on, the end of this shift, or a typed time of the day still to come."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
from typing import Any

from app.rules.shifts import local_instant
from app.store.units import Unit
from app.web.fields import picks

HOURS = {"1": 1, "2": 2, "4": 4, "8": 8, "24": 24}
END_OF_SHIFT = "shift"
_DAY_TIME = re.compile(r"(\d{4})-(\d{2})-(\d{2})[T ](\d{1,2}):(\d{2})(?::\d{2})?", re.ASCII)
_TIME = re.compile(r"(\d{1,2}):(\d{2})", re.ASCII)


def choices(*hours: str) -> Any:
    return picks([*((h, f"In {h} h") for h in hours), (END_OF_SHIFT, "By the end of this shift")])


def time_ahead(text: str, unit: Unit, now: datetime) -> datetime:
    """The next such local time that is still to come. Raises ValueError with what to do."""
    typed = text.strip().replace(".", ":")
    match = re.fullmatch(r"([0-9]{1,2}):([0-9]{2})", typed)
    if not match or int(match[1]) > 23 or int(match[2]) > 59:
        raise ValueError(f"“{typed[:20]}” is not a time such as 16:30.")
    at, zone = time(int(match[1]), int(match[2])), unit.calendar.zone
    today = now.astimezone(zone).date()
    return next(moment for days in range(3) if (moment := local_instant(today + timedelta(days), at, zone)) > now)


def read_until(unit: Unit, now: datetime, hours: Any, at: Any, missing: str) -> datetime | None:
    """The end meant by two fields of a form; None with an error at the one to put right."""
    if (at.data or "").strip():
        try:
            return time_ahead(at.data, unit, now)
        except ValueError as error:
            at.errors = [*at.errors, str(error)]
            return None
    if hours.data == END_OF_SHIFT:
        return unit.calendar.shift_of(now).ends_at
    if hours.data in HOURS:
        return now + timedelta(hours=HOURS[hours.data])
    hours.errors = [*hours.errors, missing]
    return None


class BadTimeToCome(ValueError):
    """Not a date and time that can be taken without guessing; says what to enter."""


def time_to_come(text: str, unit: Unit, now: datetime) -> datetime:
    """`2026-11-24T18:00` in the unit's zone, or `18:00`, the next one. Raises BadTimeToCome."""
    zone, typed = unit.calendar.zone, text.strip()
    try:
        if match := _DAY_TIME.fullmatch(typed):
            year, month, day, hour, minute = (int(part) for part in match.groups())
            return local_instant(date(year, month, day), time(hour, minute), zone)
        if match := _TIME.fullmatch(typed):
            at, today = time(int(match[1]), int(match[2])), now.astimezone(zone).date()
            soon = local_instant(today, at, zone)
            return soon if soon > now else local_instant(today + timedelta(days=1), at, zone)
    except (ValueError, OverflowError):
        pass
    raise BadTimeToCome("Enter a date and time such as 2026-11-24 18:00, or a time such as 18:00 for the next one.")
