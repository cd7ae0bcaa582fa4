""""Undo" after Save: an entry is taken back by a correction that tells nothing, so that nothing is lost."""

from __future__ import annotations

import hashlib
import uuid
from datetime import timedelta

from sqlalchemy.orm import Session

from app import judging
from app.entries import BadEntry, Problem
from app.observing import forget
from app.recording import NotAllowed, OtherContent, Recorded, Sender, add_once
from app.store import rounds
from app.store.motors import Motor
from app.store.rounds import Reading

#: So long is "Undo" offered after Save, and so long may it be on its way.
UNDO, UNDO_ON_ITS_WAY = timedelta(seconds=10), timedelta(seconds=20)
TAKEN_BACK = "taken back"


def take_back(session: Session, sender: Sender, key: uuid.UUID, new_key: uuid.UUID) -> Recorded:
    """Takes an entry back within a moment of saving it: a correction that tells nothing. The entry stays readable,
    marked; the motor counts as not looked at. Asked twice, it is done once. Raises BadEntry, NotAllowed."""
    old = rounds.reading_by_id(session, sender.unit.id, key)
    if old is None or sender.person is None:
        raise BadEntry([Problem("replaces", "No entry of this unit has this id.")])
    motor = session.get_one(Motor, old.motor_id, with_for_update={"key_share": True}, populate_existing=True)
    newer = rounds.correction_of(session, key)
    if newer is not None and newer.taken_back:
        return Recorded(newer.id, False)
    if newer is not None or old.replaces_id is not None or old.taken_back or sender.person.id != old.person_id:
        raise NotAllowed("Only an entry of your own that corrects nothing and was not corrected is taken back.")
    if old.round.signed_at is not None or sender.received_at - old.received_at > UNDO + UNDO_ON_ITS_WAY:
        raise NotAllowed("It is too late to take it back. Correct it instead: both stay readable.")
    digest = hashlib.sha256(f"taken back {old.id}".encode()).hexdigest()
    row = Reading(
        id=new_key, content=digest, unit_id=old.unit_id, round_id=old.round_id, motor_id=old.motor_id,
        nameplate_id=old.nameplate_id, person_id=sender.person.id, taken_at=old.taken_at,
        taken_at_device=old.taken_at_device, clock_offset_s=old.clock_offset_s, received_at=sender.received_at,
        skip_reason=TAKEN_BACK, replaces_id=old.id, replaces_why=TAKEN_BACK, taken_back=True)
    if not add_once(session, row):
        raise OtherContent(f"{new_key} is known; make a new id.")
    forget(session, motor, old)
    judging.judge_reading(session, sender.unit, motor, row, old)
    return Recorded(row.id, True)
