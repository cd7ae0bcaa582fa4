"""Taking an entry in: the one store for page, tablet and JSON door. Saved once however often it is sent.

Everything that happened is kept: what breaks a rule is stored and flagged, never refused. What cannot be true, or
names a motor or person that is not of this unit, is refused at its field.
"""

from __future__ import annotations

import uuid
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from app import judging, opened_round, usual_entry
from app.entries import BadEntry, Entry, Problem
from app.observing import condition_then, forget, observe
from app.rules.findings import Finding
from app.rules.shifts import Shift
from app.store import entry_ground, flags, motors, people, rounds
from app.store.entry_ground import Ground, Instant
from app.store.lubrication import Greasing
from app.store.motors import Motor
from app.store.new_reading import new_reading
from app.store.people import HEAD_OPERATOR, Person, Token
from app.store.plain import dialect_of
from app.store.rounds import Reading, Round
from app.store.units import Unit

#: Columns that the server fills in; the rest is what was sent.
FILLED_IN = frozenset({
    "id", "content", "unit_id", "round_id", "motor_id", "nameplate_id", "person_id", "token_id", "taken_at",
    "taken_at_device", "at", "clock_offset_s", "received_at", "condition_before", "typed", "run_s",
    "at_device", "watch", "taken_back", "dip_id", "unsure_s", "gun", "stroke_g", "strokes"})
#: One id names one entry, of whatever kind.
KINDS: tuple[type[Any], ...] = entry_ground.KINDS
#: Less than this is the network's delay, not a wrong clock.
CLOCK_NOISE_S = 2.0
#: A sender without device_now may be this far ahead before it is asked to send one.
AHEAD = timedelta(minutes=10)


class OtherContent(ValueError):
    """The id is known with other content; `problems` names each field where the stored and the sent one differ."""

    def __init__(self, says: str, problems: list[Problem] | None = None) -> None:
        self.problems = problems or []
        super().__init__(says)


class NotAllowed(PermissionError):
    """This person may not do this, with the words to show."""


@dataclass(frozen=True)
class Sender:
    """Who brings an entry in: a signed-in person, or a token for a person named in the entry."""

    unit: Unit
    received_at: datetime
    person: Person | None = None
    token: Token | None = None


@dataclass(frozen=True)
class Recorded:
    """The answer to an entry: stored is False when it was there already."""

    id: uuid.UUID
    stored: bool
    findings: list[Finding] = field(default_factory=list)


# rounds ----------------------------------------------------------------------------------------------------


def open_round(session: Session, unit: Unit, shift: Shift, at: datetime, person_id: int | None) -> tuple[Round, bool]:
    """The round of a shift, made when it is not there: one, however many tablets ask at once."""
    found = rounds.round_of(session, unit.id, shift.date, shift.name)
    if found is not None:
        return found, False
    insert = postgresql.insert if dialect_of(session).name == "postgresql" else sqlite.insert
    made = session.scalar(insert(Round).values(
        unit_id=unit.id, shift_date=shift.date, shift_name=shift.name, starts_at=shift.starts_at,
        ends_at=shift.ends_at, opened_at=at, opened_by_id=person_id).on_conflict_do_nothing(
            index_elements=(Round.unit_id, Round.shift_date, Round.shift_name)).returning(Round.id))
    opened = rounds.round_of(session, unit.id, shift.date, shift.name)
    assert opened is not None
    return opened, made is not None


def open_sheet(session: Session, unit: Unit, at: datetime, person: Person) -> Round:
    """Opens the shift's sheet: what the clock alone made due is flagged now, once."""
    opened, new = open_round(session, unit, unit.calendar.shift_of(at), at, person.id)
    if new:
        opened_round.judge(session, unit, opened, at)
    return opened


# what both kinds of entry need -----------------------------------------------------------------------------


