"""The register's file on its way in: what it would change, then all rows or none, every bad row named."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy.orm import Session

from app.store.motors import Motor, motors_of, tag_key
from app.store.people import Person
from app.store.register import Difference, Edit, RegisterErrors, greased_ends, plan, write
from app.store.register_columns import read_cells
from app.store.register_damage import damage, eaten
from app.store.register_reading import FileRead, FileRow, RowError, guarded, read_register, unguarded
from app.store.units import Unit

__all__ = ["FileImport", "FileRow", "ImportReport", "RowChange", "RowError", "Step", "guarded", "import_register",
           "read_register", "unguarded"]

WHY = "register file"
#: Rows between two steps of progress.
STEP = 250


class RowChange(NamedTuple):
    line: int
    tag: str
    differences: list[Difference]
    swap: bool


class Step(NamedTuple):
    """How far a long import is."""

    doing: str
    done: int
    total: int


@dataclass
class ImportReport:
    """What an import did, or would do in a dry run. With errors nothing was done."""

    added: list[tuple[int, str]] = field(default_factory=list)  # (line, tag)
    changed: list[RowChange] = field(default_factory=list)
    unchanged: int = 0
    errors: list[RowError] = field(default_factory=list)
    notices: list[RowError] = field(default_factory=list)  # cells to look at again: not taken, or taken as typed
    left_out: list[str] = field(default_factory=list)
    not_in_file: list[str] = field(default_factory=list)  # the register's tags that the file does not name: they stay

    @property
    def ok(self) -> bool:
        return not self.errors


def import_register(session: Session, unit: Unit, data: bytes, person: Person | None, now: datetime,
                    dry_run: bool = False) -> ImportReport:
    """Imports a file into the unit's register, all rows or none, and flushes; the caller commits.

    A tag that exists is changed where it differs; a new one is added. dry_run: only says what would be done.
    """
    running = FileImport(session, unit, data, now)
    for _ in running.look():
        pass
    if running.report.ok and not dry_run:
        for _ in running.write(person):
            pass
    return running.report


class FileImport:
    """One file against one unit's register: first look, then write. Both tell how far they are."""

    def __init__(self, session: Session, unit: Unit, data: bytes, now: datetime) -> None:
        self.session, self.unit, self.now = session, unit, now
        self.file: FileRead = read_register(data)
        self.report = ImportReport(errors=list(self.file.errors), left_out=self.file.left_out)
        self.edits: list[Edit] = []

    @property
    def rows(self) -> int:
        return len(self.file.rows)

    def look(self) -> Iterator[Step]:
        """Plans every row; the report is complete once this is through."""
        self._motors = {motor.tag_key: motor for motor in motors_of(self.session, self.unit.id)}
        self._greased: dict[int, set[str]] = {}
        for motor_id, end in greased_ends(self.session, None, self.unit.id):
            self._greased.setdefault(motor_id, set()).add(end)
        self._today = self.now.astimezone(self.unit.calendar.zone).date()
        self._seen: dict[str, int] = {}
        for count, row in enumerate(self.file.rows):
            if count % STEP == 0:
                yield Step("read", count, self.rows)
            self._look_at(row)
        self._close()
        yield Step("read", self.rows, self.rows)

    def write(self, person: Person | None) -> Iterator[Step]:
        """Writes what was planned, and flushes."""
        edits = [edit for edit in self.edits if edit.differences]
        for begin in range(0, len(edits), STEP):
            yield Step("written", begin, len(edits))
            write(self.session, self.unit, edits[begin:begin + STEP], person, self.now, WHY)
        yield Step("written", len(edits), len(edits))

    def _look_at(self, row: FileRow) -> None:
        key = tag_key(row.cells.get("tag", ""))
        motor = self._motors.get(key)
        wrong = list(_damaged(row, motor))
        if key and key in self._seen:
            wrong.append(RowError(row.line, "tag", row.cells["tag"], f"Take one of the two out: this tag is on line "
                                                                     f"{self._seen[key]} already."))
        self._seen.setdefault(key, row.line)
        edit = _planned(self.unit, row, motor, self._greased.get(motor.id, set()) if motor else set(), self._today,
                        wrong, self.report.left_out)
        self.report.errors += wrong
        if edit is not None and not wrong:
            self.report.notices += [RowError(row.line, column, row.cells.get(column, ""), says)
                                    for column, says in edit.notices]
            _count(self.report, row.line, edit)
            self.edits.append(edit)

    def _close(self) -> None:
        """What can be said only when every row is known."""
        report, known = self.report, self._motors.keys() | self._seen.keys()
        report.not_in_file = [motor.tag for key, motor in self._motors.items() if key not in self._seen]
        lines = {tag: line for line, tag in report.added}
        report.errors += [
            RowError(lines[tag], "tag", tag, f"Enter {lost} as it was, if a spreadsheet made {tag} of it: {lost} is in "
                     f"the register and not in this file. If {tag} is another motor, send the row of {lost} too.")
            for tag, lost in eaten(lines, report.not_in_file)]
        for row in self.file.rows:
            partner = row.cells.get("standby_partner", "").strip()
            if partner and tag_key(partner) == tag_key(row.cells.get("tag", "")):
                report.notices.append(RowError(row.line, "standby_partner", partner,
                                               "Taken as typed, but this is the motor's own tag: check it."))
            elif partner and tag_key(partner) not in known:
                report.notices.append(RowError(row.line, "standby_partner", partner,
                                               "Taken as typed, but no motor of the register or of this file has this "
                                               "tag: check it."))
        report.errors.sort(key=lambda e: e.line)
        if report.errors:
            report.added, report.changed, report.unchanged, report.notices = [], [], 0, []


def _planned(unit: Unit, row: FileRow, motor: Motor | None, greased: set[str], today: date, wrong: list[RowError],
             left_out: list[str]) -> Edit | None:
    """The row's edit, or None with what is wrong added; a damaged cell is not named twice, a missing column never."""
    told = {error.column for error in wrong} | set(left_out)
    try:
        return plan(unit, motor, read_cells(row.cells, today), greased, keep_spelling=True)
    except RegisterErrors as error:
        wrong += [RowError(row.line, column, row.cells.get(column, ""), todo)
                  for column, todo in error.errors if column not in told]
        return None


def _damaged(row: FileRow, motor: Motor | None) -> Iterator[RowError]:
    for column, cell in row.cells.items():
        says = damage(column, cell, motor is not None, column in row.guarded)
        if says:
            yield RowError(row.line, column, cell, says)


def _count(report: ImportReport, line: int, edit: Edit) -> None:
    if edit.new:
        report.added.append((line, edit.entry.tag))
    elif edit.differences:
        report.changed.append(RowChange(line, edit.entry.tag, edit.differences, edit.swap))
    else:
        report.unchanged += 1
