"""The handover: put together from what stands, then words; given by one head operator, taken by another.

Nobody types what the record knows. The incoming person answers each line, understood or query; where only one side
signs, that is kept: not face to face.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy.orm import Session

from app import lubricating, signatures
from app.lubricating import Planned
from app.rules import facts
from app.rules.findings import ACT_NOW, PRIORITIES, THIS_SHIFT
from app.rules.shifts import Shift
from app.sheets import LEFT, SKIPPED, Sheet, sheet_of
from app.store import dips, flags, handovers, rounds, temporary
from app.store.flags import Flag
from app.store.handovers import Earlier, Handover, HandoverItem
from app.store.motors import Motor
from app.store.people import Person
from app.store.rounds import Reading, Round
from app.store.shift_events import Events, Happened, events_of
from app.store.temporary import TemporaryState
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


@dataclass(frozen=True)
class Stands:
    """What a shift's handover is put together from: a query each, whatever there is of it."""

    opened: Round | Shift
    sheet: Sheet
    half_way: list[TemporaryState]
    greasing: list[Planned]
    flags: list[Flag]
    addenda: list[Reading]
    events: Events

    @property
    def motors(self) -> dict[int, Motor]:
        return {motor.id: motor for motor in self.sheet.register}


def stands(session: Session, unit: Unit, opened: Round | Shift, now: datetime) -> Stands:
    """As it stands now. opened: the round, or the shift whose sheet nobody has opened yet."""
    until = now + timedelta(microseconds=1)
    return Stands(
        opened, sheet_of(session, unit, opened, now, with_findings=False), temporary.standing(session, unit.id),
        lubricating.plan(session, unit, now), flags.open_flags(session, unit.id),
        signatures.addenda_received(session, unit, opened.starts_at, opened.ends_at),
        events_of(session, unit.id, opened.starts_at, until, min(opened.starts_at, now - LAST_HOUR)))


def things(session: Session, unit: Unit, opened: Round, now: datetime) -> list[Thing]:
    """Everything that a round's shift leaves the next, as it stands now."""
    return things_of(unit, stands(session, unit, opened, now), now)


def things_of(unit: Unit, all_of: Stands, now: datetime) -> list[Thing]:
    """The same, from what it is put together from."""
    found = [*_half_way(unit, all_of.half_way, now), *_motors(all_of.sheet.register), *_trips(unit, all_of),
             *_starts(unit, all_of, now), *_greasing(unit, all_of.greasing, now),
             *_not_seen(all_of.opened, all_of.sheet), *_addenda(unit, all_of.addenda), *_dips(unit, all_of.events)]
    told = {(thing.kind, thing.motor.id if thing.motor else None) for thing in found}
    standing = [f for f in all_of.flags if not _told(f, told)]
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
        done = f" Done: {flag.action.rstrip('. ')}." if flag.action else ""
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


def _half_way(unit: Unit, states: list[TemporaryState], now: datetime) -> Iterator[Thing]:
    for state in states:
        where = f" at {state.end}" if state.end else ""
        late = state.past_end(now)
        grave = ACT_NOW if state.kind in ("guard off", "bypass") else THIS_SHIFT
        end = f"was expected to end {when(unit, state.expected_end)}: past its end" if late else (
            f"expected to end {when(unit, state.expected_end)}")
        words = f" {state.words}." if state.words and state.words != state.what else ""
        yield Thing(f"half-way {state.id}", HALF_WAY, f"{state.what[:1].upper()}{state.what[1:]}{where} since "
                    f"{when(unit, state.since)}, {state.person.name}; {end}.{words}", state.motor,
                    grave if late else None)


def _motors(register: Iterable[Motor]) -> Iterator[Thing]:
    for motor in register:
        if motor.condition == facts.LOCKED_OUT:
            lock = f"tag {motor.lock_tag or 'not entered'}, owner {motor.lock_owner or 'not entered'}"
            yield Thing(f"lock {motor.id}", LOCKED,
                        f"Lock on record: {lock}. Leave the lock alone: only its owner takes it off.", motor)
        elif motor.condition == facts.OUT_OF_SERVICE:
            yield Thing(f"out {motor.id}", NOT_NORMAL, f"Out of service. {motor.remarks}".strip(), motor)


def _trips(unit: Unit, all_of: Stands) -> Iterator[Thing]:
    motors = all_of.motors
    for trip in [*all_of.events.to_reset, *all_of.events.trips]:
        acts = "; ".join(f"{act.what} {when(unit, act.at)}, {act.whose}"
                         for act in trip.since) or "nothing is recorded since"
        cause = f" Cause: {trip.words}." if trip.words else " Cause not found yet."
        yield Thing(f"trip {trip.id}", TRIP,
                    f"Tripped {when(unit, trip.at)}: {trip.what}.{cause} Since then: {acts}.",
                    motors[trip.motor_id])


def _starts(unit: Unit, all_of: Stands, now: datetime) -> Iterator[Thing]:
    """Half-open like the rule: a start exactly 60 min old no longer counts."""
    motors, begun = all_of.motors, dict[int, list[Happened]]()
    for start in all_of.events.starts:
        begun.setdefault(start.motor_id, []).append(start)
    for motor_id, held in begun.items():
        last, recent = held[-1], sum(1 for s in held if s.at > now - LAST_HOUR)
        yield Thing(f"starts {motor_id}", STARTS,
                    f"{len(held)} start{'' if len(held) == 1 else 's'} in the shift, {recent} in the last 60 min; the "
                    f"last {when(unit, last.at)}, {last.what}.", motors[motor_id])


