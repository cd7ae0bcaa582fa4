"""The week of exceptions: one row a flag that stood at any time in an ISO week of the unit's local time, or in a span.

The same rows, in the same order, serve the page, the CSV, the workbook, the command line and the JSON door. Rows
come one by one from a single query, so a week of any size takes the same memory.
"""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache, lru_cache
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.orm import Session, aliased
from sqlalchemy.sql.functions import FunctionElement

from app.export.csv_file import csv_bytes
from app.export.tables import NUMBER, TEXT, TIME, Cell, Column, figure, local_iso
from app.review_list import rises
from app.rules.shifts import Calendar, Shift
from app.rules.spans import Span, parse_span
from app.store.base import UtcDateTime
from app.store.flags import Flag, FlagLife, Note, by_priority, state_word
from app.store.motors import Motor
from app.store.people import Person
from app.store.prepared import Prepared
from app.store.rounds import Reading
from app.store.units import Unit

#: Notes that say what was done or decided, where nobody noted it as such.
ACTIONS = ("done", "run on", "closed", "accepted")
#: So many rows are read in one go (1.5 MB of them); of longer spans as many are fetched at a time as the second says.
FEW, AT_ONCE = 1_000, 500
#: A week has few shifts; of spans without end no more are remembered.
MOST_SHIFTS = 5_000

COLUMNS = (
    Column("week", TEXT, "ISO week, Monday to Sunday in the unit's local time; of a span that was asked for, the span",
           10),
    Column("unit", TEXT, "The process unit", 16),
    Column("area", TEXT, "Part of the unit that is walked together", 16),
    Column("tag", TEXT, "The motor's tag, as typed", 14),
    Column("service", TEXT, "What the motor drives", 22),
    Column("rule", TEXT, "The rule that raised the flag", 24),
    Column("end", TEXT, "Bearing: DE drive end, ODE opposite drive end; empty: the motor as a whole", 6),
    Column("priority", TEXT, "act now, this shift or watch; of the newest sighting", 11),
    Column("value", NUMBER, "What was found at the newest sighting, in unit_of_measure; empty where words decide", 10),
    Column("limit", NUMBER, "The limit it was judged by, in unit_of_measure", 10),
    Column("unit_of_measure", TEXT, "SI unit of value and limit; K is a difference, °C a temperature", 10),
    Column("percent_of_limit", NUMBER, "100 × value ÷ limit, where there are both and the limit is above zero", 10),
    Column("limit_source", TEXT, "Where the limit comes from", 24),
    Column("first_raised", TIME, "When the flag was first seen"),
    Column("last_seen", TIME, "When its condition was last seen"),
    Column("times_seen", NUMBER, "How many entries showed it", 8),
    Column("shifts_open", NUMBER, "Shifts from the one it was raised in to the one it was last seen in (or closed in), "
                                  "both included", 8),
    Column("state", TEXT, "active, improving, returned to normal, shelved or closed; when exported", 16),
    Column("raised_by", TEXT, "Whose entry raised it; empty: the clock did", 18),
    Column("seen_by", TEXT, "Who marked it seen", 18),
    Column("seen_at", TIME, "When it was marked seen"),
    Column("action", TEXT, "What is or was done about it", 36),
    Column("action_by", TEXT, "Who said so", 18),
    Column("action_at", TIME, "When that was said"),
    Column("run_on_reason", TEXT, "Why the motor runs on with it", 30),
    Column("shelved_until", TIME, "Put aside until then"),
    Column("returned_at", TIME, "When it was back to normal (two rounds below the limit less the clearing band)"),
    Column("closed_by", TEXT, "Who closed it; empty when it closed itself", 18),
    Column("closed_at", TIME, "When it was closed"),
    Column("hours_open", NUMBER, "Hours from first_raised to closed_at; not closed: to the end of the week", 9),
    Column("arrived_late", TEXT, "yes: the entry that raised it was received in a later shift than it was taken in", 8),
    Column("remarks", TEXT, "Remarks of the entry that raised it; of one corrected since, why and what it said", 40),
)


