"""One flag opened: the readings behind it, the trend as a drawing, the motor's other facts, what each act needs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from sqlalchemy.orm import Session

from app import flag_life
from app.gathering import plate_facts
from app.rules import accepting
from app.rules.accepting import Way
from app.store import flags
from app.store.flag_behind import Behind, behind
from app.store.flag_ground import FlagGround
from app.store.flags import Flag
from app.store.limits import LimitChange, limits_from
from app.store.people import SUPERVISOR
from app.store.rounds import LOOKS, Reading
from app.trends import Trend, trend_of
from app.web import limit_scale
from app.web.access import now, person, unit
from app.web.formatting import measure, moment, number

MOST_SHOWN = 12
LATEST = 6
#: The drawing's size and margins, in its own units.
WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 640.0, 200.0, 12.0, 90.0, 16.0, 30.0


@dataclass(frozen=True)
class Mark:
    x: float
    y: float
    flagged: bool
    says: str


@dataclass(frozen=True)
class Drawing:
    """A trend in the drawing's own coordinates, and the words that tell it without eyes."""

    trend: Trend
    marks: tuple[Mark, ...]
    limit_y: float | None
    words: str

    @property
    def line(self) -> str:
        return " ".join(f"{m.x:g},{m.y:g}" for m in self.marks)


def drawing(trend: Trend) -> Drawing:
    values = [p.value for p in trend.points] + ([] if trend.limit is None else [trend.limit])
    low, high = min(values), max(values)
    room = (high - low) * 0.08 or abs(high) * 0.1 or 1.0
    low, high = low - room, high + room
    first, span_s = trend.points[0].at, (trend.points[-1].at - trend.points[0].at).total_seconds()

    def y(value: float) -> float:
        return round(TOP + (high - value) / (high - low) * (HEIGHT - TOP - BOTTOM), 1)

    def x(seconds: float) -> float:
        share = seconds / span_s if span_s else 0.5
        return round(LEFT + share * (WIDTH - LEFT - RIGHT), 1)

    marks = tuple(Mark(x((p.at - first).total_seconds()), y(p.value), p.flagged,
                       f"{moment(p.at)}: {measure(p.value, trend.unit_of_measure)}") for p in trend.points)
    return Drawing(trend, marks, None if trend.limit is None else y(trend.limit), _told(trend))


def _told(trend: Trend) -> str:
    values = [p.value for p in trend.points]
    told = [measure(v, trend.unit_of_measure) for v in (values[0], values[-1], min(values), max(values))]
    count = len(values)
    text = (f"{count} reading{'' if count == 1 else 's'} from {moment(trend.points[0].at)} to "
            f"{moment(trend.points[-1].at)}: first {told[0]}, newest {told[1]}, lowest {told[2]}, highest {told[3]}.")
    limit = "" if trend.limit is None else f" Limit {measure(trend.limit, trend.unit_of_measure)}."
    return text + limit


def detail(session: Session, ground: FlagGround, standing: list[Flag] | None = None, **forms: Any) -> dict[str, Any]:
    """What the opened flag shows. standing: the unit's open flags, where the page has them at hand; forms: those that
    were posted and need a second look, by act."""
    flag = ground.flag
    stands = behind(session, flag, now())
    seen = stands.sightings
    on_motor = flags.open_flags_of_motor(session, flag.motor_id) if standing is None else [
        f for f in standing if f.motor_id == flag.motor_id]
    trend = trend_of(flag, stands)
    shifts = {unit().calendar.shift_of(s.at).starts_at for s in seen}
    return {
        "flag": flag, "sightings": seen[-MOST_SHOWN:], "more": max(0, len(seen) - MOST_SHOWN),
        "people": len({s.person_id for s in seen if s.person_id is not None}), "shifts_seen": len(shifts),
        "stands": unit().calendar.count(flag.raised_at, flag.closed_at or max(now(), flag.raised_at)),
        "notes": stands.notes, "trend": drawing(trend) if trend else None,
        "others": [f for f in on_motor if f.id != flag.id],
        "latest": stands.entries[:LATEST], "corrected": stands.corrected, "greased": stands.greased,
        "earlier": ground.earlier, "closing": ground.closing,
        "started": _last_start(ground, stands.limit_changes), "forms": forms,
        "needs_reading": flag_life.needs_reading(flag), **(_acts(session, flag, stands) if flag.open else {})}


def _last_start(ground: FlagGround, changes: list[LimitChange]) -> dict[str, Any] | None:
    """The start before the flag was last seen, and until when it was a first run to be watched, where it still was."""
    flag, start = ground.flag, ground.started
    if start is None:
        return None
    watch_h = limits_from(changes, flag.motor_id, flag.last_seen_at).value("step_start_wait_h")
    until = start.at + timedelta(hours=watch_h)
    return {"start": start, "watched_until": until if flag.last_seen_at < until else None}


def _acts(session: Session, flag: Flag, stands: Behind) -> dict[str, Any]:
    """What each act offers to choose from."""
    way = way_of(session, flag, stands) if person().may(SUPERVISOR) else None
    return {
        "until": flag_life.may_shelve_until(unit(), person(), now()),
        "shown_by": stands.looks, "most_offered": LOOKS, "way": way,
        "suggested": number(limit_scale.shown(unit(), way.suggested, way.unit), 4) if way and way.name else "",
        "limit_unit": limit_scale.scale_of(unit(), way.unit).unit if way and way.name else ""}


def way_of(session: Session, flag: Flag, stands: Behind) -> Way | None:
    """How this flag can become the motor's normal, where it can."""
    seen = stands.sightings
    shown = session.get(Reading, seen[-1].cause_id) if seen and seen[-1].cause == "reading" else None
    in_force = limits_from(stands.limit_changes, flag.motor_id, now())
    return accepting.way(
        flag.rule, flag.end or None, flag.priority, flag.value, flag.says,
        plate_facts(flag.motor.nameplate_at(flag.last_seen_at)), in_force,
        shown.winding_feel if shown else None, shown is not None and shown.winding_method in ("contact", "infrared"))
