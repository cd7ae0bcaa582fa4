"""The sheet walked by routes: each in its own order, a motor once, due where its route is due; the rest at the end."""

from __future__ import annotations

from datetime import datetime

import pytest

from app import sheets
from app.db import Database
from app.sheets import DONE, LEFT, NOT_DUE
from app.store import motors, rounds, routes
from app.store.routes import Hand
from tests.entering import TAG, Crew, day, night


@pytest.fixture
def crew(database: Database) -> Crew:
    made = Crew(database)
    for place, tag in enumerate(("P-102", "P-103", "P-104"), start=2):
        made.motor(tag, route_order=float(place))
    return made


def route(crew: Crew, name: str, every: str, *tags: str) -> None:
    with crew.writing() as session:
        on = [motors.motor_by_tag(session, crew.unit.id, tag) for tag in tags]
        routes.add_route(Hand(session, session.merge(crew.unit), crew.supervisor, day(0)), name, every,
                         [motor for motor in on if motor is not None])


def walked(crew: Crew, at: datetime) -> list[tuple[str, str, str]]:
    """(route, tag, status) in walking order of the round of an instant."""
    crew.open_sheet(at)
    with crew.database.reading() as session:
        opened = rounds.newest_rounds(session, crew.unit.id, 1)[0]
        return [(row.route, row.motor.tag, row.status) for row in sheets.sheet_of(session, crew.unit, opened, at).rows]


def test_without_routes_the_register_is_walked_in_its_own_order(crew: Crew) -> None:
    assert walked(crew, day(0)) == [("", tag, LEFT) for tag in (TAG, "P-102", "P-103", "P-104")]


def test_routes_are_walked_one_after_the_other_and_what_is_on_none_comes_last(crew: Crew) -> None:
    route(crew, "Outside", "shift", "P-104", "P-102")
    route(crew, "Inside", "shift", TAG)
    assert walked(crew, day(0)) == [("Outside", "P-104", LEFT), ("Outside", "P-102", LEFT), ("Inside", TAG, LEFT),
                                    ("", "P-103", LEFT)]


def test_a_motor_on_two_routes_stands_once_and_its_look_counts_for_both(crew: Crew) -> None:
    route(crew, "Weekly walk", "week", "P-102", TAG)
    route(crew, "Every day", "day", "P-102")
    assert walked(crew, day(0))[:2] == [("Weekly walk", "P-102", LEFT), ("Weekly walk", TAG, LEFT)]
    crew.read(day(0), tag="P-102")
    assert ("Weekly walk", "P-102", DONE) in walked(crew, day(0))
    assert ("Weekly walk", "P-102", NOT_DUE) in walked(crew, night(0))
    assert ("Every day", "P-102", LEFT) in walked(crew, day(1))  # read this week, not yet today
    assert ("Weekly walk", "P-102", LEFT) in walked(crew, day(6))  # Monday


def test_how_often_is_the_routes_word_and_the_registers_only_on_no_route(crew: Crew) -> None:
    crew.motor("P-105", checked_every="week", route_order=5.0)
    crew.motor("P-106", checked_every="week", route_order=6.0)
    route(crew, "Rounds", "shift", "P-105")
    crew.read(day(0), tag="P-105")
    crew.read(day(0), tag="P-106")
    found = {tag: status for _, tag, status in walked(crew, night(0))}
    assert (found["P-105"], found["P-106"]) == (LEFT, NOT_DUE)
