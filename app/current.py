"""What the running app holds for every view, page or JSON: its settings, its database, its clock."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from flask import current_app
from sqlalchemy.orm import Session

from app.config import Settings
from app.db import Database


def database() -> Database:
    return current_app.extensions["database"]  # type: ignore[no-any-return]


def settings() -> Settings:
    return current_app.extensions["settings"]  # type: ignore[no-any-return]


def now() -> datetime:
    """The server's now, with its zone. Tests hand the app another clock."""
    return current_app.extensions["clock"]()  # type: ignore[no-any-return]


@contextmanager
def reading() -> Iterator[Session]:
    with database().reading() as session:
        yield session


@contextmanager
def writing() -> Iterator[Session]:
    """A session that may write; the view commits it once."""
    with database().writing() as session:
        yield session
