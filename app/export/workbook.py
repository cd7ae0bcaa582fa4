"""A workbook, one table a sheet, written row by row: text cells are text, numbers numbers, times ISO text and a date.

Nothing is guessed from how a text looks: tags such as 00123, 5E10 and 3-4 stay, and "=1+1" is shown, not run. The
zone goes into the ISO text; the date-time cell beside it is the unit's local time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import IO, Any

import xlsxwriter

from app.export.tables import NUMBER, TEXT, TIME, Cell, Column, Row, Table, clean

#: A sheet holds no more rows, heading included, and a cell no more characters (UTF-16 units); the rest is dropped
#: without a word by whoever writes it, so we never let it come to that.
MOST_ROWS = 1_048_576
MOST_CHARACTERS = 32_767
LOCAL = "_local"
DATE_TIME = "yyyy-mm-dd hh:mm:ss"
AS_TYPED = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
            "strings_to_numbers": False}


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
    return datetime.fromisoformat(iso).replace(tzinfo=None)


def text_cell(text: str) -> str:
    """Text that fits a cell; what was cut is said in the cell itself."""
    text = clean(text).replace("\r\n", "\n").replace("\r", "\n")
    units = len(text.encode("utf-16-le")) // 2
    if units <= MOST_CHARACTERS:
        return text
    said = f" [cut here: the text has {units:,} characters, a cell holds {MOST_CHARACTERS:,}]"
    kept = text.encode("utf-16-le")[: 2 * (MOST_CHARACTERS - len(said))]
    return kept.decode("utf-16-le", errors="ignore") + said


class Book:
    """A workbook being written. Sheets come in the order they are added, rows in the order given."""

    def __init__(self, file: IO[bytes], title: str, made: datetime) -> None:
        self._book = xlsxwriter.Workbook(file, AS_TYPED)
        self._book.set_properties({"title": text_cell(title), "created": made.astimezone(UTC).replace(tzinfo=None)})
        self._heading = self._book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 2})
        self._date_time = self._book.add_format({"num_format": DATE_TIME, "align": "left"})
        self._title = title

    def add(self, table: Table, most_rows: int = MOST_ROWS) -> int:
        """Writes a table, on further sheets ("Exceptions 2") where one is full. Returns the number of its rows."""
        sheet, line, sheets, count = self._sheet(table.name, table.columns), 1, 1, 0
        for row in table.rows:
            if line == most_rows:
                self._end(sheet, table.columns, line)
                sheets += 1
                sheet, line = self._sheet(f"{table.name} {sheets}", table.columns), 1
            self._write(sheet, line, table.columns, row)
            line += 1
            count += 1
        self._end(sheet, table.columns, line)
        return count

    def _sheet(self, name: str, columns: Sequence[Column]) -> Any:
        sheet = self._book.add_worksheet(name)
        sheet.freeze_panes(1, 0)
        sheet.set_landscape()  # paper size is the printer's own: A4 here, Letter there
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(0)
        # & begins a code in a footer, so a & in a unit's name is written twice.
        sheet.set_footer("&L" + self._title.replace("&", "&&")[:150] + "&C&A&RPage &P of &N")
        at = 0
        for column in columns:
            sheet.set_column(at, at, 26 if column.kind == TIME else column.width)
            at += 1
            if column.kind == TIME:
                sheet.set_column(at, at, 20)
                at += 1
        for place, heading in enumerate(headings(columns)):
            sheet.write_string(0, place, heading, self._heading)
        return sheet

    def _write(self, sheet: Any, line: int, columns: Sequence[Column], row: Row) -> None:
        at = 0
        for column, cell in zip(columns, row, strict=True):
            self._cell(sheet, line, at, column, cell)
            at += 2 if column.kind == TIME else 1

    def _cell(self, sheet: Any, line: int, at: int, column: Column, cell: Cell) -> None:
        if cell is None or cell == "":
            return
        if column.kind == NUMBER:
            sheet.write_number(line, at, cell)
        elif column.kind == TEXT:
            sheet.write_string(line, at, text_cell(str(cell)))
        else:
            sheet.write_string(line, at, str(cell))
            sheet.write_datetime(line, at + 1, local_cell(str(cell)), self._date_time)

    def _end(self, sheet: Any, columns: Sequence[Column], line: int) -> None:
        sheet.autofilter(0, 0, max(1, line - 1), len(headings(columns)) - 1)

    def close(self) -> None:
        self._book.close()


@contextmanager
def new_book(file: IO[bytes], title: str, made: datetime) -> Iterator[Book]:
    """A workbook written into a seekable binary file; whole when the block ends without an error."""
    book = Book(file, title, made)
    yield book
    book.close()
