"""A save begun on the driver's own connection is one transaction with the models it needs, and breaks as any."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.db import Database
from app.store.plain import PlainSession
from app.store.prepared import Prepared, Question, ask, no_answer
from app.store.units import Unit
from tests import factories

NAMES = Prepared(lambda: sa.select(Unit.name).order_by(Unit.name))
RENAME = Prepared(lambda: sa.update(Unit.__table__).where(  # type: ignore[arg-type]
    Unit.name == sa.bindparam("old", type_=sa.Text())).values(name=sa.bindparam("new", type_=sa.Text())))


def rename(session: Session, old: str, new: str) -> None:
    ask(session, Question(RENAME, {"old": old, "new": new}, no_answer))


def names(database: Database) -> list[str]:
    with database.reading() as session:
        return list(session.scalars(sa.select(Unit.name).order_by(Unit.name)))


@pytest.fixture(autouse=True)
def two_units(database: Database) -> None:
    with database.writing() as session:
        factories.make_unit(session, name="North")
        factories.make_unit(session, name="South")
        session.commit()


def test_what_was_stored_plainly_is_there_after_the_commit_and_gone_without_it(database: Database) -> None:
    with database.writing() as session:
        rename(session, "North", "Not kept")
    with database.writing() as session:
        rename(session, "South", "Not kept either")
        session.rollback()
    assert names(database) == ["North", "South"]
    with database.writing() as session:
        rename(session, "North", "East")
        session.commit()
        rename(session, "South", "West")  # the next transaction of the same session
        session.commit()
    assert names(database) == ["East", "West"]


@pytest.mark.parametrize("kept", [True, False])
def test_models_and_plain_statements_share_one_transaction_and_its_end(database: Database, kept: bool) -> None:
    with database.writing() as session:
        rename(session, "North", "East")
        unit = session.scalars(sa.select(Unit).where(Unit.name == "East")).one()
        unit.name = "Far east"
        assert [row[0] for row in NAMES.rows(session, {})] == ["Far east", "South"]
        with session.begin_nested() as part:
            rename(session, "South", "Undone")
            part.rollback()
        session.add(factories.make_unit(session, name="Added last"))
        if kept:
            session.commit()
    assert names(database) == (["Added last", "Far east", "South"] if kept else ["North", "South"])


def test_models_only_added_behind_plain_statements_are_stored_with_them(database: Database) -> None:
    with database.writing() as session:
        rename(session, "North", "East")
        session.scalars(sa.select(Unit).where(Unit.name == "South")).one().name = "West"
        session.commit()
    assert names(database) == ["East", "West"]


def test_what_the_database_refuses_is_told_in_the_engines_words_and_nothing_is_kept(database: Database) -> None:
    with pytest.raises(sa.exc.IntegrityError), database.writing() as session:
        rename(session, "North", "South")
    with database.writing() as session:  # the connection that was refused serves on
        rename(session, "North", "East")
        session.commit()
    assert names(database) == ["East", "South"]


@contextmanager
def heard(database: Database) -> Iterator[list[str]]:
    told: list[str] = []

    def begins(_connection: Any) -> None:
        told.append("begins")

    def commits(_connection: Any) -> None:
        told.append("commits")

    def committed(_session: Any) -> None:
        told.append("committed")

    listening = [(database.engine, "begin", begins), (database.engine, "commit", commits),
                 (PlainSession, "after_commit", committed)]
    for whom, what, listener in listening:
        sa.event.listen(whom, what, listener)
    try:
        yield told
    finally:
        for whom, what, listener in listening:
            sa.event.remove(whom, what, listener)


@pytest.mark.parametrize("with_models", [False, True])
def test_who_listens_hears_of_begin_and_commit(database: Database, with_models: bool) -> None:
    with heard(database) as told, database.writing() as session:
        rename(session, "North", "East")
        if with_models:
            session.scalars(sa.select(Unit)).all()
        session.commit()
    assert told[0] == "begins" and told[-2:] == ["commits", "committed"] and told.count("commits") == 1


def test_a_page_that_asks_nothing_takes_no_connection(database: Database) -> None:
    taken: list[Any] = []
    sa.event.listen(database.engine, "checkout", lambda *told: taken.append(told))
    with database.reading():
        pass
    assert not taken
    with database.reading() as session:
        assert len(ask(session, Question(NAMES, {}, lambda _, rows: rows))) == 2
    assert len(taken) == 1
