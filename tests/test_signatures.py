"""A signed sheet can be trusted: its code computes again whatever comes later, and what was altered is named."""

from __future__ import annotations

import hashlib
import uuid
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
import sqlalchemy as sa

from app import checkup, signatures
from app.db import Database
from app.store.rounds import Reading
from app.store.signatures import Signature
from tests.entering import TAG, Crew, day, night

SECOND = "P-102"


@pytest.fixture
def crew(database: Database) -> Crew:
    """Two motors; P-101A is read, P-102 is not seen; the day sheet is signed at 17:12, the night's the next morning."""
    crew = Crew(database, greased=True)
    crew.motor(SECOND)
    crew.read(day(0))
    crew.sign(day(0), day(0, hours=10))
    return crew


def faults_of(crew: Crew) -> list[str]:
    with crew.database.reading() as session:
        return [str(fault) for fault in signatures.faults(session)]


def codes(crew: Crew) -> list[tuple[int, str | None, str]]:
    with crew.database.reading() as session:
        return [(s.number, s.previous, s.code) for s in session.scalars(
            sa.select(Signature).order_by(Signature.number))]


def alter(crew: Crew, statement: str, **values: Any) -> None:
    """What somebody with the database's own tools can do."""
    with crew.database.writing() as session:
        session.execute(sa.text(statement), values)
        session.commit()


# the canonical form ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("value", "spelt"), [
    ({"b": 1.0, "a": None}, b'{"a":null,"b":1.0}'),
    ({"x": 0.1}, b'{"x":0.1}'),
    ({"x": 1e22}, b'{"x":1e+22}'),
    ({"x": True}, b'{"x":true}'),
    ({"x": "é–"}, '{"x":"é–"}'.encode()),
    # 07:12 at UTC-6 is 13:12 in UTC
    (datetime(2026, 11, 24, 7, 12, tzinfo=timezone(timedelta(hours=-6))), b'"2026-11-24T13:12:00.000000+00:00"'),
    (datetime(2026, 11, 24, 13, 12, 0, 1, tzinfo=UTC), b'"2026-11-24T13:12:00.000001+00:00"'),
    (date(2026, 11, 24), b'"2026-11-24"'),
    (uuid.UUID(int=1), b'"00000000-0000-0000-0000-000000000001"'),
], ids=["keys sorted", "shortest decimal", "large", "truth", "letters", "offset to UTC", "microsecond", "day", "id"])
def test_one_content_has_one_spelling(value: Any, spelt: bytes) -> None:
    assert signatures.canonical(value) == spelt


def test_the_digest_is_sha_256() -> None:
    # FIPS 180-4's algorithm as the standard library has it, over the two bytes of an empty list
    assert signatures.digest([]) == hashlib.sha256(b"[]").hexdigest()


def test_a_number_that_is_none_is_not_spelt() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        signatures.canonical(float("nan"))


def test_every_stored_column_of_a_reading_is_covered() -> None:
    """A new column needs a new version of the list, and this test is where that is noticed."""
    assert set(signatures.COLUMNS[signatures.VERSION]) == {c.name for c in Reading.__table__.c}


# the chain -------------------------------------------------------------------------------------------------


def test_each_sheet_names_the_code_of_the_one_before(crew: Crew) -> None:
    crew.look(night(0))
    crew.sign(night(0), night(0, hours=10))
    (first, second) = codes(crew)
    assert (first[0], first[1], second[0], second[1]) == (1, None, 2, first[2])
    assert all(len(code) == 64 for _, _, code in codes(crew))
    assert faults_of(crew) == []


def test_sheets_with_the_same_rows_do_not_have_the_same_code(crew: Crew) -> None:
    crew.open_sheet(night(0))
    crew.sign(night(0), night(0, hours=10))
    crew.open_sheet(day(1))
    crew.sign(day(1), day(1, hours=10))
    assert len({code for _, _, code in codes(crew)}) == 3
    assert faults_of(crew) == []


def test_addenda_leave_code_and_signature_as_they_were(crew: Crew) -> None:
    """Late entry of the same motor, first entry of the other, a correction: all after the signature."""
    before = codes(crew)
    late = crew.look(day(0, minutes=30), received=day(0, hours=11), current_a=[95.0])
    crew.read(day(0, hours=1), received=day(0, hours=12), tag=SECOND)
    crew.correct(late, day(0, minutes=30), received=day(0, hours=12, minutes=5), person=crew.head_operator)
    assert codes(crew) == before
    assert faults_of(crew) == []


def test_an_entry_received_before_but_stored_after_the_signature_is_an_addendum(crew: Crew) -> None:
    """Two servers: what the signature did not see is not covered by it, whatever its stamp says."""
    crew.look(day(0, minutes=40), received=day(0, hours=9))
    with crew.database.reading() as session:
        unit = session.merge(crew.unit)
        found = signatures.addenda_received(session, unit, day(0, hours=8), day(0, hours=10))
    assert len(found) == 1
    assert faults_of(crew) == []


