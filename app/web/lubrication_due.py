"""What the chart makes due: by route and by lubricant with totals, the next eight weeks, the months behind."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby
from typing import Any

from flask import Blueprint, g, render_template, request

from app import greasing_months, lubricating
from app.lubricating import Planned
from app.rules import greasing_plan
from app.rules.greasing_plan import LATER, LISTS, NEVER, NOW, OVERDUE, THIS_WEEK, Gun, Total
from app.store import guns
from app.store.people import OPERATOR, SUPERVISOR
from app.web.access import allow, now, reading, unit

#: What one walk does: never recorded ones are looked at first, so they stand apart.
WALK = (OVERDUE, NOW, THIS_WEEK)


def add_to(bp: Blueprint) -> None:
    bp.add_app_template_filter(by_area, "groupby_area")
    bp.add_url_rule("/lubrication", "index", index)
    bp.add_url_rule("/lubrication/weeks", "weeks", weeks)
    bp.add_url_rule("/lubrication/months", "months", months)


def by_area(lines: Iterable[Planned]) -> list[tuple[str, list[Planned]]]:
    """As they are walked: area after area."""
    return [(area, list(group)) for area, group in groupby(lines, key=lambda p: p.motor.area)]


def _load() -> tuple[list[Planned], list[Gun]]:
    with reading() as session:
        planned = lubricating.plan(session, unit(), now())
        ours = [gun.as_rule() for gun in guns.guns_of(session, unit().id)]
    g.greasing_overdue = lubricating.overdue_count(planned)  # the banner asks for the same
    return planned, ours


def _totals(lines: Iterable[Planned], ours: list[Gun]) -> list[Total]:
    return greasing_plan.totals(((p.point.lubricant, p.point.grease_g) for p in lines if p.point.kind != "oil"), ours)


def _strokes(ours: list[Gun]) -> Any:
    """For a template: the strokes of each gun that fits, at one bearing."""
    def strokes(planned: Planned) -> list[tuple[Gun, int]]:
        if planned.point.kind == "oil":
            return []
        fitting = greasing_plan.fitting(ours, planned.point.lubricant)
        counted = [(gun, greasing_plan.strokes_for(planned.point.grease_g, gun)) for gun in fitting]
        return [(gun, n) for gun, n in counted if n is not None]

    return strokes


@allow(OPERATOR)
def index() -> Any:
    """Overdue, now, this week, never recorded: in walking order, or lubricant by lubricant for one gun each."""
    planned, ours = _load()
    by, area = request.args.get("by", "route"), request.args.get("area", "")
    areas = list(dict.fromkeys(p.motor.area for p in planned))
    shown = [p for p in planned if not area or p.motor.area == area]
    lists = {where: [p for p in shown if p.where == where] for where in LISTS}
    walk = [p for p in shown if p.where in WALK]
    return render_template(
        "lubrication/index.html", by="lubricant" if by == "lubricant" else "route", area=area, areas=areas, lists=lists,
        walk=walk, totals=_totals(walk, ours), strokes=_strokes(ours), guns=ours, all=planned, never=NEVER, later=LATER,
        walked=WALK, by_lubricant=_by_lubricant(walk), total_of=lambda lines: _totals(lines, ours))


def _by_lubricant(lines: list[Planned]) -> list[tuple[str, list[Planned]]]:
    """One walk with one gun does one lubricant; within it the walking order stays."""
    def name(p: Planned) -> str:
        return p.point.lubricant or "lubricant not named"

    return [(lubricant, list(group)) for lubricant, group in groupby(sorted(lines, key=name), key=name)]


@allow(OPERATOR)
def weeks() -> Any:
    """The next eight weeks, week by week; what stands over heads the list."""
    planned, ours = _load()
    ahead = [(label, start, end, due, _totals(due, ours))
             for label, start, end in lubricating.weeks_ahead(unit(), now())
             if (due := [p for p in planned if p.where not in (OVERDUE, NEVER) and p.due_between(start, end)]) or True]
    over = [p for p in planned if p.where == OVERDUE]
    return render_template("lubrication/weeks.html", weeks=ahead, over=over, over_totals=_totals(over, ours),
                           never=[p for p in planned if p.where == NEVER], strokes=_strokes(ours))


@allow(SUPERVISOR)
def months() -> Any:
    """Grams used, done and missed, month by month."""
    with reading() as session:
        behind = greasing_months.by_month(session, unit(), now())
    return render_template("lubrication/months.html", months=behind, lubricants=greasing_months.all_lubricants(behind))
