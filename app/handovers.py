"""The handover: put together from what stands, then words; given by one head operator, taken by another.

Nobody types what the record knows. The incoming person answers each line, understood or query; where only one side
signs, that is kept: not face to face.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app import lubricating, signatures
from app.rules import facts
from app.rules.findings import ACT_NOW, PRIORITIES, THIS_SHIFT
from app.sheets import LEFT, SKIPPED, Sheet, sheet_of
from app.store import dips, flags, handovers, motors, rounds, starts, temporary
from app.store.flags import Flag
from app.store.handovers import Handover, HandoverItem
from app.store.motors import Motor
from app.store.people import Person
from app.store.rounds import Reading, Round
from app.store.units import Unit

#: The kinds of line, in the order in which they are handed over.
FLAG, RUN_ON, HALF_WAY, LOCKED, NOT_NORMAL, TRIP, STARTS, GREASING, NOT_SEEN, ADDENDUM, DIP = KINDS = (
    "flag stands", "run on", "left half-way", "locked out", "out of service", "tripped", "starts used", "greasing due",
    "not seen", "addendum", "power dip")
LAST_HOUR = timedelta(minutes=60)
#: So long after the change of shift the page still offers the shift that ended.
AFTER_THE_CHANGE = timedelta(hours=2)
#: Said elsewhere in the handover, in a line of its own.
FOLDED = {"not_checked": NOT_SEEN, "temporary_state_past_end": HALF_WAY, "greasing_overdue": GREASING}


class CannotHandOver(RuntimeError):
    """Given or taken already, or by the same person; says which."""


class NotAnswered(CannotHandOver):
    """Lines that the incoming person has said nothing to."""

    def __init__(self, keys: list[str]) -> None:
        many = len(keys) != 1
        super().__init__(f"{len(keys)} line{'s are' if many else ' is'} not answered. The handover is not complete: "
                         "say understood or query at each.")
        self.keys = keys


@dataclass(frozen=True)
class Thing:
    """One line: what, at which motor, how grave. key: the same thing keeps its line."""

    key: str
    kind: str
    says: str
    motor: Motor | None = None
    priority: str | None = None


# put together from what stands -----------------------------------------------------------------------------


def things(session: Session, unit: Unit, opened: Round, now: datetime) -> list[Thing]:
    """Everything that a round's shift leaves the next, as it stands now."""
    register = motors.motors_of(session, unit.id)
    sheet = sheet_of(session, unit, opened, now, with_findings=False)
    found = [*_half_way(session, unit, now), *_motors(register), *_trips(session, unit, opened, now),
             *_starts(session, unit, opened, now), *_greasing(session, unit, now), *_not_seen(opened, sheet),
             *_addenda(session, unit, opened), *_dips(session, unit, opened, now)]
    told = {(thing.kind, thing.motor.id if thing.motor else None) for thing in found}
    standing = [f for f in flags.open_flags(session, unit.id) if not _told(f, told)]
    return sorted([*_flags(unit, standing, now), *found], key=lambda t: KINDS.index(t.kind))


def when(unit: Unit, instant: datetime) -> str:
    """24 Nov 07:12 CST: with the zone's word, because an hour may come twice."""
    there = instant.astimezone(unit.calendar.zone)
    return f"{there.day} {there.strftime('%b %H:%M %Z')}"


def _told(flag: Flag, told: set[tuple[str, int | None]]) -> bool:
    """A flag whose motor has a line of that kind already: the same thing is not handed over twice."""
    kind = FOLDED.get(flag.rule)
    return kind is not None and ((kind, flag.motor_id) in told)


