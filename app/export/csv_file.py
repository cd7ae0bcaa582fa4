"""CSV by RFC 4180: UTF-8 with byte-order mark, CRLF, streamed. Text that a spreadsheet would run is made harmless."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence

from app.export.tables import Cell, Column, Row, digits, harmless

BOM = b"\xef\xbb\xbf"  # without it a spreadsheet guesses the old code page, and °C is rubbish
PIECE = 64 * 1024


def as_text(cell: Cell) -> str:
    """Numbers stay numbers, a minus included; only text is guarded."""
    if cell is None:
        return ""
    return harmless(cell) if isinstance(cell, str) else digits(cell)


def csv_bytes(columns: Sequence[Column], rows: Iterable[Row]) -> Iterator[bytes]:
    """The file in pieces: header row, then a line a row. Memory does not grow with the rows."""
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow([column.name for column in columns])
    yield BOM
    for row in rows:
        writer.writerow([as_text(cell) for cell in row])
        if buffer.tell() >= PIECE:
            yield _taken(buffer)
    yield _taken(buffer)


def _taken(buffer: io.StringIO) -> bytes:
    piece = buffer.getvalue().encode()
    buffer.seek(0)
    buffer.truncate()
    return piece
