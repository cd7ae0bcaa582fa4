"""Routes on the page: rows moved by buttons or numbers, motors put on and taken off, the later of two asked."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from app.db import Database
from app.store import routes
from app.store.changes import Change
from app.store.motors import Motor
from app.store.people import OPERATOR
from tests import factories
from tests.conftest import on_both
from tests.factories import Plant, post_form, sign_in

OWN = "/register/routes/own"
TAGS = ("1E05", "P‑102A", "Pumpe №2", "a/b?c#d")


@pytest.fixture
def supervisor(client: FlaskClient, plant: Plant) -> FlaskClient:
    return sign_in(client, plant.supervisor)


@pytest.fixture
def register(app_database: Database, plant: Plant) -> dict[str, int]:
    """P-101A (route order 1) and four more, two in each of two areas; the last has no place."""
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        made = [factories.make_motor(session, unit, tag, area="Tank yard" if i > 1 else "Pump row",
                                     route_order=None if i == 3 else 10.0 * (i + 1)) for i, tag in enumerate(TAGS)]
        session.commit()
        return {"P-101A": plant.motor.id, **{motor.tag: motor.id for motor in made}}


def order_of(client: FlaskClient, path: str = OWN) -> list[str]:
    """The tags as the page walks them."""
    return re.findall(r'aria-label="Place of ([^"]+)"', client.get(path).get_data(as_text=True))


def opened(client: FlaskClient, path: str = OWN) -> str:
    return re.findall(r'name="order" value="([^"]*)"', client.get(path).get_data(as_text=True))[0]


def press(client: FlaskClient, wish: str, path: str = OWN, order: str | None = None, **typed: str) -> int:
    return post_form(client, path, {"order": order if order is not None else opened(client, path), "move": wish,
                                    **typed}).status_code


@on_both
def test_rows_go_up_down_and_to_a_place(supervisor: FlaskClient, register: dict[str, int]) -> None:
    assert order_of(supervisor) == ["P-101A", *TAGS]
    assert press(supervisor, f"{register['P‑102A']} up") == 303
    assert order_of(supervisor) == ["P-101A", "P‑102A", "1E05", "Pumpe №2", "a/b?c#d"]
    press(supervisor, f"{register['P-101A']} down")
    assert order_of(supervisor)[:2] == ["P‑102A", "P-101A"]
    press(supervisor, "places", **{f"to_{register['a/b?c#d']}": "1", f"to_{register['P‑102A']}": " 4 "})
    assert order_of(supervisor) == ["a/b?c#d", "P-101A", "1E05", "P‑102A", "Pumpe №2"]


def test_an_area_moves_as_a_whole(supervisor: FlaskClient, register: dict[str, int]) -> None:
    press(supervisor, f"{register['Pumpe №2']} area-up")
    assert order_of(supervisor) == ["P-101A", "Pumpe №2", "a/b?c#d", "1E05", "P‑102A"]


def test_a_move_is_noted_and_the_sheet_walks_by_it(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                                   register: dict[str, int]) -> None:
    press(supervisor, f"{register['Pumpe №2']} up")
    with app_database.reading() as session:
        (change,) = session.query(Change).all()
        assert (change.label, change.field, change.before, change.after) == ("Pumpe №2", "route_order", "30", "15")
        assert session.get_one(Motor, register["Pumpe №2"]).version == 2
    operator = sign_in(supervisor.application.test_client(), plant.operator)
    text = operator.get("/sheet").get_data(as_text=True)
    places = [text.index(f">{tag}</a>") for tag in ("P-101A", "1E05", "Pumpe №2", "P‑102A")]
    assert places == sorted(places)


@pytest.mark.parametrize("typed", ["0", "6", "x", "1.5", "-1", "³", "9" * 40])
def test_a_place_that_is_none_is_told_at_its_field_and_nothing_moves(supervisor: FlaskClient, register: dict[str, int],
                                                                     typed: str) -> None:
    answer = post_form(supervisor, OWN, {"order": opened(supervisor), "move": "places",
                                         f"to_{register['1E05']}": typed})
    text = answer.get_data(as_text=True)
    assert answer.status_code == 422 and f'id="to_{register["1E05"]}-error"' in text and f'value="{typed}"' in text
    assert order_of(supervisor) == ["P-101A", *TAGS]


@on_both
def test_the_later_of_two_is_shown_what_moved_and_asked(supervisor: FlaskClient, register: dict[str, int]) -> None:
    mine = opened(supervisor)
    press(supervisor, f"{register['P-101A']} down")
    wish = f"{register['a/b?c#d']} up"
    answer = post_form(supervisor, OWN, {"order": mine, "move": wish})
    text = answer.get_data(as_text=True)
    assert answer.status_code == 409 and "P-101A went from 1 to 2" in text and "Supervisor" in text
    assert order_of(supervisor) == ["1E05", "P-101A", "P‑102A", "Pumpe №2", "a/b?c#d"]
    assert f'<button class="button main" name="move" value="{wish}">' in text
    assert press(supervisor, wish) == 303
    assert order_of(supervisor) == ["1E05", "P-101A", "P‑102A", "a/b?c#d", "Pumpe №2"]


def make_route(client: FlaskClient, name: str = "Outside", every: str = "week", begin: str = "area Tank yard") -> str:
    answer = post_form(client, "/register/routes", {"name": name, "checked_every": every, "begin": begin})
    assert answer.status_code == 303
    return answer.headers["Location"]


@on_both
def test_a_route_has_its_own_order_and_motors_on_none_are_listed(supervisor: FlaskClient, app_database: Database,
                                                                 plant: Plant, register: dict[str, int]) -> None:
    path = make_route(supervisor)
    assert order_of(supervisor, path) == ["Pumpe №2", "a/b?c#d"]
    post_form(supervisor, path + "/motors", {"motor": str(register["1E05"])})
    post_form(supervisor, path + "/motors", {"motor": str(register["1E05"])})  # a second tap
    press(supervisor, f"{register['1E05']} up", path)
    press(supervisor, f"{register['Pumpe №2']} off", path)
    assert order_of(supervisor, path) == ["1E05", "a/b?c#d"]
    assert order_of(supervisor) == ["P-101A", *TAGS]  # the register's own order is another
    text = supervisor.get("/register/routes").get_data(as_text=True)
    listed = text[text.index("On no route"):text.index("A new route")]
    assert "3 motors on no route" in listed and all(f">{t}</a>" in listed for t in ("P-101A", "P‑102A", "Pumpe №2"))
    with app_database.reading() as session:
        told = [(c.field, c.before, c.after) for c in session.query(Change).order_by(Change.id)]
        assert ("walking order", "1E05 3", "1E05 2") in told and ("taken off", "Pumpe №2", None) in told
        assert [r.checked_every for r in routes.routes_of(session, plant.unit.id)] == ["week"]
    sheet = sign_in(supervisor.application.test_client(), plant.operator).get("/sheet").get_data(as_text=True)
    found = [sheet.index(words) for words in ("Outside · ", ">1E05</a>", "On no route · ", ">P-101A<")]
    assert found == sorted(found)


def test_two_routes_of_one_name_and_one_without_are_refused_at_the_field(supervisor: FlaskClient,
                                                                         register: dict[str, int]) -> None:
    path = make_route(supervisor)
    for name, every in (("outside", "day"), ("", "day"), ("Inside", ""), ("Inside", "month"), ("x" * 61, "day")):
        answer = post_form(supervisor, "/register/routes", {"name": name, "checked_every": every})
        assert answer.status_code == 422 and "field-error" in answer.get_data(as_text=True)
    assert post_form(supervisor, path + "/edit", {"name": "OUTSIDE", "checked_every": "day",
                                                  "was": "week Outside"}).status_code == 303


def test_a_route_renamed_meanwhile_is_shown_and_not_overwritten(supervisor: FlaskClient,
                                                                register: dict[str, int]) -> None:
    path = make_route(supervisor)
    post_form(supervisor, path + "/edit", {"name": "Yard", "checked_every": "day", "was": "week Outside"})
    answer = post_form(supervisor, path + "/edit", {"name": "Tanks", "checked_every": "week", "was": "week Outside"})
    text = answer.get_data(as_text=True)
    assert answer.status_code == 409 and "now called <b>Yard</b>" in text and 'value="Tanks"' in text


def test_a_route_taken_away_leaves_its_motors_in_the_register(supervisor: FlaskClient, app_database: Database,
                                                              plant: Plant, register: dict[str, int]) -> None:
    path = make_route(supervisor)
    assert post_form(supervisor, path + "/take-away", {}).status_code == 303
    assert supervisor.get(path).status_code == 404
    assert order_of(supervisor) == ["P-101A", *TAGS]


def test_only_a_supervisor_moves_rows(client: FlaskClient, plant: Plant) -> None:
    assert plant.operator.role == OPERATOR
    assert sign_in(client, plant.operator).get(OWN).status_code == 403
