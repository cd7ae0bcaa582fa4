"""Who asks is looked up without a session: like any query it sees what is stored, and outlives a lost connection."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import sqlalchemy as sa

from app.db import Database
from app.store import people
from app.store.people import OPERATOR, SignedIn
from tests import factories
from tests.factories import NOW

KEY = "k" * 64


def signed_in(database: Database) -> None:
    with database.writing() as session:
        unit = factories.make_unit(session)
        person = factories.make_person(session, unit, OPERATOR, "r.vega")
        session.add(SignedIn(key=KEY, person_id=person.id, unit_id=unit.id, started_at=NOW,
                             expires_at=NOW + timedelta(hours=14)))
        session.commit()


def test_an_ended_session_is_gone_at_the_next_look(database: Database) -> None:
    signed_in(database)
    assert people.live_session(database.glance(), KEY, NOW) is not None
    with database.writing() as session:
        session.execute(sa.update(SignedIn).values(ended_at=NOW))
        assert people.live_session(database.glance(), KEY, NOW) is not None  # not before it is committed
        session.commit()
    assert people.live_session(database.glance(), KEY, NOW) is None


def test_a_look_leaves_no_transaction_open_and_writing_begins_its_own(database: Database) -> None:
    signed_in(database)
    for _ in range(3):
        people.live_session(database.glance(), KEY, NOW)
    with database.writing() as session:
        session.execute(sa.update(SignedIn).values(address="10.0.0.9"))
        session.rollback()
    with database.reading() as session:
        assert session.scalar(sa.select(SignedIn.address)) != "10.0.0.9"
    if not database.is_sqlite:
        with database.reading() as session:
            assert session.scalar(sa.text("select count(*) from pg_stat_activity where state like 'idle in%' "
                                          "and datname = current_database()")) == 0


def test_a_look_over_a_connection_that_was_cut_is_asked_again(database: Database) -> None:
    signed_in(database)
    people.live_session(database.glance(), KEY, NOW)
    held = database.engine.raw_connection()  # the pool's only one
    driver: Any = held.driver_connection
    if database.is_sqlite:
        held.close()
        driver.close()
    else:
        pid = driver.info.backend_pid
        with database.reading() as session:
            session.execute(sa.text(f"select pg_terminate_backend({pid})"))
        held.close()
    assert people.live_session(database.glance(), KEY, NOW) is not None
    assert people.live_session(database.glance(), KEY, NOW) is not None


def test_a_page_that_only_reads_leaves_postgresql_what_it_has_prepared(database: Database) -> None:
    signed_in(database)
    for _ in range(8):
        people.live_session(database.glance(), KEY, NOW)
        with database.reading() as session:
            session.scalar(sa.select(SignedIn.address))
    if not database.is_sqlite:
        with database.reading() as session:
            assert session.scalar(sa.text("select count(*) from pg_prepared_statements")) == 2


def test_what_a_page_changes_while_it_reads_is_not_kept(database: Database) -> None:
    signed_in(database)
    with database.reading() as session:
        session.get_one(SignedIn, KEY).address = "10.0.0.9"
        session.scalars(sa.select(SignedIn)).all()
    with database.reading() as session:
        assert session.scalar(sa.select(SignedIn.address)) != "10.0.0.9"
