"""A workbook, one table a sheet: text cells are text, numbers numbers, times ISO text and a date.

Nothing is guessed from how a text looks: tags such as 00123, 5E10 and 3-4 stay, and "=1+1" is shown, not run. The
zone goes into the ISO text; the date-time cell beside it is the unit's local time.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import lru_cache
from itertools import chain
from typing import IO, Any

import xlsxwriter

from app.export.tables import NUMBER, TEXT, TIME, Column, Row, Table, clean
from app.export.workbook_cells import Sheet, set_in, widths_of

#: A sheet holds no more rows, heading included, and a cell no more characters (UTF-16 units); the rest is dropped
#: without a word by whoever writes it, so we never let it come to that.
MOST_ROWS = 1_048_576
MOST_CHARACTERS = 32_767
LOCAL = "_local"
DATE_TIME = "yyyy-mm-dd hh:mm:ss"
AS_TYPED = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
#: Up to so many cells a workbook is put together in memory (20 MB of it), and beyond that through temporary files, in
#: 8 MB however long it gets. Of a usual week most of the time went into making and deleting those files.
MOST_IN_MEMORY = 100_000
IN_MEMORY, BY_FILES = {"in_memory": True}, {"constant_memory": True}


def headings(columns: Sequence[Column]) -> list[str]:
    """The names on the sheet: each time column is followed by its local date-time."""
    names = []
    for column in columns:
        names.append(column.name)
        if column.kind == TIME:
            names.append(column.name + LOCAL)
    return names


def local_cell(iso: str) -> datetime:
    """The wall clock of an ISO text: the offset was the unit's own."""
    return datetime.fromisoformat(iso[:len("2026-11-24T07:12:00")])


def text_cell(text: str) -> str:
    """Text that fits a cell; what was cut is said in the cell itself."""
    if len(text) <= MOST_CHARACTERS // 2 and text.isprintable():
        return text  # a character is one or two of UTF-16
    text = clean(text).replace("\r\n", "\n").replace("\r", "\n")
    units = len(text.encode("utf-16-le")) // 2
    if units <= MOST_CHARACTERS:
        return text
    said = f" [cut here: the text has {units:,} characters, a cell holds {MOST_CHARACTERS:,}]"
    kept = text.encode("utf-16-le")[: 2 * (MOST_CHARACTERS - len(said))]
    return kept.decode("utf-16-le", errors="ignore") + said


