"""The archive: every row of a unit before a date, readable without this program, nothing taken away, nothing secret."""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import timedelta

import pytest
import sqlalchemy as sa

from app.db import Database
from app.export.archive import NotWhole, check_archive, write_archive
from app.store import Base
from app.store.rounds import Reading
from tests import factories
from tests.factories import NOW, make_plant, make_reading


def rows_of(file: io.BytesIO, table: str) -> list[dict[str, str]]:
    with zipfile.ZipFile(file) as packed:
        return list(csv.DictReader(io.StringIO(packed.read(f"{table}.csv").decode())))


def test_what_happened_before_the_date_is_in_it_and_nothing_leaves_the_database(database: Database) -> None:
    file = io.BytesIO()
    with database.writing() as session:
        plant = make_plant(session)
        old = make_reading(session, plant.motor, plant.operator, NOW - timedelta(days=400), bearing_temp_c_de=61.5,
                           remarks="=smells; \"odd\"\nsecond line")
        make_reading(session, plant.motor, plant.operator, NOW)
        other = make_plant_of_another_unit(session)
        session.commit()
    with database.reading() as session:
        told = write_archive(session, session.merge(plant.unit), NOW - timedelta(days=30), file, NOW)
        kept = session.scalar(sa.select(sa.func.count()).select_from(Reading))
    assert [(r["id"], r["bearing_temp_c_de"], r["remarks"], r["taken_at"]) for r in rows_of(file, "reading")] == [
        (str(old.id), "61.5", "=smells; \"odd\"\nsecond line", (NOW - timedelta(days=400)).isoformat())]
    assert (told["reading"], told["round"], told["motor"], told["nameplate"], kept) == (1, 1, 1, 1, 3)
    assert {r["name"] for r in rows_of(file, "person")} == {"Operator", "Head Operator", "Supervisor"}
    assert other not in file.getvalue().decode("latin-1")
    with zipfile.ZipFile(file) as packed:
        text = b"".join(packed.read(name) for name in packed.namelist()).decode()
    for secret in ("pbkdf2", "secret_hash", "pin_hash"):
        assert secret not in text


def make_plant_of_another_unit(session) -> str:
    unit = factories.make_unit(session, "Unit 9")
    person = factories.make_person(session, unit, sign_in="stranger")
    make_reading(session, factories.make_motor(session, unit, "Z-999"), person, NOW - timedelta(days=400))
    return "Z-999"


def test_every_table_is_in_it_or_left_out_by_decision() -> None:
    from app.export import archive

    for table in Base.metadata.sorted_tables:
        known = {*archive._THROUGH, *archive._NEVER, "unit", "person"}
        assert "unit_id" in table.c or table.name in known, table.name
        assert table.name not in archive._WHEN or archive._WHEN[table.name] in table.c


def test_an_archive_that_was_changed_is_found_out(database: Database) -> None:
    file, changed = io.BytesIO(), io.BytesIO()
    with database.writing() as session:
        plant = make_plant(session)
        session.commit()
        write_archive(session, plant.unit, NOW, file, NOW)
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(changed, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name).replace(b"P-101A", b"P-101B"))
    with pytest.raises(NotWhole, match=r"motor\.csv"):
        check_archive(changed)
