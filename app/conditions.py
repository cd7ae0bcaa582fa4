"""Where a motor stands, by a named act: the only way a lock on record is entered with its tag, or ended.

A record, not a release: it says what somebody found and did, and clears nothing to be worked on.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.observing import observe
from app.rules import facts
from app.store import changes
from app.store.motors import Motor
from app.store.people import HEAD_OPERATOR, Person


@dataclass(frozen=True)
class Wanted:
    """The condition asked for; a lock with the number on its tag and whose it is."""

    condition: str
    lock_tag: str | None = None
    lock_owner: str | None = None
    why: str | None = None

    @property
    def locked(self) -> bool:
        return self.condition == facts.LOCKED_OUT


def ends_lock(motor: Motor, wanted: Wanted) -> bool:
    """Another condition ends the lock on record, and so does another lock in its place."""
    if motor.condition != facts.LOCKED_OUT:
        return False
    another = (wanted.lock_tag, wanted.lock_owner) != (motor.lock_tag, motor.lock_owner)
    return not wanted.locked or (motor.lock_tag is not None and another)


def faults(motor: Motor, wanted: Wanted, person: Person) -> list[tuple[str, str]]:
    """What is missing, or not this person's to do: each with the field to put it right at."""
    found = []
    if wanted.locked and not wanted.lock_tag:
        found.append(("lock_tag", "Enter the number on the lock-out tag."))
    if wanted.locked and not wanted.lock_owner:
        found.append(("lock_owner", "Enter whose lock it is."))
    if ends_lock(motor, wanted):
        if not person.may(HEAD_OPERATOR):
            found.append(("condition", "A lock on record is ended by the head operator, on the word of the lock's "
                                       "owner."))
        elif not wanted.why:
            found.append(("why", "Write who took the lock off, and when."))
    return found


def change(session: Session, motor: Motor, wanted: Wanted, person: Person, now: datetime) -> None:
    """On record from now on, noted with before, after and who. faults() must have found none."""
    before = on_record(motor)
    motor.lock_tag, motor.lock_owner = (wanted.lock_tag, wanted.lock_owner) if wanted.locked else (None, None)
    motor.condition, motor.condition_at = wanted.condition, now
    changes.note_change(session, unit_id=motor.unit_id, at=now, person=person, subject="motor", subject_id=motor.id,
                        label=motor.tag, field="condition", before=before, after=on_record(motor),
                        why=wanted.why or None)
    observe(session, motor, wanted.condition, now)


def on_record(motor: Motor) -> str | None:
    """The condition in words; a lock with its tag and owner."""
    if motor.condition != facts.LOCKED_OUT or not motor.lock_tag:
        return motor.condition
    return f"{motor.condition}, tag {motor.lock_tag}, {motor.lock_owner}"
