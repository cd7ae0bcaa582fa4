"""CSV by RFC 4180: UTF-8 with byte-order mark, CRLF, streamed. Text that a spreadsheet would run is made harmless.

The continental one is for spreadsheets of countries that write 24,8: there a comma parts no columns, so it has
semicolons and decimal commas together, and all else alike.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from operator import call

from app.export.tables import NUMBER, TEXT, TIME, Cell, Column, Row, digits, harmless

BOM = b"\xef\xbb\xbf"  # without it a spreadsheet guesses the old code page, and °C is rubbish
LINE_END = "\r\n"
PIECE = 64 * 1024
#: Cells that are kept as the file has them while it is made: how long, and how many.
SHORT, MOST_KEPT = 60, 5_000

Tell = Callable[[Cell], str]


def _number(cell: Cell) -> str:
    return "" if cell is None else digits(cell)  # type: ignore[arg-type] # a column of numbers


def _number_with_comma(cell: Cell) -> str:
    return _number(cell).replace(".", ",")


def _time(cell: Cell) -> str:
    return cell or ""  # type: ignore[return-value] # ISO text: nothing that a spreadsheet would run


class _Told(dict[Cell, str]):
    """Cells as the file has them. A week says the same words again and again: short ones are made once."""

    def __init__(self, tell: Tell) -> None:
        super().__init__()
        self._tell = tell

    def __missing__(self, cell: Cell) -> str:
        told = self._tell(cell)
        if len(told) <= SHORT:
            if len(self) >= MOST_KEPT:
                self.clear()
            self[cell] = told
        return told


def _quoting(apart: str) -> Callable[[str], str]:
    """Puts a cell in quotes where it holds what parts cells or lines, or a quote, which is then doubled."""
    parts = re.compile(f'[{apart}"\r\n]').search

    def quoted(text: str) -> str:
        return '"' + text.replace('"', '""') + '"' if parts(text) else text

    return quoted


def csv_bytes(columns: Sequence[Column], rows: Iterable[Row], continental: bool = False) -> Iterator[bytes]:
    """The file in pieces: header row, then a line a row. Memory does not grow with the rows.

    Numbers stay numbers, a minus included; only text is guarded. Of lines whose cells are mostly known the writer of
    the library would look at every character again, in eight times the time.
    """
    apart = ";" if continental else ","
    quoted = _quoting(apart)
    told: dict[str, Tell] = {
        NUMBER: _Told(_number_with_comma if continental else _number).__getitem__,
        TEXT: _Told(lambda cell: quoted(harmless(cell)) if cell else "").__getitem__,  # type: ignore[arg-type]
        TIME: _time}
    as_told = [told[column.kind] for column in columns]
    lines, size = [apart.join(quoted(column.name) for column in columns)], 0
    yield BOM
    for row in rows:
        if len(row) != len(as_told):
            raise ValueError(f"a row of {len(row)} cells under {len(as_told)} columns")
        line = apart.join(map(call, as_told, row))
        lines.append(line)
        size += len(line)
        if size >= PIECE:
            yield _piece(lines)
            lines, size = [], 0
    if lines:
        yield _piece(lines)


def _piece(lines: list[str]) -> bytes:
    return "".join([line + LINE_END for line in lines]).encode()
