"""A power dip in the record: what a motor's answer stores, once, in the dip's own moment."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session

from app import power_dips, start_records
from app.db import Database
from app.store.dips import CAME_BACK, DID_NOT, LEFT_DOWN, NEVER_STOPPED, STARTED, Dip
from app.store.motors import Motor
from app.store.starts import Start, Stop
from tests import factories
from tests.factories import Plant
from tests.starting_ground import at, make_motors

DIP_AT = at("02:10")


class Night:
    """A unit at ten past two, a dip just logged."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.plant: Plant = factories.make_plant(session)
        self.motors: dict[str, Motor] = make_motors(session, self.plant)
        self.dip: Dip = power_dips.log_dip(session, self.plant.unit, DIP_AT, at("02:12"), self.plant.operator, "")

    def say(self, tag: str, *words: str) -> None:
        for i, word in enumerate(words):
            power_dips.answer(self.session, self.plant.unit, self.dip, self.motors[tag], word, self.plant.operator,
                              at("02:13") + timedelta(minutes=i))

    def count(self, kind: type[Start] | type[Stop], tag: str) -> int:
        return self.session.scalar(sa.select(sa.func.count()).select_from(kind)
                                   .where(kind.motor_id == self.motors[tag].id)) or 0


@pytest.fixture
def night(database: Database) -> Iterator[Night]:
    """On both databases."""
    with database.writing() as session:
        yield Night(session)


#: What was said one after the other of a motor that ran; starts and stops on record; its condition.
SAID = [
    ("came back", (CAME_BACK,), 1, 0, "running"),
    ("twice the same", (CAME_BACK, CAME_BACK), 1, 0, "running"),
    ("put right and back", (CAME_BACK, DID_NOT, CAME_BACK), 1, 1, "running"),
    ("did not", (DID_NOT,), 0, 1, "standby"),
    ("put right to did not", (CAME_BACK, DID_NOT), 1, 1, "standby"),
    ("did not stop", (NEVER_STOPPED,), 0, 0, "running"),
    ("started by hand", (STARTED,), 1, 1, "running"),
    ("stood, then started", (DID_NOT, STARTED), 1, 1, "running"),
    ("left down", (LEFT_DOWN,), 0, 1, "standby"),
]


@pytest.mark.parametrize("words, starts, stops, condition", [c[1:] for c in SAID], ids=[c[0] for c in SAID])
def test_what_is_said_of_a_motor_counts_once(night: Night, words: tuple[str, ...], starts: int, stops: int,
                                             condition: str) -> None:
    night.say("G-305", *words)
    assert (night.count(Start, "G-305"), night.count(Stop, "G-305")) == (starts, stops)
    assert night.motors["G-305"].condition == condition


def test_a_motor_that_stood_before_the_dip_is_not_stopped_by_it(night: Night) -> None:
    start_records.record_stop(night.session, start_records.Sender(night.plant.unit, at("01:00"),
                                                                  person=night.plant.operator),
                              stopped_at_one("P-101B"))
    night.say("P-101B", LEFT_DOWN)
    assert night.count(Stop, "P-101B") == 1


def stopped_at_one(tag: str) -> power_dips.Entry:
    return power_dips.Entry(factories.new_id(), tag, "operator", at("01:00"), None, {})


@pytest.mark.parametrize("later_s, same", [(0, True), (59, True), (60, False)])
def test_two_reports_within_a_minute_are_one_dip(night: Night, later_s: int, same: bool) -> None:
    again = power_dips.log_dip(night.session, night.plant.unit, DIP_AT + timedelta(seconds=later_s), at("02:20"),
                               night.plant.head_operator, "")
    assert (again.id == night.dip.id) == same


def test_the_order_of_starting_again_is_the_units_then_the_walk(night: Night) -> None:
    night.motors["M-50"].restart_order, night.motors["K-201"].restart_order = 2.0, 1.0
    night.session.flush()
    need = power_dips.groups(night.session, night.plant.unit, at("02:20")).need_start
    assert [m.tag for m in need[:2]] == ["K-201", "M-50"]
    assert "G-305" not in [m.tag for m in need]