def _flags(unit: Unit, standing: list[Flag], now: datetime) -> Iterator[Thing]:
    for flag in standing:
        state = [flag.state(now), f"raised {when(unit, flag.raised_at)}", f"seen {flag.times_seen}×"]
        if flag.shelved(now) and flag.shelved_until is not None:
            state.append(f"shelved until {when(unit, flag.shelved_until)}")
        if flag.seen_at is None:
            state.append("no head operator has seen it yet")
        done = f" Done: {flag.action}." if flag.action else ""
        next_step = f" Next: {flag.owner}{_by(unit, flag.due_at)}." if flag.owner else ""
        says = f"{flag.says}{done}{next_step} ({', '.join(state)})"
        if flag.run_on_reason:
            yield Thing(f"flag {flag.id}", RUN_ON, f"Run on: {flag.run_on_reason}.{_watch(unit, flag)} {says}",
                        flag.motor, flag.priority)
        else:
            yield Thing(f"flag {flag.id}", FLAG, says, flag.motor, flag.priority)


def _by(unit: Unit, due_at: datetime | None) -> str:
    return f", by {when(unit, due_at)}" if due_at else ""


def _watch(unit: Unit, flag: Flag) -> str:
    watch = f" Watch: {flag.run_on_watch}." if flag.run_on_watch else ""
    return watch + (f" Look at it again {when(unit, flag.run_on_review_at)}." if flag.run_on_review_at else "")


def _half_way(session: Session, unit: Unit, now: datetime) -> Iterator[Thing]:
    for state in temporary.standing(session, unit.id):
        where = f" at {state.end}" if state.end else ""
        late = state.past_end(now)
        grave = ACT_NOW if state.kind in ("guard off", "bypass") else THIS_SHIFT
        end = f"was expected to end {when(unit, state.expected_end)}: past its end" if late else (
            f"expected to end {when(unit, state.expected_end)}")
        words = f" {state.words}." if state.words and state.words != state.what else ""
        yield Thing(f"half-way {state.id}", HALF_WAY, f"{state.what[:1].upper()}{state.what[1:]}{where} since "
                    f"{when(unit, state.since)}, {state.person.name}; {end}.{words}", state.motor,
                    grave if late else None)


def _motors(register: list[Motor]) -> Iterator[Thing]:
    for motor in register:
        if motor.condition == facts.LOCKED_OUT:
            lock = f"tag {motor.lock_tag or 'not entered'}, owner {motor.lock_owner or 'not entered'}"
            yield Thing(f"lock {motor.id}", LOCKED,
                        f"Lock on record: {lock}. Leave the lock alone: only its owner takes it off.", motor)
        elif motor.condition == facts.OUT_OF_SERVICE:
            yield Thing(f"out {motor.id}", NOT_NORMAL, f"Out of service. {motor.remarks}".strip(), motor)


def _trips(session: Session, unit: Unit, opened: Round, now: datetime) -> Iterator[Thing]:
    of_shift = starts.trips_between(session, unit.id, opened.starts_at, now + timedelta(microseconds=1))
    older = [t for t in starts.relays_to_reset(session, unit.id) if t.id not in {known.id for known in of_shift}]
    for trip in [*older, *of_shift]:
        acts = "; ".join(f"{act.kind} {when(unit, act.at)}, {act.qualified_name or act.person.name}"
                         for act in trip.acts) or "nothing is recorded since"
        cause = f" Cause: {trip.cause}." if trip.cause else " Cause not found yet."
        yield Thing(f"trip {trip.id}", TRIP,
                    f"Tripped {when(unit, trip.at)}: {trip.protection}.{cause} Since then: {acts}.", trip.motor)


def _starts(session: Session, unit: Unit, opened: Round, now: datetime) -> Iterator[Thing]:
    """Half-open like the rule: a start exactly 60 min old no longer counts."""
    since = min(opened.starts_at, now - LAST_HOUR)
    begun: dict[int, list[starts.Start]] = {}
    for start in starts.starts_between(session, unit.id, since, now + timedelta(microseconds=1)):
        begun.setdefault(start.motor_id, []).append(start)
    for held in begun.values():
        last, recent = held[-1], sum(1 for s in held if s.at > now - LAST_HOUR)
        yield Thing(f"starts {last.motor_id}", STARTS,
                    f"{len(held)} start{'' if len(held) == 1 else 's'} in the shift, {recent} in the last 60 min; the "
                    f"last {when(unit, last.at)}, {last.outcome}.", last.motor)


