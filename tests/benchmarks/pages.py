"""Pages and exports beside their own template, the csv module and XlsxWriter on values that are ready; their weight."""

from __future__ import annotations

import csv
import gzip
import io
import re
import uuid
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import openpyxl
import sqlalchemy as sa
import xlsxwriter

from app.store.flags import Flag, open_flags
from app.store.people import person_by_sign_in
from app.store.rounds import Reading
from tests.benchmarks.floors import same_template
from tests.benchmarks.ground import Ground
from tests.benchmarks.lines import Line, bests_ms

SHEET = 2.0
#: Statements a page may need, whatever it lists.
STATEMENTS = 8
FIRST_KB, LATER_KB = 100.0, 25.0


def _page(ground: Ground, name: str, path: str, who: str, goal: float | None = None) -> Iterator[Line]:
    """How long the page takes beside its template alone, and how often it asks the database."""
    client = ground.signed_in(who)

    def get() -> None:
        assert client.get(path).status_code == 200, path

    figure, least = bests_ms(9, get, same_template(ground, path, who))
    yield Line(name, figure, "ms", least, goal)
    yield Line(f"{name}: statements", statements(ground, get), "", goal=STATEMENTS)


def statements(ground: Ground, work: Callable[[], object]) -> int:
    """How often the database is asked meanwhile; beginning and ending a transaction is no question."""
    asked = []

    def note(connection: object, cursor: object, statement: str, *rest: object) -> None:
        if not statement.startswith(("BEGIN", "PRAGMA", "SAVEPOINT", "RELEASE")):
            asked.append(statement)

    sa.event.listen(ground.database.engine, "before_cursor_execute", note)
    work()
    sa.event.remove(ground.database.engine, "before_cursor_execute", note)
    return len(asked)


def sheet(ground: Ground) -> Iterator[Line]:
    """The shift's sheet with every motor read but the last ten."""
    motors, client = len(ground.loaded.motor_ids), ground.signed_in(ground.loaded.operator)
    for motor_id, machine in list(zip(ground.loaded.motor_ids, ground.loaded.machines, strict=True))[:-10]:
        ground.clock.advance(seconds=30)
        answer = client.post(f"/motors/{motor_id}/entry", data=ground.entry(machine, ground.loaded.operator))
        assert answer.status_code == 303
    yield from _page(ground, f"sheet of {motors} motors", "/sheet", ground.loaded.operator, SHEET)


def review(ground: Ground, count: int = 200) -> Iterator[Line]:
    """The review with so many open flags."""
    rules = ("bearing_hot", "vibration", "dirty", "lubricant", "volts_off", "phase_unbalance", "winding_hot")
    with ground.database.writing() as session:
        stands = {(f.motor_id, f.rule) for f in open_flags(session, ground.loaded.unit_id)}
        wanted = [(motor_id, rule) for rule in rules for motor_id in ground.loaded.motor_ids
                  if (motor_id, rule) not in stands]
        for i, (motor_id, rule) in enumerate(wanted[:count - len(stands)]):
            session.add(Flag(unit_id=ground.loaded.unit_id, motor_id=motor_id, rule=rule,
                             end="DE", priority="this shift", raised_at=ground.clock.now - timedelta(hours=i % 30),
                             raised_cause="reading", raised_cause_id=uuid.uuid4(), last_seen_at=ground.clock.now,
                             value=92.0, limit=90.0, unit_of_measure="°C", source="general practice",
                             says="DE bearing 92.0 °C, above 90 °C. Check lubrication and every level at once."))
        session.commit()
    yield from _page(ground, f"review with {count} open flags", "/review", ground.loaded.supervisor)


def motor(ground: Ground) -> Iterator[Line]:
    first = ground.loaded.motor_ids[0]
    yield from _page(ground, "motor's page, 3 years", f"/motors/{first}", ground.loaded.operator)
    yield from _page(ground, "may it be started, 3 years", f"/motors/{first}/start", ground.loaded.operator)


#: Exceptions of a full week: 60 motors in 21 shifts, some of them seen again and again.
FULL_WEEK = 400


def week(ground: Ground) -> Iterator[Line]:
    """The last whole week: page, CSV and workbook, and the files again when the week is full. Floors of the files:
    their writers on the rows they hold. What a request for a file costs by itself is told: a week without rows."""
    year, number, _ = (ground.clock.now - timedelta(days=7)).isocalendar()
    at, who = f"/week/{year}-W{number:02}", ground.loaded.supervisor
    yield from _page(ground, "week page", at, who)
    client = ground.signed_in(who)
    figure, = bests_ms(9, lambda: client.get(f"/week/{year + 1}-W{number:02}.csv").data)
    yield Line("week as CSV, none of its rows: a week to come", figure, "ms")
    yield from _files(ground, at, "week")
    _fill_week(ground)
    yield from _files(ground, at, "full week")


