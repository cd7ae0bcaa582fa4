"""Tablets in the store: whose names stand on one, who is out when it is revoked, what the doctor looks for."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app import checkup
from app.db import Database
from app.store import devices, people
from app.store.devices import Device
from app.store.people import SUPERVISOR, SignedIn
from tests.factories import NOW, Plant, make_person, make_plant, make_unit


@pytest.fixture
def plant(database: Database) -> Plant:
    with database.writing() as session:
        made = make_plant(session)
        session.commit()
    return made


def enrolled(database: Database, plant: Plant, name: str = "North 2") -> Device:
    with database.writing() as session:
        made = devices.enrol(session, session.merge(plant.unit), name, f"key of {name}", 10,
                             session.merge(plant.supervisor), NOW)
        session.commit()
    return made


def sign_in_on(database: Database, plant: Plant, device: Device | None, key: str) -> None:
    with database.writing() as session:
        session.add(SignedIn(key=key, person_id=plant.operator.id, unit_id=plant.unit.id, started_at=NOW,
                             expires_at=NOW + timedelta(hours=14), device_id=device.id if device else None,
                             touched_at=NOW if device else None))
        session.commit()


def test_the_names_on_a_tablet_are_in_the_order_of_the_alphabet_whatever_the_case(
        database: Database, plant: Plant) -> None:
    device = enrolled(database, plant)
    with database.writing() as session:
        unit = session.merge(plant.unit)
        for name in ("bo", "Al", "Cy"):
            make_person(session, unit, sign_in=name, name=name)
        make_person(session, unit, SUPERVISOR, "boss", "Aa")
        make_person(session, make_unit(session, "Unit 9"), sign_in="foreign", name="Ab")
        session.commit()
    with database.reading() as session:
        assert [p.name for p in devices.crew_of(session, device)] == ["Al", "bo", "Cy", "Head Operator", "Operator"]
        assert devices.crew_member(session, device, plant.supervisor.id) is None


def test_a_revoked_tablet_is_known_no_more_and_only_its_sign_ins_end(database: Database, plant: Plant) -> None:
    gone, kept = enrolled(database, plant), enrolled(database, plant, "South 1")
    for device, key in ((gone, "on gone"), (kept, "on kept"), (None, "office")):
        sign_in_on(database, plant, device, key)
    with database.writing() as session:
        devices.revoke(session, session.get_one(Device, gone.id), session.merge(plant.supervisor), NOW)
        session.commit()
    with database.reading() as session:
        assert devices.live_device(session, gone.key) is None
        assert devices.live_device(session, kept.key) is not None
        assert [bool(people.live_session(session, key, NOW)) for key in ("on gone", "on kept", "office")] == [
            False, True, True]


@pytest.mark.parametrize(("minutes", "locked"), [(9, False), (10, False), (10.02, True)])
def test_a_tablet_is_locked_after_its_minutes_and_not_at_them(
        database: Database, plant: Plant, minutes: float, locked: bool) -> None:
    sign_in_on(database, plant, enrolled(database, plant), "here")
    sign_in_on(database, plant, None, "office")
    then = NOW + timedelta(minutes=minutes)
    with database.reading() as session:
        here, office = (session.get_one(SignedIn, key) for key in ("here", "office"))
        desk_idle = timedelta(minutes=60)
        assert (here.locked(then, desk_idle), office.locked(then, desk_idle)) == (locked, False)
        assert not office.locked(NOW + desk_idle, desk_idle)
        assert office.locked(NOW + desk_idle + timedelta(seconds=1), desk_idle)


def counted(database: Database, says: str) -> int:
    with database.reading() as session:
        return next(r.count for r in checkup.run(session) if r.says == says)


def test_the_doctor_finds_a_supervisor_with_a_pin_and_a_sign_in_on_a_revoked_tablet(
        database: Database, plant: Plant) -> None:
    with_pin, on_revoked = "supervisors with a PIN", "sign-ins that still hold on a revoked tablet"
    device = enrolled(database, plant)
    sign_in_on(database, plant, device, "here")
    assert (counted(database, with_pin), counted(database, on_revoked)) == (0, 0)
    with database.writing() as session:
        session.get_one(people.Person, plant.supervisor.id).pin_hash = "a hash"
        session.get_one(Device, device.id).revoked_at = NOW + timedelta(minutes=1)
        session.commit()
    assert (counted(database, with_pin), counted(database, on_revoked)) == (1, 1)