def corrected_time(entry: Entry, at_field: str, received_at: datetime) -> tuple[datetime, float]:
    """When it was really observed, and the tablet's clock error in seconds (server minus tablet)."""
    offset = 0.0
    if entry.device_now is not None:
        apart_s = (received_at - entry.device_now).total_seconds()
        offset = 0.0 if abs(apart_s) < CLOCK_NOISE_S else float(round(apart_s))
    try:
        at = entry.at_device + timedelta(seconds=offset)
    except OverflowError:
        at = received_at
    if at > received_at:
        if entry.device_now is None and at > received_at + AHEAD:
            raise BadEntry([Problem(at_field, "This time has not come yet. Send device_now, your clock's own idea of "
                                              "now, so that the time can be corrected.")])
        at = received_at  # nothing was observed after it arrived; what the clock said is kept beside it
    return at, offset


def motor_of(session: Session, sender: Sender, entry: Entry) -> Motor:
    motor = motors.motor_by_tag(session, sender.unit.id, entry.tag)
    if motor is None:
        raise BadEntry([Problem("tag", "No motor of this unit has this tag.")])
    # Entries of one motor are judged one after the other, also with several servers on one database. The row is read
    # again once it is ours. Its key stays free: a round being opened or signed meanwhile may point at it.
    return session.get_one(Motor, motor.id, with_for_update={"key_share": True}, populate_existing=True)


def person_of(session: Session, sender: Sender, entry: Entry) -> Person:
    if sender.person is not None:
        return sender.person
    found = people.person_by_sign_in(session, entry.by)
    if found is None or sender.unit.id not in {u.id for u in found.units}:
        raise BadEntry([Problem("by", "No person of this unit signs in with this name.")])
    return found


def stored_before(session: Session, kind: type[Any], entry: Entry, unit: Unit) -> Any:
    """The entry with this id, when it was stored before with the same content. Raises OtherContent."""
    there = session.get(kind, entry.id)
    if there is None:
        others = [sa.select(other.id).where(other.id == entry.id) for other in KINDS if other is not kind]
        if session.scalar(sa.union_all(*others)) is not None:
            raise OtherContent(f"{entry.id} is known as an entry of another kind; make a new id for a new entry.")
        return None
    if there.unit_id != unit.id:
        raise OtherContent(f"{entry.id} is known elsewhere; make a new id for a new entry.")
    if there.content != entry.content:
        raise OtherContent(_both(there, entry), _differences(there, entry))
    return there


def _said_at(there: Any) -> datetime:
    """The time as the sender's clock had it."""
    if isinstance(there, Reading):
        return there.taken_at_device
    return getattr(there, "at_device", there.at)  # type: ignore[no-any-return]


def _both(there: Any, entry: Entry) -> str:
    """Names the stored entry and the sent one that claims its id."""
    at = _said_at(there)
    return (f"{entry.id} is stored as {there.motor.tag} at {at.isoformat()} by {there.person.sign_in}; sent now is "
            f"{entry.tag} at {entry.at_device.isoformat()} by {entry.by}, with other content. "
            "Make a new id for a new entry.")


def _differences(there: Any, entry: Entry) -> list[Problem]:
    """Field by field: what is stored under this id, and what was sent."""
    at, at_field = _said_at(there), "taken_at" if isinstance(there, Reading) else "at"
    pairs = [("tag", there.motor.tag, entry.tag), ("by", there.person.sign_in, entry.by),
             (at_field, at.isoformat(), entry.at_device.isoformat())]
    names = [column.key for column in sa.inspect(type(there)).column_attrs]
    stored = {name: getattr(there, name) for name in names if name not in FILLED_IN}
    pairs += [(field_of(name), stored.get(name), entry.columns.get(name))
              for name in sorted({*stored, *entry.columns})]
    return [Problem(name, f"stored {_told(old)}, sent {_told(new)}") for name, old, new in pairs
            if _told(old) != _told(new)]


def field_of(column: str) -> str:
    """The field of the body that a column holds.

    >>> field_of("bearing_temp_c_de"), field_of("current_a_1"), field_of("replaces_id"), field_of("smoke")
    ('bearing_temp_c.DE', 'current_a.1', 'replaces', 'smoke')
    """
    name, _, last = column.rpartition("_")
    if last in ("de", "ode"):
        return f"{name}.{last.upper()}"
    if last.isdigit():
        return f"{name}.{last}"
    return "replaces" if column == "replaces_id" else column


