"""A consistent copy while serving, going back to one, and moving to another database.

A copy is always one SQLite file, whatever the database is: it can be opened, counted and restored anywhere. In it lies
a note of what it is, when and by which version it was made, and how many rows each table had.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import sqlalchemy as sa

from app import VERSION, copying
from app.db import Database, DatabaseTooNew

#: "MRSh" in the file's own header: this program wrote it, or took it over.
MARK = 0x4D525368
NOTE = "kept_copy"
SIDE_FILES = ("-wal", "-shm")


class NotACopy(RuntimeError):
    """The file cannot be used; nothing was touched."""


class InUse(RuntimeError):
    """A server works on the database."""


@dataclass(frozen=True)
class Note:
    made_at: str
    made_by: str
    database: str
    rows: int


# making one ------------------------------------------------------------------------------------------------


def backup(database: Database, file: Path) -> Note:
    """Writes a consistent copy, also while entries are being saved. The name appears only when the copy is whole.

    Raises NotACopy where something else lies under that name, or a PostgreSQL database is of another version; OSError
    where it cannot be written.
    """
    if file.exists() and file.stat().st_size:
        _mark_of(file, "Choose another name: it stays as it is.")  # only an older copy may be replaced
    if not database.is_sqlite:
        _same_version(database)
    half = file.with_name(file.name + ".part")
    half.unlink(missing_ok=True)
    try:
        (_copy_sqlite if database.is_sqlite else _copy_out)(database, half)
        note = _write_note(half, database)
        _to_disk(half)
        os.replace(half, file)
        _to_disk(file.parent)
        return note
    except (sqlite3.Error, sa.exc.DBAPIError) as error:
        raise OSError(f"{file} could not be written: {getattr(error, 'orig', None) or error}") from error
    finally:
        for left in (half, *_beside(half)):
            left.unlink(missing_ok=True)


def _copy_sqlite(database: Database, half: Path) -> None:
    with contextlib.closing(sqlite3.connect(_path(database))) as live, contextlib.closing(sqlite3.connect(half)) as new:
        live.backup(new)  # one step: the state of one instant, and no writer waits for it


def _same_version(database: Database) -> None:
    """Rows are read as this program knows them: those of another version cannot be."""
    there, ours = database.versions()
    if there != ours:
        raise NotACopy(f"The database {database.shown} is at version {there}, this program works with {ours}. Before "
                       "an upgrade make the copy with the program that has served it, or with pg_dump. Nothing was "
                       "touched.")


def _copy_out(database: Database, half: Path) -> None:
    """PostgreSQL's rows as of one instant, into a new SQLite file."""
    new = Database(f"sqlite:///{half}")
    try:
        new.upgrade()
        with database.engine.connect().execution_options(isolation_level="REPEATABLE READ") as source, \
                new.for_copying() as target:
            copying.copy_rows(source, target, lambda _: None)
    finally:
        new.close()


def _write_note(half: Path, database: Database) -> Note:
    with contextlib.closing(sqlite3.connect(half)) as new:
        new.execute("PRAGMA journal_mode=DELETE")  # one file, nothing beside it
        new.execute(f"PRAGMA application_id={MARK}")
        new.execute(f"DROP TABLE IF EXISTS {NOTE}")
        new.execute(f"CREATE TABLE {NOTE} (name TEXT PRIMARY KEY, value TEXT NOT NULL)")
        rows = {name: _count(new, name) for name in _table_names(new)}
        note = Note(datetime.now(UTC).isoformat(timespec="seconds"), VERSION, database.engine.dialect.name,
                    sum(rows.values()))
        new.executemany(f"INSERT INTO {NOTE} VALUES (?, ?)",
                        [("made at", note.made_at), ("made by version", note.made_by), ("made from", note.database),
                         *((f"rows of {name}", str(count)) for name, count in rows.items())])
        new.commit()
        _check_itself(new)
    return note


# reading one -----------------------------------------------------------------------------------------------


