"""What was known of a motor at an instant is what the records say one by one, on both databases."""

from __future__ import annotations

import uuid
from datetime import timedelta

from app.db import Database
from app.store import start_ground, starts
from app.store.changes import Change
from app.store.known_before import known_before
from app.store.people import OPERATOR
from tests import factories
from tests.factories import NOW

HOUR = timedelta(hours=1)


def test_the_newest_of_reading_start_stop_and_change_by_hand_tells_the_state(database: Database) -> None:
    with database.writing() as session:
        unit = factories.make_unit(session)
        motor, person = factories.make_motor(session, unit), factories.make_person(session, unit, OPERATOR, "r.vega")
        assert known_before(session, motor.id, NOW) == (None, None, None, False)
        factories.make_reading(session, motor, person, taken_at=NOW, state="standby")
        session.add(starts.Start(
            id=uuid.uuid4(), content="x", unit_id=unit.id, motor_id=motor.id, at=NOW + HOUR, at_device=NOW + HOUR,
            received_at=NOW + HOUR, outcome="ran", duration_s=600.0, then_continuous=False, person_id=person.id))
        session.add(Change(unit_id=unit.id, at=NOW + 3 * HOUR, person_id=person.id, subject="motor",
                           subject_id=motor.id, label="P-1", field="condition", before="standby",
                           after="out of service: bearing"))
        session.flush()
        told = {hours: known_before(session, motor.id, NOW + hours * HOUR) for hours in (0, 0.5, 1, 2, 3)}
        assert told[0].newest is None and told[0].found == "standby"  # at that very instant it is not before it
        assert told[0.5].newest == (NOW, "standby") and told[0.5].last_start_at is None
        assert told[1].newest == (NOW + HOUR, "running") and told[1].last_start_at == NOW + HOUR
        assert told[2].newest == (NOW + HOUR + timedelta(minutes=10), "standby")
        assert told[3].newest == (NOW + 3 * HOUR, "out of service") and told[3].found == "standby"
        for hours in (1, 2):
            at = NOW + hours * HOUR
            known = start_ground.on_record(session, motor.id, at, start_ground.Unlogged("", at, at), at)
            assert told[hours].newest == start_ground.last_state(known, at)
