"""CSV by RFC 4180: UTF-8 with byte-order mark, CRLF, streamed. Text that a spreadsheet would run is made harmless.

The continental one is for spreadsheets of countries that write 24,8: there a comma parts no columns, so it has
semicolons and decimal commas together, and all else alike.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence

from app.export.tables import Cell, Column, Row, digits, harmless

BOM = b"\xef\xbb\xbf"  # without it a spreadsheet guesses the old code page, and °C is rubbish
PIECE = 64 * 1024


def as_text(cell: Cell, continental: bool = False) -> str:
    """Numbers stay numbers, a minus included; only text is guarded."""
    if cell is None:
        return ""
    if isinstance(cell, str):
        return harmless(cell)
    return digits(cell).replace(".", ",") if continental else digits(cell)


def csv_bytes(columns: Sequence[Column], rows: Iterable[Row], continental: bool = False) -> Iterator[bytes]:
    """The file in pieces: header row, then a line a row. Memory does not grow with the rows."""
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n", delimiter=";" if continental else ",")
    writer.writerow([column.name for column in columns])
    yield BOM
    for row in rows:
        writer.writerow([as_text(cell, continental) for cell in row])
        if buffer.tell() >= PIECE:
            yield _taken(buffer)
    yield _taken(buffer)


def _taken(buffer: io.StringIO) -> bytes:
    piece = buffer.getvalue().encode()
    buffer.seek(0)
    buffer.truncate()
    return piece
