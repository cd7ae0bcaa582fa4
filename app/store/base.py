"""The ground of every model: naming convention, and column types that hold the same on both databases."""

from __future__ import annotations

import math
import os
import time
import uuid
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase
from sqlalchemy.types import TypeDecorator

#: One convention from the first migration on: SQLite rebuilds tables and needs every constraint's name.
CONVENTION = {
    "ix": "ix_%(column_0_label)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Base(DeclarativeBase):
    metadata = sa.MetaData(naming_convention=CONVENTION)


class UtcDateTime(TypeDecorator[datetime]):
    """An instant. Kept in UTC, given back aware; a time without a zone is refused at this one place."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time without a zone cannot be stored")
        value = value.astimezone(UTC)
        # SQLite keeps the figures and drops the zone, so the figures must be UTC's.
        return value.replace(tzinfo=None) if dialect.name == "sqlite" else value

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)

    def bind_processor(self, dialect: Dialect) -> Any:
        return as_sqlite_text if dialect.name == "sqlite" else super().bind_processor(dialect)

    def result_processor(self, dialect: Dialect, coltype: object) -> Any:
        return _instant_of if dialect.name == "sqlite" else super().result_processor(dialect, coltype)


def as_sqlite_text(value: datetime | None) -> str | None:
    """As SQLite keeps it, in one step: by the library's two it takes three times as long, a dozen times a save."""
    if value is None:
        return None
    if value.tzinfo is None:
        raise ValueError("a time without a zone cannot be stored")
    if value.tzinfo is not UTC:
        value = value.astimezone(UTC)
    return value.replace(tzinfo=None).isoformat(" ", "microseconds")


def _instant_of(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:  # Read with its zone: putting one in afterwards takes six times as long.
        return datetime.fromisoformat(text + "+00:00")
    except ValueError:  # another hand wrote it with one: what it altered is to be named, not to stop who looks
        return datetime.fromisoformat(text).astimezone(UTC)


class Real(TypeDecorator[float]):
    """A finite number. NaN would be NULL in one database and the largest number in the other: refused here."""

    impl = sa.Double()
    cache_ok = True

    def process_bind_param(self, value: float | None, dialect: Dialect) -> float | None:
        return _finite(value)

    def bind_processor(self, dialect: Dialect) -> Any:
        return _finite  # neither driver wants more


def _finite(value: float | None) -> float | None:
    if value is not None and not math.isfinite(value):
        raise ValueError("not a finite number")
    return value


class Key16(TypeDecorator[uuid.UUID]):
    """A UUID in 16 bytes: BLOB in SQLite, uuid in PostgreSQL."""

    impl = sa.LargeBinary(16)
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> Any:
        if dialect.name == "postgresql":
            return dialect.type_descriptor(sa.Uuid())
        return dialect.type_descriptor(sa.LargeBinary(16))

    def process_bind_param(self, value: uuid.UUID | None, dialect: Dialect) -> Any:
        if value is None or dialect.name == "postgresql":
            return value
        return value.bytes

    def process_result_value(self, value: Any, dialect: Dialect) -> uuid.UUID | None:
        if value is None or isinstance(value, uuid.UUID):
            return value
        return uuid.UUID(bytes=bytes(value))


def new_id() -> uuid.UUID:
    """A time-ordered id (UUID version 7 layout): neighbours in time are neighbours in the index."""
    milliseconds = time.time_ns() // 1_000_000
    number = (milliseconds << 80) | int.from_bytes(os.urandom(10), "big")
    number = number & ~(0xF << 76) | (0x7 << 76)
    number = number & ~(0x3 << 62) | (0x2 << 62)
    return uuid.UUID(int=number)


def one_of(column: str, words: tuple[str, ...], name: str) -> sa.CheckConstraint:
    """A check that a text column holds one of these words (or nothing)."""
    listed = ", ".join("'" + word.replace("'", "''") + "'" for word in words)
    # Quoted, because "end" is a word of PostgreSQL's own.
    return sa.CheckConstraint(f'"{column}" IN ({listed})', name=name)
