"""Finding things of a unit by words: tag, service, maker's serial, remarks. Forgiving in what is typed, exact in what
is shown.

The register is small and is looked through whole; what was written with readings and on flags only as far back as
NEWEST, so that a search costs the same whatever history holds. Texts are compared here and not by the database: case,
kinds of dash and wildcards mean the same on both.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.store.flags import Flag, Note
from app.store.motors import Motor, Nameplate, tag_key, walking_order
from app.store.people import Person
from app.store.rounds import HAS_WORDS, Reading, corrected_of

#: How many remarks, the newest first, a search looks through at once.
NEWEST = 2000
NEWEST_NOTES = 2000
_JOINTS = re.compile(r"[\s-]+")


def plain(text: str) -> str:
    """A tag or a serial without what people leave out: dashes of every kind, blanks, case.

    >>> plain("P\u2011101 a") == plain("p101A")
    True
    """
    return _JOINTS.sub("", tag_key(text))


def has_words(wanted: str) -> Callable[[str], bool]:
    """Whether a text has every word of what is wanted, in any order, whatever the case and the dashes."""
    words = tag_key(wanted).split()
    return lambda text: bool(words) and all(word in tag_key(text) for word in words)


# the register ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Place:
    """A motor as the register names it."""

    id: int
    tag: str
    service: str
    area: str
    condition: str | None
    remarks: str


@dataclass(frozen=True)
class Serial:
    place: Place
    serial: str
    fitted_on: date | None
    fitted_now: bool


def places(session: Session, unit_id: int) -> list[Place]:
    """Every motor of the unit in walking order, only what is compared and shown."""
    return [Place(*row) for row in session.execute(
        sa.select(Motor.id, Motor.tag, Motor.service, Motor.area, Motor.condition, Motor.remarks)
        .where(Motor.unit_id == unit_id).order_by(*walking_order()))]


def by_tag(among: Iterable[Place], wanted: str) -> list[Place]:
    """The very tag first, then those that begin with it, end with it, hold it; each in walking order."""
    key = plain(wanted)
    ranked = [(_rank(plain(place.tag), key), i, place) for i, place in enumerate(among)] if key else []
    return [place for rank, _, place in sorted(ranked, key=lambda r: r[:2]) if rank < 4]


def _rank(tag: str, key: str) -> int:
    return 0 if tag == key else 1 if tag.startswith(key) else 2 if tag.endswith(key) else 3 if key in tag else 4


def by_end_of_tag(among: Iterable[Place], wanted: str) -> list[Place]:
    """The motors whose tag ends so, in walking order."""
    key = plain(wanted)
    return [place for place in among if key and plain(place.tag).endswith(key)]


def by_service(among: Iterable[Place], wanted: str) -> list[Place]:
    fits = has_words(wanted)
    return [place for place in among if fits(place.service)]


def by_register_remark(among: Iterable[Place], wanted: str) -> list[Place]:
    fits = has_words(wanted)
    return [place for place in among if fits(place.remarks)]


def by_serial(session: Session, unit_id: int, among: Iterable[Place], wanted: str) -> list[Serial]:
    """The plate fitted now and those before it: a serial leads to where the machine is or was."""
    key, known = plain(wanted), {place.id: place for place in among}
    if not key:
        return []
    rows = session.execute(
        sa.select(Nameplate.motor_id, Nameplate.serial, Nameplate.fitted_on)
        .join(Motor, Motor.id == Nameplate.motor_id).where(Motor.unit_id == unit_id)
        .order_by(Nameplate.motor_id, Nameplate.fitted_from.desc(), Nameplate.id.desc())).all()
    found, seen = [], set()
    for motor_id, serial, fitted_on in rows:
        if serial and motor_id in known and key in plain(serial):
            found.append(Serial(known[motor_id], serial, fitted_on, motor_id not in seen))
        seen.add(motor_id)
    order = {motor_id: i for i, motor_id in enumerate(known)}
    return sorted(found, key=lambda s: (order[s.place.id], not s.fitted_now))


# what was written ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Remark:
    """Words that somebody wrote at a motor. kind: remark, skipped, or what a note on a flag was about."""

    motor_id: int
    at: datetime
    by: str
    kind: str
    text: str
    reading_id: uuid.UUID | None = None
    flag_id: int | None = None
    corrected: bool = False


@dataclass(frozen=True)
class Remarks:
    """What fits of those looked through, the newest first. further: the oldest of them, when more lie behind."""

    found: list[Remark]
    looked_at: int
    further: datetime | None


def remarks(session: Session, unit_id: int, wanted: str, before: datetime | None = None,
            most: int = NEWEST) -> Remarks:
    """Among the remarks and skip reasons of readings taken before an instant."""
    query = sa.select(Reading.id, Reading.motor_id, Reading.taken_at, Reading.skip_reason, Reading.remarks,
                      Person.name).join(Person, Person.id == Reading.person_id).where(
        Reading.unit_id == unit_id, sa.text(HAS_WORDS))
    if before is not None:
        query = query.where(Reading.taken_at < before)
    rows = session.execute(query.order_by(Reading.taken_at.desc(), Reading.id.desc()).limit(most + 1)).all()
    fits, found = has_words(wanted), []
    for key, motor_id, at, reason, text, name in rows[:most]:
        for kind, words in (("skipped", reason), ("remark", text)):
            if words and fits(words):
                found.append(Remark(motor_id, at, name, kind, words, reading_id=key))
    gone = corrected_of(session, [r.reading_id for r in found if r.reading_id])
    found = [Remark(**{**vars(r), "corrected": r.reading_id in gone}) for r in found]
    return Remarks(found, len(rows[:most]), rows[most - 1].taken_at if len(rows) > most else None)


def notes(session: Session, unit_id: int, wanted: str, most: int = NEWEST_NOTES) -> list[Remark]:
    """Among the newest notes on flags: what was done, why one runs on, why it was closed."""
    newest = sa.select(Note.id).order_by(Note.id.desc()).limit(most).subquery()
    rows = session.execute(
        sa.select(Flag.motor_id, Note.at, Person.name, Note.kind, Note.text, Note.flag_id)
        .join(newest, newest.c.id == Note.id).join(Flag, Flag.id == Note.flag_id)
        .join(Person, Person.id == Note.person_id).where(Flag.unit_id == unit_id)
        .order_by(Note.at.desc(), Note.id.desc()))
    fits = has_words(wanted)
    return [Remark(motor_id, at, name, kind, text, flag_id=flag_id)
            for motor_id, at, name, kind, text, flag_id in rows if text and fits(text)]