class Book:
    """A workbook being written. Sheets come in the order they are added, rows in the order given."""

    def __init__(self, file: IO[bytes], title: str, made: datetime, most_in_memory: int = MOST_IN_MEMORY) -> None:
        self._file, self._title, self._made = file, title, made
        self._held: list[tuple[Table, int]] = []  # with their rows, and how many of them a sheet may have
        self._cells_left = most_in_memory
        self._book: Any = None  # begun when it is known how much there is to write

    def add(self, table: Table, most_rows: int = MOST_ROWS) -> int:
        """Writes a table, on further sheets ("Exceptions 2") where one is full. Returns the number of its rows."""
        rows = iter(table.rows)
        held: list[Row] = []
        while self._cells_left > 0 and (row := next(rows, None)) is not None:
            held.append(row)
            self._cells_left -= len(row)
        if self._cells_left > 0:
            self._held.append((Table(table.name, table.columns, held), most_rows))
            return len(held)
        if self._book is None:
            self._begin(self._file, BY_FILES)
            for table_before, most_before in self._held:
                self._fill(table_before, most_before)
            self._held.clear()
        return self._fill(Table(table.name, table.columns, chain(held, rows)), most_rows)

    def _begin(self, file: IO[bytes], how: dict[str, bool]) -> None:
        self._book = xlsxwriter.Workbook(file, {**AS_TYPED, **how})
        self._book.set_properties({"title": text_cell(self._title),
                                   "created": self._made.astimezone(UTC).replace(tzinfo=None)})
        self._heading = self._book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 2})
        self._date_time = self._book.add_format({"num_format": DATE_TIME, "align": "left"})

    def _fill(self, table: Table, most_rows: int) -> int:
        sheet, line, sheets, count = self._sheet_with_heading(table.name, table.columns), 1, 1, 0
        writers = self._writers(sheet, table.columns)
        for row in table.rows:
            if line == most_rows:
                self._end(sheet, table.columns, line)
                sheets += 1
                sheet, line = self._sheet_with_heading(f"{table.name} {sheets}", table.columns), 1
                writers = self._writers(sheet, table.columns)
            for write, cell in zip(writers, row, strict=True):
                if cell is not None and cell != "":
                    write(line, cell)
            line += 1
            count += 1
        self._end(sheet, table.columns, line)
        return count

    def _together(self) -> None:
        """All that is held, put together in memory: the library makes the sheets, and their rows are set in."""
        made, sheets = io.BytesIO(), list[Sheet]()
        self._begin(made, IN_MEMORY)
        for table, most_rows in self._held:
            held, each = list(table.rows), most_rows - 1
            for number, first in enumerate(range(0, max(1, len(held)), each), 1):
                rows, name = held[first:first + each], table.name if number == 1 else f"{table.name} {number}"
                self._end(self._sheet(name), table.columns, len(rows) + 1)
                sheets.append(Sheet(*_layout(tuple(table.columns)), rows))
        first_sheet, *_ = self._book.worksheets()
        first_sheet.write_string(0, 0, sheets[0].headings[0], self._heading)
        if any(cell for _, kinds, _, rows in sheets for row in rows
               for kind, cell in zip(kinds, row, strict=True) if kind == TIME):
            first_sheet.write_number(1, 0, 0, self._date_time)
        self._book.close()
        set_in(made, self._file, sheets, text_cell, local_cell)

    def _sheet(self, name: str) -> Any:
        sheet = self._book.add_worksheet(name)
        sheet.freeze_panes(1, 0)
        sheet.set_landscape()  # paper size is the printer's own: A4 here, Letter there
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(0)
        # & begins a code in a footer, so a & in a unit's name is written twice.
        sheet.set_footer("&L" + self._title.replace("&", "&&")[:150] + "&C&A&RPage &P of &N")
        return sheet

    def _sheet_with_heading(self, name: str, columns: Sequence[Column]) -> Any:
        sheet = self._sheet(name)
        _set_widths(sheet, columns)
        for place, heading in enumerate(headings(columns)):
            sheet.write_string(0, place, heading, self._heading)
        return sheet

    def _writers(self, sheet: Any, columns: Sequence[Column]) -> list[Callable[[int, Any], None]]:
        """What puts a cell into a line of this sheet, column by column."""
        made, at = [], 0
        for column in columns:
            made.append(self._writer(sheet, column, at))
            at += 2 if column.kind == TIME else 1
        return made

    def _writer(self, sheet: Any, column: Column, at: int) -> Callable[[int, Any], None]:
        write_string, write_datetime, date_time = sheet.write_string, sheet.write_datetime, self._date_time

        def text(line: int, cell: Any) -> None:
            words = text_cell(str(cell))
            if words.startswith("<r>") and words.endswith("</r>"):
                words += " "  # else the library takes it for an element of its own
            write_string(line, at, words)

        def time(line: int, cell: Any) -> None:
            write_string(line, at, str(cell))
            write_datetime(line, at + 1, local_cell(str(cell)), date_time)

        def number(line: int, cell: Any) -> None:
            sheet.write_number(line, at, cell)

        return {TEXT: text, TIME: time, NUMBER: number}[column.kind]

    def _end(self, sheet: Any, columns: Sequence[Column], line: int) -> None:
        sheet.autofilter(0, 0, max(1, line - 1), len(headings(columns)) - 1)

    def close(self) -> None:
        if self._book is None:
            self._together()
        else:
            self._book.close()


def _set_widths(sheet: Any, columns: Sequence[Column]) -> None:
    at = 0
    for column in columns:
        sheet.set_column(at, at, 26 if column.kind == TIME else column.width)
        at += 1
        if column.kind == TIME:
            sheet.set_column(at, at, 20)
            at += 1


@lru_cache(64)  # every week's workbook has the same columns
def _layout(columns: tuple[Column, ...]) -> tuple[str, list[str], list[str]]:
    """How the library tells these columns' widths, the kinds of their cells, and their headings."""
    made = io.BytesIO()
    with xlsxwriter.Workbook(made, IN_MEMORY) as book:
        _set_widths(book.add_worksheet(), columns)
    return widths_of(made), [column.kind for column in columns], headings(columns)


@contextmanager
def new_book(file: IO[bytes], title: str, made: datetime) -> Iterator[Book]:
    """A workbook written into a seekable binary file; whole when the block ends without an error."""
    book = Book(file, title, made)
    yield book
    book.close()
