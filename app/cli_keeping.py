"""`round-sheet backup`, `restore`, `move-to`: keeping the data, going back, changing the database under it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, time
from pathlib import Path

import click
from sqlalchemy.exc import DBAPIError

from app import backups, checkup, copying, running_state
from app.cli_ground import fail, main, opened, say, unit_or_fail
from app.config import BadSetting, Settings, load
from app.db import Database, DatabaseTooNew
from app.rules.shifts import local_instant


@contextmanager
def told_plainly() -> Iterator[None]:
    """What went wrong in words; nothing was kept or touched then."""
    try:
        yield
    except (backups.NotACopy, backups.InUse, copying.NotTheSame, DatabaseTooNew, BadSetting) as error:
        raise fail(str(error)) from error
    except DBAPIError as error:
        raise fail(f"The database does not answer: {error.orig}") from error
    except OSError as error:
        raise fail(str(error)) from error


@main.command("backup", with_appcontext=False, epilog="Example: round-sheet backup /backup/rounds-2026-11-25.sqlite3")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
def backup(file: Path) -> None:
    """Write a consistent copy of everything stored, also while serving."""
    with opened() as (settings, database), told_plainly():
        note = backups.backup(database, file)
        running_state.note_copy(settings.instance, datetime.now(UTC), file, note.rows)
        say(f"Wrote {file}: {note.rows} rows, {file.stat().st_size:,} bytes, checked.")
        say(f"Keep {settings.instance}/secret and config.toml with it, and a copy on another disk.")


@main.command("restore", with_appcontext=False, epilog="Example: round-sheet restore /backup/rounds-2026-11-25.sqlite3")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
def restore(file: Path) -> None:
    """Go back to a copy; the server must be stopped. What is there now is put beside it, never deleted."""
    with told_plainly():
        note = backups.check(file)  # before an instance is made for nothing
        settings = load(create=True)
        database = Database(settings.url)
        with backups.alone(database, settings.instance):
            _nobody_else(database)
            done = backups.restore(database, file, settings.instance)
    say(f"Restored the copy made {note.made_at} by version {note.made_by}: {note.rows} rows"
        + (", brought up to date." if done.migrated else "."))
    if done.kept:
        say(f"What was there before is kept as {done.kept}.")
    say("Everybody signs in again. Entries made after the copy are not in it; tablets send what they still hold.")
    _checked(settings)


def _checked(settings: Settings) -> None:
    database = Database(settings.url)
    try:
        with database.reading() as session:
            wrong = [r for r in checkup.run(session) if not r.good]
    finally:
        database.close()
    for result in wrong:
        say(f"FAIL {result.says}: {result.count}")
    say("Checked: every invariant holds." if not wrong else
        "The copy was restored as it is, and these do not hold in it; `round-sheet doctor` shows them.")


@main.command("archive", with_appcontext=False,
              epilog='Example: round-sheet archive --unit "Brine unit" --until 2026-01-01 brine-to-2025.zip')
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--unit", "unit_name", required=True)
@click.option("--until", required=True, type=click.DateTime(["%Y-%m-%d"]), help="The first local day that is left out.")
def archive(file: Path, unit_name: str, until: datetime) -> None:
    """Write a unit's past as a zip of CSV tables, checked; nothing is taken out of the database."""
    from app.export.archive import write_archive

    if file.exists():
        raise fail(f"{file} is there already. Choose another name.")
    half = file.with_name(file.name + ".part")
    with opened() as (_, database), told_plainly(), database.reading() as session:
        unit = unit_or_fail(session, unit_name)
        end = local_instant(until.date(), time(), unit.calendar.zone)
        try:
            with half.open("w+b") as made:
                rows = write_archive(session, unit, end, made, datetime.now(UTC))
            half.replace(file)
        finally:
            half.unlink(missing_ok=True)
    say(f"Wrote {file}: {sum(rows.values())} rows of {unit_name} before {until:%Y-%m-%d}, read back and compared. "
        "Nothing was taken out of the database.")


@main.command("move-to", with_appcontext=False,
              epilog="Example: round-sheet move-to postgresql://rounds@localhost/rounds")
@click.argument("url")
def move_to(url: str) -> None:
    """Copy every row into an empty database of the other kind, compared row by row; the server must be stopped."""
    with opened() as (settings, source), told_plainly():
        target = _database_at(url)
        try:
            if target.url == source.url:
                raise fail("This is where the data is already.")
            with backups.alone(source, settings.instance):
                _nobody_else(source)
                count = backups.move(source, target, say)
        finally:
            target.close()
        say(f"Moved {count} rows to {target.shown}. Nothing was changed in {source.shown}.")
        say(f'Now set database_url in {settings.instance / "config.toml"} (or ROUND_SHEET_DATABASE_URL), run '
            "`round-sheet doctor`, and start the server.")


def _database_at(url: str) -> Database:
    try:
        return Database(url)
    except Exception as error:
        raise fail(f"{url.split('@')[-1]!r} is no database address such as postgresql://user@host/name "
                   f"or sqlite:////folder/file.sqlite3 ({error}).") from error


def _nobody_else(database: Database) -> None:
    database.close()
    if backups.others_connected(database):
        raise fail(f"Another program works on {database.shown}. Stop every server first.")