class ExceptionRow(NamedTuple):
    """One flag of the week. The fields up to `remarks` are the columns of the file; the rest is for our own pages.

    Times are ISO text with offset or None; missing figures None; missing words "". hours_open and shifts_open as in
    the column notes; value and limit SI. days_late: how long what was to be done was late, within the week or when
    it was over; None: nothing was. waits: nobody did anything about it for too long, now.
    """

    week: str
    unit: str
    area: str
    tag: str
    service: str
    rule: str
    end: str
    priority: str
    value: float | None
    limit: float | None
    unit_of_measure: str
    percent_of_limit: float | None
    limit_source: str
    first_raised: str
    last_seen: str
    times_seen: int
    shifts_open: int
    state: str
    raised_by: str
    seen_by: str
    seen_at: str | None
    action: str
    action_by: str
    action_at: str | None
    run_on_reason: str
    shelved_until: str | None
    returned_at: str | None
    closed_by: str
    closed_at: str | None
    hours_open: float
    arrived_late: str
    remarks: str
    flag_id: int
    says: str
    raised_in_week: bool
    closed_in_week: bool
    hours_to_seen: float | None
    flag: FlagStood
    shift: str  # name of the shift it was raised in
    run_on_by: str
    days_late: float | None
    waits: bool

    def cells(self) -> tuple[Cell, ...]:
        """The row of the file, in the columns' order."""
        return self[:len(COLUMNS)]

    def as_dict(self) -> dict[str, Cell]:
        """The row of the JSON door: the columns by name."""
        return dict(zip(NAMES, self.cells(), strict=True))


NAMES = tuple(column.name for column in COLUMNS)


@dataclass(frozen=True)
class Week:
    """An ISO week of a unit, or another span of its local days: its instants (UTC, half-open), zone and shifts."""

    span: Span
    start: datetime
    end: datetime
    zone: ZoneInfo
    calendar: Calendar

    @property
    def text(self) -> str:
        return self.span.text

    def holds(self, instant: datetime) -> bool:
        return self.start <= instant < self.end

    def before(self, steps: int = 1) -> Week:
        """As many days, so many times as far back."""
        return _week(self.span.before(steps), self.calendar)


def week_for(unit: Unit, week: str) -> Week:
    """Raises app.rules.shifts.BadWeek for anything but 2026-W48, 2026-W45--2026-W48 or 2026-11-02--2026-11-15."""
    return _week(parse_span(week), unit.calendar)


@lru_cache(256)  # a workbook asks for each of five weeks again and again
def _week(span: Span, calendar: Calendar) -> Week:
    start, end = span.bounds(calendar.zone)
    return Week(span, start, end, calendar.zone, calendar)


class ShiftCount:
    """Counts shifts as the calendar does, remembering the shifts it has met: many flags lie in few shifts.

    Several may ask at once: what is known of shifts is never changed, only put in its place anew.
    """

    def __init__(self, calendar: Calendar) -> None:
        self._calendar = calendar
        self._known: tuple[list[datetime], list[Shift]] = [], []
        self._counts: dict[tuple[datetime, datetime], int] = {}

    def _shift(self, instant: datetime) -> Shift:
        starts, shifts = self._known
        place = bisect_right(starts, instant)
        if place and shifts[place - 1].holds(instant):
            return shifts[place - 1]
        shift = self._calendar.shift_of(instant)
        if len(starts) < MOST_SHIFTS:
            self._known = ([*starts[:place], shift.starts_at, *starts[place:]],
                           [*shifts[:place], shift, *shifts[place:]])
        return shift

    def name(self, instant: datetime) -> str:
        return self._shift(instant).name

    def count(self, first: datetime, last: datetime) -> int:
        """From the shift that holds `first` to the one that holds `last`, both included; 1 where last is earlier."""
        key = self._shift(first).starts_at, self._shift(max(first, last)).starts_at
        count = self._counts.get(key)
        if count is None:
            if len(self._counts) >= MOST_SHIFTS:
                self._counts.clear()
            count = self._counts[key] = self._calendar.count(*key)
        return count


