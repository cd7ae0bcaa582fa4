"""Earlier readings as the rules look at them: a motor's last running ones, and the pace of who took them.

Every save asks for twenty; a stored reading is never changed, so most of them were made at an earlier save.
"""

from __future__ import annotations

from collections import namedtuple
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from weakref import WeakKeyDictionary

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.rules import facts
from app.store.base import UtcDateTime, as_sqlite_text
from app.store.kept import Kept
from app.store.new_reading import NewReading
from app.store.plain import dialect_of
from app.store.prepared import Prepared, Question, Row, as_key, ask
from app.store.rounds import RUNNING, Reading, facts_from, not_corrected

_FACTS = ("state", "taken_at", "smoke", "guard", "ground", "leak", "condition_before", "vibration_feel_de",
          "vibration_feel_ode", "vibration_mm_s_de", "vibration_mm_s_ode", "bearing_feel_de", "bearing_feel_ode",
          "bearing_temp_c_de", "bearing_temp_c_ode", "winding_feel", "winding_temp_c", "winding_method", "current_a_1",
          "current_a_2", "current_a_3", "voltage_v_1", "voltage_v_2", "voltage_v_3", "lubricant_de", "lubricant_ode",
          "cleanliness", "ambient_c", "method", "unread", "nameplate_id", "person_id")
_FactsRow = namedtuple("_FactsRow", _FACTS)  # type: ignore[misc] # the names are those just above


@dataclass(frozen=True)
class Past:
    """An earlier reading: what the rules look at in the columns' names, and as the rules see it."""

    row: Any
    facts: facts.Reading


def _last_running(*columns: Any) -> Any:
    return (sa.select(*columns).where(
        Reading.motor_id == sa.bindparam("motor_id"), Reading.taken_at < sa.bindparam("before", type_=UtcDateTime()),
        RUNNING, Reading.skip_reason.is_(None), not_corrected())
        .order_by(Reading.taken_at.desc()).limit(sa.bindparam("most", type_=sa.Integer())))


#: An entry whose storing failed may come again under its id with other content: received then, it is another.
_KEY = Reading.id, Reading.received_at
_WHOLE = Prepared(lambda: _last_running(*_KEY, *(as_key(getattr(Reading, name)) for name in _FACTS)))
_IDS = Prepared(lambda: _last_running(*_KEY))
#: By database, then id and receipt: a stored reading is never changed. Some hundred motors' last readings.
_PAST: WeakKeyDictionary[object, Kept[Past]] = WeakKeyDictionary()
#: How many a save reads whole where several servers store: the newest may be another's, and the one before it.
_NEW_TO_US = 2


def _kept(session: Session) -> Kept[Past]:
    bind = session.bind or session.get_bind()
    kept = _PAST.get(bind)
    if kept is None:
        kept = _PAST.setdefault(bind, Kept(12_000))
    return kept


def asking_newest_running(motor_id: int, before: datetime, most: int = _NEW_TO_US) -> Question[list[Past]]:
    """The newest running readings, but only what the rules look at is read."""
    def made(session: Session, row: Row) -> Past:
        read = _FactsRow._make(_WHOLE.values(session, row, len(_KEY)))
        return Past(read, facts_from(read))

    return Question(_WHOLE, {"motor_id": motor_id, "before": before, "most": most}, lambda session, rows: [
        _kept(session).of(row[:len(_KEY)], lambda row=row: made(session, row)) for row in rows])  # type: ignore[misc]


def asking_running_ids(motor_id: int, before: datetime, most: int = 20) -> Question[list[Any]]:
    """Which the last running readings are, as the driver gives id and receipt: most were read at an earlier save."""
    return Question(_IDS, {"motor_id": motor_id, "before": before, "most": most}, lambda _session, rows: list(rows))


def running_past(session: Session, motor_id: int, before: datetime, ids: list[Any]) -> list[Past]:
    """The readings of these ids, in that order; read where this process has not seen one of them yet."""
    kept = _kept(session)
    found = kept.these(ids)
    if found is None:
        older = kept.last_of(ids)
        found = [*ask(session, asking_newest_running(motor_id, before, len(ids) - len(older))), *older]
    return found


def keep(session: Session, stored: NewReading, seen: facts.Reading) -> None:
    """An entry that is stored now, for the next one of its motor: it would be read just so. seen: as the rules see it.
    Should the storing fail, nothing in the database has its id and receipt."""
    if seen.running and not stored.skipped:
        _kept(session).of(_key_of(session, stored), lambda: Past(
            _FactsRow._make([getattr(stored, name) for name in _FACTS]), seen))


def _key_of(session: Session, stored: NewReading) -> tuple[Any, Any]:
    """What `_KEY` has of it, as the driver gives it."""
    if dialect_of(session).name == "sqlite":
        return stored.id.bytes, as_sqlite_text(stored.received_at)
    return stored.id, stored.received_at


def last_running_past(session: Session, motor_id: int, before: datetime, most: int = 20) -> list[Past]:
    """The newest running readings as the rules see them."""
    return ask(session, asking_newest_running(motor_id, before, most))


#: So many looks before an entry tell the pace of the walk.
_PACE_OF = 10
# How many is said in the statement: of a number that comes as a value PostgreSQL knows nothing, and plans each time.
_PACE = Prepared(lambda: sa.select(Reading.taken_at).where(
    Reading.person_id == sa.bindparam("person_id", type_=sa.Integer()),
    Reading.taken_at < sa.bindparam("before", type_=UtcDateTime()), Reading.token_id.is_(None))
    .order_by(Reading.taken_at.desc()).limit(sa.literal_column(str(_PACE_OF))))


def asking_previous_by_person(person_id: int, before: datetime) -> Question[list[datetime]]:
    """When this person took the readings just before, the newest first: for the pace of the walk."""
    return Question(_PACE, {"person_id": person_id, "before": before},
                    lambda session, rows: [at for at, in _PACE.all_values(session, rows)])


def previous_by_person(session: Session, person_id: int, before: datetime) -> list[datetime]:
    return ask(session, asking_previous_by_person(person_id, before))