def _greasing(session: Session, unit: Unit, now: datetime) -> Iterator[Thing]:
    """What is overdue, never recorded, or falls due before the next shift ends: a line a motor."""
    until = unit.calendar.after(unit.calendar.shift_of(now)).ends_at
    ends: dict[int, list[str]] = {}
    of: dict[int, Motor] = {}
    for planned in lubricating.plan(session, unit, now):
        recorded = planned.point.last_greased_at is not None
        late = planned.finding is not None and recorded
        soon = recorded and planned.falls_due is not None and planned.falls_due < until
        if planned.finding is not None or soon:
            word = "overdue" if late else "due" if soon else "never recorded"
            of[planned.motor.id] = planned.motor
            ends.setdefault(planned.motor.id, []).append(f"{planned.end} {word}")
    for motor_id, words in ends.items():
        late = any(word.endswith("overdue") for word in words)
        yield Thing(f"greasing {motor_id}", GREASING, f"Greasing: {', '.join(words)}.", of[motor_id],
                    THIS_SHIFT if late else None)


def _not_seen(opened: Round, sheet: Sheet) -> Iterator[Thing]:
    for row in sheet.of(LEFT):
        yield Thing(f"not seen {row.motor.id}", NOT_SEEN, f"Not seen on {opened.label}, and no reason is given.",
                    row.motor)
    for row in sheet.of(SKIPPED):
        skip = next(r for r in (row.reading, *row.also) if r is not None and r.skipped)
        yield Thing(f"not seen {row.motor.id}", NOT_SEEN,
                    f"Skipped on {opened.label}: {skip.skip_reason} ({skip.person.name}).", row.motor)


def _addenda(session: Session, unit: Unit, opened: Round) -> Iterator[Thing]:
    """What came to this shift for sheets that were signed before it came."""
    for entry in signatures.addenda_received(session, unit, opened.starts_at, opened.ends_at):
        yield Thing(f"addendum {entry.id}", ADDENDUM, addendum_words(unit, entry), entry.motor)


def addendum_words(unit: Unit, entry: Reading) -> str:
    what = "Correction of an entry" if entry.replaces_id else "Skip" if entry.skipped else "Reading"
    why = f": {entry.replaces_why or entry.skip_reason}" if entry.replaces_why or entry.skip_reason else ""
    return (f"{what} of {entry.round.label}, observed {when(unit, entry.taken_at)} by {entry.person.name}, received "
            f"{when(unit, entry.received_at)}, after that sheet was signed{why}. The signature stands.")


def _dips(session: Session, unit: Unit, opened: Round, now: datetime) -> Iterator[Thing]:
    for dip in dips.newest_dips(session, unit.id, 20):
        if opened.starts_at <= dip.at <= now:
            answers = dip.newest_answers().values()
            by_word = [(word, [a.motor.tag for a in answers if a.answer == word]) for word in dips.AFTER_DIP]
            told = "; ".join(f"{word}: {', '.join(sorted(tags))}" for word, tags in by_word if tags)
            yield Thing(f"dip {dip.id}", DIP, f"Power dip {when(unit, dip.at)}. {told or 'No motor is ticked off yet'}."
                        f"{' ' + dip.remarks if dip.remarks else ''}")


# which shift's -----------------------------------------------------------------------------------------------


def round_to_hand_over(session: Session, unit: Unit, now: datetime) -> Round | None:
    """The shift that ended a while ago and is not taken yet, else the present one; None when nobody opened it."""
    shift = unit.calendar.shift_of(now)
    ended = unit.calendar.before(shift)
    before = rounds.round_of(session, unit.id, ended.date, ended.name)
    if before is not None:
        there = handovers.handover_of(session, before.id)
        waits = there is not None and there.taken_at is None
        if waits or (there is None and now - shift.starts_at < AFTER_THE_CHANGE):
            return before
    return rounds.round_of(session, unit.id, shift.date, shift.name)


