"""What is kept by its rows is what the database holds: read again, changed or not, on both databases."""

from __future__ import annotations

from datetime import timedelta

import sqlalchemy as sa

from app.db import Database
from app.store import people, rounds
from app.store.people import OPERATOR, SignedIn
from app.store.rounds import facts_from
from tests import factories
from tests.factories import NOW


def _signed_in(database: Database) -> int:
    """An operator of two units with a session of an hour; their id."""
    with database.writing() as session:
        unit, other = factories.make_unit(session), factories.make_unit(session, name="Other unit")
        person = factories.make_person(session, unit, OPERATOR, "ana")
        person.units.append(other)
        session.add(SignedIn(key="k" * 64, person_id=person.id, unit_id=unit.id, started_at=NOW,
                             expires_at=NOW + timedelta(hours=1)))
        session.commit()
        return person.id


def test_a_session_reads_as_the_models_would_read_it(database: Database) -> None:
    _signed_in(database)
    with database.reading() as session:
        kept = people.live_session(session, "k" * 64, NOW)
        plain = session.scalars(sa.select(SignedIn)).unique().one()
        assert kept is not None
        for mine, theirs in ((kept, plain), (kept.person, plain.person), (kept.unit, plain.unit),
                             *zip(kept.unit.patterns, plain.unit.patterns, strict=True)):
            names = [a.key for a in sa.inspect(type(theirs)).column_attrs]
            assert {n: getattr(mine, n) for n in names} == {n: getattr(theirs, n) for n in names}
        assert [u.name for u in kept.person.units] == sorted(u.name for u in plain.person.units)
        assert len(kept.person.units) == 2 and kept.unit.calendar == plain.unit.calendar


def test_what_changed_is_told_at_once_and_what_did_not_is_the_same_object(database: Database) -> None:
    person_id = _signed_in(database)

    def ask() -> SignedIn | None:
        with database.reading() as session:
            return people.live_session(session, "k" * 64, NOW)

    first, again = ask(), ask()
    assert first is not None and first is again
    with database.writing() as session:
        session.get_one(people.Person, person_id).active = False
        session.commit()
    changed = ask()
    assert changed is not None and first.person.active and not changed.person.active
    with database.writing() as session:
        people.end_sessions(session, session.get_one(people.Person, person_id), NOW)
        session.commit()
    assert ask() is None


def test_earlier_readings_kept_by_their_rows_are_the_readings(database: Database) -> None:
    with database.writing() as session:
        plant = factories.make_plant(session)
        for hour in range(3):
            factories.make_reading(session, plant.motor, plant.operator, NOW - timedelta(hours=hour),
                                   bearing_temp_c_de=60.0 + hour, unread={"current_a": "not fitted"})
        session.commit()
    for _ in range(2):  # made, then kept
        with database.reading() as session:
            past = rounds.last_running_past(session, plant.motor.id, NOW)
            plain = rounds.last_running(session, plant.motor.id, NOW)
            assert len(past) == 2 and [p.facts for p in past] == [facts_from(r) for r in plain]
            assert [p.row.taken_at for p in past] == [r.taken_at for r in plain]