#: Of some calendars: a week is asked for as page, as CSV and as workbook.
shift_count = lru_cache(16)(ShiftCount)


# the query -------------------------------------------------------------------------------------------------


class byte_order(FunctionElement[str]):
    """Sorted by code point on both databases, whatever language the server sorts in."""

    type = sa.Text()
    inherit_cache = True


@compiles(byte_order)
def _byte_order(element: byte_order, compiler: Any, **kw: Any) -> str:
    name = "C" if compiler.dialect.name == "postgresql" else "BINARY"
    return f'{compiler.process(element.clauses, **kw)} COLLATE "{name}"'


#: What the statements of a week are asked with: they are put together once.
UNIT = sa.bindparam("unit_id", type_=sa.Integer())
FROM, UNTIL = sa.bindparam("start", type_=UtcDateTime()), sa.bindparam("end", type_=UtcDateTime())


def within(model: Any) -> tuple[Any, ...]:
    """What happened in the unit in [start, end)."""
    return model.unit_id == UNIT, model.at >= FROM, model.at < UNTIL


def stood(unit_id: Any = UNIT, start: Any = FROM, end: Any = UNTIL) -> sa.CompoundSelect[tuple[int]]:
    """Ids of the flags that stood at any time in [start, end): raised before its end, not closed before its start.

    Two index look-ups, so that old weeks of a long history cost no more than new ones.
    """
    closed = sa.select(Flag.id).where(Flag.unit_id == unit_id, Flag.closed_at >= start, Flag.raised_at < end)
    still = sa.select(Flag.id).where(Flag.unit_id == unit_id, Flag.closed_at.is_(None), Flag.raised_at < end)
    return closed.union_all(still)


class _Stood(NamedTuple):
    # what its row of the file is made of
    area: str
    tag: str
    service: str
    rule: str
    end: str
    priority: str
    value: float | None
    limit: float | None
    unit_of_measure: str | None
    source: str
    raised_at: datetime
    last_seen_at: datetime
    times_seen: int
    improving_at: datetime | None
    raised_by: str | None
    seen_by: str | None
    seen_at: datetime | None
    action: str | None
    action_by: str | None
    action_at: datetime | None
    note: str | None
    note_by: str | None
    note_at: datetime | None
    run_on_reason: str | None
    shelved_until: datetime | None
    returned_at: datetime | None
    closed_by: str | None
    closed_at: datetime | None
    arrived_late: bool
    remarks: str | None
    corrected: str | None
    # the rest, for page and figures
    id: int
    says: str
    owner: str | None
    due_at: datetime | None
    run_on_watch: str | None
    run_on_at: datetime | None
    run_on_review_at: datetime | None
    run_on_by: str | None


class FlagStood(FlagLife, _Stood):
    """What a week tells of a flag: its columns as in the model, the motor, the names and the words around it."""

    __slots__ = ()


#: How many of them the file needs.
_OF_FILE = FlagStood._fields.index("id")


