"""Saves stored by one commit: nothing is there before it, one that is undone costs the others nothing."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.db import Database
from app.store.prepared import Prepared, Question, ask, no_answer
from app.store.together import Alone, Together
from app.store.units import Unit
from tests import factories
from tests.conftest import SQLITE, by_nature_sqlite

pytestmark = by_nature_sqlite("several saves are stored by one commit where there is one writer")
RENAME = Prepared(lambda: sa.update(Unit.__table__).where(  # type: ignore[arg-type]
    Unit.name == sa.bindparam("old", type_=sa.Text())).values(name=sa.bindparam("new", type_=sa.Text())))
#: Of a unit that is not there: refused by the commit alone, once the checks are put off.
ORPHAN = ("PRAGMA defer_foreign_keys=ON", "INSERT INTO token (unit_id, name, scope, hash, created_at) "
                                          "VALUES (4711, 'panel', 'read', 'x', '2026-11-24 13:12:00')")


@pytest.fixture
def database(new_database: Callable[..., Database]) -> Database:
    made = new_database(SQLITE)
    with made.writing() as session:
        for name in ("North", "South"):
            factories.make_unit(session, name=name)
        session.commit()
    return made


@pytest.fixture
def together(database: Database) -> Iterator[Together]:
    with database.together() as stored:
        yield stored


def rename(session: Session, old: str, new: str) -> None:
    ask(session, Question(RENAME, {"old": old, "new": new}, no_answer))


def save(database: Database, together: Together, old: str, new: str) -> None:
    """As one request of a plain save."""
    together.next_one()
    with database.writing() as session:
        rename(session, old, new)
        session.commit()


def by_another_thread(work: Callable[[], None]) -> None:
    other = threading.Thread(target=work)
    other.start(), other.join()


def on_disk(database: Database) -> list[str]:
    """As another thread finds it."""
    seen: list[str] = []

    def look() -> None:
        with database.reading() as session:
            seen.extend(session.scalars(sa.select(Unit.name).order_by(Unit.name)))

    by_another_thread(look)
    return seen


def test_what_is_kept_together_is_on_the_disk_with_one_commit_and_not_before(
        database: Database, together: Together) -> None:
    commits = []
    sa.event.listen(database.engine, "commit", commits.append)
    save(database, together, "North", "East")
    save(database, together, "South", "West")
    assert (on_disk(database), together.waits, commits) == (["North", "South"], True, [])
    together.settle()
    assert (on_disk(database), together.waits, len(commits)) == (["East", "West"], False, 1)
    save(database, together, "West", "South")  # and from the beginning
    together.settle()
    assert on_disk(database) == ["East", "South"]


def test_one_that_is_given_up_half_way_costs_the_others_nothing(database: Database, together: Together) -> None:
    save(database, together, "North", "East")
    together.next_one()
    with pytest.raises(ZeroDivisionError), database.writing() as session:
        rename(session, "South", "Not kept")
        raise ZeroDivisionError
    with database.writing() as session:
        rename(session, "South", "Not kept either")
        session.rollback()
    save(database, together, "South", "West")
    together.settle()
    assert on_disk(database) == ["East", "West"] and not together.lost


def test_the_first_that_is_given_up_leaves_nothing_behind(database: Database, together: Together) -> None:
    with database.writing() as session:
        rename(session, "North", "Not kept")
    assert not together.waits
    save(database, together, "South", "West")
    together.settle()
    assert on_disk(database) == ["North", "West"]


@pytest.mark.parametrize("before", [[], ["plainly"]])
def test_who_needs_models_after_others_is_sent_to_come_alone_and_they_are_kept(
        database: Database, together: Together, before: list[str]) -> None:
    save(database, together, "North", "East")
    together.next_one()
    with pytest.raises(Alone), database.writing() as session:
        for _ in before:
            rename(session, "South", "Half way")
        session.scalars(sa.select(Unit)).all()
    together.settle()
    assert on_disk(database) == ["East", "South"] and not together.lost


def test_who_needs_models_first_is_on_the_disk_at_once(database: Database, together: Together) -> None:
    together.next_one()
    with database.writing() as session:
        rename(session, "North", "East")
        session.scalars(sa.select(Unit).where(Unit.name == "South")).one().name = "West"
        session.commit()
    assert (on_disk(database), together.waits) == (["East", "West"], False)
    together.next_one()
    with database.writing() as session:
        session.scalars(sa.select(Unit).where(Unit.name == "West")).one().name = "Far west"
        session.commit()
    assert (on_disk(database), together.waits) == (["East", "Far west"], False)


def test_what_the_database_refuses_after_others_is_told_to_come_alone(database: Database, together: Together) -> None:
    save(database, together, "North", "East")
    together.next_one()
    with pytest.raises(Alone), database.writing() as session:
        rename(session, "South", "East")
    together.settle()
    assert on_disk(database) == ["East", "South"]
    together.next_one()
    with pytest.raises(sa.exc.IntegrityError), database.writing() as session:  # and alone it hears why
        rename(session, "South", "East")


def test_who_has_stored_something_finds_it_there(database: Database, together: Together) -> None:
    save(database, together, "North", "East")
    together.next_one()
    with database.reading() as session:  # somebody else looks: nobody was told of it yet
        assert session.scalar(sa.select(Unit.name).where(Unit.name == "East")) is None
    save(database, together, "South", "West")
    with database.reading() as session:
        assert session.scalar(sa.select(sa.func.count()).where(Unit.name.in_(["East", "West"]))) == 2
    save(database, together, "West", "South")
    assert database.glance() and not together.waits


def test_who_stores_twice_stores_the_first_before_the_second_begins(database: Database, together: Together) -> None:
    save(database, together, "North", "East")
    with database.writing() as session:
        rename(session, "South", "Not kept")
        assert on_disk(database) == ["East", "South"]


def test_other_threads_write_once_it_is_settled_and_not_before(database: Database, together: Together) -> None:
    save(database, together, "North", "East")
    begun, done = threading.Event(), threading.Event()

    def other() -> None:
        begun.set()
        with database.writing() as session:
            session.scalars(sa.select(Unit).where(Unit.name == "East")).one().name = "Far east"
            session.commit()
        done.set()

    thread = threading.Thread(target=other)
    thread.start()
    assert begun.wait(10) and not done.wait(0.2)
    assert not database.noting(lambda session: session.execute(sa.delete(Unit)))  # what may be left out, is
    together.settle()
    assert done.wait(10)
    thread.join()
    assert on_disk(database) == ["Far east", "South"]


def test_a_commit_that_fails_keeps_nothing_and_says_that_it_is_lost(database: Database, together: Together) -> None:
    save(database, together, "North", "East")
    together.next_one()
    with database.writing() as session:
        rename(session, "South", "West")
        for statement in ORPHAN:
            session.plain().exec_driver_sql(statement)  # type: ignore[attr-defined]
        session.commit()
    with pytest.raises(sa.exc.IntegrityError):
        together.settle()
    assert (on_disk(database), together.waits, together.lost) == (["North", "South"], False, True)

    def write() -> None:
        with database.writing() as session:
            rename(session, "North", "East")
            session.commit()

    by_another_thread(write)  # nobody is kept out
    assert on_disk(database) == ["East", "South"]


def test_a_transaction_that_the_database_gave_up_is_lost_whole(database: Database, together: Together) -> None:
    save(database, together, "North", "East")
    together.next_one()
    with pytest.raises(ZeroDivisionError), database.writing() as session:
        rename(session, "South", "West")
        session.plain().exec_driver_sql("ROLLBACK")  # type: ignore[attr-defined]  # as SQLite itself on a full disk
        raise ZeroDivisionError
    assert (on_disk(database), together.waits, together.lost) == (["North", "South"], False, True)
    with pytest.raises(Alone):  # nothing that comes behind it makes it good
        save(database, together, "South", "West")
    with pytest.raises(Alone), database.writing() as session:
        session.scalars(sa.select(Unit)).all()
    together.settle()
    assert (on_disk(database), together.lost) == (["North", "South"], True)


def test_what_is_left_unsettled_is_undone(database: Database) -> None:
    with database.together() as stored:
        save(database, stored, "North", "East")
    assert on_disk(database) == ["North", "South"]
    with database.writing() as session:
        rename(session, "North", "East")
        session.commit()
    assert on_disk(database) == ["East", "South"]


def test_what_parts_would_undo_is_noted_in_memory_and_other_transactions_sort_by_files(
        database: Database, together: Together) -> None:
    by_default, in_memory = 0, 2
    asked = sa.text("PRAGMA temp_store")
    with database.writing() as session:
        rename(session, "North", "East")
        assert session.scalar(asked) == in_memory
        session.commit()
    together.settle()
    with database.reading() as session:
        assert session.scalar(asked) == by_default
