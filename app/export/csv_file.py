"""CSV by RFC 4180: UTF-8 with byte-order mark, CRLF, streamed. Text that a spreadsheet would run is made harmless.

The continental one is for spreadsheets of countries that write 24,8: there a comma parts no columns, so it has
semicolons and decimal commas together, and all else alike.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from operator import call

from app.export.tables import NUMBER, TEXT, TIME, Cell, Column, Row, digits, harmless

BOM = b"\xef\xbb\xbf"  # without it a spreadsheet guesses the old code page, and °C is rubbish
PIECE = 64 * 1024
#: Cells that are kept as the file has them while it is made: how long, and how many.
SHORT, MOST_KEPT = 60, 5_000

Tell = Callable[[Cell], str]


def _number(cell: Cell) -> str:
    return "" if cell is None else digits(cell)  # type: ignore[arg-type] # a column of numbers


def _number_with_comma(cell: Cell) -> str:
    return _number(cell).replace(".", ",")


def _text(cell: Cell) -> str:
    return harmless(cell) if cell else ""  # type: ignore[arg-type] # a column of text


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


def csv_bytes(columns: Sequence[Column], rows: Iterable[Row], continental: bool = False) -> Iterator[bytes]:
    """The file in pieces: header row, then a line a row. Memory does not grow with the rows.

    Numbers stay numbers, a minus included; only text is guarded.
    """
    told: dict[str, Tell] = {
        NUMBER: _Told(_number_with_comma if continental else _number).__getitem__, TEXT: _Told(_text).__getitem__,
        TIME: _time}
    as_told = [told[column.kind] for column in columns]
    buffer = io.StringIO(newline="")
    write = csv.writer(buffer, lineterminator="\r\n", delimiter=";" if continental else ",").writerow
    write([column.name for column in columns])
    yield BOM
    for row in rows:
        if len(row) != len(as_told):
            raise ValueError(f"a row of {len(row)} cells under {len(as_told)} columns")
        write(map(call, as_told, row))
        if buffer.tell() >= PIECE:
            yield _taken(buffer)
    yield _taken(buffer)


def _taken(buffer: io.StringIO) -> bytes:
    piece = buffer.getvalue().encode()
    buffer.seek(0)
    buffer.truncate()
    return piece
