"""What a unit's years hold, as a file that stays readable without this program: a zip of CSV tables with a manifest.

Nothing is taken out of the database. Every table that belongs to a unit is in it: the rows of what happened before an
instant, and all of what they point to (motors, plates, people by name, routes, shifts).
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Iterator
from datetime import datetime
from typing import IO, Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app import VERSION
from app.store import Base
from app.store.units import Unit

MANIFEST = "manifest.json"
#: What happened, by the column that says when; what has none is taken whole.
_WHEN = {"reading": "taken_at", "round": "starts_at", "greasing": "at", "start": "at", "stop": "at", "trip": "at",
         "flag": "raised_at", "handover": "made_at", "change": "at", "dip": "at", "oil_entry": "at",
         "insulation_test": "at", "temporary_state": "since", "prestart_check": "at", "carried_entry": "at",
         "finding": "at", "note": "at", "sighting": "at", "dip_answer": "at", "trip_act": "at", "release": "at",
         "shaft_turn": "at", "flag_return": "opened_at", "handover_item": "added_at"}
#: How a table without a unit of its own finds it: its column and the table that this points to.
_THROUGH = {"finding": ("motor_id", "motor"), "nameplate": ("motor_id", "motor"), "release": ("motor_id", "motor"),
            "lubrication_point": ("motor_id", "motor"), "shaft_turn": ("motor_id", "motor"),
            "note": ("flag_id", "flag"), "sighting": ("flag_id", "flag"), "flag_return": ("flag_id", "flag"),
            "dip_answer": ("dip_id", "dip"), "trip_act": ("trip_id", "trip"), "route_stop": ("route_id", "route"),
            "handover_item": ("handover_id", "handover")}
#: Keys, hashes of secrets and what can be computed again.
_NEVER = {"failed_try", "signed_in", "token", "device", "set_up_code", "motor_run", "person_unit"}
_SECRET = {"secret_hash", "pin_hash", "key", "hash"}


class NotWhole(RuntimeError):
    """What was written does not read back as it was."""


def write_archive(session: Session, unit: Unit, until: datetime, file: IO[bytes], now: datetime) -> dict[str, int]:
    """Writes everything of the unit before an instant, reads it back, and returns the rows of each table.

    file: binary, seekable. Memory does not grow with the rows. Raises NotWhole.
    """
    told: dict[str, Any] = {}
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        for table in Base.metadata.sorted_tables:
            if table.name not in _NEVER:
                told[table.name] = _write_table(session, packed, table, unit, until)
        packed.writestr(MANIFEST, json.dumps({
            "unit": unit.name, "time_zone": unit.time_zone, "until": until.isoformat(), "made_at": now.isoformat(),
            "made_by_version": VERSION, "times": "UTC, ISO 8601", "tables": told}, indent=1, ensure_ascii=False))
    check_archive(file)
    return {name: table["rows"] for name, table in told.items()}


def check_archive(file: IO[bytes]) -> dict[str, Any]:
    """The manifest, after every table was read and its SHA-256 compared. Raises NotWhole."""
    file.seek(0)
    with zipfile.ZipFile(file) as packed:
        told: dict[str, Any] = json.loads(packed.read(MANIFEST))
        for name, table in told["tables"].items():
            digest = hashlib.sha256()
            with packed.open(f"{name}.csv") as member:
                while piece := member.read(1 << 16):
                    digest.update(piece)
            if digest.hexdigest() != table["sha256"]:
                raise NotWhole(f"{name}.csv is not as it was written.")
    return told


def _write_table(session: Session, packed: zipfile.ZipFile, table: sa.Table, unit: Unit,
                 until: datetime) -> dict[str, Any]:
    columns = [c for c in table.columns if c.name not in _SECRET]
    digest, count = hashlib.sha256(), 0
    with packed.open(f"{table.name}.csv", "w", force_zip64=True) as member:
        for piece, rows in _pieces(session, table, columns, unit, until):
            digest.update(piece)
            member.write(piece)
            count += rows
    return {"rows": count, "sha256": digest.hexdigest()}


def _pieces(session: Session, table: sa.Table, columns: list[sa.Column[Any]], unit: Unit,
            until: datetime) -> Iterator[tuple[bytes, int]]:
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow([c.name for c in columns])
    yield buffer.getvalue().encode(), 0
    found = session.execute(_rows(table, columns, unit, until), execution_options={"yield_per": 1000})
    for part in found.partitions(1000):
        buffer.seek(0)
        buffer.truncate()
        writer.writerows([_cell(value) for value in row] for row in part)
        yield buffer.getvalue().encode(), len(part)


def _rows(table: sa.Table, columns: list[sa.Column[Any]], unit: Unit, until: datetime) -> sa.Select[Any]:
    wanted = sa.select(*columns).order_by(*table.primary_key.columns)
    if table.name in _WHEN:
        wanted = wanted.where(table.c[_WHEN[table.name]] < until)
    return wanted.where(_of_unit(table, unit))


def _of_unit(table: sa.Table, unit: Unit) -> sa.ColumnElement[bool]:
    if table.name == "unit":
        return table.c.id == unit.id
    if table.name == "person":
        links = Base.metadata.tables["person_unit"]
        return table.c.id.in_(sa.select(links.c.person_id).where(links.c.unit_id == unit.id))
    if "unit_id" in table.c:
        return table.c.unit_id == unit.id
    column, target = _THROUGH[table.name]
    other = Base.metadata.tables[target]
    return table.c[column].in_(sa.select(other.c.id).where(_of_unit(other, unit)))


def _cell(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False) if isinstance(value, dict | list) else value
