"""What people do with flags and sheets: seen, what was done, closed, signed. Each act is a note that stays."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from app import judging, signatures
from app.judging import Cause
from app.rules.findings import THIS_SHIFT, Finding
from app.sheets import Row, Sheet, sheet_of
from app.store import flags, rounds
from app.store.flags import Flag, Note
from app.store.people import Person
from app.store.rounds import Round
from app.store.units import Unit


class SomebodyWasFaster(RuntimeError):
    """Another person acted on this between looking and deciding; says what happened."""


def take_flag(session: Session, unit_id: int, flag_id: int, version: int | None) -> Flag | None:
    """The flag, locked, to act on. Raises SomebodyWasFaster when it changed since it was looked at."""
    flag = flags.flag_by_id(session, unit_id, flag_id)
    if flag is None:
        return None
    session.refresh(flag, with_for_update=True)
    if version is not None and version != flag.version:
        last = flags.notes_of(session, flag.id)[-1:]
        told = f": {last[0].person.name}, {last[0].kind}, “{last[0].text}”" if last else ""
        raise SomebodyWasFaster(f"This flag changed while you looked at it{told}.")
    flag.version += 1
    return flag


def _note(session: Session, flag: Flag, person: Person, at: datetime, kind: str, text: str) -> None:
    session.add(Note(flag_id=flag.id, person_id=person.id, at=at, kind=kind, text=text))
    session.flush()


def mark_seen(session: Session, flag: Flag, person: Person, at: datetime) -> None:
    """Seen is owned, not gone: it stands until the condition returns or somebody closes it."""
    if flag.seen_at is None:
        flag.seen_at, flag.seen_by_id = at, person.id
        _note(session, flag, person, at, "seen", "seen")
    if flag.returned_at is not None and flag.open:
        flag.closed_at, flag.closed_why = at, judging.RETURNED


def note_action(session: Session, flag: Flag, person: Person, at: datetime, text: str) -> None:
    """What was done, or who was told, when and how. Whoever writes that has seen it."""
    mark_seen(session, flag, person, at)
    flag.action, flag.action_by_id, flag.action_at = text, person.id, at
    _note(session, flag, person, at, "done", text)


def close(session: Session, flag: Flag, person: Person, at: datetime, text: str) -> None:
    """Closed with what was done. If it shows again, a new flag names this one."""
    mark_seen(session, flag, person, at)
    flag.closed_at, flag.closed_by_id, flag.closed_why = at, person.id, text
    _note(session, flag, person, at, "closed", text)


# the signature ---------------------------------------------------------------------------------------------


def sign(session: Session, unit: Unit, opened: Round, person: Person, at: datetime) -> Sheet:
    """Signs a round's sheet as it stands; what was due and neither read nor skipped becomes a flag."""
    session.refresh(opened, with_for_update=True)
    if opened.signed_at is not None:
        signed_at = opened.signed_at.astimezone(unit.calendar.zone)
        raise SomebodyWasFaster(f"This sheet was signed at {signed_at:%H:%M} by another head operator.")
    shown = sheet_of(session, unit, opened, at)
    opened.signed_at, opened.signed_by_id = at, person.id
    opened.signed_state = signed_state(shown)
    signatures.seal(session, unit, opened, person, shown)
    key = uuid.uuid5(uuid.NAMESPACE_OID, f"signed {opened.id}")
    cause = Cause("round", key, min(at, opened.ends_at - timedelta(seconds=1)), at, person.id)
    for row in shown.of("left"):
        judging.raise_flags(session, unit, row.motor, cause, [not_checked(row, opened)])
    session.flush()
    return shown


def not_checked(row: Row, opened: Round) -> Finding:
    return Finding("not_checked", None, THIS_SHIFT, None, None, None, "the round's own list",
                   f"{row.motor.tag} was due on {opened.label} and was neither read nor skipped with a reason. "
                   "Read it now, or give the reason.")


def signed_state(shown: Sheet) -> dict[str, Any]:
    """What the signature covers: counts, and each motor's status and entry."""
    return {
        "done": shown.count("done"), "skipped": shown.count("skipped"), "left": shown.count("left"),
        "rows": [{"tag": row.motor.tag, "status": row.status, "entry": str(row.reading.id) if row.reading else None}
                 for row in shown.rows],
    }


def after_signature(session: Session, opened: Round) -> list[rounds.Reading]:
    """Entries that the round's signature does not cover: they came, or were corrected, after it."""
    return signatures.addenda_of(session, opened)
