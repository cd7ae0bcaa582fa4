"""The order of the checks at the motor: as the body moves, unless another was set for the unit or an area."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from app.db import Database
from app.store.changes import newest_changes
from tests.factories import Plant, make_motor, post_form, sign_in
from tests.web.at_motor import tags_of

AMPS_FIRST = ["amps", "vibration", "heat", "lubricant", "cleanliness"]
SEEN_AS = {"vibration_both": "vibration", "bearing_feel_ODE": "heat", "amps_1": "amps", "lubricant_both": "lubricant",
           "cleanliness": "cleanliness"}


@pytest.fixture
def supervisor(client: FlaskClient, plant: Plant) -> FlaskClient:
    return sign_in(client, plant.supervisor)


def order_at(client: FlaskClient, motor_id: int) -> list[str]:
    asked = [a.get("name") for _, a in tags_of(client.get(f"/motors/{motor_id}/entry")) if a.get("name") in SEEN_AS]
    return [SEEN_AS[str(name)] for name in dict.fromkeys(asked)]


def put(client: FlaskClient, order: list[str], area: str = "", **more: str) -> int:
    places = {f"place_{i}": check for i, check in enumerate(order)}
    return post_form(client, "/settings/order", {"area": area, **places, **more}).status_code


def test_an_area_has_its_own_order_the_rest_keeps_the_units_and_both_are_on_record(
        supervisor: FlaskClient, plant: Plant, app_database: Database) -> None:
    with app_database.writing() as session:
        other = make_motor(session, session.merge(plant.unit), "P-300", area="Tank yard").id
        session.commit()
    usual = ["vibration", "heat", "amps", "lubricant", "cleanliness"]
    assert order_at(supervisor, plant.motor.id) == usual
    assert put(supervisor, AMPS_FIRST, "Tank yard") == 303
    assert order_at(supervisor, other) == AMPS_FIRST
    assert order_at(supervisor, plant.motor.id) == usual
    last = [*usual[:2], *usual[3:], "amps"]
    assert put(supervisor, last) == 303
    assert (order_at(supervisor, plant.motor.id), order_at(supervisor, other)) == (last, AMPS_FIRST)
    assert put(supervisor, last, "Tank yard", own="no") == 303
    assert order_at(supervisor, other) == last
    with app_database.reading() as session:
        noted = newest_changes(session, plant.unit.id, 9, subject="unit")
        assert [c.after for c in noted] == [
            None, "Vibration, Heat along the motor, Lubricant, Clean, Ammeter",
            "Ammeter, Vibration, Heat along the motor, Lubricant, Clean"]


@pytest.mark.parametrize("order", [["amps", "amps", "heat", "lubricant", "cleanliness"], ["amps"], []],
                         ids=["twice", "four missing", "nothing"])
def test_an_order_that_forgets_a_check_is_not_taken(supervisor: FlaskClient, plant: Plant, order: list[str]) -> None:
    assert put(supervisor, order) == 422
    assert order_at(supervisor, plant.motor.id)[0] == "vibration"


def test_an_area_that_is_not_there_has_no_order(supervisor: FlaskClient) -> None:
    assert put(supervisor, AMPS_FIRST, "Nowhere") == 404