def _told(value: Any) -> str:
    return "nothing" if value is None or value is False or value in ("", {}) else f"“{value}”"


def add_once(session: Session, row: Any) -> bool:
    """Inserts the row; False when another server stored the same id in this moment. SQLite has no other server, and
    this is its one writer: the row goes in with whatever is flushed next."""
    if dialect_of(session).name == "sqlite":
        session.add(row)
        return True
    try:
        with session.begin_nested():
            session.add(row)
            session.flush()
    except sa.exc.IntegrityError:
        if session.get(type(row), row.id) is None:
            raise
        return False
    return True


def answer_of(session: Session, row: Any, stored: bool) -> Recorded:
    found = flags.findings_of(session, [row.id]).get(row.id, [])
    return Recorded(row.id, stored, [f.as_rule() for f in found])


# readings --------------------------------------------------------------------------------------------------


def record_reading(session: Session, sender: Sender, entry: Entry, typed: dict[str, str] | None = None,
                   watch: bool = False, seen: Ground | None = None) -> Recorded:
    """Stores one reading or skip, judges it, and says what was found. Raises BadEntry, OtherContent, NotAllowed.

    typed: what was typed where it was converted. watch: a timed look of the first-run watch, no check of a round.
    seen: what this session has found out of a motor already; asked again where it is of another entry or instant.
    """
    ground = ground_of(session, sender, entry, seen)
    if ground is not None and entry.columns.get("replaces_id") is None:
        taken_at, offset = corrected_time(entry, "taken_at", sender.received_at)
        if ground.round_id is not None and ground.newest(taken_at):
            return _record_usual(session, sender, entry, ground, taken_at, offset, typed, watch)
    return _record_whole(session, sender, entry, typed, watch)


def _record_usual(session: Session, sender: Sender, entry: Entry, ground: Ground, taken_at: datetime, offset: float,
                  typed: dict[str, str] | None, watch: bool) -> Recorded:
    """The newest entry of its motor in an open round: nearly every one."""
    ground = entry_ground.with_running(session, ground)
    plate = ground.motor.nameplate_at(taken_at)
    row = new_reading(
        id=entry.id, content=entry.content, unit_id=sender.unit.id, round_id=ground.round_id,
        motor_id=ground.motor.id, nameplate_id=plate.id if plate else None,
        person_id=person_of(session, sender, entry).id, token_id=sender.token.id if sender.token else None,
        taken_at=taken_at, taken_at_device=entry.at_device, clock_offset_s=offset, received_at=sender.received_at,
        typed=typed or {}, watch=watch, condition_before=ground.condition, **entry.columns)
    return Recorded(row.id, True, usual_entry.store(session, sender.unit, ground, row))


def _record_whole(session: Session, sender: Sender, entry: Entry, typed: dict[str, str] | None,
                  watch: bool) -> Recorded:
    """Any entry: known already, late, a correction, the first of its shift."""
    there = stored_before(session, Reading, entry, sender.unit)
    if there is not None:
        return answer_of(session, there, False)
    motor = motor_of(session, sender, entry)
    person = person_of(session, sender, entry)
    taken_at, offset = corrected_time(entry, "taken_at", sender.received_at)
    replaced = _replaced(session, sender, motor, person, entry)
    shift = sender.unit.calendar.shift_of(taken_at)
    opened, new = open_round(session, sender.unit, shift, sender.received_at, person.id)
    plate = motor.nameplate_at(taken_at)
    row = Reading(
        id=entry.id, content=entry.content, unit_id=sender.unit.id, round_id=opened.id, motor_id=motor.id,
        nameplate_id=plate.id if plate else None, person_id=person.id,
        token_id=sender.token.id if sender.token else None, taken_at=taken_at, taken_at_device=entry.at_device,
        clock_offset_s=offset, received_at=sender.received_at, typed=typed or {}, watch=watch,
        condition_before=condition_then(session, motor, taken_at), **entry.columns)
    if not add_once(session, row):
        return answer_of(session, stored_before(session, Reading, entry, sender.unit), False)
    if replaced is not None:
        forget(session, motor, replaced)
    if not row.skipped and row.state:
        observe(session, motor, row.state, taken_at, exact=False)
    found = judging.judge_reading(session, sender.unit, motor, row, replaced)
    if new and shift.holds(sender.received_at):  # the shift's first entry opens its sheet, as looking at it does
        opened_round.judge(session, sender.unit, opened, sender.received_at)
    return Recorded(row.id, True, found)


