"""Which week, or which other span, a page of the week is about: out of its address, and in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from flask import abort, redirect, request, url_for

from app.rules.shifts import BadWeek
from app.rules.spans import Span, parse_span


def known_span(text: str) -> Span:
    """The span, or 404. One that is written otherwise than we write it is sent on to our address of it."""
    try:
        span = parse_span(text)
    except BadWeek as error:
        abort(404, f"{error}.")
    if text != span.text:
        abort(redirect(url_for(str(request.endpoint), **{**request.args.to_dict(), "week": span.text})))
    return span


def asked_span(first: str, last: str) -> Span:
    """The span of two days as a form sends them; one left out is the other. Raises BadWeek with what to do."""
    if not first and not last:
        raise BadWeek("Enter the first and the last day")
    return parse_span(f"{first or last}--{last or first}")


def neighbour(span: Span, step: int) -> str | None:
    """The span as long before (-1) or after (1), or None where the calendar of this tool ends."""
    try:
        return parse_span(span.before(-step).text).text
    except (BadWeek, OverflowError):
        return None


def in_words(span: Span) -> str:
    """Week 48, 2026; Weeks 45 to 48, 2026; 2 to 12 Nov 2026."""
    (year, week, _), (last_year, last_week, _) = span.first.isocalendar(), span.last.isocalendar()
    if span.is_week:
        return f"Week {week}, {year}"
    if span.whole_weeks:
        return (f"Weeks {week} to {last_week}, {year}" if year == last_year
                else f"Week {week}, {year} to week {last_week}, {last_year}")
    return days_in_words(span.first, span.last)


def days_in_words(first: date, last: date) -> str:
    """23 to 29 Nov 2026; the month and year said twice only where they differ; one day alone."""
    whole = f"{last.day} {last.strftime('%b %Y')}"
    if first == last:
        return whole
    begins = str(first.day)
    if (first.month, first.year) != (last.month, last.year):
        begins += first.strftime(" %b")
    if first.year != last.year:
        begins += first.strftime(" %Y")
    return f"{begins} to {whole}"


@dataclass(frozen=True)
class Named:
    """What the pages of one span say of it. begun, running: as of now."""

    text: str
    title: str
    days: str
    noun: str  # week, or span
    begun: bool
    running: bool
    before: str | None
    after: str | None
    first: date
    last: date


def named(span: Span, start: datetime, end: datetime, now: datetime) -> Named:
    return Named(span.text, in_words(span), days_in_words(span.first, span.last), "week" if span.is_week else "span",
                 start <= now, start <= now < end, neighbour(span, -1), neighbour(span, 1) if end <= now else None,
                 span.first, span.last)


def route_args() -> dict[str, Any]:
    """What was asked beside the span, for links that keep it."""
    return {name: value for name, value in request.args.items() if value}
