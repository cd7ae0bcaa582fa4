"""The register as rows and as the CSV that the import takes back: the same for page and command."""

from __future__ import annotations

import csv
import io

from sqlalchemy.orm import Session

from app.store.motors import motors_of
from app.store.register import COLUMNS, cells_of
from app.store.register_file import guarded
from app.store.units import Unit


def register_rows(session: Session, unit: Unit) -> list[dict[str, str]]:
    """Every motor's cells by column name, in walking order. Tags exactly as typed."""
    return [cells_of(motor) for motor in motors_of(session, unit.id)]


def register_csv(session: Session, unit: Unit) -> bytes:
    """RFC 4180, UTF-8 with its mark, CRLF. Text that a spreadsheet would run is made harmless; numbers stay numbers."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for cells in register_rows(session, unit):
        writer.writerow([cell if COLUMNS[name].kind == "number" else guarded(cell) for name, cell in cells.items()])
    return out.getvalue().encode("utf-8-sig")