def _greasing(unit: Unit, plan: list[Planned], now: datetime) -> Iterator[Thing]:
    """What is overdue, never recorded, or falls due before the next shift ends: a line a motor."""
    until = unit.calendar.after(unit.calendar.shift_of(now)).ends_at
    ends: dict[int, list[str]] = {}
    of: dict[int, Motor] = {}
    for planned in plan:
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


def _not_seen(opened: Round | Shift, sheet: Sheet) -> Iterator[Thing]:
    for row in sheet.of(LEFT):
        yield Thing(f"not seen {row.motor.id}", NOT_SEEN, f"Not seen on {opened.label}, and no reason is given.",
                    row.motor)
    for row in sheet.of(SKIPPED):
        skip = next(r for r in (row.reading, *row.also) if r is not None and r.skipped)
        yield Thing(f"not seen {row.motor.id}", NOT_SEEN,
                    f"Skipped on {opened.label}: {skip.skip_reason} ({skip.person.name}).", row.motor)


def _addenda(unit: Unit, late: list[Reading]) -> Iterator[Thing]:
    """What came to this shift for sheets that were signed before it came."""
    for entry in late:
        yield Thing(f"addendum {entry.id}", ADDENDUM, addendum_words(unit, entry), entry.motor)


def addendum_words(unit: Unit, entry: Reading) -> str:
    what = "Correction of an entry" if entry.replaces_id else "Skip" if entry.skipped else "Reading"
    why = f": {entry.replaces_why or entry.skip_reason}" if entry.replaces_why or entry.skip_reason else ""
    return (f"{what} of {entry.round.label}, observed {when(unit, entry.taken_at)} by {entry.person.name}, received "
            f"{when(unit, entry.received_at)}, after that sheet was signed{why}. The signature stands.")


def _dips(unit: Unit, events: Events) -> Iterator[Thing]:
    for dip in events.dips:
        newest = {answer.motor_id: answer for answer in dip.since}.values()
        by_word = [(word, [answer.whose for answer in newest if answer.what == word]) for word in dips.AFTER_DIP]
        told = "; ".join(f"{word}: {', '.join(sorted(tags))}" for word, tags in by_word if tags)
        yield Thing(f"dip {dip.id}", DIP, f"Power dip {when(unit, dip.at)}. {told or 'No motor is ticked off yet'}."
                    f"{' ' + dip.words if dip.words else ''}")


# which shift's -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Held:
    """A shift's handover, as far as there is one, and the unit's newest ones."""

    opened: Round | Shift  # the shift, where nobody has opened its sheet
    there: Handover | None
    earlier: list[Earlier]

    @property
    def shift(self) -> tuple[str, date]:
        """The shift's name and the date it began on."""
        opened = self.opened
        return (opened.name, opened.date) if isinstance(opened, Shift) else (opened.shift_name, opened.shift_date)


def held_of(session: Session, unit: Unit, round_id: int) -> Held | None:
    """The handover of a round; None where the unit has no such round."""
    around = handovers.around(session, unit.id, Round.id == round_id)
    return Held(*around.held[0], around.earlier) if around.held else None


def held_now(session: Session, unit: Unit, now: datetime) -> Held:
    """Of the shift that ended a while ago and is not taken yet, else of the present one."""
    shift = unit.calendar.shift_of(now)
    ended = unit.calendar.before(shift)
    around = handovers.around(session, unit.id, rounds.are((ended.date, ended.name), (shift.date, shift.name)))
    held = {(opened.shift_date, opened.shift_name): (opened, there) for opened, there in around.held}
    if (ended.date, ended.name) in held:
        before, there = held[ended.date, ended.name]
        waits = there is not None and there.taken_at is None
        if waits or (there is None and now - shift.starts_at < AFTER_THE_CHANGE):
            return Held(before, there, around.earlier)
    return Held(*held.get((shift.date, shift.name), (shift, None)), around.earlier)


# given and taken -------------------------------------------------------------------------------------------


def lines(session: Session, unit: Unit, opened: Round, now: datetime) -> tuple[list[Thing], set[str]]:
    """What is handed over: as given, and what came since (their keys); once taken, as taken."""
    there = handovers.handover_of(session, opened.id)
    taken = there is not None and there.taken_at is not None
    return lines_of(there, [] if taken else things(session, unit, opened, now))


def lines_of(there: Handover | None, found: list[Thing]) -> tuple[list[Thing], set[str]]:
    """The same, from the handover and everything that stands now."""
    held = [Thing(i.key, i.kind, i.says, i.motor, i.priority) for i in there.items] if there else []
    if there is not None and there.taken_at is not None:
        return held, set()
    known = {thing.key for thing in held}
    came = [thing for thing in found if thing.key not in known]
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
         answers: dict[str, tuple[str, str]], face_to_face: bool | None) -> Handover:
    """The incoming side signs, with an answer to every line. Nobody gave it: kept as not face to face, and then alone
    that need not be said."""
    there = _take_hold(session, unit, opened, at)
    if face_to_face is None and there.given_at is not None and there.taken_at is None:
        raise CannotHandOver("Say whether it was handed over face to face.")
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
    there.face_to_face = bool(face_to_face) and there.given_at is not None
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