def _files(ground: Ground, at: str, name: str) -> Iterator[Line]:
    client = ground.signed_in(ground.loaded.supervisor)
    rows = list(csv.reader(io.StringIO(client.get(f"{at}.csv").get_data(as_text=True).lstrip("\ufeff"))))
    figure, least = bests_ms(9, lambda: client.get(f"{at}.csv").data, lambda: _written_csv(rows))
    yield Line(f"{name} as CSV, {len(rows) - 1} rows", figure, "ms", least, 1.5)
    book = openpyxl.load_workbook(io.BytesIO(client.get(f"{at}.xlsx").data))
    sheets = {name: list(book[name].iter_rows(values_only=True)) for name in book.sheetnames}
    cells = sum(len(row) for rows in sheets.values() for row in rows)
    figure, in_memory, by_files = bests_ms(
        5, lambda: client.get(f"{at}.xlsx").data, lambda: _written_workbook(sheets, {"in_memory": True}),
        lambda: _written_workbook(sheets, {"constant_memory": True}))
    yield Line(f"{name} as workbook, {cells} cells", figure, "ms", min(in_memory, by_files), 1.5)
    yield Line(f"{name} as workbook: XlsxWriter through files", by_files, "ms", in_memory)


def _fill_week(ground: Ground) -> None:
    """So many flags more that were raised, seen, acted on and closed in the last whole week."""
    unit_id, motors = ground.loaded.unit_id, ground.loaded.motor_ids
    with ground.database.writing() as session:
        person = person_by_sign_in(session, ground.loaded.supervisor)
        cause = session.scalar(sa.select(Reading.id).where(Reading.unit_id == unit_id).limit(1))
        assert person is not None
        begins = ground.clock.now - timedelta(days=7 + (ground.clock.now - timedelta(days=7)).weekday())
        for i in range(FULL_WEEK):
            at = begins + timedelta(days=1, minutes=7 * i)
            session.add(Flag(unit_id=unit_id, motor_id=motors[i % len(motors)], rule=f"rule_{i % 30}", end="DE",
                             priority=("act now", "this shift", "watch")[i % 3], raised_at=at, raised_by_id=person.id,
                             raised_cause="reading", raised_cause_id=cause, last_seen_at=at + timedelta(hours=8),
                             times_seen=2, value=80.0 + i / 7, limit=90.0, unit_of_measure="°C",
                             source="general practice", seen_at=at + timedelta(hours=1), seen_by_id=person.id,
                             action="oil topped up, listened to", action_by_id=person.id,
                             action_at=at + timedelta(hours=9), closed_at=at + timedelta(hours=20),
                             closed_by_id=person.id, says="DE bearing 92.0 °C, above 90 °C. Check lubrication."))
        session.commit()


def _written_csv(rows: list[list[str]]) -> bytes:
    text = io.StringIO(newline="")
    csv.writer(text).writerows(rows)
    return text.getvalue().encode("utf-8-sig")


def _written_workbook(sheets: dict[str, list[tuple[Any, ...]]], how: dict[str, bool]) -> bytes:
    kept = io.BytesIO()
    with xlsxwriter.Workbook(kept, {**how, "default_date_format": "yyyy-mm-dd hh:mm"}) as book:
        for name, rows in sheets.items():
            page = book.add_worksheet(name)
            for i, row in enumerate(rows):
                page.write_row(i, 0, row)
    return kept.getvalue()


def weight(ground: Ground) -> Iterator[Line]:
    """What a tablet fetches, compressed: the first page with its styles and scripts, then a page alone."""
    client = ground.signed_in(ground.loaded.operator)
    page = client.get("/sheet").data
    parts = set(re.findall(r'(?:src|href)="(/static/[^"]+)"', page.decode()))
    whole = len(gzip.compress(page)) + sum(len(gzip.compress(client.get(part).data)) for part in parts)
    yield Line("first page with all its parts, compressed", whole / 1000, "KB", goal=FIRST_KB)
    entry = client.get(f"/motors/{ground.loaded.motor_ids[0]}/entry").data
    for name, data in (("sheet", page), ("entry at the motor", entry)):
        yield Line(f"later page, {name}, compressed", len(gzip.compress(data)) / 1000, "KB", goal=LATER_KB)
