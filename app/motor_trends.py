"""One motor over a span of time: what was measured, beside its limits, its own normal and what was done to it.

Figures are SI; amps are percent of the plate that each reading was judged by. Everything comes from the span's own
index: as many queries for one reading as for thousands.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session, aliased, joinedload

from app.gathering import plate_facts
from app.rules import bearings, drift, facts, load, own_history, vibration, windings
from app.rules.drift import OwnNormal
from app.rules.facts import ENDS
from app.rules.findings import ACT_NOW, THIS_SHIFT, over, under
from app.rules.limits import Limits
from app.rules.own_history import Quantity
from app.store import limits, lubrication, rounds
from app.store.lubrication import Greasing
from app.store.motors import Motor, Nameplate
from app.store.people import with_name
from app.store.rounds import Reading
from app.store.starts import Start, Trip
from app.store.units import Unit

#: More readings than one picture shows: a shorter span is asked for.
MOST = 3000
#: The running readings before the span's end of which the own normal is made, unlike ones among them.
LOOK_BACK = 80
#: Greasing warms a bearing for longer than any unit lets it count.
WARM = timedelta(days=7)
AMPS, TEMPERATURE, DIFFERENCE, VIBRATION = "% of nameplate", "°C", "K", "mm/s"
GREASED, STARTED, TRIPPED, SWAPPED = "greased", "started", "tripped", "plate changed"


@dataclass(frozen=True)
class Point:
    """One reading of the quantity. value None: looked at, not measured. kind: how it was taken."""

    at: datetime
    value: float | None
    kind: str
    corrected: bool = False
    over: str | None = None  # the priority of the limit it is above


@dataclass(frozen=True)
class LimitLine:
    """A limit as it was in force: (since, value) in order of time; a value None: none known from then on."""

    name: str
    priority: str
    steps: tuple[tuple[datetime, float | None], ...]
    source: str  # of the newest
    either_way: bool = False  # above zero for one end, below it for the other

    def at(self, instant: datetime) -> float | None:
        return next((value for since, value in reversed(self.steps) if since <= instant), None)


@dataclass(frozen=True)
class Panel:
    """One quantity. from_zero, about_zero: what its axis must hold. ends: whose greasing is marked on it."""

    name: str
    measure: str
    points: tuple[Point, ...]
    limits: tuple[LimitLine, ...] = ()
    normal: OwnNormal | None = None  # before the newest running reading
    from_zero: bool = False
    about_zero: bool = False
    ends: tuple[str, ...] = ()

    @property
    def read(self) -> list[Point]:
        """What was measured and still counts."""
        return [p for p in self.points if p.value is not None and not p.corrected]


@dataclass(frozen=True)
class Mark:
    """Something that was done to the motor. end: of a greasing."""

    what: str
    at: datetime
    says: str
    end: str = ""


@dataclass(frozen=True)
class MotorTrend:
    panels: tuple[Panel, ...]
    marks: tuple[Mark, ...]
    readings: list[Reading] = field(default_factory=list)
    corrected: frozenset[object] = frozenset()
    more: bool = False  # the span holds more readings than are shown


# what is followed ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Followed:
    name: str
    measure: str
    value: Callable[[Reading, dict[int, Nameplate]], float | None]
    kind: Callable[[Reading], str]
    #: (name, priority, value of one plate under the limits in force, source)
    lines: tuple[tuple[str, str, Callable[[Nameplate | None, Limits, str | None], tuple[float | None, str]]], ...]
    quantity: Quantity | None = None
    from_zero: bool = False
    about_zero: bool = False
    ends: tuple[str, ...] = ()


def _amps(reading: Reading, plates: dict[int, Nameplate]) -> float | None:
    plate = plates.get(reading.nameplate_id or 0)
    return load.percent_of_rated(max(reading.current_a), plate_facts(plate).rated_amps) if reading.current_a else None


def _amps_limit(plate: Nameplate | None, in_force: Limits, _: str | None) -> tuple[float | None, str]:
    limit = in_force["amps_over_nameplate_this_shift_percent"]
    return (limit.value, limit.origin) if plate_facts(plate).rated_amps else (None, "")


def _amps_act_now(plate: Nameplate | None, in_force: Limits, _: str | None) -> tuple[float | None, str]:
    known = plate_facts(plate)
    if not known.rated_amps:
        return None, ""
    above, source = load.act_now_above(known, known.rated_amps, in_force)
    return load.percent_of_rated(above, known.rated_amps), source


def _bearing(end: str) -> _Followed:
    def limit(grade: str) -> Callable[[Nameplate | None, Limits, str | None], tuple[float | None, str]]:
        return lambda plate, in_force, _: bearings.limit_c(plate_facts(plate), end, grade, in_force)

    key = f"bearing_temp_c_{end.lower()}"
    words = {"DE": "Coupling end (DE) bearing", "ODE": "Fan end (ODE) bearing"}[end]
    return _Followed(words, TEMPERATURE, lambda r, _: getattr(r, key), lambda r: r.method or "",
                     (("alarm", THIS_SHIFT, limit("alarm")), ("shutdown", ACT_NOW, limit("shutdown"))),
                     own_history.BEARINGS[ENDS.index(end)], ends=(end,))


def _difference(reading: Reading, _: dict[int, Nameplate]) -> float | None:
    de, ode = reading.bearing_temp_c_de, reading.bearing_temp_c_ode
    return None if de is None or ode is None else de - ode


def _apart(name: str, sign: float) -> Callable[[Nameplate | None, Limits, str | None], tuple[float | None, str]]:
    def limit(_: Nameplate | None, in_force: Limits, __: str | None) -> tuple[float | None, str]:
        return sign * in_force[name].value, in_force[name].origin

    return limit


def _winding(grade: str) -> Callable[[Nameplate | None, Limits, str | None], tuple[float | None, str]]:
    return lambda plate, in_force, method: windings.limit_c(plate_facts(plate), grade, method, in_force)


def _vibration(end: str) -> _Followed:
    def zone(grade: str) -> Callable[[Nameplate | None, Limits, str | None], tuple[float | None, str]]:
        return lambda plate, in_force, _: vibration.limit_mm_s(plate_facts(plate), grade, in_force)

    key = f"vibration_mm_s_{end.lower()}"
    words = {"DE": "Coupling end (DE) vibration", "ODE": "Fan end (ODE) vibration"}[end]
    return _Followed(words, VIBRATION, lambda r, _: getattr(r, key), lambda r: "",
                     (("zone C", THIS_SHIFT, zone("this_shift")), ("zone D", ACT_NOW, zone("act_now"))),
                     from_zero=True)


FOLLOWED = (
    _Followed("Amps, highest phase", AMPS, _amps, lambda r: "",
              (("limit", THIS_SHIFT, _amps_limit), ("act now", ACT_NOW, _amps_act_now)), own_history.AMPS,
              from_zero=True),
    _bearing("ODE"), _bearing("DE"),
    _Followed("DE less ODE", DIFFERENCE, _difference, lambda r: r.method or "",
              tuple((name, priority, _apart(f"bearings_uneven_{grade}_k", sign))
                    for name, priority, grade, sign in (
                        ("DE hotter", THIS_SHIFT, "this_shift", 1.0), ("DE hotter", ACT_NOW, "act_now", 1.0),
                        ("ODE hotter", THIS_SHIFT, "this_shift", -1.0), ("ODE hotter", ACT_NOW, "act_now", -1.0))),
              own_history.END_DIFFERENCE, about_zero=True, ends=ENDS),
    _Followed("Winding", TEMPERATURE, lambda r, _: r.winding_temp_c, lambda r: r.winding_method or "",
              (("alarm", THIS_SHIFT, _winding("alarm")), ("limit", ACT_NOW, _winding("limit"))), own_history.WINDING),
    _vibration("ODE"), _vibration("DE"))


# putting it together ---------------------------------------------------------------------------------------


def trend_of(session: Session, unit: Unit, motor: Motor, start: datetime, end: datetime) -> MotorTrend:
    """Everything in [start, end) that the pictures show. Panels without a single reading are left out."""
    found = readings_in(session, motor.id, start, end)
    more, found = len(found) > MOST, found[:MOST]
    readings = [reading for reading, _ in reversed(found)]
    corrected = frozenset(reading.id for reading, newer in found if newer is not None)
    running = rounds.last_running(session, motor.id, end, LOOK_BACK)
    since = min([start, *(r.taken_at - WARM for r in running[-1:])])
    done = done_to(session, motor.id, since, end)
    changes = [c for c in limits.limit_changes(session, unit.id) if c.motor_id in (None, motor.id) and c.at < end]
    ground = _Ground(motor, {plate.id: plate for plate in motor.nameplates}, changes, start, end)
    newest = _newest_facts(unit, ground, running, [d for d in done if d.what == GREASED])
    panels = (_panel(f, readings, corrected, ground, newest) for f in FOLLOWED)
    return MotorTrend(tuple(panel for panel in panels if any(p.value is not None for p in panel.points)),
                      tuple(_marks(motor, done, start, end)), readings, corrected, more)


def motor_with_plates(session: Session, unit_id: int, motor_id: int) -> Motor | None:
    """A motor of this unit with every plate it had. One query."""
    return session.scalars(sa.select(Motor).where(Motor.unit_id == unit_id, Motor.id == motor_id)
                           .options(joinedload(Motor.nameplates))).unique().one_or_none()


@dataclass(frozen=True)
class _Ground:
    motor: Motor
    plates: dict[int, Nameplate]
    changes: list[limits.LimitChange]
    start: datetime
    end: datetime

    def instants(self) -> list[datetime]:
        """When a limit may have become another one: at the beginning, at a change, at a new plate."""
        turns = [c.at for c in self.changes] + [p.fitted_from for p in self.plates.values()]
        return [self.start, *sorted({at for at in turns if self.start < at < self.end})]

    def limits_at(self, at: datetime) -> Limits:
        return limits.limits_from(self.changes, self.motor.id, at)


def readings_in(session: Session, motor_id: int, start: datetime, end: datetime) -> list[tuple[Reading, object]]:
    """The newest readings of the span, no skips, each with the id of the one that replaces it. One query."""
    newer = aliased(Reading)
    rows = session.execute(
        sa.select(Reading, newer.id).outerjoin(newer, newer.replaces_id == Reading.id)
        .where(Reading.motor_id == motor_id, Reading.taken_at >= start, Reading.taken_at < end,
               Reading.skip_reason.is_(None))
        .order_by(Reading.taken_at.desc(), Reading.received_at.desc()).limit(MOST + 1)
        .options(with_name(Reading.person)))
    return [(reading, replaced) for reading, replaced in rows]


class Done(NamedTuple):
    """Something done to the motor. detail: the end greased, the start's outcome, what opened."""

    what: str
    at: datetime
    detail: str


