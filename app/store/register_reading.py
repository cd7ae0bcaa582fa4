"""A register file from bytes to rows by column name: read where it can be read one way only, else refused by name.

UTF-8 with or without its mark, UTF-16 with its mark; commas, semicolons or tabs, whichever the header has. No other
encoding is guessed. A quote left open spoils its own line and no other.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from app.store.register_columns import COLUMNS

#: Text that begins with one of these would run in a spreadsheet: the export puts one ' before it.
RUNS_IN_A_SPREADSHEET = ("=", "+", "-", "@", "'", "\t", "\r")
SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
NEEDED = ("tag", "area")
_WORKBOOKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")


class RowError(NamedTuple):
    """One thing wrong in a file: where, what was read there (None: nothing to show), and what to do."""

    line: int
    column: str
    read: str | None
    todo: str

    def __str__(self) -> str:
        where = f" column {visible(self.column)}:" if self.column else ""
        todo = " ".join(visible(self.todo).split())
        told = "" if self.read is None else shorten(self.read)
        read = "" if self.read is None or told in todo else f" read {told}." if told != "“”" else " read nothing."
        return f"{self.line}:{where}{read} {todo}"


class FileRow(NamedTuple):
    line: int  # the record's first line in the file
    cells: dict[str, str]
    guarded: frozenset[str]  # columns whose cell had the one ' before it: typed so, no spreadsheet's doing


@dataclass
class FileRead:
    rows: list[FileRow] = field(default_factory=list)
    errors: list[RowError] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)  # known columns the file does not have: taken as empty


class _Record(NamedTuple):
    line: int
    cells: list[str]
    fault: str = ""  # why these cells are none


def visible(text: str) -> str:
    """Text with every character that cannot be seen written out: \\x00."""
    return "".join(c if c.isprintable() or c in "\n\t" else c.encode("unicode_escape").decode() for c in text)


def shorten(text: str, longest: int = 40) -> str:
    """A cell as it is told in one line."""
    plain = " ".join(visible(text).split())
    return f"“{plain[:longest]}…”" if len(plain) > longest else f"“{plain}”"


def unguarded(cell: str) -> str:
    """A cell with exactly one ' off, where it stands before text that a spreadsheet would run."""
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(RUNS_IN_A_SPREADSHEET) else cell


def guarded(text: str) -> str:
    """Text as the export writes it: one ' before what a spreadsheet would run."""
    return "'" + text if text.startswith(RUNS_IN_A_SPREADSHEET) else text


def read_register(data: bytes) -> FileRead:
    """The file's rows by column name, or every fault of its form. Cells are not judged here."""
    found = FileRead()
    text = _decoded(data, found.errors)
    if text is None:
        return found
    lines = list(io.StringIO(text, newline=""))
    start = next((i for i, line in enumerate(lines) if line.strip("\r\n\t ,;")), None)
    if start is None:
        found.errors.append(RowError(1, "", None, "Send a file with a header row: this one is empty."))
        return found
    separator = _declared(lines[start])
    start += separator is not None
    separator = separator or _separator(lines, start)
    records = _records(lines, start, separator)
    header = next(records, _Record(start + 1, []))
    names = _header(header, found)
    for record in records if names else ():
        _take(record, names, separator, found)
    return found


# bytes to text ---------------------------------------------------------------------------------------------


def _decoded(data: bytes, errors: list[RowError]) -> str | None:
    if data.startswith(_WORKBOOKS):
        errors.append(RowError(1, "", None, "Save the sheet as “CSV UTF-8” and send that: this is a workbook."))
        return None
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return data.decode("utf-16").removeprefix("\ufeff")
        except UnicodeDecodeError:
            errors.append(RowError(1, "", None, "Save the file as “CSV UTF-8” and send it again: it begins as UTF-16 "
                                                "and breaks off."))
            return None
    if data[:400].count(0) * 3 > len(data[:400]):
        errors.append(RowError(1, "", None, "Save the file as “CSV UTF-8” and send it again: this one is UTF-16 "
                                            "without its mark."))
        return None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        around = data[data.rfind(b"\n", 0, error.start) + 1:error.start + 12].decode("latin-1")[-24:]
        errors.append(RowError(line, "", around, "Save the file as “CSV UTF-8” and send it again: it is not UTF-8 "
                                                 "but another encoding, such as Windows-1252."))
        return None


# text to records -------------------------------------------------------------------------------------------


def _declared(line: str) -> str | None:
    """The separator of a first line sep=; which some spreadsheets write."""
    plain = line.strip("\r\n").strip('"')
    return plain[4:] if plain.casefold().startswith("sep=") and plain[4:] in SEPARATORS else None


