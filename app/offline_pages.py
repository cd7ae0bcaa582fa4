"""Which pages a tablet keeps for a shift, and what it must know of the shift itself.

Pages are named by endpoint and motor here; the web layer makes addresses of them. The order is that of the walk: what
is needed first comes first when the network is weak.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.sheets import Sheet
from app.store.changes import Change
from app.store.units import Unit

#: Without a motor: the sheet itself, what stays on the tablet, and what must be there when the network is not.
OF_THE_UNIT = ("rounds.sheet", "offline.entries", "dips.page", "lubrication.chart")
#: For each motor, a kind after the other: pages that are alike compress to almost nothing behind each other.
OF_A_MOTOR = ("rounds.entry", "rounds.skip", "starts.page", "starts.trip_form", "last.figures")


@dataclass(frozen=True)
class Page:
    endpoint: str
    motor_id: int | None = None


def pages_of(sheet: Sheet) -> list[Page]:
    """Every page of the shift."""
    motors = [row.motor.id for row in sheet.rows]
    return [*(Page(name) for name in OF_THE_UNIT), *(Page(name, key) for name in OF_A_MOTOR for key in motors)]


def stamp_of(session: Session, unit: Unit, sheet: Sheet, *shown: str) -> str:
    """Changes whenever a kept page would be another one: register, limits, order of the walk, release, screen.

    What an entry alone changes (a value on the sheet, a flag at the foot of a page) is not in it: the pages would be
    fetched again after every Save.
    """
    newest = session.scalar(sa.select(sa.func.max(Change.at)).where(Change.unit_id == unit.id))
    told = [unit.id, newest, [[row.motor.id, row.motor.tag, row.motor.area] for row in sheet.rows], *shown]
    return hashlib.sha256(repr(told).encode()).hexdigest()[:12]


def rows_of(sheet: Sheet) -> list[dict[str, Any]]:
    """The walk as the tablet counts it."""
    return [{"id": row.motor.id, "tag": row.motor.tag, "service": row.motor.service, "status": row.status}
            for row in sheet.rows]


def whose(secret_mark: bytes, person_id: int, unit_id: int) -> str:
    """A name for one person's pages of one unit, that tells nothing."""
    return hashlib.sha256(secret_mark + f" pages {person_id} {unit_id}".encode()).hexdigest()[:12]


def local_iso(at: datetime, unit: Unit) -> str:
    return at.astimezone(unit.calendar.zone).isoformat(timespec="seconds")
