"""The walking order by moving rows: up, down, to a place; one motor, several at once, or a whole area.

The page sends the order it was opened with: whoever comes later is told what was moved meanwhile, and asked.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app.rules import walking
from app.store import routes
from app.store.motors import Motor
from app.store.people import SUPERVISOR, Person
from app.store.routes import Hand, Route
from app.store.units import Unit
from app.web.access import allow, found_or_404, now, person, reading, unit, writing


def add_to(bp: Blueprint) -> None:
    for path, name in (("/register/routes/own", "own"), ("/register/routes/<int:route_id>", "order")):
        bp.add_url_rule(path, name, show)
        bp.add_url_rule(path, f"{name}_move", move, methods=["POST"])


class BadMove(ValueError):
    """A place that is none; says what to do. at: the motor beside whose field it stands."""

    def __init__(self, at: int, says: str) -> None:
        self.at = at
        super().__init__(says)


@dataclass(frozen=True)
class Asked:
    """What the person asks for: the new order, whom they moved, and how it is told."""

    order: list[int]
    moved: list[int]
    off: int | None = None


@allow(SUPERVISOR)
def show(route_id: int | None = None) -> Any:
    with reading() as session:
        route = _route(session, route_id)
        return _page(session, route, _walked(session, route))


@allow(SUPERVISOR)
def move(route_id: int | None = None) -> Any:
    with writing() as session:
        route = _route(session, route_id)
        walked = _walked(session, route)
        if request.form.get("order") != _order_key(walked):
            return _page(session, route, walked, meanwhile=True), 409
        try:
            asked = _asked(walked, request.form.get("move", ""))
        except BadMove as error:
            return _page(session, route, walked, error=error), 422
        by_id = {motor.id: motor for motor in walked}
        at = Hand(session, session.get_one(Unit, unit().id), session.get_one(Person, person().id), now())
        if asked.off is not None and route is not None:
            routes.take_off(at, route, by_id[asked.off])
            flash(f"{by_id[asked.off].tag} is taken off {route.name}.")
        elif asked.moved and asked.order != [motor.id for motor in walked]:
            routes.set_order(at, route, [by_id[key] for key in asked.order], [by_id[key] for key in asked.moved])
            flash(_told(by_id, asked))
        else:
            flash("Nothing was moved.")
        session.commit()
        focus = asked.moved[0] if asked.moved else None
    where = url_for("routes.own") if route is None else url_for("routes.order", route_id=route.id)
    return redirect(f"{where}#m{focus}" if focus else where, 303)


def _told(by_id: dict[int, Motor], asked: Asked) -> str:
    said = [f"{by_id[key].tag} is now {asked.order.index(key) + 1}" for key in asked.moved[:5]]
    more = f" and {len(asked.moved) - 5} more are moved" if len(asked.moved) > 5 else ""
    return f"{', '.join(said)}{more} of {len(asked.order)}."


# what is there ---------------------------------------------------------------------------------------------


def _route(session: Session, route_id: int | None) -> Route | None:
    """The route, or None for the register's own order."""
    return None if route_id is None else found_or_404(routes.route_by_id(session, unit().id, route_id))


def _walked(session: Session, route: Route | None) -> list[Motor]:
    register = routes.register_of(session, unit().id)
    if route is None:
        return register
    by_id = {motor.id: motor for motor in register}
    return [by_id[key] for key in route.motor_ids]


def _order_key(walked: Sequence[Motor]) -> str:
    return " ".join(str(motor.id) for motor in walked)


def _page(session: Session, route: Route | None, walked: list[Motor], error: BadMove | None = None,
          meanwhile: bool = False) -> str:
    walks, register = routes.walks_of(session, unit().id), routes.register_of(session, unit().id)
    runs = walking.stretches([motor.area for motor in walked])
    there = {motor.id for motor in walked}
    return render_template(
        "routes/order.html", route=route, walked=walked, order=_order_key(walked), error=error, walks=walks,
        runs=[(walked[begin], walked[begin:end], begin) for begin, end in runs],
        typed={key: text for key, text in request.form.items() if key.startswith("to_")} if error else {},
        elsewhere=[] if route is None else [m for m in register if m.id not in there],
        meanwhile=_since_opened(walked) if meanwhile else None, again=_wish(walked) if meanwhile else None,
        newest=routes.newest_change(session, unit().id, route) if meanwhile else None)


def _since_opened(walked: Sequence[Motor]) -> list[str]:
    """What is not where it was when the page was opened."""
    before = request.form.get("order", "").split()
    after = [str(motor.id) for motor in walked]
    both = [key for key in before if key in after]
    told = []
    for motor in walked:
        key = str(motor.id)
        if key not in before:
            told.append(f"{motor.tag} was put on, as number {after.index(key) + 1}")
        elif both.index(key) != [k for k in after if k in both].index(key):
            told.append(f"{motor.tag} went from {before.index(key) + 1} to {after.index(key) + 1}")
    gone = len(before) - len(both)
    return told + ([f"{gone} motor{'' if gone == 1 else 's'} taken off"] if gone else [])


def _wish(walked: Sequence[Motor]) -> str | None:
    """The move that was asked for, where it can still be made in the order as it is now."""
    wish = request.form.get("move", "")
    key = wish.partition(" ")[0]
    return wish if wish != "places" and key in {str(motor.id) for motor in walked} else None


# what is asked for -----------------------------------------------------------------------------------------


def _asked(walked: Sequence[Motor], wish: str) -> Asked:
    """Reads the button: "17 up", "17 down", "17 area-up", "17 off", or "places" for the numbers typed."""
    order = [motor.id for motor in walked]
    if wish == "places":
        return _to_places(walked, order)
    key, _, what = wish.partition(" ")
    who = int(key) if key.isdigit() else 0
    if who not in order:
        return Asked(order, [])
    if what == "off":
        return Asked(order, [], off=who)
    areas = [motor.area for motor in walked]
    acts: dict[str, Callable[[], list[int]]] = {
        "up": lambda: walking.moved(order, [who], order.index(who)),
        "down": lambda: walking.moved(order, [who], order.index(who) + 2),
        "area-up": lambda: walking.stretch_moved(order, areas, who, -1),
        "area-down": lambda: walking.stretch_moved(order, areas, who, 1),
    }
    return Asked(acts[what]() if what in acts else order, [who])


def _to_places(walked: Sequence[Motor], order: list[int]) -> Asked:
    """The numbers typed over the old ones: each motor goes to its place, the lowest first."""
    wanted: list[tuple[int, int]] = []
    for place, motor in enumerate(walked, start=1):
        typed = request.form.get(f"to_{motor.id}", "").strip()
        if typed in ("", str(place)):
            continue
        if not (typed.isascii() and typed.isdigit() and 1 <= int(typed[:9]) <= len(walked)):
            raise BadMove(motor.id, f"Enter a whole number from 1 to {len(walked)} for {motor.tag}.")
        wanted.append((int(typed), motor.id))
    rest = [key for key in order if key not in {key for _, key in wanted}]
    for to, key in sorted(wanted):
        rest.insert(min(to - 1, len(rest)), key)
    return Asked(rest, [key for _, key in sorted(wanted)])