def check(file: Path) -> Note:
    """What a copy says of itself, after the whole file was read and counted. Raises NotACopy; touches nothing."""
    _mark_of(file)
    try:
        with contextlib.closing(_read_only(file)) as found:
            _check_itself(found)
            told = dict(found.execute(f"SELECT name, value FROM {NOTE}"))
            for name in _table_names(found):
                count, noted = _count(found, name), told.get(f"rows of {name}")
                if noted != str(count):
                    raise NotACopy(f"{file}: {name} has {count} rows, the copy was made with {noted}. It is damaged.")
            return Note(told["made at"], told["made by version"], told["made from"],
                        sum(_count(found, name) for name in _table_names(found)))
    except (sqlite3.Error, KeyError) as error:
        raise NotACopy(f"{file} is damaged: {error}.") from error


def _mark_of(file: Path, advice: str = "Nothing was touched.") -> None:
    """Raises NotACopy for a file that this program did not write."""
    try:
        with file.open("rb") as opened:
            head = opened.read(100)
    except OSError as error:
        raise NotACopy(f"{file} cannot be read: {error.strerror}.") from error
    if not head.startswith(b"SQLite format 3\0") or int.from_bytes(head[68:72], "big") != MARK:
        raise NotACopy(f"{file} is not a copy made by `round-sheet backup`. {advice}")


def _check_itself(connection: sqlite3.Connection) -> None:
    faults = [row[0] for row in connection.execute("PRAGMA integrity_check(5)") if row[0] != "ok"]
    faults += [f"a row of {row[0]} points to nothing" for row in connection.execute("PRAGMA foreign_key_check")][:5]
    if faults:
        raise NotACopy(f"It is damaged: {faults[0]}.")


# going back ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Restored:
    note: Note
    kept: Path | None  # where what was there before lies now; None: nothing was there
    migrated: bool


def restore(database: Database, file: Path, folder: Path) -> Restored:
    """Puts a copy in the place of the database. The server must be stopped.

    The copy is checked and brought up to date beside its place first; only then is what was there put aside, under a
    name that is returned. Everybody signs in again. Raises NotACopy, DatabaseTooNew; then nothing was touched.
    """
    note = check(file)
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    ready = folder / f"restoring-{stamp}.sqlite3"
    try:
        migrated = _make_ready(file, ready)
        kept = (_put_sqlite if database.is_sqlite else _put_rows)(database, ready, folder, stamp)
    finally:
        for left in (ready, *_beside(ready), *folder.glob(f"{ready.name}.before-*")):
            left.unlink(missing_ok=True)
    return Restored(note, kept, migrated)


def _make_ready(file: Path, ready: Path) -> bool:
    """A copy of the copy, at this program's schema, with nobody signed in."""
    with contextlib.closing(_read_only(file)) as source, contextlib.closing(sqlite3.connect(ready)) as new:
        source.backup(new)
        new.execute(f"DROP TABLE {NOTE}")
        new.commit()
    os.chmod(ready, 0o600)
    made = Database(f"sqlite:///{ready}")
    try:
        migrated = made.upgrade()
        with made.writing() as session:
            session.execute(sa.text("UPDATE signed_in SET ended_at = :now WHERE ended_at IS NULL"),
                            {"now": datetime.now(UTC).replace(tzinfo=None)})
            session.commit()
    finally:
        made.close()  # the last connection folds the log into the file
    with contextlib.closing(sqlite3.connect(ready)) as new:
        _check_itself(new)
    return migrated


def _put_sqlite(database: Database, ready: Path, folder: Path, stamp: str) -> Path | None:
    place = Path(_path(database))
    database.close()
    kept = None
    if place.exists():
        kept = place.with_name(f"{place.name}.replaced-{stamp}")
        # The log first: left beside another file it would be played into it.
        for old, new in ((*zip(_beside(place), _beside(kept), strict=True), (place, kept))):
            if old.exists():
                os.replace(old, new)
    _to_disk(ready)
    os.replace(ready, place)
    _to_disk(place.parent)
    return kept


