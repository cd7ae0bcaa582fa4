"""Limits as set for a unit or one motor: dated, with who and why. Never edited: a change is a new row."""

from __future__ import annotations

from datetime import datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.rules import limit_sanity
from app.rules.facts import Show
from app.rules.limits import DEFAULTS, Default, Limits
from app.store.asked import once
from app.store.base import Base, Real, UtcDateTime
from app.store.changes import note_change
from app.store.motors import Motor, motor_by_tag
from app.store.people import Person
from app.store.units import Unit


class LimitChange(Base):
    __tablename__ = "limit_change"
    __table_args__ = (sa.Index("ix_limit_change_unit", "unit_id", "name", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    motor_id: Mapped[int | None] = mapped_column(sa.ForeignKey("motor.id"))  # None: the whole unit
    name: Mapped[str] = mapped_column(sa.Text)
    value: Mapped[float | None] = mapped_column(Real)  # None: back to what it was before any change
    at: Mapped[datetime] = mapped_column(UtcDateTime)  # judges nothing taken before it
    recorded_at: Mapped[datetime | None] = mapped_column(UtcDateTime)  # None: when it took effect
    person_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))  # None: the command line
    why: Mapped[str] = mapped_column(sa.Text)
    motor: Mapped[Motor | None] = relationship()
    person: Mapped[Person | None] = relationship()


    @property
    def entered_at(self) -> datetime:
        return self.recorded_at or self.at

    @property
    def by(self) -> str:
        return self.person.name if self.person else "command line"


UNITS_LIMIT, MOTORS_LIMIT = "unit's limit", "this motor's limit"
#: A change may be made so long before it takes effect.
AHEAD = timedelta(days=366)


@once
def limit_changes(session: Session, unit_id: int) -> list[LimitChange]:
    """Every change of the unit's limits, the oldest first. Few rows: people make them."""
    return list(session.scalars(sa.select(LimitChange).where(LimitChange.unit_id == unit_id)
                                .order_by(LimitChange.at, LimitChange.id)))


def limits_from(changes: list[LimitChange], motor_id: int | None, at: datetime) -> Limits:
    """The limits in force for one motor (None: the unit) at an instant; the motor's own wins."""
    for_unit: dict[str, tuple[float, str]] = {}
    for_motor: dict[str, tuple[float, str]] = {}
    for change in changes:
        if change.at > at or change.motor_id not in (None, motor_id):
            continue
        held, source = (for_unit, UNITS_LIMIT) if change.motor_id is None else (for_motor, MOTORS_LIMIT)
        if change.value is None:
            held.pop(change.name, None)
        else:
            held[change.name] = (change.value, source)
    return Limits({**for_unit, **for_motor})


def limits_at(session: Session, unit_id: int, motor_id: int | None, at: datetime) -> Limits:
    return limits_from(limit_changes(session, unit_id), motor_id, at)


def newest_of(changes: list[LimitChange], name: str) -> LimitChange | None:
    """The change of this limit that was made last, for the unit or any motor."""
    return max((c for c in changes if c.name == name), key=lambda c: c.id, default=None)


def own_value(changes: list[LimitChange], name: str, motor_id: int | None, at: datetime) -> float | None:
    """What the unit (None) or one motor itself has set, in force at an instant; None: nothing of its own."""
    own = [c for c in changes if c.name == name and c.motor_id == motor_id and c.at <= at]
    return own[-1].value if own else None


# changing --------------------------------------------------------------------------------------------------


class BadLimit(ValueError):
    """A change that cannot be made: `field` ("name", "value", "tag", "why", "at") is where to put it right."""

    def __init__(self, field: str, says: str) -> None:
        self.field = field
        super().__init__(says)


def hold(session: Session, unit: Unit) -> None:
    """Changes of one unit's limits come one after the other: each is looked at beside those that stand."""
    session.execute(sa.select(Unit.id).where(Unit.id == unit.id).with_for_update(key_share=True))


