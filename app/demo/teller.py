"""Tells the demo's shifts one after the other, each through the same code as users' own entries.

A shift: the sheet is opened, what was observed is sent in the order it arrived, the head operator reviews and signs.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from random import Random
from typing import Any

from sqlalchemy.orm import Session

from app import flag_life, recording, reviewing
from app.demo import events, plant, story, walk
from app.demo.plant import UNIT, Place
from app.demo.story import Event
from app.entries import read_greasing, read_reading
from app.recording import Sender
from app.rules import facts, shifts
from app.rules.findings import ACT_NOW
from app.rules.shifts import Shift
from app.store import flags, motors, people, register, units
from app.store.flag_behind import behind
from app.store.flags import Flag
from app.store.motors import Motor
from app.store.people import Person, Token
from app.store.units import Unit

MINUTE, DAY = timedelta(minutes=1), timedelta(days=1)
#: Two days on, two off, two nights on, two off: who walks by day and by night in each two-day block.
ROTA = (("robin", "devon"), ("casey", "morgan"), ("devon", "robin"), ("morgan", "casey"))
HEADS = {"robin": "alex", "casey": "alex", "devon": "kim", "morgan": "kim"}
#: A round begins this long after the shift, and the present one has got this far.
BEGINS_S = (25 * 60, 45 * 60)
PRESENT_SHARE = 1 / 3
BEFORE_NOW = timedelta(minutes=3)
PACE_S = (55, 130)
SHELVED_SHIFTS = 6
Deed = tuple[datetime, Callable[[], object]]


@dataclass
class _Crew:
    """Who is there in one shift, and its unit, as loaded for this transaction."""

    unit: Unit
    operator: Person
    outside: Person
    head: Person
    supervisor: Person
    token: Token

    def walks(self, place: Place) -> Person:
        return self.outside if place.area in plant.OUTSIDE else self.operator


@dataclass
class _Entry:
    """One entry to be sent: when it was observed and when it arrived."""

    at: datetime
    arrived: datetime
    place: Place
    by: Person
    body: dict[str, Any]
    typed: dict[str, str] = field(default_factory=dict)
    by_panel: bool = False
    greasing: bool = False


class Teller:
    """Tells the shifts one after the other; remembers what the next one must know."""

    def __init__(self, now: datetime, count: int) -> None:
        self.now, self.count = now, count
        self.chance = Random(7)
        self.entries = 0
        self.late: list[_Entry] = []
        self.read: set[tuple[str, str]] = set()  # tag, and the date or the ISO week
        self.greased_at: dict[tuple[str, str], datetime] = {}

    # one shift ---------------------------------------------------------------------------------------------

    def shift(self, session: Session, shift: Shift, ago: int) -> None:
        """Everything of one shift, counted back from the present one (0). The caller commits."""
        crew = self._crew(session, shift)
        if ago == _near(story.MISSED, "Night", shift, ago):
            return
        walked = self._walk(crew, shift, ago)
        first = min((entry.at for entry in walked), default=self.now)
        opened = recording.open_sheet(session, crew.unit, max(first - 2 * MINUTE, shift.starts_at), crew.operator)
        waiting, self.late = self.late, [e for e in walked if e.arrived >= shift.ends_at]
        sent = [*waiting, *(e for e in walked if e.arrived < shift.ends_at), *self._by_panel(crew, shift, ago),
                *self._greasings(session, crew, shift, ago)]
        deeds: list[Deed] = [(e.arrived, lambda e=e: self._send(session, crew, e)) for e in sent]
        deeds = sorted([*deeds, *self._by_hand(session, crew, shift, ago)], key=lambda deed: deed[0])
        for _, do in deeds:
            do()
        if ago:
            self._review(session, crew, shift, ago, deeds[-1][0] + 20 * MINUTE)
        if ago not in story.UNSIGNED:
            reviewing.sign(session, crew.unit, opened, crew.head, shift.ends_at - 14 * MINUTE)

    def _crew(self, session: Session, shift: Shift) -> _Crew:
        unit = units.unit_named(session, UNIT)
        known = {p.sign_in: p for p in people.people_of(session, unit)} if unit else {}
        day, night = ROTA[shift.date.toordinal() // 2 % len(ROTA)]
        by_day = shift.name == "Day"
        who = day if by_day else night
        assert unit is not None
        return _Crew(unit, known[who], known["sasha" if by_day else who], known[HEADS[who]], known["pat"],
                     people.tokens_of(session, unit)[0])

    # the walk ----------------------------------------------------------------------------------------------

    def _walk(self, crew: _Crew, shift: Shift, ago: int) -> list[_Entry]:
        """The round's entries in walking order; two people walk at once by day."""
        route = list(plant.places())
        if ago == 0:
            route = route[:round(len(route) * PRESENT_SHARE)]
        begins = shift.starts_at + timedelta(seconds=self.chance.randint(*BEGINS_S))
        clocks: dict[int, datetime] = {}
        walked, area = [], ""
        for place in route:
            by = crew.walks(place)
            if place.area != area:
                clocks[by.id] = clocks.get(by.id, begins) + timedelta(seconds=self.chance.randint(90, 240))
                area = place.area
            clocks[by.id] += timedelta(seconds=self.chance.randint(*PACE_S))
            walked += self._look(place, by, clocks[by.id], crew, shift, ago)
        return self._up_to_now(walked, shift) if ago == 0 else walked

    def _up_to_now(self, walked: list[_Entry], shift: Shift) -> list[_Entry]:
        """The present round ended a few minutes ago, wherever in the shift now is; what does not fit is left."""
        earliest = shift.starts_at + 2 * MINUTE
        last = max((e.at for e in walked), default=self.now)
        move = max(self.now - BEFORE_NOW - last, earliest - min((e.at for e in walked), default=self.now))
        for entry in walked:
            entry.at, entry.arrived = entry.at + move, entry.arrived + move
            entry.body["taken_at"] = entry.at.isoformat()
        return [e for e in walked if e.arrived <= self.now]

    def _look(self, place: Place, by: Person, at: datetime, crew: _Crew, shift: Shift, ago: int) -> list[_Entry]:
        """One entry, or none; two where the first was wrong and is corrected."""
        if (place.tag, ago) in story.NOT_SEEN or not self._due(place, crew, shift, ago):
            return []
        body: dict[str, Any] = {"id": self._key(), "tag": place.tag, "taken_at": at.isoformat(), "by": by.sign_in}
        typed: dict[str, str] = {}
        reason = story.SKIPPED.get((place.tag, ago))
        if reason is None and ago and self.chance.randrange(story.SKIP_EVERY) == 0:
            reason = self.chance.choice(("could not reach it", "no time this round"))
        if reason is not None:
            body["skip_reason"] = reason
        else:
            local = at.astimezone(crew.unit.calendar.zone)
            found, typed = walk.reading(place, self._state(place, ago), local, self.chance,
                                        story.change_of(place.tag, ago))
            body |= found
            self.read |= {(place.tag, shift.date.isoformat()), (place.tag, shifts.week_of(at, crew.unit.calendar.zone))}
        arrived = at + timedelta(seconds=self.chance.randint(1, 5))
        if (place.tag, ago) in story.LATE:
            arrived = shift.ends_at + timedelta(minutes=95)
        first = _Entry(at, arrived, place, by, body, typed)
        corrected = [c for c in story.CORRECTED if c[:2] == (place.tag, ago) and reason is None]
        return [first, *(self._put_right(first, crew, *c[2:]) for c in corrected)]

    def _put_right(self, first: _Entry, crew: _Crew, wrong: dict[str, Any], minutes: int, by_head: bool,
                   why: str) -> _Entry:
        """Makes the first entry wrong, and gives the one that replaces it."""
        by, right = crew.head if by_head else first.by, dict(first.body)
        first.body |= wrong
        right |= {"id": self._key(), "by": by.sign_in, "replaces": first.body["id"], "replaces_why": why}
        return _Entry(first.at, first.arrived + minutes * MINUTE, first.place, by, right, first.typed)

    def _due(self, place: Place, crew: _Crew, shift: Shift, ago: int) -> bool:
        """Those checked every day or week are read in its first round, or the next when they were skipped there."""
        day, week = shift.date.isoformat(), shifts.week_of(shift.starts_at, crew.unit.calendar.zone)
        period = {"day": day, "week": week}.get(place.more.get("checked_every", "shift"))
        return period is None or (place.tag, period) not in self.read

    def _state(self, place: Place, ago: int) -> str:
        if story.OUT_OF_SERVICE.get(place.tag, -1) >= ago:
            return facts.OUT_OF_SERVICE
        if place.tag == story.LOCKED[0] and ago <= story.LOCKED[1]:
            return facts.LOCKED_OUT
        for pair, swaps in story.SWAPS.items():
            if place.tag in pair:
                swapped = sum(1 for at in swaps if self.count > at >= ago) % 2
                return facts.STANDBY if (pair.index(place.tag) + swapped) % 2 else facts.RUNNING
        return place.state

    def _by_panel(self, crew: _Crew, shift: Shift, ago: int) -> Iterable[_Entry]:
        """What the control room's own system sends of its motors, once a day: amps and nothing else."""
        if shift.name != plant.SHIFTS[0][0]:
            return
        at = shift.starts_at + timedelta(minutes=90)
        for place in plant.places():
            if place.ammeter == "control room" and self._state(place, ago) == facts.RUNNING and at <= self.now:
                body = {"id": self._key(), "tag": place.tag, "taken_at": at.isoformat(), "by": crew.head.sign_in,
                        "state": facts.RUNNING, "current_a": walk.amps(place, self.chance, {})}
                yield _Entry(at, at + timedelta(seconds=2), place, crew.head, body, by_panel=True)

    # grease ------------------------------------------------------------------------------------------------

    def _greasings(self, session: Session, crew: _Crew, shift: Shift, ago: int) -> list[_Entry]:
        at = shift.starts_at + timedelta(hours=4, minutes=self.chance.randint(0, 90))
        wanted = [(tag, end, share, lubricant, thickener)
                  for tag, end, when, share, lubricant, thickener in story.GREASED if when == ago]
        if shift.name == "Day" and ago:
            wanted += [(tag, end, 1.0, "", "") for tag, end in self._due_for_grease(session, crew, shift)]
        made = []
        for i, (tag, end, share, lubricant, thickener) in enumerate(wanted):
            place = next(p for p in plant.places() if p.tag == tag)
            made.append(self._greasing(session, crew, place, end, at + i * 6 * MINUTE, share, lubricant, thickener))
        return made

    def _greasing(self, session: Session, crew: _Crew, place: Place, end: str, at: datetime, share: float,
                  lubricant: str, thickener: str) -> _Entry:
        line = _motor(session, crew.unit, place.tag).point(end)
        assert line is not None
        by = crew.walks(place)
        body = {"id": self._key(), "tag": place.tag, "end": end, "at": at.isoformat(), "by": by.sign_in,
                "lubricant": lubricant or line.lubricant, "thickener": thickener or line.thickener or ""}
        if line.grease_g:
            body["grams"] = round(line.grease_g * share * self.chance.uniform(0.92, 1.08), 1)
        self.greased_at[place.tag, end] = at
        return _Entry(at, at + timedelta(seconds=20), place, by, body, greasing=True)

    def _due_for_grease(self, session: Session, crew: _Crew, shift: Shift) -> list[tuple[str, str]]:
        """Bearings whose interval ends within two days, but for those whose greasing this story leaves undone."""
        due = []
        for motor in motors.motors_of(session, crew.unit.id):
            for line in motor.points if motor.tag not in plant.DUE_IN else ():
                last = self.greased_at.get((motor.tag, line.end)) or line.last_greased_at
                if last and line.interval_days and last + timedelta(days=line.interval_days) < shift.ends_at + 2 * DAY:
                    due.append((motor.tag, line.end))
        return due

    # what is sent ------------------------------------------------------------------------------------------

    def _key(self) -> str:
        return str(uuid.UUID(int=self.chance.getrandbits(128), version=4))

    def _send(self, session: Session, crew: _Crew, entry: _Entry) -> None:
        sender = Sender(crew.unit, entry.arrived, token=crew.token) if entry.by_panel else Sender(
            crew.unit, entry.arrived, person=entry.by)
        if entry.greasing:
            recording.record_greasing(session, sender, read_greasing(entry.body))
        else:
            recording.record_reading(session, sender, read_reading(entry.body), entry.typed)
        self.entries += 1

    # what people did besides -------------------------------------------------------------------------------

    def _by_hand(self, session: Session, crew: _Crew, shift: Shift, ago: int) -> Iterator[Deed]:
        """Starts and trips, a lock hung, the dip, a machine changed and its plate read by a second person."""
        for event in self._events(ago):
            at = (shift.starts_at if event.minute >= 0 else self.now) + event.minute * MINUTE
            if ago or at > shift.starts_at + MINUTE:
                yield at, lambda e=event, at=at: events.tell(session, crew.unit, e, at, crew.operator, self._key)
        if ago == story.LOCKED[1]:
            at = shift.starts_at + 9 * MINUTE
            yield at, lambda: events.lock(session, crew.unit, at, crew.head)
        if ago and ago == _near(story.DIP, "Night", shift, ago):
            dip_at = shift.starts_at + story.DIP_MINUTE * MINUTE
            yield dip_at, lambda: events.tell_dip(session, crew.unit, dip_at, crew.head)
        swapped = _near(story.NEW_PLATE[1], "Day", shift, ago)
        if ago == swapped:
            yield shift.starts_at + 20 * MINUTE, lambda: self._new_plate(session, crew, shift)
        if ago == swapped - 1 and self.count > swapped:
            yield shift.starts_at + 15 * MINUTE, lambda: self._confirm_plate(session, crew, shift)

    def _events(self, ago: int) -> list[Event]:
        """What the story has for this shift; where duty and standby change places, the check and two buttons."""
        told = [event for event in story.EVENTS if event.ago == ago]
        for pair in [pair for pair, swaps in story.SWAPS.items() if ago in swaps]:
            first = next(place for place in plant.places() if place.tag == pair[0])
            on, off = pair if self._state(first, ago) == facts.RUNNING else pair[::-1]
            told += [Event(on, ago, 6, "check"), Event(on, ago, 8, "start", story.RAN), Event(off, ago, 9, "stop")]
        return told

    @staticmethod
    def _new_plate(session: Session, crew: _Crew, shift: Shift) -> None:
        tag, _, new, why = story.NEW_PLATE
        motor, day = _motor(session, crew.unit, tag), {"fitted_on": shift.date.isoformat()}
        register.save_motor(session, crew.unit, motor, {**register.cells_of(motor), **new, **day}, crew.supervisor,
                            shift.starts_at + 20 * MINUTE, why)

    @staticmethod
    def _confirm_plate(session: Session, crew: _Crew, shift: Shift) -> None:
        motor = _motor(session, crew.unit, story.NEW_PLATE[0])
        assert motor.nameplate is not None
        register.confirm_plate(session, motor, motor.nameplate, crew.head, shift.starts_at + 15 * MINUTE)

    def _review(self, session: Session, crew: _Crew, shift: Shift, ago: int, at: datetime) -> None:
        """The head operator: act now at once, the rest after the round; then what was done about it."""
        for flag in flags.open_flags(session, crew.unit.id):
            if flag.seen_at is None and (flag.motor.tag, flag.rule) not in story.UNSEEN:
                urgent = flag.priority == ACT_NOW and flag.raised_at >= shift.starts_at
                seen = flag.raised_at + self.chance.randint(2, 9) * MINUTE if urgent else at
                flag_life.mark_seen(session, flag, crew.head, seen)
        for act in story.ACTS:
            flag = self._open(session, crew.unit, act) if act.ago == ago else None
            if flag is not None:
                self._act(session, crew, flag, act, at + self.chance.randint(5, 90) * MINUTE)

    @staticmethod
    def _act(session: Session, crew: _Crew, flag: Flag, act: story.Act, at: datetime) -> None:
        later = at + timedelta(days=act.days)
        if act.kind == "close":
            shown = behind(session, flag, at).looks[:1] if flag_life.needs_reading(flag) else []
            flag_life.close(session, flag, crew.head, at, act.text, *shown)
        elif act.kind == "plan":
            flag_life.plan(session, crew.unit, flag, crew.head, at, act.more, later, act.text)
        elif act.kind == "run on":
            flag_life.run_on(session, crew.unit, flag, crew.head, at, act.text, act.more, later)
        elif act.kind == "shelve":
            until = flag_life.may_shelve_until(crew.unit, crew.supervisor, at)[SHELVED_SHIFTS]
            flag_life.shelve(session, crew.unit, flag, crew.supervisor, at, act.text, act.more, until)
        else:
            flag_life.note_action(session, flag, crew.head, at, act.text)

    @staticmethod
    def _open(session: Session, unit: Unit, act: story.Act) -> Flag | None:
        return next((f for f in flags.open_flags_of_motor(session, _motor(session, unit, act.tag).id)
                     if f.rule == act.rule), None)


def _near(wanted: int, name: str, shift: Shift, ago: int) -> int:
    """The wanted shift (counted back from now) when it has this name, else the one before it."""
    return wanted if (shift.name == name) == ((wanted - ago) % 2 == 0) else wanted + 1


def _motor(session: Session, unit: Unit, tag: str) -> Motor:
    found = motors.motor_by_tag(session, unit.id, tag)
    assert found is not None, tag
    return found
