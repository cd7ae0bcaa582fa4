"""Rehearsal: weeks judged again. Under the limits as they were it raises what was raised; nothing is ever stored."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session

import seed_demo
from app import flag_life
from app.db import Database
from app.entries import read_greasing, read_reading
from app.recording import Sender, record_greasing, record_reading
from app.rehearsal import Asked, BadRehearsal, Rehearsal, rehearse, span
from app.rules import limit_reach
from app.rules.limits import DEFAULTS
from app.store import flags, units
from app.store.base import Base
from app.store.limits import change_limit
from tests.factories import Plant, make_motor, make_plant

NOON = datetime(2026, 11, 1, 18, 0, tzinfo=UTC)
DAY = timedelta(days=1)
ALARM = "bearing_hot_grease_alarm_c"  # 90 °C as shipped


@pytest.fixture(scope="module")
def demo(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """The demo's invented unit with two weeks of rounds: starts, greasings, late entries, corrections, decisions."""
    import shutil

    path = tmp_path_factory.mktemp("demo") / "demo.sqlite3"
    shutil.copyfile(migrated_file, path)
    made = Database(f"sqlite:///{path}")
    seed_demo.seed(made, datetime(2026, 11, 24, 15, 0, tzinfo=UTC), lambda text: None, weeks=2)
    yield made
    made.close()


def read(session: Session, plant: Plant, at: datetime, temp_c: float, tag: str = "P-101A", **more: Any) -> None:
    record_reading(session, Sender(plant.unit, at, person=plant.operator), read_reading({
        "id": str(uuid.uuid4()), "tag": tag, "taken_at": at.isoformat(), "by": plant.operator.sign_in,
        "state": "running", "smoke": "none", "bearing_temp_c": {"DE": temp_c}, "method": "contact",
        **more}))


def rehearsed(session: Session, plant: Plant, *asked: Asked, start: datetime = NOON, days: int = 30) -> Rehearsal:
    return rehearse(session, plant.unit, start, start + days * DAY, asked)


def counts(found: Rehearsal, rule: str) -> tuple[int, int]:
    return next(((was, would) for name, was, would, _ in found.by_rule() if name == rule), (0, 0))


# as it was -------------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("days", [14, 9, 3])
def test_under_the_limits_as_they_were_it_raises_what_was_raised_on_every_motor_by_every_rule(
        demo: Database, days: int) -> None:
    now = datetime(2026, 11, 24, 15, 0, tzinfo=UTC)
    with demo.reading() as session:
        unit = units.all_units(session)[0]
        found = rehearse(session, unit, now - days * DAY, now, ())
        really = Counter(session.execute(sa.select(flags.Flag.rule, flags.Flag.motor_id).where(
            flags.Flag.raised_at >= now - days * DAY, flags.Flag.raised_at < now, flags.Flag.times_seen > 0)))
    assert {(x.rule, x.motor_id): x.was for x in found.lines} == dict(really)
    assert [x for x in found.lines if x.was != x.would] == []
    assert sum(x.was for x in found.lines if x.judged) > 2 * days / 7  # not for want of flags