def done_to(session: Session, motor_id: int, start: datetime, end: datetime) -> list[Done]:
    """Greasings in which something went in, starts, trips, the oldest first. One query."""
    arms = (sa.select(sa.literal(what), model.at.label("at"), detail.label("detail")).where(
        model.motor_id == motor_id, model.at >= start, model.at < end, *more) for what, model, detail, more in (
            (GREASED, Greasing, Greasing.end, [lubrication.something_went_in()]),
            (STARTED, Start, Start.outcome, []), (TRIPPED, Trip, Trip.protection, [])))
    return [Done(*row) for row in session.execute(sa.union_all(*arms).order_by("at", "detail"))]


def _panel(followed: _Followed, readings: list[Reading], corrected: frozenset[object], ground: _Ground,
           newest: tuple[facts.Facts, Limits] | None) -> Panel:
    method = Counter(followed.kind(r) for r in readings if followed.value(r, ground.plates) is not None)
    usual = method.most_common(1)[0][0] if method else None
    lines = tuple(_line(name, priority, value, usual, ground) for name, priority, value in followed.lines)
    points = tuple(_point(followed, r, r.id in corrected, lines, ground.plates) for r in readings)
    return Panel(followed.name, followed.measure, points,
                 tuple(line for line in lines if any(v is not None for _, v in line.steps)),
                 _normal(followed, newest), followed.from_zero, followed.about_zero, followed.ends)