def look_at(session: Session, unit: Unit, motor_id: int, entry_id: uuid.UUID | None, at: datetime,
            running: bool = True) -> Ground | None:
    """How it stands with a motor before an entry of this instant is read and stored. The motor's row is ours from now
    on. None where it is not one of the unit. running: with its running readings before."""
    return entry_ground.ground_of_motor(session, unit.id, motor_id, _instant(unit, entry_id, at), running)


def ground_of(session: Session, sender: Sender, entry: Entry, seen: Ground | None = None) -> Ground | None:
    """What a save must know of its motor; None where the entry names no motor of the unit or no time that can be."""
    try:
        taken_at, _ = corrected_time(entry, "taken_at", sender.received_at)
    except BadEntry:
        return None
    if seen is not None and (seen.asked.entry_id, seen.asked.at, seen.motor.tag) == (entry.id, taken_at, entry.tag):
        return seen
    return entry_ground.ground_of_tag(session, sender.unit.id, entry.tag, _instant(sender.unit, entry.id, taken_at))


def _instant(unit: Unit, entry_id: uuid.UUID | None, at: datetime) -> Instant:
    shift = unit.calendar.shift_of(at)
    return Instant(entry_id, at, shift.date, shift.name)


def _replaced(session: Session, sender: Sender, motor: Motor, person: Person, entry: Entry) -> Reading | None:
    """The reading a correction names. Raises where it is not there, corrected before, or not this person's."""
    key = entry.columns.get("replaces_id")
    if key is None:
        return None
    old = session.get(Reading, key)
    if old is None or old.unit_id != sender.unit.id or old.motor_id != motor.id:
        raise BadEntry([Problem("replaces", "No reading of this motor has this id.")])
    if session.scalar(sa.select(Reading.id).where(Reading.replaces_id == old.id)):
        raise BadEntry([Problem("replaces", "This reading was corrected before. Correct the newer one.")])
    if not person.may(HEAD_OPERATOR):
        if old.person_id != person.id:
            raise NotAllowed("You can correct your own entries. Ask the head operator to correct this one.")
        if old.round.signed_at is not None:
            raise NotAllowed("The sheet is signed. Ask the head operator to correct this entry.")
    return old


# greasings -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class GivenWith:
    """The gun a greasing was given with, as it was counted at the motor."""

    gun: str
    stroke_g: float
    strokes: float


def record_greasing(session: Session, sender: Sender, entry: Entry, given: GivenWith | None = None) -> Recorded:
    """Stores one greasing, judges it, moves the due date. Raises BadEntry, OtherContent."""
    there = stored_before(session, Greasing, entry, sender.unit)
    if there is not None:
        return answer_of(session, there, False)
    motor = motor_of(session, sender, entry)
    person = person_of(session, sender, entry)
    at, _ = corrected_time(entry, "at", sender.received_at)
    row = Greasing(
        id=entry.id, content=entry.content, unit_id=sender.unit.id, motor_id=motor.id, at=at,
        received_at=sender.received_at, person_id=person.id, token_id=sender.token.id if sender.token else None,
        **_run_at(session, motor, at), **entry.columns, **(asdict(given) if given else {}))
    row.person = session.get_one(Person, person.id)
    if not add_once(session, row):
        return answer_of(session, stored_before(session, Greasing, entry, sender.unit), False)
    return Recorded(row.id, True, judging.judge_greasing(session, sender.unit, motor, row))


def _run_at(session: Session, motor: Motor, at: datetime) -> dict[str, float]:
    """The motor's running and unsure seconds at an instant; nothing before its first observation."""
    run = judging.run_then(session, motor, at)
    if run is None:
        return {}
    run_s, unsure_s = run.until(at)
    return {"run_s": run_s, "unsure_s": unsure_s}
