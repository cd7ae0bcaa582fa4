"""The week: what goes into the supervisor's meeting, on the page, on one printed sheet and as a file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for

from app.export.week import ExceptionRow, exception_rows, week_for
from app.export.week_done import done_in
from app.export.week_figures import Figures, most_first, repeats
from app.export.week_rounds import coverage
from app.rules.findings import PRIORITIES
from app.rules.shifts import BadWeek, week_of
from app.store.people import SUPERVISOR
from app.web import week_files
from app.web.access import allow, now, reading, unit
from app.web.week_span import asked_span, known_span, named

bp = Blueprint("week", __name__)
week_files.add_to(bp)

#: More rows than anyone reads on a page; the files hold them all.
MOST_ON_PAGE = 500
#: What fits on the one printed page beside the figures, however bad the week was.
MOST_AT_MEETING = 5
STATES = ("active", "improving", "returned to normal", "shelved", "closed")


@dataclass(frozen=True)
class Filters:
    """What the page is narrowed to; "" is all. shift: the name of the shift that raised it."""

    area: str = ""
    rule: str = ""
    priority: str = ""
    state: str = ""
    shift: str = ""

    @classmethod
    def asked(cls) -> Filters:
        return cls(**{name: request.args.get(name, "") for name in cls.__dataclass_fields__})

    def let_through(self, row: ExceptionRow) -> bool:
        return all(not wanted or getattr(row, name) == wanted for name, wanted in self.chosen.items())

    @property
    def chosen(self) -> dict[str, str]:
        return {name: value for name in self.__dataclass_fields__ if (value := getattr(self, name))}


bp.app_template_filter("instant")(datetime.fromisoformat)  # the rows' times are ISO text; pages show them as times


@bp.get("/week")
@allow(SUPERVISOR)
def this_week() -> Any:
    """To the week that runs, or to the span of two days that was asked for."""
    here = week_of(now(), unit().calendar.zone)
    if "from" not in request.args and "to" not in request.args:
        return redirect(url_for("week.page", week=here))
    try:
        span = asked_span(request.args.get("from", ""), request.args.get("to", ""))
    except BadWeek as error:
        flash(f"{error}. Nothing was looked up.")
        return redirect(url_for("week.page", week=here))
    return redirect(url_for("week.page", week=span.text))


@bp.get("/week/<week>")
@allow(SUPERVISOR)
def page(week: str) -> Any:
    return render_template("week/page.html", **shown(week, Filters.asked(), MOST_ON_PAGE))


@bp.get("/week/<week>/meeting")
@allow(SUPERVISOR)
def meeting(week: str) -> Any:
    """One printed page: the figures, and the gravest of what there is to talk about."""
    return render_template("week/meeting.html", most=MOST_AT_MEETING,
                           **shown(week, Filters(), MOST_AT_MEETING))


def shown(week: str, filters: Filters, most: int) -> dict[str, Any]:
    """Everything that the pages of a week show. Five queries, whatever was raised and done."""
    given, moment = week_for(unit(), known_span(week).text), now()
    figures, rows, matching = Figures(), [], 0
    with reading() as session:
        for row in figures.counted(exception_rows(session, unit(), given.text, moment)):
            if filters.let_through(row):
                matching += 1
                if matching <= most:
                    rows.append(row)
        rounds = coverage(session, unit(), given, moment)
        done = done_in(session, unit(), given, rounds.route)
        return {
            "named": named(given.span, given.start, given.end, moment), "week": given.text, "given": given,
            "figures": figures, "filters": filters, "rows": rows, "matching": matching,
            "rounds": rounds, "done": done, "compared": done.compared,
            "repeats": repeats(session, unit().id, given, moment),
            "by_rule": most_first(figures.by_rule), "by_area": most_first(figures.by_area),
            "choices": choices(figures)}


def choices(figures: Figures) -> dict[str, list[str]]:
    """What the page can be narrowed to: what is there, in the order people know."""
    return {"area": sorted(figures.by_area), "rule": sorted(figures.by_rule),
            "priority": [word for word in PRIORITIES if figures.by_priority[word]],
            "state": [word for word in STATES if figures.by_state[word]], "shift": sorted(figures.by_shift)}