@cache
def _standing(how_many: int) -> sa.Select[Any]:
    """The flags that stood, gravest first: the first so many columns of `FlagStood`."""
    newer, decision = aliased(Reading), aliased(Note)

    def name_of(key: Any) -> sa.ScalarSelect[str]:  # joined, each would be one more place in an order to be found
        return sa.select(Person.name).where(Person.id == key).scalar_subquery()

    def last_note(*kinds: str) -> sa.ScalarSelect[int]:
        any_of = sa.or_(*(Note.kind == kind for kind in kinds))
        newest = sa.select(sa.func.max(Note.id)).where(Note.flag_id == Flag.id, any_of)
        return newest.correlate(Flag).scalar_subquery()

    around = {"area": Motor.area, "tag": Motor.tag, "service": Motor.service, "raised_by": name_of(Flag.raised_by_id),
              "seen_by": name_of(Flag.seen_by_id), "action_by": name_of(Flag.action_by_id),
              "closed_by": name_of(Flag.closed_by_id), "remarks": Reading.remarks, "corrected": newer.replaces_why,
              "note": Note.text, "note_at": Note.at, "note_by": name_of(Note.person_id),
              "run_on_by": name_of(decision.person_id)}
    names, those = FlagStood._fields[:how_many], stood().subquery()
    query = (  # begins at those few: of so many joins PostgreSQL takes the first ones in their order
        sa.select(*(around[name] if name in around else getattr(Flag, name) for name in names))
        .select_from(those).join(Flag, Flag.id == those.c.id).join(Motor, Motor.id == Flag.motor_id)
        .outerjoin(Reading, sa.and_(Flag.raised_cause == "reading", Reading.id == Flag.raised_cause_id))
        .outerjoin(newer, newer.replaces_id == Reading.id)
        .outerjoin(Note, Note.id == last_note(*ACTIONS))
        .order_by(by_priority(), Flag.raised_at, byte_order(Motor.tag), byte_order(Flag.rule), Flag.end, Flag.id))
    if "run_on_by" not in names:
        return query
    return query.outerjoin(decision, sa.and_(Flag.run_on_reason.is_not(None), decision.id == last_note("run on")))


@cache
def _first_of_them(how_many: int) -> Prepared:
    return Prepared(lambda: _standing(how_many).limit(sa.bindparam("most", type_=sa.Integer())))


def _standing_rows(session: Session, unit_id: int, week: Week, now: datetime, how_many: int) -> Iterator[Any]:
    """Of each the first so many values of `FlagStood`; of a week that has not begun nothing.

    Most weeks have few and are read at once. The others are asked for again and read piece by piece: memory does not
    grow with them.
    """
    if week.start > now:
        return
    given = {"unit_id": unit_id, "start": week.start, "end": week.end}
    asked = _first_of_them(how_many)
    few = asked.rows(session, {**given, "most": FEW + 1})
    if len(few) <= FEW:
        yield from asked.all_values(session, few)
        return
    del few
    with session.execute(_standing(how_many), given, execution_options={"yield_per": AT_ONCE}) as rows:
        yield from rows  # whoever takes only the first of them leaves no cursor open


# the rows --------------------------------------------------------------------------------------------------


def exception_rows(session: Session, unit: Unit, week: str, now: datetime) -> Iterator[ExceptionRow]:
    """The week's exceptions, gravest first: by priority, first_raised, tag, rule, end.

    now: state is as it stands then; a week that has not begun has no rows. Raises BadWeek.
    """
    telling = _Telling(unit, week_for(unit, week), now)
    rows = _standing_rows(session, unit.id, telling.week, now, len(FlagStood._fields))
    return map(telling.row, map(FlagStood._make, rows))


def percent_of_limit(value: float | None, limit: float | None) -> float | None:
    """100 × value ÷ limit to one decimal; None unless there are both and the limit is above zero."""
    if value is None or limit is None or limit <= 0:
        return None
    return round(100.0 * value / limit, 1)


def hours(start: datetime, end: datetime) -> float:
    """Elapsed hours to one decimal, whatever the clocks did between."""
    return round((end - start).total_seconds() / 3600.0, 1)


def _remarks(remarks: str | None, corrected: str | None) -> str:
    """The words of the entry that raised it; of one that was corrected, with why it no longer counts."""
    if corrected is None:
        return remarks or ""
    return f"Entry corrected: {corrected}. It said: {remarks}" if remarks else f"Entry corrected: {corrected}"


def days_late(flag: FlagStood, week: Week, now: datetime) -> float | None:
    """Days from when it was due to when it was over (closed, back to normal), else to now or the week's end.

    None where nothing was to be done by a time, or where it was late only before or after this week.
    """
    if flag.due_at is None:
        return None
    over = min([at for at in (flag.closed_at, flag.returned_at) if at is not None], default=None)
    until = min(at for at in (over, now, week.end) if at is not None)
    if flag.due_at >= until or until < week.start:
        return None
    return round((until - flag.due_at) / timedelta(days=1), 1)


