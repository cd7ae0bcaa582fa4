"""How the program itself stands: what is stored, how old entries are when they arrive, how far clocks are off, the last
copy. For whoever keeps it; nothing here is about a person."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.store.people import FailedTry, SignedIn
from app.store.rounds import Reading
from app.store.units import Unit

#: What "lately" is here.
LATELY = timedelta(hours=24)
#: An entry that arrives later than this after it was observed waited somewhere; a clock further off than this is named.
WAITED, CLOCK_OFF = timedelta(minutes=30), timedelta(minutes=2)
LAST_COPY = "last-copy.json"


@dataclass(frozen=True)
class State:
    """Counts of one unit's last 24 hours, and of the whole database."""

    entries: int
    waited: int
    longest_wait: timedelta | None
    clocks_off: int
    furthest_off: timedelta | None
    last_received: datetime | None
    signed_in: int
    wrong_secrets: int
    database_bytes: int
    last_copy: datetime | None


def state_of(session: Session, unit: Unit, now: datetime, folder: Path) -> State:
    rows = session.execute(sa.select(Reading.taken_at, Reading.taken_at_device, Reading.received_at).where(
        Reading.unit_id == unit.id, Reading.received_at > now - LATELY)).all()
    waits = [received - taken for taken, _, received in rows]
    off = [abs(taken - device) for taken, device, _ in rows]
    return State(
        entries=len(rows), waited=sum(1 for w in waits if w > WAITED), longest_wait=max(waits, default=None),
        clocks_off=sum(1 for o in off if o > CLOCK_OFF), furthest_off=max(off, default=None),
        last_received=session.scalar(sa.select(sa.func.max(Reading.received_at)).where(Reading.unit_id == unit.id)),
        signed_in=session.scalar(sa.select(sa.func.count()).select_from(SignedIn).where(
            SignedIn.unit_id == unit.id, SignedIn.ended_at.is_(None), SignedIn.expires_at > now)) or 0,
        wrong_secrets=session.scalar(sa.select(sa.func.count()).select_from(FailedTry).where(
            FailedTry.at > now - LATELY)) or 0,
        database_bytes=database_bytes(session), last_copy=last_copy(folder))


def database_bytes(session: Session) -> int:
    if session.get_bind().dialect.name == "sqlite":
        pages = session.scalar(sa.text("PRAGMA page_count")) or 0
        return int(pages) * int(session.scalar(sa.text("PRAGMA page_size")) or 0)
    return int(session.scalar(sa.text("SELECT pg_database_size(current_database())")) or 0)


def last_copy(folder: Path) -> datetime | None:
    """When `round-sheet backup` last wrote a whole copy of this instance; None: never, or the note is gone."""
    try:
        return datetime.fromisoformat(json.loads((folder / LAST_COPY).read_text("utf-8"))["at"])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def note_copy(folder: Path, at: datetime, file: Path, rows: int) -> None:
    """Beside the database, not in it: a copy changes nothing that is copied."""
    (folder / LAST_COPY).write_text(json.dumps({"at": at.isoformat(), "file": str(file), "rows": rows}), "utf-8")
