"""What a head operator does with a sheet: signs it as it stands. What is done with a flag is in app/flag_life.py."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from app import judging, signatures
from app.flag_life import SomebodyWasFaster
from app.flag_life import close as close
from app.flag_life import mark_seen as mark_seen
from app.flag_life import note_action as note_action
from app.flag_life import take_flag as take_flag
from app.judging import Cause
from app.rules.findings import THIS_SHIFT, Finding
from app.sheets import Row, Sheet, sheet_of
from app.store.people import Person
from app.store.rounds import Round
from app.store.units import Unit

# the signature ---------------------------------------------------------------------------------------------


def sign(session: Session, unit: Unit, opened: Round, person: Person, at: datetime) -> Sheet:
    """Signs a round's sheet as it stands; what was due and neither read nor skipped becomes a flag."""
    session.refresh(opened, with_for_update={"of": Round})  # the row, and not who opened it
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