def _point(followed: _Followed, r: Reading, corrected: bool, lines: tuple[LimitLine, ...],
           plates: dict[int, Nameplate]) -> Point:
    running = r.state == facts.RUNNING
    value = followed.value(r, plates) if running else None
    above = [line.priority for line in lines if value is not None and _beyond(value, line.at(r.taken_at))]
    return Point(r.taken_at, value, followed.kind(r), corrected,
                 None if corrected else ACT_NOW if ACT_NOW in above else THIS_SHIFT if above else None)


def _beyond(value: float, limit: float | None) -> bool:
    if limit is None:
        return False
    return under(value, limit) if limit < 0 else over(value, limit)


def _line(name: str, priority: str,
          value: Callable[[Nameplate | None, Limits, str | None], tuple[float | None, str]], method: str | None,
          ground: _Ground) -> LimitLine:
    steps, source = [], ""
    for at in ground.instants():
        figure, source = value(ground.motor.nameplate_at(at), ground.limits_at(at), method)
        if not steps or steps[-1][1] != figure:
            steps.append((at, figure))
    return LimitLine(name, priority, tuple(steps), source, name.endswith("hotter"))


def _newest_facts(unit: Unit, ground: _Ground, running: list[Reading],
                  greased: list[Done]) -> tuple[facts.Facts, Limits] | None:
    """The newest running reading with what the rules compare it with, and the limits in force then."""
    if not running:
        return None
    newest, *earlier = running
    history = facts.History(running=tuple(r.as_facts() for r in earlier),
                            greasings=tuple(facts.Greasing(g.detail, g.at) for g in greased if g.at <= newest.taken_at),
                            new_normal_at=ground.motor.new_normal_at)
    plate = plate_facts(ground.motor.nameplate_at(newest.taken_at))
    given = facts.Facts(facts.Motor(ground.motor.tag, nameplate=plate), newest.taken_at, newest.as_facts(), history,
                        show=unit.show)
    return given, ground.limits_at(newest.taken_at)


def _normal(followed: _Followed, newest: tuple[facts.Facts, Limits] | None) -> OwnNormal | None:
    found = drift.own_normal(followed.quantity, *newest) if followed.quantity and newest else None
    if found is None or newest is None or followed.measure != AMPS:
        return found
    rated = newest[0].motor.nameplate.rated_amps
    if not rated:
        return None
    return replace(found, centre=100.0 * found.centre / rated, low=100.0 * found.low / rated,
                   high=100.0 * found.high / rated)


def _marks(motor: Motor, done: list[Done], start: datetime, end: datetime) -> Iterator[Mark]:
    words = {GREASED: "{} greased", STARTED: "start: {}", TRIPPED: "trip: {}"}
    for one in done:
        if one.at >= start:
            yield Mark(one.what, one.at, words[one.what].format(one.detail), one.detail if one.what == GREASED else "")
    for plate in motor.nameplates[1:]:
        if start <= plate.fitted_from < end:
            serial = f", serial {plate.serial}" if plate.serial else ""
            yield Mark(SWAPPED, plate.fitted_from, f"another motor fitted{serial}")
