"""The order of the checks at the motor, by route: set by the supervisor with those who walk it."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for

from app.check_order import CHECKS, order_of
from app.store import motors
from app.store.changes import note_change
from app.store.people import Person
from app.store.units import Unit
from app.web import access
from app.web.access import SUPERVISOR, allow, found_or_404, now, reading, writing

WHOLE_UNIT = "the whole unit"


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/settings/order", view_func=order_page)
    bp.add_url_rule("/settings/order", view_func=order_post, methods=["POST"])


@allow(SUPERVISOR)
def order_page() -> Any:
    area = found_or_404(_area(request.args.get("area", "")))
    return _show(area, list(order_of(access.unit(), area)))


@allow(SUPERVISOR)
def order_post() -> Any:
    """Keeps the order of one area or of the whole unit; "as the unit" takes an area's own order away."""
    area = found_or_404(_area(request.form.get("area", "")))
    wanted = [request.form.get(f"place_{i}", "") for i, _ in enumerate(CHECKS)]
    if request.form.get("own") == "no":
        wanted = []
    elif sorted(wanted) != sorted(CHECKS):
        return _show(area, wanted, "Give each check one place: each once, none twice.")
    with writing() as session:
        unit, person = session.get_one(Unit, access.unit().id), session.get_one(Person, access.person().id)
        before = dict(unit.check_order or {})
        unit.check_order = {**{k: v for k, v in before.items() if k != area}, **({area: wanted} if wanted else {})}
        note_change(session, unit_id=unit.id, at=now(), person=person, subject="unit", subject_id=unit.id,
                    label=unit.name, field=f"order of the checks, {area or WHOLE_UNIT}",
                    before=_words(before.get(area)), after=_words(wanted))
        session.commit()
    flash(f"Order of the checks for {area or WHOLE_UNIT} kept.")
    return redirect(url_for("settings.order_page", area=area or None), 303)


def _show(area: str, order: list[str], error: str | None = None) -> Any:
    page = render_template("settings/order.html", area=area, areas=_areas(), order=order, checks=CHECKS, error=error,
                           own=area in (access.unit().check_order or {}), whole=WHOLE_UNIT)
    return (page, 422) if error else page


def _areas() -> list[str]:
    with reading() as session:
        return list(dict.fromkeys(m.area for m in motors.motors_of(session, access.unit().id)))


def _area(name: str) -> str | None:
    """The area as asked for; "" is the whole unit; None: there is none of this name."""
    return name if name == "" or name in _areas() else None


def _words(order: list[str] | None) -> str | None:
    return ", ".join(CHECKS[check] for check in order) if order else None
