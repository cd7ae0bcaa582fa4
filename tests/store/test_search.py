"""Finding motors and remarks: the same on both databases, whatever the dashes, the case and the wildcards."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
import sqlalchemy as sa

from app.db import Database
from app.store import search
from app.store.flags import Flag, Note
from app.store.people import Person
from app.store.rounds import HAS_WORDS, Reading
from tests.factories import LONG_AGO, NOW, Plant, make_motor, make_nameplate, make_plant, make_reading, make_unit

TAGS = ("1E05", "3-4", "007", "P\u2011102A", "Pumpe №2", "a/b?c#d", "50%_x", "ΣΤΡ-1")


@pytest.fixture
def plant(database: Database) -> Plant:
    with database.writing() as session:
        made = make_plant(session)
        for i, tag in enumerate(TAGS, start=2):
            make_motor(session, made.unit, tag, route_order=float(i), service=f"service of {i}",
                       plate={"serial": f"S-{i}"})
        make_motor(session, make_unit(session, "Unit 9"), "P-101A", service="feed pump")
        session.commit()
    return made


def tags(database: Database, plant: Plant, wanted: str) -> list[str]:
    with database.reading() as session:
        return [p.tag for p in search.by_tag(search.places(session, plant.unit.id), wanted)]


@pytest.mark.parametrize(("typed", "found"), [
    ("P-101A", ["P-101A"]), ("p101a", ["P-101A"]), ("P\u2013101 A", ["P-101A"]), ("p\u2212101\u00ada", ["P-101A"]),
    ("P\u200b101A ", ["P-101A"]), ("101", ["P-101A"]), ("p102a", ["P\u2011102A"]), ("1e05", ["1E05"]),
    ("3\u20144", ["3-4"]), ("34", ["3-4"]), ("007", ["007"]), ("7", ["007"]), ("pumpe no2", ["Pumpe №2"]),
    ("№2", ["Pumpe №2"]), ("a/b?c#d", ["a/b?c#d"]), ("%", ["50%_x"]), ("_", ["50%_x"]), ("50%_X", ["50%_x"]),
    ("%%", []), ("στρ1", ["ΣΤΡ-1"]), ("-", []), (" ", []), ("\\", []), ("'", [])], ids=ascii)
def test_a_tag_is_found_however_it_is_typed_and_shown_as_it_is(
        database: Database, plant: Plant, typed: str, found: list[str]) -> None:
    assert tags(database, plant, typed) == found


def test_the_very_tag_comes_first_then_those_that_begin_end_and_hold_it(database: Database, plant: Plant) -> None:
    with database.writing() as session:
        unit = session.merge(plant.unit)
        for order, tag in enumerate(("X-22-Y", "X-22", "22", "22-A", "Z-22"), start=20):
            make_motor(session, unit, tag, route_order=float(order))
        session.commit()
    assert tags(database, plant, "22") == ["22", "22-A", "X-22", "Z-22", "X-22-Y"]
    with database.reading() as session:
        known = search.places(session, plant.unit.id)
    assert [p.tag for p in search.by_end_of_tag(known, "x22")] == ["X-22"]
    assert search.by_end_of_tag(known, "-") == []


def test_every_word_of_a_service_must_be_there_in_any_order_and_case(database: Database, plant: Plant) -> None:
    with database.writing() as session:
        make_motor(session, session.merge(plant.unit), "K-1", service="Große Nord-Pumpe, Reserve")
        session.commit()
    with database.reading() as session:
        known = search.places(session, plant.unit.id)
    for typed, found in (("reserve GROSSE", ["K-1"]), ("nord\u2013pumpe", ["K-1"]), ("feed", ["P-101A"]),
                         ("feed reserve", []), ("%", []), ("", [])):
        assert [p.tag for p in search.by_service(known, typed)] == found, typed


def test_a_serial_leads_to_where_the_machine_is_and_where_it_was(database: Database, plant: Plant) -> None:
    with database.writing() as session:
        motor = session.merge(plant.motor)
        make_nameplate(session, motor, fitted_from=LONG_AGO + timedelta(days=900), serial="XK 99-1")
        session.commit()
    with database.reading() as session:
        known = search.places(session, plant.unit.id)
        now = search.by_serial(session, plant.unit.id, known, "xk99")
        before = search.by_serial(session, plant.unit.id, known, "s\u20111")
    assert [(s.place.tag, s.serial, s.fitted_now) for s in now] == [("P-101A", "XK 99-1", True)]
    assert [(s.place.tag, s.serial, s.fitted_on, s.fitted_now) for s in before] == [
        ("P-101A", "S-1", date(2020, 1, 1), False)]


def test_another_units_motors_serials_and_remarks_are_not_found(database: Database, plant: Plant) -> None:
    with database.writing() as session:
        foreign = make_plant_elsewhere(session)
        make_reading(session, foreign.motor, foreign.operator, remarks="smells of tar")
        session.commit()
    with database.reading() as session:
        known = search.places(session, plant.unit.id)
        assert [p.id for p in search.by_tag(known, "P-101A")] == [plant.motor.id]
        assert search.by_serial(session, plant.unit.id, known, "FOREIGN") == []
        assert search.remarks(session, plant.unit.id, "tar").found == []


def make_plant_elsewhere(session: sa.orm.Session) -> Plant:
    from tests.factories import make_person

    unit = make_unit(session, "Unit 7")
    person = make_person(session, unit, sign_in="elsewhere")
    return Plant(unit, person, person, person, make_motor(session, unit, "P-101A", plate={"serial": "FOREIGN"}))


# remarks ---------------------------------------------------------------------------------------------------


def write(database: Database, plant: Plant, *told: tuple[datetime, dict[str, object]]) -> list[Reading]:
    with database.writing() as session:
        motor, operator = session.merge(plant.motor), session.merge(plant.operator)
        made = [make_reading(session, motor, operator, at, **columns) for at, columns in told]  # type: ignore[arg-type]
        session.commit()
    return made


def test_remarks_and_skip_reasons_come_newest_first_and_a_corrected_one_is_marked(
        database: Database, plant: Plant) -> None:
    [old, _, _] = write(
        database, plant, (NOW - timedelta(hours=3), {"remarks": "Hum at the FAN\u2011end"}),
        (NOW - timedelta(hours=2), {"skip_reason": "scaffold at the fan-end", "state": None}),
        (NOW - timedelta(hours=1), {"remarks": "dusty"}))
    write(database, plant, (NOW, {"remarks": "hum at the fan-end, light", "replaces_id": old.id,
                                  "replaces_why": "typo"}))
    with database.reading() as session:
        told = search.remarks(session, plant.unit.id, "fan\u2013end")
    assert [(r.kind, r.text, r.by, r.corrected) for r in told.found] == [
        ("remark", "hum at the fan-end, light", "Operator", False),
        ("skipped", "scaffold at the fan-end", "Operator", False),
        ("remark", "Hum at the FAN\u2011end", "Operator", True)]
    assert (told.looked_at, told.further) == (4, None)


def test_only_so_many_remarks_are_looked_through_and_the_rest_on_request(database: Database, plant: Plant) -> None:
    write(database, plant, *[(NOW - timedelta(hours=h), {"remarks": f"knock {h}"}) for h in range(5)])
    with database.reading() as session:
        first = search.remarks(session, plant.unit.id, "knock", most=2)
        second = search.remarks(session, plant.unit.id, "knock", before=first.further, most=2)
        third = search.remarks(session, plant.unit.id, "knock", before=second.further, most=2)
    assert [[r.text for r in page.found] for page in (first, second, third)] == [
        ["knock 0", "knock 1"], ["knock 2", "knock 3"], ["knock 4"]]
    assert (first.further, third.further) == (NOW - timedelta(hours=1), None)


def test_as_many_remarks_as_are_looked_through_leave_nothing_behind(database: Database, plant: Plant) -> None:
    write(database, plant, *[(NOW - timedelta(hours=h), {"remarks": "knock"}) for h in range(2)])
    with database.reading() as session:
        told = search.remarks(session, plant.unit.id, "knock", most=2)
    assert (told.looked_at, told.further) == (2, None)


def test_the_words_of_readings_are_found_by_their_own_index(database: Database, plant: Plant) -> None:
    """So that it costs the same at 5,000,000 readings: only those with words are in it."""
    with database.reading() as session:
        if database.is_sqlite:
            plan = " ".join(str(row) for row in session.execute(sa.text(
                f"EXPLAIN QUERY PLAN SELECT id FROM reading WHERE unit_id = 1 AND {HAS_WORDS} "
                "ORDER BY taken_at DESC LIMIT 10")))
        else:
            session.execute(sa.text("SET LOCAL enable_seqscan = off"))
            session.execute(sa.text("SET LOCAL enable_sort = off"))
            plan = " ".join(str(row) for row in session.execute(sa.text(
                f"EXPLAIN SELECT id FROM reading WHERE unit_id = 1 AND {HAS_WORDS} ORDER BY taken_at DESC LIMIT 10")))
    assert "ix_reading_words" in plan


def test_what_was_written_on_flags_is_found(database: Database, plant: Plant) -> None:
    [reading] = write(database, plant, (NOW, {}))
    with database.writing() as session:
        flag = Flag(unit_id=plant.unit.id, motor_id=plant.motor.id, rule="smoke", end="", priority="act now",
                    raised_at=NOW, raised_cause="reading", raised_cause_id=reading.id, last_seen_at=NOW,
                    source="general practice", says="Smoke.")
        session.add(flag)
        session.flush()
        who = session.scalars(sa.select(Person).where(Person.sign_in == "head-operator")).one()
        session.add(Note(flag_id=flag.id, person_id=who.id, at=NOW, kind="done", text="Bearing changed by the shop"))
        session.commit()
        flag_id = flag.id
    with database.reading() as session:
        [told] = search.notes(session, plant.unit.id, "SHOP bearing")
        assert search.notes(session, plant.unit.id + 1, "shop") == []
    assert (told.flag_id, told.kind, told.by, told.motor_id) == (flag_id, "done", "Head Operator", plant.motor.id)
