"""The week: what goes into the supervisor's meeting, on the page and as a file."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from typing import IO, Any

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for

from app.export import week as exceptions
from app.export.week import ExceptionRow
from app.export.week_figures import Figures, most_first, repeats
from app.export.week_rounds import coverage
from app.export.week_sheets import week_workbook
from app.review_list import waiting_too_long
from app.rules.findings import PRIORITIES
from app.rules.shifts import BadWeek, next_week, parse_week, week_days, week_of
from app.web.access import SUPERVISOR, allow, now, reading, unit

bp = Blueprint("week", __name__)

#: More rows than anyone reads on a page; the files hold them all.
MOST_ON_PAGE = 500
STATES = ("active", "improving", "returned to normal", "shelved", "closed")
IN_MEMORY = 1024 * 1024
KINDS = {"csv": "text/csv",
         "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}


@dataclass(frozen=True)
class Filters:
    """What the page is narrowed to; "" is all."""

    area: str = ""
    rule: str = ""
    priority: str = ""
    state: str = ""

    @classmethod
    def asked(cls) -> Filters:
        return cls(**{name: request.args.get(name, "") for name in cls.__dataclass_fields__})

    def let_through(self, row: ExceptionRow) -> bool:
        return all(not wanted or getattr(row, name) == wanted for name, wanted in self.chosen.items())

    @property
    def chosen(self) -> dict[str, str]:
        return {name: value for name in self.__dataclass_fields__ if (value := getattr(self, name))}


def known_week(text: str) -> str:
    """The week, or 404: 2026-W48 and no other spelling, and only weeks that there are."""
    try:
        year, number = parse_week(text)
    except BadWeek as error:
        abort(404, f"{error}.")
    if text != f"{year}-W{number:02d}":
        abort(404, f"{text!r} is not a week such as 2026-W48.")
    return text


def neighbour(week: str, step: int) -> str | None:
    """The week before or after, or None where the calendar of this tool ends."""
    try:
        other = next_week(week, step)
        parse_week(other)
    except (BadWeek, ValueError, OverflowError):
        return None
    return other


def week_title(week: str) -> str:
    year, number = parse_week(week)
    return f"Week {number}, {year}"


def days_in_words(monday: date, sunday: date) -> str:
    """23 to 29 Nov 2026; the month and year said twice only where they differ."""
    first = str(monday.day)
    if monday.month != sunday.month:
        first += monday.strftime(" %b")
    if monday.year != sunday.year:
        first += monday.strftime(" %Y")
    return f"{first} to {sunday.day} {sunday.strftime('%b %Y')}"


bp.app_template_filter("instant")(datetime.fromisoformat)  # the rows' times are ISO text; pages show them as times


@bp.get("/week")
@allow(SUPERVISOR)
def this_week() -> Any:
    return redirect(url_for("week.page", week=week_of(now(), unit().calendar.zone)))


@bp.get("/week/<week>")
@allow(SUPERVISOR)
def page(week: str) -> Any:
    given = exceptions.week_for(unit(), known_week(week))
    figures, filters, moment = Figures(), Filters.asked(), now()
    shown, matching = [], 0
    with reading() as session:
        for row in figures.counted(exceptions.exception_rows(session, unit(), week, moment)):
            if filters.let_through(row):
                matching += 1
                if matching <= MOST_ON_PAGE:
                    shown.append(row)
        rounds = coverage(session, unit(), given, moment)
        again = repeats(session, unit().id, given, moment)
        waiting = waiting_too_long(session, unit(), moment) if given.holds(moment) else []
    return render_template(
        "week/page.html", week=week, title=week_title(week), days=days_in_words(*week_days(week)), given=given,
        figures=figures, filters=filters, rows=shown, matching=matching, rounds=rounds, repeats=again, waiting=waiting,
        by_rule=most_first(figures.by_rule), by_area=most_first(figures.by_area), begun=given.start <= moment,
        running=given.holds(moment), before=neighbour(week, -1),
        after=neighbour(week, 1) if given.end <= moment else None,
        choices=choices(figures))


def choices(figures: Figures) -> dict[str, list[str]]:
    """What the page can be narrowed to: what is there, in the order people know."""
    return {"area": sorted(figures.by_area), "rule": sorted(figures.by_rule),
            "priority": [word for word in PRIORITIES if figures.by_priority[word]],
            "state": [word for word in STATES if figures.by_state[word]]}


# the files -------------------------------------------------------------------------------------------------


@bp.get("/week/<week>.csv")
@allow(SUPERVISOR)
def csv_file(week: str) -> Response:
    moment = now()
    with new_file() as file, reading() as session:
        file.writelines(exceptions.week_csv(session, unit(), known_week(week), moment))
        return as_download(file, week, moment, "csv")


@bp.get("/week/<week>.xlsx")
@allow(SUPERVISOR)
def xlsx_file(week: str) -> Response:
    moment = now()
    with new_file() as file, reading() as session:
        week_workbook(session, unit(), known_week(week), moment, file)
        return as_download(file, week, moment, "xlsx")


@contextmanager
def new_file() -> Iterator[IO[bytes]]:
    """A file to be sent when it is whole (on disk when large), so that a failure is a page and never half a file."""
    file = tempfile.SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115 - closed when it is sent
    try:
        yield file
    except BaseException:
        file.close()
        raise


def as_download(file: IO[bytes], week: str, made: datetime, kind: str) -> Response:
    size = file.seek(0, 2)
    file.seek(0)
    answer = Response(pieces(file), mimetype=KINDS[kind])
    if size <= IN_MEMORY:
        answer.data = file.read()
        file.close()
    answer.call_on_close(file.close)
    answer.content_length = size
    answer.headers.set("Content-Disposition", "attachment", filename=exceptions.file_name(unit(), week, made, kind))
    return answer


def pieces(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        while piece := file.read(IN_MEMORY):
            yield piece
