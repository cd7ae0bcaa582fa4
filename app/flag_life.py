"""What people do with a flag: seen, done, who will by when, run on, shelved, woken, closed, accepted. Each is a note.

Two people on one flag at once: one wins, the other is told what happened. A decision never hides the flag from the
next reading: what shows again is counted, and what gets worse wakes it.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app.flagging import RETURNED
from app.rules import accepting, clearing, shelving
from app.rules.findings import ACT_NOW
from app.store import flags, limits
from app.store.changes import note_change
from app.store.flags import Flag, Note
from app.store.motors import Motor
from app.store.people import SUPERVISOR, Person
from app.store.rounds import Reading
from app.store.units import Unit

#: Longest that anything is left to itself before somebody looks again.
LONGEST = timedelta(days=shelving.MOST_DAYS)
ACCEPTED = "accepted as this motor's normal"


class SomebodyWasFaster(RuntimeError):
    """Another person acted on this between looking and deciding; says what happened."""


class CannotDo(ValueError):
    """This act does not go with this flag; `field` is where to put the words right."""

    def __init__(self, field: str, says: str) -> None:
        self.field = field
        super().__init__(says)


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


def local_words(unit: Unit, at: datetime) -> str:
    """A time as a note keeps it: in the unit's zone, with no month and day to mix up."""
    there = at.astimezone(unit.calendar.zone)
    return f"{there.day} {there:%b %Y, %H:%M}"


def _note(session: Session, flag: Flag, person: Person, at: datetime, kind: str, text: str) -> None:
    session.add(Note(flag_id=flag.id, person_id=person.id, at=at, kind=kind, text=text))
    session.flush()


# seen, done ------------------------------------------------------------------------------------------------


def mark_seen(session: Session, flag: Flag, person: Person, at: datetime) -> None:
    """Seen is owned, not gone: it stands until the condition returns or somebody closes it."""
    if flag.seen_at is None:
        flag.seen_at, flag.seen_by_id = at, person.id
        _note(session, flag, person, at, "seen", "seen")
    if flag.returned_at is not None and flag.open and flag.unstable_at is None:
        flag.closed_at, flag.closed_why = at, RETURNED


def note_action(session: Session, flag: Flag, person: Person, at: datetime, text: str) -> None:
    """What was done, or who was told, when and how. Whoever writes that has seen it."""
    mark_seen(session, flag, person, at)
    flag.action, flag.action_by_id, flag.action_at = text, person.id, at
    _note(session, flag, person, at, "done", text)


def plan(session: Session, unit: Unit, flag: Flag, person: Person, at: datetime, owner: str, due_at: datetime,
         text: str = "") -> None:
    """Who will do what comes next, and by when; with what was done already, where something was. Raises CannotDo."""
    _ahead("due_at", due_at, at, None)
    flag.owner, flag.due_at = owner, due_at
    will = f"{owner} will, by {local_words(unit, due_at)}"
    note_action(session, flag, person, at, f"{text}. {will}".replace(".. ", ". ") if text else will)


def _ahead(field: str, then: datetime, now: datetime, most: timedelta | None) -> None:
    if then <= now:
        raise CannotDo(field, "This time has passed. Enter one that is still to come.")
    if most is not None and then > now + most:
        raise CannotDo(field, f"Look again within {most.days} days.")


# run on, shelve --------------------------------------------------------------------------------------------


def run_on(session: Session, unit: Unit, flag: Flag, person: Person, at: datetime, reason: str, watch: str,
           review_at: datetime) -> None:
    """The named decision to keep a motor running with this flag, with what to watch and when to look again."""
    if flag.returned_at is not None:
        raise CannotDo("reason", "It has returned to normal: there is nothing to run on with.")
    _ahead("review_at", review_at, at, LONGEST)
    mark_seen(session, flag, person, at)
    flag.run_on_reason, flag.run_on_watch = reason, watch
    flag.run_on_at, flag.run_on_review_at = at, review_at
    _note(session, flag, person, at, "run on",
          f"{reason}. Watch: {watch}. Look again: {local_words(unit, review_at)}")


def end_run_on(session: Session, flag: Flag, person: Person, at: datetime, text: str) -> None:
    """It no longer runs on with this: swapped, stopped or mended. The flag stands with what was done."""
    flag.run_on_review_at = None
    note_action(session, flag, person, at, text)


def may_shelve_until(unit: Unit, person: Person, now: datetime) -> list[datetime]:
    """The starts of shifts that this person may choose from."""
    return shelving.wakes_at(unit.calendar, now, for_days=person.may(SUPERVISOR))