def _put_rows(database: Database, ready: Path, folder: Path, stamp: str) -> Path | None:
    """PostgreSQL: what is there goes into a copy of its own, then the rows are exchanged in one transaction."""
    database.upgrade()
    kept = None
    with database.engine.connect() as connection:
        there = sum(copying.counts(connection).values())
    if there:
        kept = folder / f"replaced-{stamp}.sqlite3"
        backup(database, kept)
    source = Database(f"sqlite:///{ready}")
    try:
        with source.engine.connect() as old, database.engine.begin() as new:
            copying.empty(new)
            copying.copy_rows(old, new, lambda _: None)
    finally:
        source.close()
    return kept


# moving ----------------------------------------------------------------------------------------------------


def move(source: Database, target: Database, say: Callable[[str], None]) -> int:
    """Every row into an empty database of either kind, compared row for row. Returns how many.

    The source is locked against writing meanwhile and stays as it is. Raises NotACopy where the target holds rows,
    copying.NotTheSame where what arrived differs: then nothing is kept there.
    """
    target.upgrade()
    with target.engine.connect() as connection:
        there = {name: count for name, count in copying.counts(connection).items() if count}
    if there:
        raise NotACopy(f"{target.shown} is not empty ({', '.join(f'{n}: {c}' for n, c in there.items())}). "
                       "Nothing was moved.")
    with _standing_still(source) as old, target.for_copying() as new:
        return sum(s.rows for s in copying.copy_rows(old, new, say))


@contextlib.contextmanager
def _standing_still(source: Database) -> Iterator[sa.Connection]:
    """One instant of the source, with writers kept waiting."""
    if source.is_sqlite:
        with source.writing() as session:
            yield session.connection()
        return
    with source.engine.connect().execution_options(isolation_level="REPEATABLE READ") as connection:
        yield connection


# one server a file -----------------------------------------------------------------------------------------


@contextlib.contextmanager
def alone(database: Database, folder: Path) -> Iterator[None]:
    """Held by a server while it works on this instance, and by what needs it stopped. Raises InUse.

    Gone with the process however it ends. PostgreSQL is also asked who else is connected to it.
    """
    place = Path(_path(database)) if database.is_sqlite else folder / "round-sheet"
    with place.with_name(place.name + ".serving").open("a") as held:
        if not _lock(held.fileno()):
            raise InUse(f"A server works on {database.shown}. Stop it first.")
        yield


def others_connected(database: Database) -> int:
    """Connections of other programs of ours to the same PostgreSQL database; 0 for SQLite."""
    if database.is_sqlite:
        return 0
    with database.engine.connect() as connection:
        return connection.scalar(sa.text(
            "SELECT COUNT(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid() "
            "AND application_name LIKE 'round-sheet%'")) or 0


def _lock(number: int) -> bool:
    if os.name == "nt":
        import msvcrt

        with contextlib.suppress(OSError):
            msvcrt.locking(number, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
            return True
        return False
    import fcntl

    try:
        fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


# small things ----------------------------------------------------------------------------------------------


def _path(database: Database) -> str:
    return database.url.database or ""


def _beside(file: Path) -> list[Path]:
    return [file.with_name(file.name + end) for end in SIDE_FILES]


def _read_only(file: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro&immutable=1", uri=True)


def _table_names(connection: sqlite3.Connection) -> list[str]:
    return [row[0] for row in connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' AND name <> ? ORDER BY name",
        (NOTE,))]


def _count(connection: sqlite3.Connection, table: str) -> int:
    return int(connection.execute(f'SELECT COUNT(*) FROM "{table}"').fetchone()[0])


def _to_disk(path: Path) -> None:
    """What the folder and the file hold survives a power cut from here on."""
    number = os.open(path, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


__all__ = ["DatabaseTooNew", "InUse", "NotACopy", "Note", "Restored", "alone", "backup", "check", "move", "restore"]
