"""What stands, as the review shows it: in four parts, one entry a motor and raising entry, a line a flag.

Everything that came after one power dip is one entry. What has stood more than two shifts with nobody doing anything
about it rises by one level; a run-on whose time has come stands on top.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from app.rules.findings import rank
from app.rules.shifts import Calendar, Shift
from app.store.dips import Dip
from app.store.flags import Flag, FlagLife
from app.store.units import Unit

#: Standing longer than this many shifts without an action, a flag rises.
PATIENCE_SHIFTS = 2
AGAIN, NEW, STANDING, SHELVED = "Run on: look again", "New this shift", "Standing", "Shelved and waking"
PARTS = (AGAIN, NEW, STANDING, SHELVED)


@dataclass(frozen=True)
class Line:
    """One flag as it stands at an instant."""

    flag: Flag
    shifts: int  # from the one it was raised in to the present one, both included
    part: str
    rises: bool  # nobody did anything about it for too long, or what was to be done is late
    woke: bool  # in this shift
    wakes_next: bool  # at the start of the next shift

    @property
    def order(self) -> tuple[int, bool, datetime, int]:
        """One that rose stands at the head of its own priority's elders, never above a graver one."""
        level = rank(self.flag.priority)
        return max(level - self.rises, 0), self.rises and level > 0, self.flag.raised_at, self.flag.id


@dataclass(frozen=True)
class Group:
    """One entry of the review: what one reading raised on one motor, or all that came after one power dip."""

    lines: tuple[Line, ...]
    dip: Dip | None = None

    @property
    def motors(self) -> int:
        return len({line.flag.motor_id for line in self.lines})


def line_of(flag: Flag, calendar: Calendar, here: Shift, since: datetime, now: datetime) -> Line:
    """since: what was raised from then on is new."""
    shifts = calendar.count(flag.raised_at, max(now, flag.raised_at))
    return Line(flag, shifts, _part(flag, since, now), rises(flag, shifts, now),
                flag.shelved_until is not None and here.starts_at <= flag.shelved_until <= now,
                flag.shelved(now) and flag.shelved_until is not None and flag.shelved_until <= here.ends_at)


def rises(flag: FlagLife, shifts: int, now: datetime) -> bool:
    """An open flag that nobody did anything about for too long, or of which something is late. shifts: it stood."""
    waiting = flag.returned_at is None and not flag.shelved(now)
    return waiting and ((flag.without_action and shifts > PATIENCE_SHIFTS) or flag.late(now))


def _part(flag: Flag, since: datetime, now: datetime) -> str:
    if flag.look_again(now):
        return AGAIN
    if flag.shelved(now):
        return SHELVED
    return NEW if flag.raised_at >= since else STANDING


def parts(unit: Unit, standing: list[Flag], after: dict[uuid.UUID, Dip], since: datetime,
          now: datetime) -> dict[str, list[Group]]:
    """The parts that hold something, each with its entries, the gravest first, then the oldest.

    after: by the id of the start that raised a flag, the dip that the start came after.
    """
    here = unit.calendar.shift_of(now)
    lines = sorted((line_of(flag, unit.calendar, here, since, now) for flag in standing), key=lambda line: line.order)
    return {part: found for part in PARTS if (found := _grouped((x for x in lines if x.part == part), after))}


def _grouped(lines: Iterable[Line], after: dict[uuid.UUID, Dip]) -> list[Group]:
    held: dict[tuple[object, ...], list[Line]] = {}
    for line in lines:
        flag = line.flag
        dip = after.get(flag.raised_cause_id)
        held.setdefault(("dip", dip.id) if dip else (flag.motor_id, flag.raised_cause_id), []).append(line)
    return [Group(tuple(found), after.get(found[0].flag.raised_cause_id)) for found in held.values()]

