"""The lubrication chart to look at: printable by area, and one motor's with its earlier lines.

Where the chart has nothing, what the handbook computes from bearing, speed and service stands there, marked computed,
until a person confirms it.
"""

from __future__ import annotations

from typing import Any

from flask import Blueprint, render_template, request

from app.gathering import plate_facts
from app.rules import chart_offer, facts
from app.rules.chart_offer import ChartOffer, Service
from app.rules.greased import sealed_by
from app.store import chart, motors
from app.store.motors import LubricationPoint, Motor
from app.store.people import OPERATOR
from app.web.access import allow, found_or_404, reading, unit


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/lubrication/chart", "chart", whole)
    bp.add_url_rule("/motors/<int:motor_id>/chart", "motor_chart", motor_chart)


@allow(OPERATOR)
def whole() -> Any:
    """The chart of an area, or of the whole unit, to look at and to print."""
    area = request.args.get("area", "")
    with reading() as session:
        register = motors.motors_of(session, unit().id)
        areas = list(dict.fromkeys(m.area for m in register))
        by_area = [(name, [(m, _rows(m)) for m in register if m.area == name])
                   for name in areas if area in ("", name)]
        return render_template("lubrication/chart.html", area=area, areas=areas, by_area=by_area)


def _rows(motor: Motor) -> list[tuple[str, LubricationPoint | None, ChartOffer | None, str | None]]:
    """Each end with its line, what is offered where the line lacks it, and what says it is sealed."""
    plate, found = plate_facts(motor.nameplate), []
    for end in ("ODE", "DE"):
        point = motor.point(end)
        sealed = sealed_by(_kind_only(point), plate.bearing[end])
        found.append((end, point, None if sealed else _lacking(point, plate, end), sealed))
    return found


def _kind_only(point: LubricationPoint | None) -> facts.LubricationPoint:
    return facts.LubricationPoint(kind=point.kind if point else None)


def _lacking(point: LubricationPoint | None, plate: facts.Nameplate, end: str) -> ChartOffer | None:
    """The handbook's offer, where a greased bearing's line has no amount or no interval."""
    whole = point is not None and point.grease_g and (point.interval_days or point.interval_run_h)
    if whole or (point is not None and point.kind == "oil"):
        return None
    found = chart_offer.by_handbook(plate.bearing[end], plate.rpm, Service())
    return found if found.grease_g is not None or found.interval_run_h is not None else None


@allow(OPERATOR)
def motor_chart(motor_id: int) -> Any:
    with reading() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        return render_template("lubrication/motor_chart.html", motor=motor, rows=_rows(motor),
                               earlier=[x for x in chart.lines_of(session, motor.id) if x.replaced_at is not None],
                               bearing=plate_facts(motor.nameplate).bearing)
