"""The register as a CSV file: read strictly, imported all rows or none, every bad row named.

UTF-8 with or without its mark; comma, or semicolon where the header has semicolons. A spreadsheet's damage (1.00E+05,
#N/A, a date made of a fraction) is refused by name, because what was typed before can no longer be known.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy.orm import Session

from app.store.motors import Motor, motors_of, tag_key
from app.store.people import Person
from app.store.register import COLUMNS, Difference, Edit, RegisterErrors, greased_ends, plan, write
from app.store.register_columns import read_cells
from app.store.units import Unit

#: Text that begins with one of these would run in a spreadsheet: the export puts one ' before it.
RUNS_IN_A_SPREADSHEET = ("=", "+", "-", "@", "'", "\t", "\r")
WHY = "register file"

_EXPONENT = re.compile(r"[-+]?\d([.,]\d+)?E[+-]\d{2,3}", re.IGNORECASE)
_MONTHS = "Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec"
_MADE_A_DATE = re.compile(rf"\d{{1,2}}[-. ]({_MONTHS})\.?([-. ]\d{{2,4}})?|({_MONTHS})[-. ]\d{{2,4}}", re.IGNORECASE)
_ERROR_CELL = re.compile(r"#(N/A|NA|NAME\?|REF!|VALUE!|DIV/0!|NUM!|NULL!|SPILL!|CALC!)|#{3,}", re.IGNORECASE)


class RowError(NamedTuple):
    """One thing wrong in a file: where, what was read there, and what to do."""

    line: int
    column: str
    read: str
    todo: str

    def __str__(self) -> str:
        where = f" column {self.column}:" if self.column else ""
        todo = " ".join(self.todo.split())
        read = f" read {shorten(self.read)}." if self.read and shorten(self.read) not in todo else ""
        return f"{self.line}:{where}{read} {todo}"


class FileRow(NamedTuple):
    line: int  # the record's first line in the file
    cells: dict[str, str]


@dataclass
class FileRead:
    rows: list[FileRow] = field(default_factory=list)
    errors: list[RowError] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)  # known columns the file does not have: taken as empty


class RowChange(NamedTuple):
    line: int
    tag: str
    differences: list[Difference]
    swap: bool


@dataclass
class ImportReport:
    """What an import did, or would do in a dry run. With errors nothing was done."""

    added: list[tuple[int, str]] = field(default_factory=list)  # (line, tag)
    changed: list[RowChange] = field(default_factory=list)
    unchanged: int = 0
    errors: list[RowError] = field(default_factory=list)
    notices: list[RowError] = field(default_factory=list)  # cells that were not taken, and why
    left_out: list[str] = field(default_factory=list)

    @property
    def ok(self) -> bool:
        return not self.errors


def shorten(text: str, longest: int = 40) -> str:
    """A cell as it is told in one line."""
    plain = " ".join(text.split())
    return f"“{plain[:longest]}…”" if len(plain) > longest else f"“{plain}”"


# reading ---------------------------------------------------------------------------------------------------


def read_register(data: bytes) -> FileRead:
    """The file's rows by column name, or every fault of its form. Cells are not judged here but for damage."""
    found = FileRead()
    text = _decoded(data, found.errors)
    if text is None:
        return found
    lines = _records(text, found.errors)
    header = next((record for record in lines if any(record[1])), None)
    if header is None:
        if not found.errors:
            found.errors.append(RowError(1, "", "", "Send a file with a header row: this one is empty."))
        return found
    names = _header(header, found)
    for line, cells in lines:
        if not any(cell.strip() for cell in cells):
            continue
        if names and len(cells) != len(names):
            more = "more" if len(cells) > len(names) else "fewer"
            extra = cells[len(names)] if len(cells) > len(names) else ""
            found.errors.append(RowError(line, "", extra, f"Check the separators and quotes: this row has {more} cells "
                                                          f"({len(cells)}) than the header ({len(names)})."))
        elif names:
            found.rows.append(FileRow(line, _by_column(names, cells)))
    return found


def _by_column(names: list[str], cells: list[str]) -> dict[str, str]:
    """The cells of known columns, the first of two; the header has named the others already."""
    row: dict[str, str] = {}
    for name, cell in zip(names, cells, strict=True):
        if name in COLUMNS:
            row.setdefault(name, unguarded(cell))
    return row


def unguarded(cell: str) -> str:
    """A cell with exactly one ' off, where it stands before text that a spreadsheet would run."""
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(RUNS_IN_A_SPREADSHEET) else cell


def guarded(text: str) -> str:
    """Text as the export writes it: one ' before what a spreadsheet would run."""
    return "'" + text if text.startswith(RUNS_IN_A_SPREADSHEET) else text


def _decoded(data: bytes, errors: list[RowError]) -> str | None:
    if data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        errors.append(RowError(1, "", "", "Save the sheet as “CSV UTF-8” and send that: this is a workbook."))
        return None
    if data.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\x00" in data[:2000]:
        errors.append(RowError(1, "", "", "Save the file as “CSV UTF-8” and send it again: this one is UTF-16."))
        return None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        around = data[data.rfind(b"\n", 0, error.start) + 1:error.start + 12].decode("latin-1")[-24:]
        errors.append(RowError(line, "", around, "Save the file as “CSV UTF-8” and send it again: it is not UTF-8 "
                                                 "but another encoding, such as Windows-1252."))
        return None