class _Telling:
    """Makes rows of flags that stood: what is the same for all of them is asked for once."""

    def __init__(self, unit: Unit, week: Week, now: datetime) -> None:
        self.week = week
        self._now, self._text, self._unit, self._shifts = now, week.text, unit.name, shift_count(week.calendar)

    def cells(self, flag: Sequence[Any]) -> tuple[Cell, ...]:
        """The row of the file, in the columns' order. flag: the first values of a `FlagStood`, as far as the file
        needs them."""
        (area, tag, service, rule, end, priority, value, limit, unit_of_measure, source, raised_at, last_seen_at,
         times_seen, improving_at, raised_by, seen_by, seen_at, action, action_by, action_at, note, note_by, note_at,
         run_on_reason, shelved_until, returned_at, closed_by, closed_at, arrived_late, remarks, corrected) = flag
        if not action:  # the flag's own word, else the last note that says what was done
            action, action_by, action_at = (note, note_by, note_at) if note else ("", "", None)
        zone = self.week.zone
        return (
            self._text, self._unit, area, tag, service, rule, end, priority, figure(value), figure(limit),
            unit_of_measure or "", percent_of_limit(value, limit), source, local_iso(raised_at, zone) or "",
            local_iso(last_seen_at, zone) or "", times_seen,
            self._shifts.count(raised_at, closed_at or last_seen_at),
            state_word(self._now, closed_at, returned_at, shelved_until, improving_at),
            raised_by or "", seen_by or "", local_iso(seen_at, zone), action, action_by or "",
            local_iso(action_at, zone), run_on_reason or "", local_iso(shelved_until, zone),
            local_iso(returned_at, zone), closed_by or "", local_iso(closed_at, zone),
            hours(raised_at, closed_at or self.week.end), "yes" if arrived_late else "", _remarks(remarks, corrected))

    def row(self, flag: FlagStood) -> ExceptionRow:
        """The same, and what page and figures need beside it."""
        week, now, closed_at = self.week, self._now, flag.closed_at
        return ExceptionRow._make((
            *self.cells(flag[:_OF_FILE]), flag.id, flag.says, week.holds(flag.raised_at),
            closed_at is not None and week.holds(closed_at),
            None if flag.seen_at is None else hours(flag.raised_at, flag.seen_at),
            flag, self._shifts.name(flag.raised_at), flag.run_on_by or "", days_late(flag, week, now),
            closed_at is None and week.holds(now) and rises(flag, self._shifts.count(flag.raised_at, now), now)))


# the files -------------------------------------------------------------------------------------------------


def week_csv(session: Session, unit: Unit, week: str, now: datetime, continental: bool = False) -> Iterator[bytes]:
    """The week as CSV, in pieces. continental: semicolons and decimal commas. Raises BadWeek before the first."""
    telling = _Telling(unit, week_for(unit, week), now)
    rows = _standing_rows(session, unit.id, telling.week, now, _OF_FILE)
    return csv_bytes(COLUMNS, map(telling.cells, rows), continental)


def cells(rows: Iterable[ExceptionRow]) -> Iterator[tuple[Cell, ...]]:
    return (row.cells() for row in rows)


def file_name(unit: Unit, week: str, made: datetime, kind: str, continental: bool = False) -> str:
    """A name that any shared drive takes: exceptions_unit-2_2026-W48_made-20261130T0610Z.xlsx."""
    style = "_continental" if continental else ""
    plain = unicodedata.normalize("NFKD", unit.name).encode("ascii", "ignore").decode()
    slug = re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-").lower()[:40].strip("-") or f"unit-{unit.id}"
    return f"exceptions_{slug}_{week}_made-{made.astimezone(UTC):%Y%m%dT%H%MZ}{style}.{kind}"