# what was altered ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("statement", [
    "UPDATE reading SET current_a_1 = 77.9", "UPDATE reading SET remarks = 'fine'",
    "UPDATE reading SET bearing_feel_de = NULL", "UPDATE reading SET received_at = '2026-11-24 13:13:00+00:00'",
    "UPDATE reading SET unread = '{\"current_a\": \"not fitted\"}'", "UPDATE reading SET watch = (1 = 1)",
], ids=["amps", "remarks", "blanked", "time", "why not read", "watch"])
def test_a_covered_reading_that_was_altered_is_named(crew: Crew, statement: str) -> None:
    alter(crew, statement)
    (fault,) = faults_of(crew)
    assert fault.startswith(f"{crew.unit.name}, Day 2026-11-24, {TAG}, reading ")
    assert fault.endswith("is not as it was signed")


def test_a_covered_reading_that_was_deleted_is_named(crew: Crew) -> None:
    alter(crew, "DELETE FROM sighting")
    alter(crew, "DELETE FROM reading")
    (fault,) = faults_of(crew)
    assert f"{TAG}, reading " in fault
    assert fault.endswith("is gone")


@pytest.mark.parametrize(("statement", "says"), [
    ("UPDATE round SET signed_at = '2026-11-24 22:00:00+00:00'", "of round is not as it was signed: signed_at"),
    ("UPDATE round SET shift_name = 'Night'", "of round is not as it was signed: shift_name"),
    ("UPDATE round SET signed_state = '{\"left\": 0}'", "of round is not as it was signed: signed_state"),
    ("UPDATE signature SET code = '{}'".format("0" * 64), "does not give the code it carries"),
    ("UPDATE signature SET number = 2", "signed sheet number 1 is gone: the next on record is 2"),
    ("UPDATE signature SET previous = 'x'", "the code of the sheet signed before it is not the one"),
], ids=["when", "shift", "the list", "code", "number", "link"])
def test_a_signature_that_was_altered_is_named(crew: Crew, statement: str, says: str) -> None:
    alter(crew, statement)
    (fault,) = faults_of(crew)
    assert says in fault


def test_what_the_signature_covers_cannot_be_rewritten_to_fit(crew: Crew) -> None:
    """Row and digest altered together: the sheet's own code gives it away."""
    alter(crew, "UPDATE reading SET current_a_1 = 60")
    with crew.database.writing() as session:
        signed = session.scalars(sa.select(Signature)).one()
        (row,) = signatures.signatures.rows_as_stored(session, signed.round_id, signatures.COLUMNS[signatures.VERSION])
        lines = [{**signed.covers["readings"][0], "digest": signatures.digest(row)}]
        signed.covers = {**signed.covers, "readings": lines}
        session.commit()
    (fault,) = faults_of(crew)
    assert "does not give the code it carries" in fault


def test_a_sheet_computed_anew_no_longer_fits_the_next_one(crew: Crew) -> None:
    crew.open_sheet(night(0))
    crew.sign(night(0), night(0, hours=10))
    with crew.database.writing() as session:
        signed = session.scalars(sa.select(Signature).where(Signature.number == 1)).one()
        signed.covers = {**signed.covers, "signed_by": "Somebody Else"}
        signed.code = signatures._code(signed)
        session.commit()
    (fault,) = faults_of(crew)
    assert fault == (f"{crew.unit.name}, Night 2026-11-24, the code of the sheet signed before it is not the one "
                     "it was chained to")


def test_a_finding_that_was_altered_is_named_and_one_judged_again_is_not(database: Database) -> None:
    crew = Crew(database, greased=True)
    crew.look(day(0), current_a=[92.0])  # over 87 A
    crew.sign(day(0), day(0, hours=10))
    alter(crew, "UPDATE finding SET priority = 'watch' WHERE rule = 'amps_over_nameplate'")
    (fault,) = faults_of(crew)
    assert f"{TAG}, the findings of reading " in fault
    crew.look(day(0, minutes=-30), received=day(0, hours=11))  # what came after it is judged once more
    assert faults_of(crew) == []


def test_a_signed_sheet_stripped_of_its_code_is_named(crew: Crew) -> None:
    crew.open_sheet(night(0))
    crew.sign(night(0), night(0, hours=10))
    alter(crew, "DELETE FROM signature WHERE number = 2")
    (fault,) = faults_of(crew)
    assert fault.startswith(f"{crew.unit.name}, Night 2026-11-24, the signature has no code")


def test_each_unit_has_a_chain_of_its_own(crew: Crew) -> None:
    from app import reviewing
    from tests import factories

    with crew.database.writing() as session:
        other = factories.make_unit(session, "Unit 9")
        head = factories.make_person(session, other, "head operator", "other-head")
        reviewing.sign(session, other, factories.make_round(session, other, day(0)), head, day(0, hours=10))
        session.commit()
    assert [number for number, _, _ in codes(crew)] == [1, 1]
    assert faults_of(crew) == []


def test_the_doctor_counts_and_names_it(crew: Crew) -> None:
    says = "signed sheets that are not as they were signed"
    with crew.database.reading() as session:
        assert {r.says: r.good for r in checkup.run(session)}[says]
    alter(crew, "UPDATE reading SET current_a_1 = 1")
    with crew.database.reading() as session:
        result = next(r for r in checkup.run(session) if r.says == says)
    assert (result.good, result.count) == (False, 1)
    assert TAG in result.examples[0]