def test_nothing_is_stored(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        read(session, plant, NOON + DAY, 95.0)
        session.commit()
    tables = list(Base.metadata.sorted_tables)
    with database.writing() as session:
        before = [session.scalar(sa.select(sa.func.count()).select_from(t)) for t in tables]
        assert counts(rehearsed(session, plant, Asked(ALARM, 80.0)), "bearing_hot") == (1, 1)
        assert not session.new and not session.dirty
        session.commit()
        assert [session.scalar(sa.select(sa.func.count()).select_from(t)) for t in tables] == before


# other limits ----------------------------------------------------------------------------------------------


def test_a_lower_alarm_raises_more_and_a_higher_one_less(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        for i, temp_c in enumerate((84.0, 60.0, 60.0, 92.0)):  # back to normal needs two rounds: two episodes
            read(session, plant, NOON + i * DAY, temp_c)
        for value, would in ((84.0, 1), (83.9, 2), (91.9, 1), (92.0, 0)):  # passed only above it
            assert counts(rehearsed(session, plant, Asked(ALARM, value)), "bearing_hot") == (1, would), value


def test_one_motors_own_limit_leaves_the_others(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        other = make_motor(session, plant.unit, "P-101B")
        for tag in ("P-101A", "P-101B"):
            read(session, plant, NOON, 85.0, tag)
        found = rehearsed(session, plant, Asked(ALARM, 80.0, other))
        assert [(x.tag, x.was, x.would) for x in found.lines if x.rule == "bearing_hot"] == [("P-101B", 0, 1)]
        change_limit(session, plant.unit, ALARM, 87.0, "P-101A", "old frame", None, NOON - DAY)
        found = rehearsed(session, plant, Asked(ALARM, 80.0))  # a motor with its own keeps it
        assert [(x.tag, x.was, x.would) for x in found.lines if x.rule == "bearing_hot"] == [("P-101B", 0, 1)]


def test_a_wider_clearing_band_keeps_one_flag_standing_where_a_narrow_one_lets_it_come_again(
        database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        # alarm 90 °C; 88 °C is back to normal below 90 - 1, not below 90 - 3
        for i, temp_c in enumerate((92.0, 88.0, 88.0, 92.0)):
            read(session, plant, NOON + i * DAY, temp_c)
        (flag,) = [f for f in flags.open_flags_of_motor(session, plant.motor.id) if f.rule == "bearing_hot"]
        flag_life.mark_seen(session, flag, plant.head_operator, NOON + timedelta(hours=1))
        assert counts(rehearsed(session, plant, Asked("clearing_band_k", 3.0)), "bearing_hot") == (1, 1)
        assert counts(rehearsed(session, plant, Asked("clearing_band_k", 1.0)), "bearing_hot") == (1, 2)


def test_what_a_person_closed_is_closed_in_the_rehearsal_too(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        read(session, plant, NOON, 92.0)
        (flag,) = [f for f in flags.open_flags_of_motor(session, plant.motor.id) if f.rule == "bearing_hot"]
        flag_life.close(session, flag, plant.head_operator, NOON + timedelta(hours=2), "greased")
        read(session, plant, NOON + DAY, 92.0)  # a new flag that names the old one
        assert counts(rehearsed(session, plant, Asked(ALARM, 91.0)), "bearing_hot") == (2, 2)


def test_a_normal_that_was_begun_anew_meanwhile_is_no_news_to_what_was_read_before(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        for i in range(10):
            read(session, plant, NOON + i * DAY / 2, 58.0)
        read(session, plant, NOON + 5 * DAY, 69.0)  # 11 above what is usual
        (flag,) = [f for f in flags.open_flags_of_motor(session, plant.motor.id) if f.rule == "off_own_normal_bearing"]
        flag_life.accept_new_normal(session, flag, plant.supervisor, NOON + 5 * DAY + timedelta(hours=1), "new bearing")
        for i in range(11, 20):
            read(session, plant, NOON + i * DAY / 2, 69.0)
        read(session, plant, NOON + 10 * DAY, 80.0)
        assert counts(rehearsed(session, plant), "off_own_normal_bearing") == (2, 2)


def test_a_flag_that_stood_before_is_not_raised_again(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        for i in range(4):
            read(session, plant, NOON + i * DAY, 92.0)
        assert counts(rehearsed(session, plant, Asked(ALARM, 91.0), start=NOON + DAY), "bearing_hot") == (0, 0)


def test_a_rule_that_no_changed_limit_reaches_stays_as_it_was_raised(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        read(session, plant, NOON, 92.0, smoke="seen")
        found = rehearsed(session, plant, Asked("vibration_class1_act_now_mm_s", 4.0))
        assert {(x.rule, x.was, x.would, x.judged) for x in found.lines} >= {
            ("smoke", 1, 1, False), ("bearing_hot", 1, 1, False)}


def test_a_greasing_is_judged_by_the_share_of_the_charts_amount(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)  # 30 g on the chart, 150 % as shipped
        record_greasing(session, Sender(plant.unit, NOON, person=plant.operator), read_greasing({
            "id": str(uuid.uuid4()), "tag": "P-101A", "end": "DE", "at": NOON.isoformat(), "grams": 40,
            "by": plant.operator.sign_in}))
        for percent, would in ((133.0, 1), (134.0, 0)):  # 40 / 30 is 133.3 %
            found = rehearsed(session, plant, Asked("greased_too_soon_amount_percent", percent))
            assert counts(found, "greased_too_soon") == (0, would)


# what cannot be rehearsed ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("asked", "says"), [
    ({ALARM: 100.0}, "below 100 °C"), ({ALARM: 30.0}, "from 40 °C"), ({"bearing_hot": 90.0}, "No limit is called"),
], ids=str)
def test_limits_that_cannot_stand_are_refused_by_name(database: Database, asked: dict[str, float], says: str) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        with pytest.raises(BadRehearsal, match=says):
            rehearsed(session, plant, *(Asked(name, value) for name, value in asked.items()))


def test_two_limits_changed_together_are_looked_at_together(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        rehearsed(session, plant, Asked(ALARM, 100.0), Asked("bearing_hot_grease_shutdown_c", 110.0))
        for weeks in (0, 27):
            with pytest.raises(BadRehearsal, match="1 to 26"):
                span(plant.unit, weeks, NOON)


def test_weeks_end_now_or_with_an_iso_week_that_is_over(database: Database) -> None:
    with database.writing() as session:
        unit = make_plant(session).unit
    now = datetime(2026, 11, 24, 15, 0, tzinfo=UTC)  # Tuesday of 2026-W48
    assert span(unit, 2, now) == (now - 14 * DAY, now)
    # Monday 00:00 in Chicago is 06:00 UTC in winter
    assert span(unit, 2, now, "2026-W47") == (datetime(2026, 11, 9, 6, tzinfo=UTC),
                                              datetime(2026, 11, 23, 6, tzinfo=UTC))
    for until in ("2026-W48", "2026-W54", "soon"):
        with pytest.raises(BadRehearsal) as refused:
            span(unit, 2, now, until)
        assert refused.value.field == "until"


def test_every_limit_that_can_raise_a_flag_reaches_a_rule() -> None:
    assert {name for name in DEFAULTS if not limit_reach.families([name])} == {
        "nameplate_amps_ask_percent", "spare_shaft_turn_days", "second_greasing_days"}
    assert limit_reach.families(["bearing_hot_grease_alarm_c"]) == {"bearings", "drift"}
