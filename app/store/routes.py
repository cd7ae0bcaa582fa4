"""Routes: named lists of motors with their own walking order and how often they are walked.

A motor may be on several routes. One that is on none is walked after them in the register's own order, as often as the
register says; a unit without routes walks its whole register so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.rules import walking
from app.store.base import Base, UtcDateTime, one_of
from app.store.changes import Change, note_change
from app.store.motors import CHECKED_EVERY, Motor, walking_order
from app.store.people import Person
from app.store.units import Unit

SUBJECT = "route"
WHOLE_ORDER = "walking order"


class Route(Base):
    """One route of a unit: its name, how often it is walked, its place among the unit's routes."""

    __tablename__ = "route"
    __table_args__ = (sa.UniqueConstraint("unit_id", "name"),
                      one_of("checked_every", CHECKED_EVERY, "checked_every_known"))

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    name: Mapped[str] = mapped_column(sa.Text)
    checked_every: Mapped[str] = mapped_column(sa.Text, default="shift")
    place: Mapped[int] = mapped_column()
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    stops: Mapped[list[RouteStop]] = relationship(
        order_by="RouteStop.place", cascade="all, delete-orphan", lazy="selectin", back_populates="route")

    @property
    def motor_ids(self) -> list[int]:
        """The motors in walking order."""
        return [stop.motor_id for stop in self.stops]


class RouteStop(Base):
    """A motor on a route, at its place in the walk."""

    __tablename__ = "route_stop"
    __table_args__ = (sa.Index("ix_route_stop_motor", "motor_id"),)

    route_id: Mapped[int] = mapped_column(sa.ForeignKey("route.id"), primary_key=True)
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"), primary_key=True)
    place: Mapped[int] = mapped_column()
    route: Mapped[Route] = relationship(back_populates="stops")


@dataclass(frozen=True)
class Walks:
    """A unit's routes as the sheet needs them."""

    routes: tuple[Route, ...] = ()
    #: motor -> the routes it is on, in the unit's order of routes
    of_motor: Mapping[int, tuple[Route, ...]] = field(default_factory=dict)

    def in_order(self, motors: Iterable[Motor]) -> list[Motor]:
        """The motors as they are walked: route by route, then those on none, in the order they come."""
        given = list(motors)
        by_id = {motor.id: motor for motor in given}
        walked = dict.fromkeys(key for route in self.routes for key in route.motor_ids if key in by_id)
        return [by_id[key] for key in walked] + [motor for motor in given if motor.id not in walked]


def register_of(session: Session, unit_id: int) -> list[Motor]:
    """The unit's motors in the register's own order, without plates and charts."""
    return list(session.scalars(sa.select(Motor).where(Motor.unit_id == unit_id).order_by(*walking_order())))


def routes_of(session: Session, unit_id: int) -> list[Route]:
    return list(session.scalars(
        sa.select(Route).where(Route.unit_id == unit_id).options(sa.orm.joinedload(Route.stops))
        .order_by(Route.place, Route.id)).unique())


def walks_of(session: Session, unit_id: int) -> Walks:
    """The unit's routes with their motors, in one query."""
    routes = tuple(routes_of(session, unit_id))
    of_motor: dict[int, tuple[Route, ...]] = {}
    for route in routes:
        for key in route.motor_ids:
            of_motor[key] = (*of_motor.get(key, ()), route)
    return Walks(routes, of_motor)


def checked_every() -> sa.ColumnElement[str]:
    """For a query of motors: by the most frequent route a motor is on; on no route, as the register says."""
    often = sa.case({word: place for place, word in enumerate(CHECKED_EVERY)}, value=Route.checked_every)
    most = (sa.select(Route.checked_every).join(RouteStop, RouteStop.route_id == Route.id)
            .where(RouteStop.motor_id == Motor.id).order_by(often).limit(1).correlate(Motor).scalar_subquery())
    return sa.func.coalesce(most, Motor.checked_every)


def on_which(session: Session, motor: Motor) -> list[Route]:
    """The routes this motor is on."""
    return [route for route in routes_of(session, motor.unit_id) if motor.id in route.motor_ids]


def route_by_id(session: Session, unit_id: int, route_id: int) -> Route | None:
    return session.scalar(sa.select(Route).where(Route.unit_id == unit_id, Route.id == route_id))


