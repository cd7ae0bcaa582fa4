"""Puts rows into every table of whatever schema a database has, so that a migration has something to lose."""

from __future__ import annotations

import re
import uuid
from datetime import UTC, date, datetime
from typing import Any

import sqlalchemy as sa

_WORDS = re.compile(r"""(?:\(*"?(\w+)"?\)*(?:::text)?\)*\s*(?:IN|=\s*ANY)\s*\(+(?:ARRAY\[)?)'((?:[^']|'')*)'""")


def fill(engine: sa.Engine, each: int = 2) -> None:
    """`each` rows in every table, links pointing at rows that exist, words that the checks allow."""
    held = sa.MetaData()
    held.reflect(engine)
    look = sa.inspect(engine)
    made: dict[str, list[dict[str, Any]]] = {"alembic_version": []}
    waiting = [t for t in held.tables.values() if t.name not in made]
    with engine.begin() as connection:
        while waiting:
            table = next(t for t in waiting if _targets(t) <= made.keys() | {t.name})
            words = {m[1]: m[2].replace("''", "'") for check in look.get_check_constraints(table.name)
                     if (m := _WORDS.search(check["sqltext"]))}
            made[table.name] = [_row(table, i, words, made) for i in range(each)]
            connection.execute(table.insert(), made[table.name])
            waiting.remove(table)


def _targets(table: sa.Table) -> set[str]:
    """The tables a row of this one must point at; what may be empty is left empty."""
    return {key.column.table.name for c in table.columns for key in c.foreign_keys if not c.nullable}


def _row(table: sa.Table, i: int, words: dict[str, str], made: dict[str, list[dict[str, Any]]]) -> dict[str, Any]:
    row: dict[str, Any] = {}
    for column in table.columns:
        link = next(iter(column.foreign_keys), None)
        if link is not None:
            if not column.nullable or made.get(link.column.table.name):
                row[column.name] = made[link.column.table.name][i][link.column.name]
        elif column.name in words:
            row[column.name] = words[column.name]
        else:
            row[column.name] = _value(column, i)
    return row


def _value(column: sa.Column[Any], i: int) -> Any:
    kind = column.type
    if isinstance(kind, sa.Uuid):
        return uuid.UUID(int=i + 1)
    if isinstance(kind, sa.LargeBinary):
        return uuid.UUID(int=i + 1).bytes
    if isinstance(kind, sa.Boolean):
        return bool(i)
    if isinstance(kind, sa.Integer):
        return i + 1
    if isinstance(kind, sa.Numeric | sa.Float):
        return i + 0.5
    if isinstance(kind, sa.DateTime):
        at = datetime(2026, 11, 24, 13, i, tzinfo=UTC)
        return at if kind.timezone else at.replace(tzinfo=None)
    if isinstance(kind, sa.Date):
        return date(2026, 11, 24)
    if isinstance(kind, sa.JSON):
        return {}
    return f"{column.name} {i}"
