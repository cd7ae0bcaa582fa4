"""What every command stands on: the group, messages on stderr, the instance with its database up to date."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import click
from flask.cli import AppGroup
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app.config import BadSetting, NoInstance, Settings, load
from app.db import Database, DatabaseTooNew
from app.store import units
from app.store.units import Unit

main = AppGroup("round-sheet", help="The shift's round sheet for a process unit's AC motors.",
                context_settings={"help_option_names": ["-h", "--help"]})


def say(text: str) -> None:
    click.echo(text, err=True)


def fail(text: str) -> click.ClickException:
    return click.ClickException(text)


@contextmanager
def opened(*, create: bool = False) -> Iterator[tuple[Settings, Database]]:
    """The instance's settings and its database, brought up to date."""
    try:
        settings = load(create=create)
        database = Database(settings.url)
        try:
            if database.upgrade():
                say(f"Database brought up to date: {database.shown}")
            yield settings, database
        finally:
            database.close()
    except (NoInstance, BadSetting, DatabaseTooNew) as error:
        raise fail(str(error)) from error
    except DBAPIError as error:
        raise fail(f"The database does not answer: {error.orig}") from error


def unit_or_fail(session: Session, name: str) -> Unit:
    unit = units.unit_named(session, name)
    if unit is None:
        known = ", ".join(u.name for u in units.all_units(session)) or "none yet"
        raise fail(f"No unit is called {name!r}. Units: {known}.")
    return unit
