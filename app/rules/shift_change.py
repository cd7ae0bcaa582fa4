"""A new shift pattern: from which boundary it may begin, and why it cannot.

It begins where a shift ends that has not ended yet, so that the past and the shift under way keep their sorting; and no
two shifts of one date may come to have the same name, for a round is known by the two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import islice

from app.rules.shifts import BadShiftTime, Calendar, Pattern, Shift, ShiftStart

MOST_SHIFTS, LONGEST_NAME = 6, 40
DAYS_AHEAD = 35
#: So far around the change its shifts are looked at.
LOOK = timedelta(days=4)
#: No crew stays longer where one pattern goes over into another.
LONGEST_SHIFT = timedelta(hours=24, minutes=59)


def starts_fault(starts: Sequence[ShiftStart]) -> tuple[int, str] | None:
    """The first start that cannot be, by its place, and why: a name, a time, or one of them twice."""
    if not starts:
        return 0, "Enter at least one shift: its name and its start."
    for i, start in enumerate(starts):
        if not start.name:
            return i, "Name this shift."
        if len(start.name) > LONGEST_NAME:
            return i, f"Shorten the name to {LONGEST_NAME} characters."
        try:
            _ = start.local_time
        except BadShiftTime:
            return i, f"Enter the start of {start.name} as hours and minutes, such as 06:00."
        if start.name.casefold() in {s.name.casefold() for s in starts[:i]}:
            return i, f"Give each shift its own name: {start.name} is there already."
        if start.at in {s.at for s in starts[:i]}:
            return i, f"Give each shift its own start: {start.at} is there already."
    if len(starts) > MOST_SHIFTS:
        return MOST_SHIFTS, f"A day has at most {MOST_SHIFTS} shifts here."
    return None


def boundaries(calendar: Calendar, now: datetime, most: int = 3 * DAYS_AHEAD) -> list[datetime]:
    """Where a new pattern may begin: the ends of the shift under way and of those to come."""
    return list(islice((s.starts_at for s in calendar.between(calendar.shift_of(now).ends_at,
                                                              now + timedelta(days=DAYS_AHEAD))), most))


def changed(calendar: Calendar, starts: Sequence[ShiftStart], at: datetime) -> Calendar:
    """The calendar with the new pattern in force from an instant on."""
    return replace(calendar, patterns=(*calendar.patterns, Pattern(tuple(starts), at)))


def around(calendar: Calendar, at: datetime, now: datetime) -> list[Shift]:
    """The shifts from a day before an instant (the one under way at the earliest) to three days after."""
    shift, found = calendar.shift_of(max(now, at - timedelta(days=1))), []
    while shift.starts_at < at + timedelta(days=3):
        found.append(shift)
        shift = calendar.after(shift)
    return found


def change_fault(calendar: Calendar, starts: Sequence[ShiftStart], at: datetime, now: datetime) -> str | None:
    """Why the pattern cannot begin then; None: it can."""
    if at not in boundaries(calendar, now):
        return "Choose a time at which a shift ends, the one under way or a later one."
    planned = changed(calendar, starts, at)
    if planned.shift_of(now) != calendar.shift_of(now):
        return ("The shift under way would become longer: its sheet may be open. Choose a later boundary, or give the "
                "shift that begins then another name.")
    seen: dict[str, Shift] = {}
    for shift in planned.between(at - LOOK, at + LOOK):
        if shift.label in seen:
            return (f"{shift.label} would come twice, and a sheet is known by date and name. Choose another boundary, "
                    "or other names.")
        if shift.ends_at - shift.starts_at > LONGEST_SHIFT:
            return f"{shift.label} would last more than a day. Choose another boundary."
        seen[shift.label] = shift
    return None


def told(starts: Sequence[ShiftStart]) -> str:
    """Day 06:00, Night 18:00."""
    return ", ".join(f"{s.name} {s.at}" for s in Pattern(tuple(starts)).in_order())