def _records(text: str, errors: list[RowError]) -> Iterator[tuple[int, list[str]]]:
    """(first line, cells) of each record, quoted line ends or not."""
    first = text.split("\n", 1)[0]
    delimiter = ";" if ";" in first else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    while True:
        line = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            errors.append(RowError(line, "", "", f"Check the quotes of this row: {error}."))
            return
        yield line, cells


def _header(header: tuple[int, list[str]], found: FileRead) -> list[str]:
    """The column names; every unknown, repeated or unnamed one is an error."""
    line, cells = header
    names = [cell.strip().casefold() for cell in cells]
    if len(names) == 1 and "\t" in names[0]:
        found.errors.append(RowError(line, "", "", "Save the file with commas: this one is separated by tabs."))
        return []
    for place, name in enumerate(names):
        if not name:
            found.errors.append(RowError(line, "", "", f"Name column {place + 1} or take it out: it has no name."))
        elif name not in COLUMNS:
            found.errors.append(RowError(line, cells[place].strip(), "", "Take this column out or correct its name: "
                                                                         "the register has no such column."))
        elif name in names[:place]:
            found.errors.append(RowError(line, name, "", "Take one of the two out: this column is there twice."))
    for name in ("tag", "area"):
        if name not in names:
            found.errors.append(RowError(line, name, "", "Add this column: it may not be empty."))
    found.left_out = [name for name in COLUMNS if name not in names]
    return names


def damage(column: str, cell: str, known: bool) -> str | None:
    """What a spreadsheet did to this cell, and what to do; None where it did nothing.

    known: the register holds this very tag, so that it was typed so.
    """
    cell = cell.strip()
    if not cell or COLUMNS[column].kind == "remarks" or (column == "tag" and known):
        return None
    if _ERROR_CELL.fullmatch(cell):
        return "Enter the value itself: a spreadsheet put its own error word here."
    if _EXPONENT.fullmatch(cell):
        return "Enter it as it was before: a spreadsheet turned it into powers of ten. Format the column as text."
    if _MADE_A_DATE.fullmatch(cell):
        return ("Enter the date as 2026-11-24." if COLUMNS[column].kind == "date" else
                "Enter it as it was before: a spreadsheet made a date of it. Format the column as text.")
    return None


# importing -------------------------------------------------------------------------------------------------


def import_register(session: Session, unit: Unit, data: bytes, person: Person | None, now: datetime,
                    dry_run: bool = False) -> ImportReport:
    """Imports a file into the unit's register, all rows or none, and flushes; the caller commits.

    A tag that exists is changed where it differs; a new one is added. dry_run: only says what would be done.
    """
    file = read_register(data)
    report = ImportReport(errors=file.errors, left_out=file.left_out)
    motors = {motor.tag_key: motor for motor in motors_of(session, unit.id)}
    edits = list(_planned(session, unit, file, motors, now, report))
    report.errors.sort(key=lambda e: e.line)
    if report.errors:
        report.added, report.changed, report.unchanged, report.notices = [], [], 0, []
    elif not dry_run:
        write(session, unit, edits, person, now, WHY)
    return report


def _planned(session: Session, unit: Unit, file: FileRead, motors: dict[str, Motor], now: datetime,
             report: ImportReport) -> Iterator[Edit]:
    greased: dict[int, set[str]] = {}
    for motor_id, end in greased_ends(session, None, unit.id):
        greased.setdefault(motor_id, set()).add(end)
    today = now.astimezone(unit.calendar.zone).date()
    seen: dict[str, int] = {}
    for row in file.rows:
        key = tag_key(row.cells.get("tag", ""))
        motor = motors.get(key)
        wrong = list(_damaged(row, motor))
        if key and key in seen:
            wrong.append(RowError(row.line, "tag", row.cells["tag"], f"Take one of the two out: this tag is on line "
                                                                     f"{seen[key]} already."))
        seen.setdefault(key, row.line)
        edit = _planned_row(unit, row, motor, greased.get(motor.id, set()) if motor else set(), today, wrong)
        report.errors += wrong
        if edit is not None and not wrong:
            report.notices += [RowError(row.line, column, row.cells.get(column, ""), says)
                               for column, says in edit.notices]
            _count(report, row.line, edit)
            yield edit


def _planned_row(unit: Unit, row: FileRow, motor: Motor | None, greased: set[str], today: date,
                 wrong: list[RowError]) -> Edit | None:
    """The row's edit, or None with what is wrong added; a damaged cell is not named twice."""
    told = {error.column for error in wrong}
    try:
        return plan(unit, motor, read_cells(row.cells, today), greased, keep_spelling=True)
    except RegisterErrors as error:
        wrong += [RowError(row.line, column, row.cells.get(column, ""), todo)
                  for column, todo in error.errors if column not in told]
        return None


def _damaged(row: FileRow, motor: Motor | None) -> Iterator[RowError]:
    for column, cell in row.cells.items():
        says = damage(column, cell, motor is not None) if column in COLUMNS else None
        if says:
            yield RowError(row.line, column, cell, says)


def _count(report: ImportReport, line: int, edit: Edit) -> None:
    if edit.new:
        report.added.append((line, edit.entry.tag))
    elif edit.differences:
        report.changed.append(RowChange(line, edit.entry.tag, edit.differences, edit.swap))
    else:
        report.unchanged += 1
