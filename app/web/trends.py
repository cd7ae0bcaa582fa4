"""Trends, where people would rather look than read: one motor's figures over time, the unit's motors by weeks."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from flask import Blueprint, abort, render_template, request

from app import motor_trends, unit_trends
from app.rules import axis
from app.rules.findings import PRIORITIES
from app.rules.shifts import BadWeek, week_of
from app.rules.spans import Span, parse_span
from app.store.people import HEAD_OPERATOR, OPERATOR
from app.web.access import allow, found_or_404, now, reading, unit
from app.web.chart import KINDS, picture
from app.web.week_span import days_in_words

bp = Blueprint("trends", __name__)

MOTOR_WEEKS = (2, 4, 13, 52)
UNIT_WEEKS = (6, 12, 26)
FIRST_DAY = date(1970, 1, 12)


def asked_weeks(choices: tuple[int, ...], usual: int) -> int:
    """How many weeks are shown: one of the choices, else the usual one."""
    text = request.args.get("weeks", "")
    return int(text) if text in {str(n) for n in choices} else usual


@dataclass(frozen=True)
class Shown:
    """The days of a motor's pictures, and where zooming leads."""

    span: Span
    weeks: int
    earlier: str
    later: str | None  # None: it would begin after today

    @property
    def title(self) -> str:
        return days_in_words(self.span.first, self.span.last)


def shown_days() -> Shown:
    """So many weeks up to and with the day asked for, today where none is."""
    today = now().astimezone(unit().calendar.zone).date()
    weeks = asked_weeks(MOTOR_WEEKS, 4)
    try:
        last = min(date.fromisoformat(request.args["to"]), today) if request.args.get("to") else today
    except ValueError:
        abort(404, "The last day is written as 2026-11-24.")
    days = timedelta(days=7 * weeks)
    last = max(last, FIRST_DAY + days)
    later = min(last + days, today)
    return Shown(Span(last - days + timedelta(days=1), last), weeks, (last - days).isoformat(),
                 later.isoformat() if later > last else None)


@bp.get("/motors/<int:motor_id>/trends")
@allow(OPERATOR)
def motor(motor_id: int) -> Any:
    """Five queries, whatever the span holds."""
    shown = shown_days()
    start, end = shown.span.bounds(unit().calendar.zone)
    with reading() as session:
        one = found_or_404(motor_trends.motor_with_plates(session, unit().id, motor_id))
        trend = motor_trends.trend_of(session, unit(), one, start, end)
        pictures = [picture(panel, trend.marks, unit(), start, end) for panel in trend.panels]
        return render_template("trends/motor.html", motor=one, trend=trend, pictures=pictures, shown=shown,
                               choices=MOTOR_WEEKS, kinds=KINDS,
                               plates={plate.id: plate for plate in one.nameplates})


@bp.get("/trends")
@allow(HEAD_OPERATOR)
def unit_page() -> Any:
    """Motors by weeks, shaded by the gravest flag, and each area's weeks in small."""
    weeks, last = asked_weeks(UNIT_WEEKS, 12), asked_last_week()
    columns = unit_trends.columns_to(unit(), last, weeks, now())
    with reading() as session:
        trend = unit_trends.trend_of(session, unit(), columns)
    scale = axis.values([float(area.most) for area in trend.areas], from_zero=True, most=4)
    return render_template(
        "trends/unit.html", trend=trend, weeks=weeks, choices=UNIT_WEEKS, last=last, earlier=last.before(weeks).text,
        later=last.before(-weeks).text if columns[-1].end <= now() else None, scale=scale,
        bars=[bars(area, scale) for area in trend.areas], totals=unit_trends.totals)


def asked_last_week() -> Span:
    """The last of the weeks shown: the one asked for, else the one that runs."""
    here = parse_span(week_of(now(), unit().calendar.zone))
    try:
        asked = parse_span(request.args["to"]) if request.args.get("to") else here
    except BadWeek as error:
        abort(404, f"{error}.")
    if not asked.is_week or asked.first < date(1972, 1, 3):
        abort(404, "The last week is written as 2026-W48.")
    return min(asked, here, key=lambda span: span.first)


BAR_WIDTH, BAR_PITCH, BAR_HEIGHT = 14, 18, 90


def bars(area: unit_trends.Area, scale: axis.Axis) -> list[tuple[int, list[tuple[str, float, float, int]]]]:
    """(x, [(priority, y, height, count)]) of each week, the gravest at the bottom, on the scale all areas share."""
    up = scale.drawn(BAR_HEIGHT, 0)
    found = []
    for i, week in enumerate(area.weeks):
        below, pieces = 0, []
        for priority in PRIORITIES:
            if count := week[priority]:
                top = up.at(below + count)
                pieces.append((priority, top, round(up.at(below) - top, 1), count))
                below += count
        found.append((i * BAR_PITCH, pieces))
    return found