def _separator(lines: list[str], start: int) -> str:
    """The one by which the header holds most names that are known, commas where none does better."""
    return max(SEPARATORS, key=lambda s: sum(_plain(name) in COLUMNS for name in next(_records(lines, start, s)).cells))


def _records(lines: list[str], start: int, separator: str) -> Iterator[_Record]:
    """Each record with its first line. A bad quote costs its own line; the next line is read again as a new record."""
    at, width = start, 0
    while at < len(lines):
        cells, used, fault = _one_record(lines, at, separator)
        if not fault and used > 1 and width and len(cells) != width and _fits(lines, at + 1, separator, width):
            fault = "a quote is left open"
        if fault:
            yield _Record(at + 1, [], fault)
            at += 1
            continue
        width = width or len(cells)
        yield _Record(at + 1, cells)
        at += used


def _fits(lines: list[str], at: int, separator: str, width: int) -> bool:
    """Whether the next line is a row by itself: then the quote before it was left open."""
    return at < len(lines) and len(_one_record(lines, at, separator)[0]) == width


def _one_record(lines: list[str], at: int, separator: str) -> tuple[list[str], int, str]:
    """(cells, lines used, what is wrong with its quotes) of the record that begins at a line."""
    reader = csv.reader((lines[i] for i in range(at, len(lines))), delimiter=separator, strict=True)
    try:
        return next(reader), reader.line_num, ""
    except csv.Error as error:
        words = str(error)
        return [], 1, ("a quote is left open" if "unexpected end" in words or "field limit" in words else
                       "text follows a closing quote" if "expected after" in words else words)


# records to rows -------------------------------------------------------------------------------------------


def _plain(name: str) -> str:
    return name.strip().casefold()


def _header(header: _Record, found: FileRead) -> list[str]:
    """The column names; every unknown, repeated or unnamed one is an error. Empty columns at the end do not count."""
    line, cells, fault = header
    if fault:
        found.errors.append(RowError(line, "", None, f"Check the quotes of the header: {fault}."))
        return []
    names = [_plain(cell) for cell in cells]
    while names and not names[-1]:
        names.pop()
    for place, name in enumerate(names):
        if not name:
            found.errors.append(RowError(line, "", None, f"Name column {place + 1} or take it out: it has no name."))
        elif name not in COLUMNS:
            found.errors.append(RowError(line, cells[place].strip(), None,
                                         "Take this column out or correct its name: the register has no such column."
                                         + _meant(name)))
        elif name in names[:place]:
            found.errors.append(RowError(line, name, None, "Take one of the two out: this column is there twice."))
    for name in NEEDED:
        if name not in names:
            found.errors.append(RowError(line, name, None, "Add this column: it may not be empty."))
    found.left_out = [name for name in COLUMNS if name not in names]
    return names


def _meant(name: str) -> str:
    """A known column that is written nearly so, with blanks or dashes for _."""
    near = "_".join(name.replace("-", " ").replace("_", " ").split())
    return f" Is {near} meant?" if near in COLUMNS else ""


def _take(record: _Record, names: list[str], separator: str, found: FileRead) -> None:
    """One record into a row, or what is wrong with its form. Rows and cells that are empty to the end do not count."""
    line, cells, fault = record
    if fault:
        found.errors.append(RowError(line, "", None, f"Check the quotes of this row: {fault}."))
    elif any(cell.strip() for cell in cells):
        width = len(names)
        if len(cells) < width or any(cell.strip() for cell in cells[width:]):
            more = "more" if len(cells) > width else "fewer"
            extra = next((cell for cell in cells[width:] if cell.strip()), None)
            found.errors.append(RowError(line, "", extra, (
                f"Check the {SEPARATORS[separator]} and quotes of this row: it has {more} cells ({len(cells)}) than "
                f"the header ({width}).") + (" A decimal comma needs quotes around its cell, or semicolons between "
                                             "the cells." if more == "more" and separator == "," else "")))
        else:
            found.rows.append(_row(line, names, cells))


def _row(line: int, names: list[str], cells: list[str]) -> FileRow:
    """The cells of known columns, the first of two; the header has named the others already."""
    row: dict[str, str] = {}
    marked = []
    for name, cell in zip(names, cells, strict=False):
        if name in COLUMNS and name not in row:
            row[name] = unguarded(cell)
            if row[name] is not cell and row[name] != cell:
                marked.append(name)
    return FileRow(line, row, frozenset(marked))