def change_limit(session: Session, unit: Unit, name: str, value: float | None, tag: str | None, why: str,
                 person: Person | None, at: datetime, *, now: datetime | None = None,
                 show: Show | None = None) -> LimitChange:
    """Sets a limit from an instant on (None: back to the default, or for a motor to the unit's). Noted with before,
    after, who and why.

    now: when it is entered; left out, it takes effect as it is entered. show: the scale that a refusal speaks in.
    """
    now = at if now is None else now
    default = DEFAULTS.get(name)
    if default is None:
        raise BadLimit("name", f"No limit is called {name!r}. `round-sheet limits` lists them.")
    if not why.strip():
        raise BadLimit("why", "Say why the limit is changed.")
    if not now <= at <= now + AHEAD:
        raise BadLimit("at", "Enter a time from now on, a year ahead at most: what was judged before stays as it was.")
    hold(session, unit)
    motor = motor_by_tag(session, unit.id, tag) if tag else None
    if tag and motor is None:
        raise BadLimit("tag", f"No motor of this unit has the tag {tag!r}.")
    changes = limit_changes(session, unit.id)
    change = LimitChange(unit_id=unit.id, motor_id=motor.id if motor else None, name=name, value=value, at=at,
                         recorded_at=now, person_id=person.id if person else None, why=why.strip())
    fault = _fault(default, change, changes, motor, show or Show())
    if fault is not None:
        raise BadLimit("value", fault)
    _add(session, unit, change, changes, motor, person)
    return change


def undo_change(session: Session, unit: Unit, change: LimitChange, why: str, person: Person | None,
                now: datetime, show: Show | None = None) -> LimitChange:
    """A new change back to what the same unit or motor had set just before. Raises BadLimit."""
    earlier = [c for c in limit_changes(session, unit.id) if c.name == change.name and c.motor_id == change.motor_id]
    before = earlier[:earlier.index(change)]
    return change_limit(session, unit, change.name, before[-1].value if before else None,
                        change.motor.tag if change.motor else None, why, person, max(now, change.at), now=now,
                        show=show)


def _add(session: Session, unit: Unit, change: LimitChange, changes: list[LimitChange], motor: Motor | None,
         person: Person | None) -> None:
    name, at = change.name, change.at
    before, after = (limits_from(known, change.motor_id, at).value(name) for known in (changes, [*changes, change]))
    session.add(change)
    session.flush()
    begins = "" if at == change.entered_at else \
        f" from {at.astimezone(unit.calendar.zone).isoformat(sep=' ', timespec='minutes')}"
    note_change(session, unit_id=unit.id, at=change.entered_at, person=person, subject="limit", subject_id=change.id,
                label=f"{name} for {motor.tag}" if motor else name, field=name, before=f"{before:g}",
                after=f"{after:g}{begins}", why=change.why)


def _fault(default: Default, change: LimitChange, changes: list[LimitChange], motor: Motor | None,
           show: Show) -> str | None:
    """Why the value cannot be: by itself, or beside the limits it belongs with, from then on, for unit and motors."""
    if change.value is not None:
        wrong = limit_sanity.value_fault(default, change.value, show)
        if wrong is not None:
            return wrong
    planned = in_order([*changes, change])
    beside = {p.lower for p in limit_sanity.pairs_of(default.name)} | {
        p.higher for p in limit_sanity.pairs_of(default.name)}
    theirs = {c.motor_id: c.motor for c in changes if c.motor_id is not None and c.name in beside}
    for owner in [change.motor_id] if motor else [None, *theirs]:
        for at in [change.at, *(c.at for c in changes if c.at > change.at and c.name in beside)]:
            wrong = limit_sanity.order_fault(default.name, limits_from(planned, owner, at), show)
            if wrong is not None:
                whose = theirs.get(owner) if owner is not None and motor is None else None
                return f"{whose.tag} has a limit of its own. {wrong}" if whose is not None else wrong
    return None


def in_order(changes: list[LimitChange]) -> list[LimitChange]:
    """By when they take effect; of two at one instant the one entered later wins. One without a key is the newest."""
    return sorted(changes, key=lambda c: (c.at, c.id if c.id is not None else float("inf")))


def out_of_order(session: Session, unit_id: int) -> list[tuple[Motor | None, limit_sanity.Pair]]:
    """Pairs in the wrong order once every change counts, for the unit (None) or a motor with limits of its own."""
    changes = limit_changes(session, unit_id)
    owners: dict[int | None, Motor | None] = {None: None, **{c.motor_id: c.motor for c in changes}}
    newest = max((c.at for c in changes), default=None)
    return [] if newest is None else [(owner, pair) for key, owner in owners.items()
                                      for pair in limit_sanity.broken(limits_from(changes, key, newest))]