# given and taken -------------------------------------------------------------------------------------------


def lines(session: Session, unit: Unit, opened: Round, now: datetime) -> tuple[list[Thing], set[str]]:
    """What is handed over: as given, and what came since (their keys); once taken, as taken."""
    there = handovers.handover_of(session, opened.id)
    held = [Thing(i.key, i.kind, i.says, i.motor, i.priority) for i in there.items] if there else []
    if there is not None and there.taken_at is not None:
        return held, set()
    known = {thing.key for thing in held}
    came = [thing for thing in things(session, unit, opened, now) if thing.key not in known]
    return sorted([*held, *came], key=_place), {t.key for t in came} if there else set()


def _place(thing: Thing) -> tuple[int, int]:
    return KINDS.index(thing.kind), (*PRIORITIES, None).index(thing.priority)


def give(session: Session, unit: Unit, opened: Round, person: Person, at: datetime, first: str,
         words: str) -> Handover:
    """The outgoing side signs. Alone until the other side does: not face to face."""
    there = _take_hold(session, unit, opened, at)
    if there.given_at is not None:
        raise CannotHandOver(f"This handover was given {when(unit, there.given_at)} by {_name(there.given_by)}.")
    if there.taken_by_id == person.id:
        raise CannotHandOver("You took this handover: somebody else gives it.")
    if there.taken_at is None:
        _keep_lines(session, there, things(session, unit, opened, at), at)
    there.given_at, there.given_by_id, there.first, there.words = at, person.id, first, words
    session.flush()
    return there


def take(session: Session, unit: Unit, opened: Round, person: Person, at: datetime,
         answers: dict[str, tuple[str, str]], face_to_face: bool) -> Handover:
    """The incoming side signs, with an answer to every line. Nobody gave it: kept as not face to face."""
    there = _take_hold(session, unit, opened, at)
    if there.taken_at is not None:
        raise CannotHandOver(f"This handover was taken {when(unit, there.taken_at)} by {_name(there.taken_by)}.")
    if there.given_by_id == person.id:
        raise CannotHandOver("You gave this handover: somebody else takes it.")
    known = {item.key for item in there.items}
    _keep_lines(session, there, [t for t in things(session, unit, opened, at) if t.key not in known], at)
    missing = [item.key for item in there.items if answers.get(item.key, ("", ""))[0] not in handovers.ANSWERS]
    if missing:
        raise NotAnswered(missing)
    for item in there.items:
        item.answer, item.query = answers[item.key]
    there.taken_at, there.taken_by_id = at, person.id
    there.face_to_face = face_to_face and there.given_at is not None
    session.flush()
    return there


def _take_hold(session: Session, unit: Unit, opened: Round, at: datetime) -> Handover:
    """The round's handover, held until the transaction ends: of two who sign at once, the second is told."""
    session.refresh(opened, with_for_update={"of": Round})  # the row, and not who opened it
    there = handovers.handover_of(session, opened.id)
    if there is None:
        there = Handover(unit_id=unit.id, round_id=opened.id, made_at=at)
        session.add(there)
        session.flush()
    return there


def _keep_lines(session: Session, there: Handover, found: list[Thing], at: datetime) -> None:
    for thing in found:
        session.add(HandoverItem(
            handover_id=there.id, position=KINDS.index(thing.kind), key=thing.key, kind=thing.kind, says=thing.says,
            motor_id=thing.motor.id if thing.motor else None, priority=thing.priority, added_at=at))
    session.flush()
    session.refresh(there, ["items"])


def _name(person: Person | None) -> str:
    return person.name if person else "somebody"
