"""Every row of one database into another, table by table, and the proof that they are the same.

Both must have the schema of this program. Values travel through the models' column types, so that SQLite and PostgreSQL
hold the same instants, numbers and ids whichever way they go.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from app.store import Base

BATCH = 1_000


class NotTheSame(RuntimeError):
    """What arrived is not what was sent."""


@dataclass(frozen=True)
class Sum:
    """What a table holds: how many rows, and a SHA-256 over all of them in the order of their keys."""

    table: str
    rows: int
    digest: str


def tables() -> list[sa.Table]:
    """Every table, those that others point to first."""
    return list(Base.metadata.sorted_tables)


def counts(connection: sa.Connection) -> dict[str, int]:
    return {table.name: connection.scalar(sa.select(sa.func.count()).select_from(table)) or 0 for table in tables()}


def sums(connection: sa.Connection) -> list[Sum]:
    return [_sum(connection, table) for table in tables()]


def copy_rows(source: sa.Connection, target: sa.Connection, say: Callable[[str], None]) -> list[Sum]:
    """Copies every row into empty tables and compares both sides. Raises NotTheSame. The caller commits.

    Links are checked when all rows are there: a row may point to one that comes later.
    """
    links = _without_links(target)
    for table in tables():
        for rows in _batches(source, table):
            target.execute(sa.insert(table), rows)
    links()
    numbers_go_on(target)
    sent, arrived = sums(source), sums(target)
    for before, after in zip(sent, arrived, strict=True):
        if before != after:
            raise NotTheSame(f"{before.table}: {before.rows} rows sent, {after.rows} arrived, "
                             f"{'same' if before.digest == after.digest else 'other'} content. Nothing was kept.")
        say(f"{before.table}: {before.rows} rows, the same on both sides ({before.digest[:12]})")
    return arrived


def empty(target: sa.Connection) -> None:
    """Every row gone, the tables left; links are looked at again by what fills them."""
    put_back = _without_links(target)
    for table in reversed(tables()):
        target.execute(sa.delete(table))
    put_back()


def _in_order(table: sa.Table) -> sa.Select[Any]:
    return sa.select(table).order_by(*table.primary_key.columns)


def _batches(source: sa.Connection, table: sa.Table) -> Iterator[list[dict[str, Any]]]:
    found = source.execution_options(yield_per=BATCH).execute(_in_order(table)).mappings()
    for part in found.partitions(BATCH):
        yield [dict(row) for row in part]


def _sum(connection: sa.Connection, table: sa.Table) -> Sum:
    digest, count = hashlib.sha256(), 0
    for rows in _batches(connection, table):
        for row in rows:
            digest.update(json.dumps(list(row.values()), default=_plain, sort_keys=True).encode() + b"\n")
        count += len(rows)
    return Sum(table.name, count, digest.hexdigest())


def _plain(value: Any) -> str:
    if isinstance(value, datetime):
        return value.isoformat()
    return value.hex() if isinstance(value, bytes) else str(value)


def _without_links(target: sa.Connection) -> Callable[[], None]:
    """Takes the links between tables away while rows arrive in any order; what is returned puts them back, checked."""
    if target.dialect.name == "sqlite":
        return lambda: _sqlite_links(target)
    found = target.execute(sa.text(
        "SELECT conrelid::regclass::text AS held_by, quote_ident(conname) AS name, pg_get_constraintdef(oid) AS says "
        "FROM pg_constraint WHERE contype = 'f' AND connamespace = current_schema()::regnamespace")).all()
    for held_by, name, _ in found:
        target.exec_driver_sql(f"ALTER TABLE {held_by} DROP CONSTRAINT {name}")

    def put_back() -> None:
        for held_by, name, says in found:
            target.exec_driver_sql(f"ALTER TABLE {held_by} ADD CONSTRAINT {name} {says}")

    return put_back


def _sqlite_links(target: sa.Connection) -> None:
    broken = target.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if broken:
        raise NotTheSame(f"{len(broken)} links point to nothing, the first from {broken[0][0]}. Nothing was kept.")


def numbers_go_on(target: sa.Connection) -> None:
    """PostgreSQL counts keys apart from the rows: the next one follows the largest that came."""
    if target.dialect.name != "postgresql":
        return
    for table in tables():
        for column in table.primary_key.columns:
            if not isinstance(column.type, sa.Integer):
                continue
            sequence = target.scalar(sa.text("SELECT pg_get_serial_sequence(:t, :c)"),
                                     {"t": f'"{table.name}"', "c": column.name})
            if sequence:
                target.execute(sa.text(f'SELECT setval(:s, COALESCE(MAX("{column.name}"), 0) + 1, false) '
                                       f'FROM "{table.name}"'), {"s": sequence})