def route_named(session: Session, unit_id: int, name: str) -> Route | None:
    return session.scalar(sa.select(Route).where(
        Route.unit_id == unit_id, sa.func.lower(Route.name) == sa.func.lower(name)))


def newest_change(session: Session, unit_id: int, route: Route | None) -> Change | None:
    """Who moved something last: on this route, or in the register's own order."""
    query = sa.select(Change).where(Change.unit_id == unit_id)
    query = (query.where(Change.subject == SUBJECT, Change.subject_id == route.id) if route is not None
             else query.where(Change.subject == "motor", Change.field == "route_order"))
    return session.scalar(query.order_by(Change.id.desc()).limit(1).options(sa.orm.joinedload(Change.person)))


# changing them: every change is noted, the caller commits -------------------------------------------------


@dataclass(frozen=True)
class Hand:
    """Who changes routes, of which unit, when."""

    session: Session
    unit: Unit
    person: Person
    now: datetime

    def note(self, route: Route, what: str, before: object, after: object) -> None:
        note_change(self.session, unit_id=self.unit.id, at=self.now, person=self.person, subject=SUBJECT,
                    subject_id=route.id, label=route.name, field=what, before=before, after=after)


def add_route(hand: Hand, name: str, every: str, motors: Sequence[Motor]) -> Route:
    last = hand.session.scalar(sa.select(sa.func.max(Route.place)).where(Route.unit_id == hand.unit.id))
    route = Route(unit_id=hand.unit.id, name=name, checked_every=every, place=(last or 0) + 1, created_at=hand.now)
    hand.session.add(route)
    hand.session.flush()
    hand.note(route, "name", None, name)
    hand.note(route, "checked_every", None, every)
    put_on(hand, route, motors)
    return route


def change_route(hand: Hand, route: Route, name: str, every: str) -> None:
    for what, after in (("name", name), ("checked_every", every)):
        before = getattr(route, what)
        if before != after:
            setattr(route, what, after)
            hand.note(route, what, before, after)
    hand.session.flush()


def take_away(hand: Hand, route: Route) -> None:
    """The route goes; its motors stay in the register."""
    hand.note(route, "taken away", f"{len(route.stops)} motors, checked every {route.checked_every}", None)
    hand.session.delete(route)
    hand.session.flush()


def put_on(hand: Hand, route: Route, motors: Sequence[Motor]) -> None:
    """More motors at the end of the walk."""
    for motor in motors:
        route.stops.append(RouteStop(motor_id=motor.id, place=len(route.stops) + 1))
    if motors:
        hand.note(route, "put on", None, ", ".join(motor.tag for motor in motors))
    hand.session.flush()


def take_off(hand: Hand, route: Route, motor: Motor) -> None:
    gone = next(stop for stop in route.stops if stop.motor_id == motor.id)
    hand.note(route, "taken off", motor.tag, None)
    route.stops.remove(gone)
    hand.session.flush()
    for place, stop in enumerate(route.stops, start=1):
        stop.place = place
    hand.session.flush()


def set_order(hand: Hand, route: Route | None, motors: Sequence[Motor], moved: Sequence[Motor]) -> None:
    """Writes a new walking order: of a route, or of the register itself. moved: whom the person moved."""
    if route is None:
        _number_register(hand, motors)
        return
    before = {key: place for place, key in enumerate(route.motor_ids, start=1)}
    after = {motor.id: place for place, motor in enumerate(motors, start=1)}
    for stop in route.stops:
        stop.place = after[stop.motor_id]
    told = [motor for motor in moved if before[motor.id] != after[motor.id]]
    hand.note(route, WHOLE_ORDER, ", ".join(f"{m.tag} {before[m.id]}" for m in told),
              ", ".join(f"{m.tag} {after[m.id]}" for m in told))
    hand.session.flush()
    hand.session.expire(route, ["stops"])


def _number_register(hand: Hand, motors: Sequence[Motor]) -> None:
    """The register's own order is its route_order: as few numbers as can be are changed."""
    for motor, number in zip(motors, walking.numbered([m.route_order for m in motors]), strict=True):
        if number != motor.route_order:
            before, motor.route_order = motor.route_order, number
            motor.version += 1
            note_change(hand.session, unit_id=hand.unit.id, at=hand.now, person=hand.person, subject="motor",
                        subject_id=motor.id, label=motor.tag, field="route_order",
                        before=None if before is None else f"{before:g}", after=f"{number:g}")
    hand.session.flush()