def shelve(session: Session, unit: Unit, flag: Flag, person: Person, at: datetime, reason: str, watch: str,
           until: datetime) -> None:
    """Puts a flag aside until a shift begins. It wakes early when it worsens. Raises CannotDo."""
    if flag.priority == ACT_NOW:
        raise CannotDo("until", "An act now flag is never shelved. Act on it, or decide to run on and say why.")
    if flag.returned_at is not None:
        raise CannotDo("until", "It has returned to normal: there is nothing to shelve.")
    if until not in may_shelve_until(unit, person, at):
        most = f"{shelving.MOST_DAYS} days" if person.may(SUPERVISOR) else f"{shelving.MOST_SHIFTS} shifts"
        raise CannotDo("until", f"Choose the start of a shift to wake at: at most {most} on, for you.")
    mark_seen(session, flag, person, at)
    flag.shelved_at, flag.shelved_until, flag.shelved_why, flag.shelved_watch = at, until, reason, watch
    flag.shelved_priority, flag.shelved_value, flag.woken_why = flag.priority, flag.value, None
    _note(session, flag, person, at, "shelved", f"{reason}. Watch: {watch}. Until {local_words(unit, until)}")


def wake(session: Session, flag: Flag, person: Person, at: datetime, text: str) -> None:
    """Back in the list before its time, by name."""
    if not flag.shelved(at):
        raise CannotDo("text", "This flag is not shelved.")
    flag.shelved_until, flag.woken_why = at, text
    _note(session, flag, person, at, "woken", text)


# closed, accepted ------------------------------------------------------------------------------------------


def needs_reading(flag: Flag) -> bool:
    """What a better reading can show is closed with one; what only an act ends (a start, a greasing) is not."""
    return flag.rule not in clearing.BY_ACT_ONLY


def close(session: Session, flag: Flag, person: Person, at: datetime, text: str,
          reading: Reading | None = None) -> None:
    """Closed with what was done and the reading that shows it. If it shows again, a new flag names this one.

    Where no reading shows it yet, none is kept with it, and the flag's page says so: the gap stays visible.
    """
    mark_seen(session, flag, person, at)
    flag.closed_at, flag.closed_by_id, flag.closed_why = at, person.id, text
    flag.closed_reading_id = reading.id if reading is not None else None
    _note(session, flag, person, at, "closed", text)


def accept(session: Session, unit: Unit, flag: Flag, person: Person, at: datetime, why: str, name: str, value: float,
           least: float) -> None:
    """Closes a flag as this motor's normal: the limit that raised it is moved for this motor, from now on.

    value, least: in the limit's own unit, SI; below the least the flag would come back. Raises CannotDo, BadLimit.
    """
    in_force = limits.limits_at(session, unit.id, flag.motor_id, at)
    if value < least:
        raise CannotDo("value", "That is below what was found: it would be flagged again. Enter a limit above it.")
    graver = accepting.graver(name)
    if graver is not None and value >= in_force.value(graver):
        raise CannotDo("value", "That reaches the act now limit, which stays where it is.")
    before = in_force.value(name)
    limits.change_limit(session, unit, name, value, flag.motor.tag, why, person, at, show=unit.show)
    _accepted(session, flag, person, at, why, f"{name} {before:g} → {value:g}")


def accept_feel(session: Session, flag: Flag, person: Person, at: datetime, why: str, feel: str) -> None:
    """The winding of this motor always feels so: from now on that is what change is judged from."""
    motor = flag.motor
    _change(session, motor, person, at, "accepted_normal_feel", motor.accepted_normal_feel, feel, why)
    motor.accepted_normal_feel = feel
    _accepted(session, flag, person, at, why, f"winding's normal feel: {feel}")


def accept_new_normal(session: Session, flag: Flag, person: Person, at: datetime, why: str) -> None:
    """What went before is no measure any more: its own normal begins anew now."""
    motor = flag.motor
    _change(session, motor, person, at, "new_normal_at", motor.new_normal_at, at, why)
    motor.new_normal_at = at
    _accepted(session, flag, person, at, why, "its own normal begins anew")


def _change(session: Session, motor: Motor, person: Person, at: datetime, field: str, before: object, after: object,
            why: str) -> None:
    note_change(session, unit_id=motor.unit_id, at=at, person=person, subject="motor", subject_id=motor.id,
                label=motor.tag, field=field, before=before, after=after, why=why)


def _accepted(session: Session, flag: Flag, person: Person, at: datetime, why: str, what: str) -> None:
    mark_seen(session, flag, person, at)
    flag.closed_at, flag.closed_by_id, flag.closed_why = at, person.id, f"{ACCEPTED}: {why}"
    _note(session, flag, person, at, "accepted", f"{why} ({what})")
