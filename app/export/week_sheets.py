"""The workbook of the week: the exceptions first, then what the meeting asks about them, one table a sheet."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import IO

from sqlalchemy.orm import Session

from app.export.tables import NUMBER, TEXT, TIME, Column, Row, Table, local_iso
from app.export.week import COLUMNS, ExceptionRow, Week, cells, exception_rows, week_for
from app.export.week_compare import from_counts
from app.export.week_events import CHANGE, COUNT, DIP, LIMIT, START, TRIP, Rows, events_in
from app.export.week_figures import Figures, most_first, repeats
from app.export.week_rounds import Coverage, ShiftRound, coverage
from app.export.week_work import (
    AREA,
    CHANGES,
    END,
    LUBRICATION,
    SERVICE,
    STARTS,
    TAG,
    TRIPS,
    change_rows,
    lubrication_rows,
    start_rows,
    trip_rows,
)
from app.export.workbook import LOCAL, new_book
from app.store.units import Unit

# summary ---------------------------------------------------------------------------------------------------

SUMMARY = (
    Column("about", TEXT, "What the line is about", 18),
    Column("item", TEXT, "What is counted or told", 34),
    Column("figure", NUMBER, "The figure", 10),
    Column("week_before", NUMBER, "The same figure for as many days before, where it is counted", 12),
    Column("mean_of_4_before", NUMBER, "The mean of the four weeks before; of one week only", 12),
    Column("per_100_readings", NUMBER, "The figure per 100 readings of the week, where a rate says something", 12),
    Column("per_100_week_before", NUMBER, "The same for the week before", 12),
    Column("per_100_mean_of_4", NUMBER, "The same for the four weeks before together", 12),
    Column("words", TEXT, "What is told in words", 60),
)


def _line(about: str, item: str, value: float | None = None, words: str | None = None) -> Row:
    return about, item, value, None, None, None, None, None, words


def summary_rows(unit: Unit, week: Week, now: datetime, figures: Figures, rounds: Coverage,
                 events: dict[str, Rows]) -> Iterator[Row]:
    for item, instant in (("begins", week.start), ("ends", week.end), ("exported", now)):
        yield _line("week", item, words=local_iso(instant, week.zone))
    yield _line("week", "ISO week" if week.span.is_week else "span", words=week.text)
    yield _line("unit", "name", words=unit.name)
    yield _line("unit", "time zone", words=unit.time_zone)
    for one in from_counts(week, [(row.what, row.at, row.number) for row in events[COUNT]]):
        yield ("compared", one.name, one.this, one.before, one.mean, one.per_100, one.per_100_before,
               one.per_100_mean, None)
    yield from (_line("flags", item, count) for item, count in (
        ("open and seen by nobody", figures.not_seen_yet), ("run on with a reason", figures.run_on),
        ("arrived late", figures.late), ("actions late", len(figures.overdue)),
        ("median hours to seen", _one(figures.median_hours_to_seen)),
        ("median hours to closed", _one(figures.median_hours_to_closed))))
    for about, counts in (("flags by priority", figures.priorities), ("flags by rule", most_first(figures.by_rule)),
                          ("flags by area", most_first(figures.by_area)),
                          ("flags by state", most_first(figures.by_state)),
                          ("flags raised by shift", sorted(figures.raised_by_shift.items()))):
        yield from (_line(about, item, count) for item, count in counts)
    yield from (_line("rounds", item, count) for item, count in (
        ("shifts that are over", rounds.over), ("complete", rounds.complete), ("incomplete", rounds.incomplete),
        ("missed", rounds.missed), ("signed", rounds.signed), ("motors read", rounds.looks),
        ("motors skipped with a reason", rounds.skipped), ("motors not seen", rounds.not_seen)))
    yield from (_line("motors read by shift", name, count) for name, count in rounds.by_shift.items())
    yield _line("lubrication", "bearings overdue in the week", figures.greasing_overdue)
    yield from _decided(figures, week)
    yield from (_line("power dip", local_iso(dip.at, week.zone) or "", words=dip.words) for dip in events[DIP])


def _decided(figures: Figures, week: Week) -> Iterator[Row]:
    """What was to be done and was late (figure: days), and what runs on, on whose word."""
    for row in figures.overdue:
        yield _line("action late, days", _named(row), row.days_late,
                    f"{row.flag.owner}, by {local_iso(row.flag.due_at, week.zone)}; {row.state}")
    for row in figures.run_ons:
        yield _line("run on", _named(row), words=f"{row.run_on_reason} (watch {row.flag.run_on_watch or 'not said'}; "
                                                 f"{row.run_on_by or 'not recorded'})")


def _named(row: ExceptionRow) -> str:
    return " ".join(filter(None, (row.tag, row.rule, row.end)))


def _one(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


# rounds and what was not seen ------------------------------------------------------------------------------

ROUNDS = (
    Column("shift_date", TEXT, "The local date the shift began on", 12),
    Column("shift", TEXT, "The shift's name", 12),
    Column("begins", TIME, "When the shift began"),
    Column("ends", TIME, "When it ends"),
    Column("result", TEXT, "complete: every motor due was read, or skipped with a reason; incomplete; missed: nobody "
                           "read any; running: not over yet", 12),
    Column("planned", NUMBER, "Motors due in this shift; those checked every day or week only where no other round of "
                              "that date or week has read them", 9),
    Column("read", NUMBER, "Of them, read", 9),
    Column("skipped", NUMBER, "Of them, skipped with a reason", 9),
    Column("not_seen", NUMBER, "Of them, neither read nor skipped; empty while the shift runs", 9),
    Column("late_entries", NUMBER, "Entries marked entered later, or received after the shift's end", 9),
    Column("first_reading", TIME, "When the first entry was taken"),
    Column("last_reading", TIME, "When the last entry was taken"),
    Column("read_by", TEXT, "Who made the entries", 26),
    Column("opened_by", TEXT, "Who opened the sheet; empty: nobody did", 18),
    Column("signed_by", TEXT, "Who signed the sheet; empty: not signed", 18),
    Column("signed_at", TIME, "When it was signed"),
    Column("reasons", TEXT, "Why motors were skipped, and how many for each reason", 30),
    Column("median_s_per_motor", NUMBER, "Median seconds from one motor's first entry to the next one's, each person "
                                         "by their own; empty under three motors", 10),
)

NOT_SEEN = (
    Column("shift_date", TEXT, "The local date the shift began on", 12),
    Column("shift", TEXT, "The shift's name", 12),
    AREA, TAG, SERVICE,
    Column("checked_every", TEXT, "shift, day or week", 12),
    Column("answer", TEXT, "skipped: with a reason; not seen: neither read nor skipped", 12),
    Column("reason", TEXT, "The reason given", 34),
    Column("by", TEXT, "Who gave it", 18),
    Column("last_read", TIME, "When the motor was last read before"),
    Column("hours_since_read", NUMBER, "Hours from last_read to the shift's end", 10),
)


def round_rows(rounds: Coverage, week: Week) -> Iterator[Row]:
    for r in rounds.rounds:
        sheet = r.round
        yield (r.shift.date.isoformat(), r.shift.name, local_iso(r.shift.starts_at, week.zone),
               local_iso(r.shift.ends_at, week.zone), r.result, r.planned, r.read, r.skipped,
               r.not_seen if r.over else None, r.late, local_iso(r.first_reading, week.zone),
               local_iso(r.last_reading, week.zone), ", ".join(r.readers),
               sheet.opened_by or "" if sheet else "", sheet.signed_by or "" if sheet else "",
               local_iso(sheet.signed_at, week.zone) if sheet else None, _reasons(r), r.median_s_per_motor)


def _reasons(walked: ShiftRound) -> str:
    counts = Counter(m.reason for m in walked.missed_motors if m.reason)
    return "; ".join(f"{reason} ({count})" for reason, count in most_first(counts))


def not_seen_rows(rounds: Coverage, week: Week) -> Iterator[Row]:
    for r in rounds.rounds:
        for missed in r.missed_motors:
            motor = missed.motor
            yield (r.shift.date.isoformat(), r.shift.name, motor.area, motor.tag, motor.service, missed.every,
                   "skipped" if missed.reason else "not seen", missed.reason, missed.by,
                   local_iso(missed.last_read, week.zone), missed.hours_since_read)


# repeats ---------------------------------------------------------------------------------------------------

REPEATS = (
    AREA, TAG, SERVICE,
    Column("rule", TEXT, "The rule that raised the flag", 24), END,
    Column("raised_in_week", NUMBER, "Flags of this motor, rule and end raised in the week", 10),
    Column("raised_in_4_weeks", NUMBER, "The same in the four weeks to the end of this one", 10),
    Column("times_seen", NUMBER, "Entries that showed it, on the flags that stood in the week", 10),
    Column("standing", TEXT, "yes: not closed when exported", 10),
    Column("first_raised", TIME, "When it was first raised in these four weeks"),
    Column("last_seen", TIME, "When it was last seen"),
    Column("last_action", TIME, "When somebody last said what was done about it; empty: never"),
)


def repeat_rows(session: Session, unit: Unit, week: Week, now: datetime) -> Iterator[Row]:
    for r in repeats(session, unit.id, week, now):
        yield (r.area, r.tag, r.service, r.rule, r.end, r.raised_in_week, r.raised_in_4_weeks, r.times_seen,
               "yes" if r.standing else "", local_iso(r.first_raised, week.zone), local_iso(r.last_seen, week.zone),
               local_iso(r.last_action, week.zone))


# about -----------------------------------------------------------------------------------------------------

ABOUT = (
    Column("sheet", TEXT, "The sheet", 16),
    Column("column", TEXT, "Its column", 22),
    Column("holds", TEXT, "What its cells are", 22),
    Column("meaning", TEXT, "What they mean", 90),
)
_KINDS = {TEXT: "text", NUMBER: "number", TIME: "ISO text with offset"}


def about_rows(tables: Iterable[Table], unit: Unit) -> Iterator[Row]:
    yield ("all", "times", "text and date-time",
           f"Local time of the unit ({unit.time_zone}): as ISO text with the offset it had then, and beside it, under "
           f"the same name with {LOCAL}, as a date-time cell without one. In the hour that comes twice only the text "
           "tells which.")
    yield ("all", "figures", "number", "SI units, named in the heading or in unit_of_measure. Empty means nothing was "
                                       "measured or given; it never means zero.")
    yield ("all", "state and words", "text", "As they stand when exported, whatever week is asked for.")
    for table in tables:
        for column in table.columns:
            yield table.name, column.name, _KINDS[column.kind], column.about


# the whole workbook ----------------------------------------------------------------------------------------


def week_tables(session: Session, unit: Unit, week: str, now: datetime) -> Iterator[Table]:
    """Every sheet in order, each to be gone through before the next is asked for. Raises BadWeek."""
    given = week_for(unit, week)
    figures, rounds, events = Figures(), coverage(session, unit, given, now), events_in(session, unit.id, given)
    tables: list[Table] = []

    def sheet(name: str, columns: tuple[Column, ...], rows: Iterable[Row]) -> Table:
        tables.append(Table(name, columns, rows))
        return tables[-1]

    yield sheet("Exceptions", COLUMNS, cells(figures.counted(exception_rows(session, unit, week, now))))
    yield sheet("Summary", SUMMARY, summary_rows(unit, given, now, figures, rounds, events))
    yield sheet("Rounds", ROUNDS, round_rows(rounds, given))
    yield sheet("Not seen", NOT_SEEN, not_seen_rows(rounds, given))
    yield sheet("Repeats", REPEATS, repeat_rows(session, unit, given, now))
    yield sheet("Starts", STARTS, start_rows(events[START], events[LIMIT], given, rounds.route))
    yield sheet("Trips", TRIPS, trip_rows(events[TRIP], given))
    yield sheet("Lubrication", LUBRICATION, lubrication_rows(session, unit, given, now))
    yield sheet("Changes", CHANGES, change_rows(session, unit, given, events[CHANGE]))
    yield Table("About these columns", ABOUT, about_rows(tables, unit))


def week_workbook(session: Session, unit: Unit, week: str, now: datetime, file: IO[bytes]) -> None:
    """The week's workbook into a seekable binary file. Raises BadWeek before anything is written.

    The same week exported at the same `now` gives the same bytes.
    """
    week_for(unit, week)
    with new_book(file, f"{unit.name}, week {week}", now) as book:
        for table in week_tables(session, unit, week, now):
            book.add(table)
