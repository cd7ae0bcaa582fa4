"""A copy while serving, going back to it, and moving to the other database: nothing lost, nothing touched in vain."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa

from app import backups, copying
from app.db import Database, DatabaseTooNew
from app.store.units import Unit
from tests.conftest import BOTH
from tests.factories import make_unit
from tests.store.filling import fill

MakeDatabase = Callable[..., Database]


def held(database: Database) -> list[copying.Sum]:
    with database.engine.connect() as connection:
        return copying.sums(connection)


def names(database: Database) -> list[str]:
    with database.reading() as session:
        return list(session.scalars(sa.select(Unit.name).order_by(Unit.id)))


@pytest.fixture
def filled(database: Database) -> Database:
    """Two rows in every table."""
    fill(database.engine)
    with database.engine.begin() as connection:
        copying.numbers_go_on(connection)  # the rows were put in with their keys
    return database


def test_going_back_gives_every_row_of_the_copy_and_keeps_what_was_there(filled: Database, tmp_path: Path) -> None:
    with filled.writing() as session:
        session.execute(sa.text("UPDATE signed_in SET ended_at = NULL"))
        session.commit()
    before = held(filled)
    note = backups.backup(filled, tmp_path / "copy.sqlite3")
    assert note.rows == sum(s.rows for s in before) + 1  # and the line that names the schema's version
    with filled.writing() as session:
        make_unit(session, "added after the copy")
        session.commit()

    done = backups.restore(filled, tmp_path / "copy.sqlite3", tmp_path)

    after = held(filled)
    # signed_in differs on purpose: nobody is signed in after going back
    assert [s for s in after if s.table != "signed_in"] == [s for s in before if s.table != "signed_in"]
    with filled.reading() as session:
        assert session.scalar(sa.text("SELECT COUNT(*) FROM signed_in WHERE ended_at IS NULL")) == 0
    assert not done.migrated
    assert done.kept is not None
    with sqlite3.connect(done.kept) as old:
        assert "added after the copy" in [row[0] for row in old.execute("SELECT name FROM unit")]
    with filled.writing() as session:  # keys go on after the largest
        make_unit(session, "the next")
        session.commit()
    assert "added after the copy" not in names(filled)
    assert names(filled)[-1] == "the next"


def test_a_copy_under_write_load_holds_everything_acknowledged_before_it_began(
        database: Database, tmp_path: Path) -> None:
    acknowledged: list[str] = []
    stop = threading.Event()

    def write() -> None:
        while not stop.is_set():
            with database.writing() as session:
                name = f"unit {len(acknowledged)}"
                make_unit(session, name)
                session.commit()
            acknowledged.append(name)

    thread = threading.Thread(target=write)
    thread.start()
    try:
        for i in range(2):
            while len(acknowledged) < 10 * (i + 1):
                pass
            told = list(acknowledged)
            backups.backup(database, tmp_path / "copy.sqlite3")
            backups.check(tmp_path / "copy.sqlite3")
            with sqlite3.connect(tmp_path / "copy.sqlite3") as copy:
                there = {row[0] for row in copy.execute("SELECT name FROM unit")}
            assert set(told) <= there
    finally:
        stop.set()
        thread.join()


# refused, and nothing touched -------------------------------------------------------------------------------


def _truncated(data: bytes) -> bytes:
    return data[: len(data) * 2 // 3]


def _one_page_gone(data: bytes) -> bytes:
    return data[:-4096]


def _garbled(data: bytes) -> bytes:
    middle = len(data) // 2
    return data[:middle] + b"\xff" * 5000 + data[middle + 5000:]


@pytest.mark.parametrize("spoil", [
    _truncated, _one_page_gone, _garbled, lambda data: b"", lambda data: b"tag,service\r\nP-1,pump\r\n",
    lambda data: data[:68] + b"\0\0\0\0" + data[72:]],
    ids=["truncated", "a page short", "garbled", "empty", "a register", "another program's"])
def test_a_file_that_is_no_whole_copy_is_refused_with_nothing_touched(
        database: Database, tmp_path: Path, spoil: Callable[[bytes], bytes]) -> None:
    fill(database.engine, each=40)
    good, bad = tmp_path / "copy.sqlite3", tmp_path / "bad.sqlite3"
    backups.backup(database, good)
    bad.write_bytes(spoil(good.read_bytes()))
    before, files = held(database), sorted(p.name for p in tmp_path.iterdir())
    with pytest.raises(backups.NotACopy, match=r"bad\.sqlite3|damaged"):
        backups.restore(database, bad, tmp_path)
    assert held(database) == before
    assert sorted(p.name for p in tmp_path.iterdir()) == files


def test_a_copy_with_a_row_gone_is_refused(database: Database, tmp_path: Path) -> None:
    fill(database.engine)
    backups.backup(database, tmp_path / "copy.sqlite3")
    with sqlite3.connect(tmp_path / "copy.sqlite3") as copy:
        copy.execute("DELETE FROM note WHERE id = 1")
    with pytest.raises(backups.NotACopy, match="note has 1 rows, the copy was made with 2"):
        backups.check(tmp_path / "copy.sqlite3")


def test_a_copy_by_a_newer_version_is_refused_by_name(database: Database, tmp_path: Path) -> None:
    fill(database.engine)
    backups.backup(database, tmp_path / "copy.sqlite3")
    with sqlite3.connect(tmp_path / "copy.sqlite3") as copy:
        copy.execute("UPDATE alembic_version SET version_num = '9999'")
    before = held(database)
    with pytest.raises(DatabaseTooNew, match="9999"):
        backups.restore(database, tmp_path / "copy.sqlite3", tmp_path)
    assert held(database) == before
    assert sorted(p.name for p in tmp_path.glob("restoring-*")) == []


@pytest.mark.parametrize("kind", BOTH)
def test_a_copy_by_an_older_version_is_brought_up_to_date_and_the_copy_stays(
        new_database: MakeDatabase, tmp_path: Path, kind: str) -> None:
    from alembic import command

    from app.db import migration_config

    old = new_database("sqlite", upgraded=False)
    with old.for_copying() as connection:
        config = migration_config()
        config.attributes["connection"] = connection
        command.upgrade(config, "0003")
    fill(old.engine)
    copy = tmp_path / "copy.sqlite3"
    backups.backup(old, copy)
    data = copy.read_bytes()
    database = new_database(kind)
    done = backups.restore(database, copy, tmp_path)
    assert done.migrated
    assert len(names(database)) == 2
    assert copy.read_bytes() == data


def test_before_an_upgrade_of_postgresql_the_copy_is_asked_of_the_program_that_served_it(
        new_database: MakeDatabase, tmp_path: Path) -> None:
    from alembic import command

    from app.db import migration_config

    old = new_database("postgresql", upgraded=False)
    with old.for_copying() as connection:
        config = migration_config()
        config.attributes["connection"] = connection
        command.upgrade(config, "0003")
    with pytest.raises(backups.NotACopy, match=r"version 0003.*pg_dump"):
        backups.backup(old, tmp_path / "copy.sqlite3")
    assert list(tmp_path.iterdir()) == []


def test_a_copy_never_takes_the_place_of_another_file(new_database: MakeDatabase, tmp_path: Path) -> None:
    database = new_database("sqlite")
    (tmp_path / "motors.csv").write_text("tag,area\n")
    with pytest.raises(backups.NotACopy, match="Choose another name"):
        backups.backup(database, tmp_path / "motors.csv")
    with pytest.raises(backups.NotACopy, match="Choose another name"):
        backups.backup(database, Path(database.url.database or ""))
    assert (tmp_path / "motors.csv").read_text() == "tag,area\n"


def test_a_copy_that_cannot_be_written_leaves_the_older_one(new_database: MakeDatabase, tmp_path: Path) -> None:
    database = new_database("sqlite")
    copy = tmp_path / "copy.sqlite3"
    backups.backup(database, copy)
    data = copy.read_bytes()
    (tmp_path / "copy.sqlite3.part").mkdir()  # where it would be written
    with pytest.raises(OSError):
        backups.backup(database, copy)
    assert copy.read_bytes() == data


# moving ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("start", "end"), [("sqlite", "postgresql"), ("postgresql", "sqlite")])
def test_every_row_arrives_in_the_other_database(new_database: MakeDatabase, start: str, end: str) -> None:
    source, target = new_database(start), new_database(end, upgraded=False)
    fill(source.engine, each=3)
    said: list[str] = []
    count = backups.move(source, target, said.append)
    assert held(target) == held(source)
    assert count == sum(s.rows for s in held(source))
    assert len(said) == len(copying.tables())
    with target.writing() as session:  # keys go on after the largest that came
        make_unit(session, "the next")
        session.commit()


def test_a_database_that_holds_rows_is_not_moved_into(new_database: MakeDatabase) -> None:
    source, target = new_database("sqlite"), new_database("postgresql")
    fill(source.engine)
    with target.writing() as session:
        make_unit(session, "already here")
        session.commit()
    with pytest.raises(backups.NotACopy, match="not empty"):
        backups.move(source, target, lambda _: None)
    assert names(target) == ["already here"]


def test_a_link_to_nothing_stops_the_move_and_nothing_is_kept(new_database: MakeDatabase) -> None:
    source, target = new_database("sqlite"), new_database("postgresql")
    fill(source.engine)
    with sqlite3.connect(source.url.database or "") as broken:  # without the rules of the program
        broken.execute("UPDATE note SET flag_id = 777 WHERE id = 1")
    with pytest.raises(sa.exc.IntegrityError):
        backups.move(source, target, lambda _: None)
    assert names(target) == []


# one server a file -----------------------------------------------------------------------------------------


def test_a_second_server_and_a_restore_wait_for_the_first_to_stop(new_database: MakeDatabase, tmp_path: Path) -> None:
    database = new_database("sqlite")
    with backups.alone(database, tmp_path), pytest.raises(backups.InUse, match="Stop it first"), \
            backups.alone(database, tmp_path):
        pass
    with backups.alone(database, tmp_path):
        pass


def test_another_program_on_the_same_server_database_is_counted(new_database: MakeDatabase) -> None:
    database = new_database("postgresql")
    database.close()
    there = backups.others_connected(database)  # the tests' own
    other = Database(database.url.render_as_string(hide_password=False))
    with other.engine.connect():
        assert backups.others_connected(database) == there + 1
    other.close()
