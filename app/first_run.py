"""The first-run watch: the bearings at 10, 30, 60 and 120 min after a first start, and how fast they warm between.

Each look is a reading like any other, but no round's check of the motor. A prompt passes from later to due to missed by
the server's clock alone; nothing is assumed of a look that nobody took.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TypeVar

from sqlalchemy.orm import Session

from app.rules import facts, starting_check
from app.rules.tables import MakesNoSense
from app.rules.warming import rate_k_per_min
from app.store import first_run as store
from app.store import rounds
from app.store.first_run import Look, WatchGround
from app.store.motors import Motor
from app.store.rounds import Reading
from app.store.start_ground import Energised
from app.store.starts import Start

Seen = TypeVar("Seen", Reading, Look)

#: When the bearings are looked at, in minutes after the start; a little early counts, the last look waits so long.
AT_MIN, EARLY, LAST_WAITS = (10, 30, 60, 120), timedelta(minutes=2), timedelta(minutes=30)
LOOKED, DUE, MISSED, LATER = "looked", "due now", "missed", "later"
RAN = ("ran", "automatic")


@dataclass(frozen=True)
class Prompt:
    minute: int
    at: datetime
    state: str  # LOOKED, DUE, MISSED, LATER


@dataclass(frozen=True)
class Line:
    """One look: °C at each end, and K a minute since that end's look before (None: there was none)."""

    at: datetime
    de: float | None
    ode: float | None
    de_rate: float | None
    ode_rate: float | None
    by: str

    def above(self, limit_k_per_min: float) -> bool:
        return any(rate is not None and round(rate, 6) > limit_k_per_min for rate in (self.de_rate, self.ode_rate))


@dataclass(frozen=True)
class Watch:
    """A watch in progress. first: the start was a first one, after repair or after long idle."""

    start: Energised
    prompts: list[Prompt]
    first: bool

    @property
    def next(self) -> Prompt | None:
        return next((p for p in self.prompts if p.state in (DUE, LATER)), None)


def looks(session: Session, start: Start) -> list[Reading]:
    """The readings of the watch that have a bearing temperature, the oldest first."""
    return _of_watch(rounds.readings_between(session, start.unit_id, start.at, _ends(start.at), start.motor_id))


def _ends(begun: datetime) -> datetime:
    return begun + timedelta(minutes=AT_MIN[-1]) + LAST_WAITS


def _of_watch(found: Sequence[Seen]) -> list[Seen]:
    replaced = {r.replaces_id for r in found if r.replaces_id}
    return [r for r in found if r.id not in replaced and r.state == facts.RUNNING
            and (r.bearing_temp_c_de is not None or r.bearing_temp_c_ode is not None)]


def lines(rows: list[Reading]) -> list[Line]:
    made: list[Line] = []
    for i, row in enumerate(rows):
        made.append(Line(row.taken_at, row.bearing_temp_c_de, row.bearing_temp_c_ode,
                         _rate(rows[:i], row, "bearing_temp_c_de"), _rate(rows[:i], row, "bearing_temp_c_ode"),
                         row.person.name))
    return made


def _rate(before: list[Reading], row: Reading, name: str) -> float | None:
    """Since the newest earlier look that has this end."""
    last = next((r for r in reversed(before) if getattr(r, name) is not None), None)
    if last is None or getattr(row, name) is None:
        return None
    try:
        return rate_k_per_min(getattr(last, name), getattr(row, name),
                              (row.taken_at - last.taken_at).total_seconds() / 60)
    except MakesNoSense:
        return None


def prompts(start: Start | Energised, rows: Sequence[Reading | Look], now: datetime) -> list[Prompt]:
    """Each timed look with how it stands at `now`: it is due until the next one is."""
    instants = [start.at + timedelta(minutes=m) for m in AT_MIN]
    ends = [*instants[1:], _ends(start.at)]
    made = []
    for minute, at, end in zip(AT_MIN, instants, ends, strict=True):
        looked = any(at - EARLY <= r.taken_at < end - EARLY for r in rows)
        made.append(Prompt(minute, at, LOOKED if looked else LATER if now < at else DUE if now < end else MISSED))
    return made


def _is_first(known: WatchGround) -> bool:
    """A pre-start check was answered for this start, or was due and was not."""
    before, checked = known.started_before, known.checked_at
    return known.unchecked or (checked is not None and (before is None or checked > before))


def watch_now(session: Session, motor: Motor, newest: Energised | None, now: datetime) -> Watch | None:
    """The watch in progress: the last start ran, the motor runs still, and a look is due or to come.

    newest: the motor's last start, as of now.
    """
    if newest is None or newest.outcome not in RAN or motor.condition != facts.RUNNING or now >= _ends(newest.at):
        return None
    known = store.watch_ground(session, motor.id, newest.id, newest.at, _ends(newest.at), starting_check.UNCHECKED)
    watch = Watch(newest, prompts(newest, _of_watch(known.looks), now), _is_first(known))
    return watch if watch.next is not None else None
