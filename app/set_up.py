"""The first set-up of an empty database: a one-time code that `serve` prints opens it, the first supervisor closes it.

The code is new at each start until it is used; only its hash is kept. It is long and random, so that guessing is
hopeless, and slowed all the same.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app import unit_settings
from app.rules import shift_change
from app.rules.shifts import ShiftStart
from app.store import people, set_up, units
from app.store.changes import note_change
from app.store.people import SUPERVISOR, Person
from app.store.set_up import SetUpCode
from app.store.units import Unit
from app.unit_settings import BadUnit

#: No letter or figure that is taken for another when it is read off a screen and typed: 20 of 31 are 99 bits.
LETTERS, LENGTH, GROUP = "ABCDEFGHJKMNPQRSTUVWXYZ23456789", 20, 5
#: Under this name wrong codes are counted and slowed.
WHO = "set-up code"
LONGEST_NAME = 120


class Closed(RuntimeError):
    """The first supervisor is there: nothing is set up this way any more."""


def new_code() -> str:
    letters = "".join(secrets.choice(LETTERS) for _ in range(LENGTH))
    return "-".join(letters[i:i + GROUP] for i in range(0, LENGTH, GROUP))


def hash_code(typed: str) -> str:
    """Of the code as it is meant: upper or lower case, with dashes and spaces or without."""
    return hashlib.sha256("".join(c for c in typed.upper() if c.isalnum()).encode()).hexdigest()


def open_door(session: Session, now: datetime) -> str | None:
    """A new code in the place of any before; None, and no code any more, once there is a supervisor."""
    if set_up.has_supervisor(session):
        set_up.forget_code(session)
        return None
    code = new_code()
    set_up.put_code(session, hash_code(code), now)
    return code


def is_open(session: Session) -> bool:
    """Until there is a supervisor. Without a code, as under a server that prints none, nobody is let in."""
    return not set_up.has_supervisor(session)


def nobody_yet(session: Session) -> bool:
    """Whether nobody at all can sign in: the sign-in page then says where to begin."""
    return not session.scalar(sa.select(sa.exists().where(Person.id.is_not(None))))


def fits(session: Session, typed: str) -> bool:
    """Compared in the same time whatever was typed, and whether there is a code or not."""
    there = set_up.code_hash(session)
    same = hmac.compare_digest(hash_code(typed), there or hash_code(new_code()))
    return same and there is not None


def pass_of(session: Session, secret: bytes) -> str | None:
    """What a browser that gave the code holds; another code, or none any more, ends it."""
    there = set_up.code_hash(session)
    return None if there is None else hmac.new(secret, b"set-up " + there.encode(), hashlib.sha256).hexdigest()


def hold(session: Session) -> None:
    """Of two who end the set-up at once one waits, and then finds it closed. Raises Closed."""
    row = session.scalar(sa.select(SetUpCode).order_by(SetUpCode.id.desc()).limit(1).with_for_update())
    if row is None or set_up.has_supervisor(session):
        raise Closed


def first_unit(session: Session, name: str, zone: str, starts: list[ShiftStart], scales: dict[str, str],
               now: datetime) -> Unit:
    """The unit with its zone, shifts and scales. Raises BadUnit with the field to put right, and Closed."""
    hold(session)
    if not name or len(name) > LONGEST_NAME:
        raise BadUnit("name", f"Enter the unit's name, at most {LONGEST_NAME} characters.")
    if units.unit_named(session, name) is not None:
        raise BadUnit("name", "A unit of this name is there already.")
    if not unit_settings.known_zone(zone):
        raise BadUnit("time_zone", "Enter an IANA name such as America/Chicago or Europe/Berlin.")
    wrong = shift_change.starts_fault(starts)
    if wrong is not None:
        raise BadUnit(unit_settings.field_of_start(wrong), wrong[1])
    made = units.add_unit(session, name, zone, starts, now)
    unit_settings.show_in(session, made, scales, None, now)
    return made


def first_supervisor(session: Session, sign_in: str, name: str, hashed: str, now: datetime) -> Person:
    """The first supervisor, of every unit there is. The set-up is closed with it. Raises Closed."""
    hold(session)
    made = people.add_person(session, sign_in, name, SUPERVISOR, hashed, units.all_units(session), now)
    for unit in made.units:
        note_change(session, unit_id=unit.id, at=now, person=made, subject="person", subject_id=made.id, label=sign_in,
                    field="added", before=None, after=f"{name}, {SUPERVISOR}", why="first set-up")
    made.last_sign_in_at = now
    set_up.forget_code(session)
    session.flush()
    return made
