"""Which flags stood in a week or another span, with what a row of its exceptions tells of each. One query."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from functools import cache
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.orm import Session, aliased
from sqlalchemy.sql.functions import FunctionElement

from app.store.base import UtcDateTime
from app.store.flags import Flag, FlagLife, Note, by_priority
from app.store.motors import Motor
from app.store.people import Person
from app.store.prepared import Prepared
from app.store.rounds import Reading

#: Notes that say what was done or decided, where nobody noted it as such.
ACTIONS = ("done", "run on", "closed", "accepted")
#: So many rows are read in one go (1.5 MB of them); of longer spans as many are fetched at a time as the second says.
FEW, AT_ONCE = 1_000, 500


class byte_order(FunctionElement[str]):
    """Sorted by code point on both databases, whatever language the server sorts in."""

    type = sa.Text()
    inherit_cache = True


@compiles(byte_order)
def _byte_order(element: byte_order, compiler: Any, **kw: Any) -> str:
    name = "C" if compiler.dialect.name == "postgresql" else "BINARY"
    return f'{compiler.process(element.clauses, **kw)} COLLATE "{name}"'


#: What the statements of a week are asked with: they are put together once.
UNIT = sa.bindparam("unit_id", type_=sa.Integer())
FROM, UNTIL = sa.bindparam("start", type_=UtcDateTime()), sa.bindparam("end", type_=UtcDateTime())


def within(model: Any) -> tuple[Any, ...]:
    """What happened in the unit in [start, end)."""
    return model.unit_id == UNIT, model.at >= FROM, model.at < UNTIL


def stood(unit_id: Any = UNIT, start: Any = FROM, end: Any = UNTIL) -> sa.CompoundSelect[tuple[int]]:
    """Ids of the flags that stood at any time in [start, end): raised before its end, not closed before its start.

    Two index look-ups, so that old weeks of a long history cost no more than new ones.
    """
    closed = sa.select(Flag.id).where(Flag.unit_id == unit_id, Flag.closed_at >= start, Flag.raised_at < end)
    still = sa.select(Flag.id).where(Flag.unit_id == unit_id, Flag.closed_at.is_(None), Flag.raised_at < end)
    return closed.union_all(still)


class _Stood(NamedTuple):
    # what its row of the file is made of
    area: str
    tag: str
    service: str
    rule: str
    end: str
    priority: str
    value: float | None
    limit: float | None
    unit_of_measure: str | None
    source: str
    raised_at: datetime
    last_seen_at: datetime
    times_seen: int
    improving_at: datetime | None
    raised_by: str | None
    seen_by: str | None
    seen_at: datetime | None
    action: str | None
    action_by: str | None
    action_at: datetime | None
    note: str | None
    note_by: str | None
    note_at: datetime | None
    run_on_reason: str | None
    shelved_until: datetime | None
    returned_at: datetime | None
    closed_by: str | None
    closed_at: datetime | None
    arrived_late: bool
    remarks: str | None
    corrected: str | None
    # the rest, for page and figures
    id: int
    says: str
    owner: str | None
    due_at: datetime | None
    run_on_watch: str | None
    run_on_at: datetime | None
    run_on_review_at: datetime | None
    run_on_by: str | None


class FlagStood(FlagLife, _Stood):
    """What a week tells of a flag: its columns as in the model, the motor, the names and the words around it."""

    __slots__ = ()


#: How many of them the file needs.
OF_FILE = FlagStood._fields.index("id")


@cache
def _standing(how_many: int) -> sa.Select[Any]:
    """The flags that stood, gravest first: the first so many columns of `FlagStood`."""
    newer, decision = aliased(Reading), aliased(Note)

    def name_of(key: Any) -> sa.ScalarSelect[str]:  # joined, each would be one more place in an order to be found
        return sa.select(Person.name).where(Person.id == key).scalar_subquery()

    def last_note(*kinds: str) -> sa.ScalarSelect[int]:
        any_of = sa.or_(*(Note.kind == kind for kind in kinds))
        newest = sa.select(sa.func.max(Note.id)).where(Note.flag_id == Flag.id, any_of)
        return newest.correlate(Flag).scalar_subquery()

    around = {"area": Motor.area, "tag": Motor.tag, "service": Motor.service, "raised_by": name_of(Flag.raised_by_id),
              "seen_by": name_of(Flag.seen_by_id), "action_by": name_of(Flag.action_by_id),
              "closed_by": name_of(Flag.closed_by_id), "remarks": Reading.remarks, "corrected": newer.replaces_why,
              "note": Note.text, "note_at": Note.at, "note_by": name_of(Note.person_id),
              "run_on_by": name_of(decision.person_id)}
    names, those = FlagStood._fields[:how_many], stood().subquery()
    query = (  # begins at those few: of so many joins PostgreSQL takes the first ones in their order
        sa.select(*(around[name] if name in around else getattr(Flag, name) for name in names))
        .select_from(those).join(Flag, Flag.id == those.c.id).join(Motor, Motor.id == Flag.motor_id)
        .outerjoin(Reading, sa.and_(Flag.raised_cause == "reading", Reading.id == Flag.raised_cause_id))
        .outerjoin(newer, newer.replaces_id == Reading.id)
        .outerjoin(Note, Note.id == last_note(*ACTIONS))
        .order_by(by_priority(), Flag.raised_at, byte_order(Motor.tag), byte_order(Flag.rule), Flag.end, Flag.id))
    if "run_on_by" not in names:
        return query
    return query.outerjoin(decision, sa.and_(Flag.run_on_reason.is_not(None), decision.id == last_note("run on")))


@cache
def _first_of_them(how_many: int) -> Prepared:
    return Prepared(lambda: _standing(how_many).limit(sa.bindparam("most", type_=sa.Integer())))


def standing_rows(session: Session, unit_id: int, start: datetime, end: datetime, how_many: int) -> Iterator[Any]:
    """Of each flag that stood in [start, end) the first so many values of `FlagStood`, the gravest first.

    Most weeks have few and are read at once. The others are asked for again and read piece by piece: memory does not
    grow with them.
    """
    given = {"unit_id": unit_id, "start": start, "end": end}
    asked = _first_of_them(how_many)
    few = asked.rows(session, {**given, "most": FEW + 1})
    if len(few) <= FEW:
        yield from asked.all_values(session, few)
        return
    del few
    with session.execute(_standing(how_many), given, execution_options={"yield_per": AT_ONCE}) as rows:
        yield from rows  # whoever takes only the first of them leaves no cursor open
