"""The demo is true to the tool: its plates are believable, its flags stand by the rules, its people can sign in."""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session

import seed_demo
from app import checkup, create_app, guessing, judging, lubricating
from app.config import Settings
from app.db import Database
from app.demo import plant
from app.rules import facts, nameplate
from app.rules.bearing_numbers import is_sealed
from app.rules.findings import PRIORITIES
from app.rules.limits import Limits
from app.sheets import sheet_of
from app.store import flags, motors, rounds, units
from app.store.flags import Flag
from app.store.motors import Motor
from app.store.people import HEAD_OPERATOR, OPERATOR, SUPERVISOR, Person, Token
from app.store.rounds import Reading, Round
from tests import factories

pytestmark = pytest.mark.slow

#: 07:40 on a Tuesday in Chicago, an hour and forty minutes into the day shift.
NOW = datetime(2026, 11, 24, 13, 40, tzinfo=UTC)
PAGES = ("/sheet", "/review", "/motors", "/lubrication", "/week", "/register", "/settings/limits")


def seeded(path: Path, migrated_file: Path, weeks: float, now: datetime = NOW) -> Database:
    shutil.copyfile(migrated_file, path)
    database = Database(f"sqlite:///{path}")
    seed_demo.seed(database, now, lambda _: None, weeks=weeks)
    return database


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Iterator[Database]:
    """One week of the demo. Read only."""
    made = seeded(tmp_path_factory.mktemp("demo") / "demo.sqlite3", migrated_file, 1)
    yield made
    made.close()


@pytest.fixture
def session(demo: Database) -> Iterator[Session]:
    with demo.reading() as session:
        yield session


@pytest.fixture
def register(session: Session) -> list[Motor]:
    return motors.motors_of(session, the_unit(session).id)


def the_unit(session: Session) -> units.Unit:
    unit = units.unit_named(session, seed_demo.UNIT)
    assert unit is not None
    return unit


def standing(session: Session) -> list[Flag]:
    return flags.open_flags(session, the_unit(session).id)


# the plant -------------------------------------------------------------------------------------------------


def test_the_unit_has_forty_motors_and_more_in_five_areas_and_more(register: list[Motor]) -> None:
    assert len(register) >= 44
    assert len({m.area for m in register}) >= 5


def test_the_walk_goes_through_one_area_after_the_other(register: list[Motor]) -> None:
    walked = [m.area for m in register]
    changes = 1 + sum(1 for before, after in pairwise(walked) if before != after)
    assert changes == len(set(walked))


def test_the_plates_hold_three_voltages_and_sizes_from_1_to_4000_hp(register: list[Motor]) -> None:
    plates = [m.nameplate for m in register if m.nameplate]
    assert {p.volts for p in plates} >= {460.0, 2300.0, 4000.0}
    assert min(p.hp or 0 for p in plates) == 1
    assert max(p.hp or 0 for p in plates) == 4000


def test_a_dual_plate_gives_the_amps_of_its_connected_voltage(register: list[Motor]) -> None:
    plate = next(m.nameplate for m in register if m.tag == "P-104A")
    assert plate is not None
    assert (plate.volts_stamped, plate.amps_stamped, plate.amps) == ("230/460", "24.8/12.4", 12.4)


def test_one_dual_plate_waits_for_its_connected_voltage(register: list[Motor]) -> None:
    waiting = [m.tag for m in register if m.nameplate and m.nameplate.amps_stamped and m.nameplate.amps is None]
    assert waiting == ["V-430"]


@pytest.mark.parametrize(("attribute", "words"), [
    ("ammeter", facts.AMMETERS), ("interlock", facts.INTERLOCKS), ("condition", facts.STATES),
    ("checked_every", motors.CHECKED_EVERY),
])
def test_every_kind_is_there(register: list[Motor], attribute: str, words: tuple[str, ...]) -> None:
    assert {getattr(m, attribute) for m in register} >= set(words)


def test_bearings_are_sleeve_greased_and_sealed(register: list[Motor]) -> None:
    plates = [m.nameplate for m in register if m.nameplate]
    assert {"oil", "grease", "sealed"} <= {p.kind for m in register for p in m.points}
    assert any(p.de_bearing == "sleeve" for p in plates)
    for motor in register:
        for point in motor.points:
            bearing = getattr(motor.nameplate, f"{point.end.lower()}_bearing")
            assert is_sealed(bearing) == (point.kind == "sealed"), motor.tag


def test_a_service_text_may_be_sixty_characters_long(register: list[Motor]) -> None:
    assert max(len(m.service) for m in register) == 60


def test_no_plate_of_the_demo_asks_whether_it_is_right(register: list[Motor]) -> None:
    """NEC Table 430.250 and P/(√3·V·η·pf), by the register's own check."""
    asked = {m.tag: q.says for m in register for q in nameplate.questions(judging.plate_facts(m.nameplate), Limits())}
    assert asked == {}


def test_duty_and_standby_name_each_other(register: list[Motor]) -> None:
    by_tag = {m.tag: m for m in register}
    pairs = [m for m in register if m.standby_partner]
    assert len(pairs) >= 8
    assert all(by_tag[m.standby_partner or ""].standby_partner == m.tag for m in pairs)


def test_the_locked_out_motor_has_its_tag_and_owner(register: list[Motor]) -> None:
    locked = next(m for m in register if m.condition == facts.LOCKED_OUT)
    assert locked.lock_tag
    assert locked.lock_owner


# what stands -----------------------------------------------------------------------------------------------


def test_flags_of_every_priority_stand_and_they_are_few(session: Session) -> None:
    found = standing(session)
    assert {f.priority for f in found} == set(PRIORITIES)
    assert len(found) <= 12


def test_flags_stand_in_every_stage_of_their_life(session: Session) -> None:
    found = standing(session)
    assert {f.state(NOW) for f in found} >= {"active", "improving", "returned to normal", "shelved"}
    assert any(f.seen_at for f in found)
    assert any(f.seen_at is None for f in found)
    assert any(f.action for f in found)
    assert any(f.run_on_reason for f in found)
    assert any(f.owner and f.due_at and f.due_at > NOW for f in found)


def test_greasing_is_overdue_by_days_and_by_running_hours_and_one_was_never_recorded(session: Session) -> None:
    unit = the_unit(session)
    kinds = {(line.motor.tag, line.finding.unit_of_measure) for line in lubricating.plan(session, unit, NOW)
             if line.finding}
    assert kinds == {("P-102A", "days"), ("B-711", "h"), ("P-511", None)}


def test_most_motors_are_quiet(session: Session, register: list[Motor]) -> None:
    loud = {f.motor_id for f in standing(session)}
    assert len(loud) * 3 < len(register)


def test_no_sentence_has_more_than_thirty_words(session: Session) -> None:
    said = set(session.scalars(sa.select(flags.Finding.says))) | set(session.scalars(sa.select(Flag.says)))
    assert said
    assert {says for says in said if len(says.split()) > 30} == set()


# the rounds ------------------------------------------------------------------------------------------------


def test_a_third_of_the_present_round_is_walked_and_the_rest_is_left(session: Session) -> None:
    unit = the_unit(session)
    shift = unit.calendar.shift_of(NOW)
    opened = rounds.round_of(session, unit.id, shift.date, shift.name)
    assert opened is not None
    sheet = sheet_of(session, unit, opened, NOW)
    assert 0.25 <= sheet.count("done", "skipped") / sheet.due <= 0.45
    assert sheet.count("left") > 0


def test_earlier_rounds_are_signed_but_not_the_last_and_the_present(session: Session) -> None:
    newest = rounds.newest_rounds(session, the_unit(session).id, 20)
    assert [r.signed_at is not None for r in newest[:3]] == [False, False, True]
    assert all(r.signed_at for r in newest[2:])


def test_several_operators_and_the_panel_made_the_entries(session: Session) -> None:
    by = session.scalars(sa.select(Reading.person_id).where(Reading.token_id.is_(None)).distinct()).all()
    panel = session.scalars(sa.select(Token)).one()
    sent = session.scalars(sa.select(Reading).where(Reading.token_id == panel.id)).all()
    assert len(by) >= 4
    assert {r.motor.ammeter for r in sent} == {"control room"}


def test_some_motors_were_skipped_with_a_reason(session: Session) -> None:
    assert session.scalars(sa.select(Reading.skip_reason).where(Reading.skip_reason.is_not(None))).all()


def test_a_correction_keeps_both_entries_and_says_why(session: Session) -> None:
    right = session.scalars(sa.select(Reading).where(Reading.replaces_id.is_not(None))).all()
    assert right
    assert all(r.replaces_why and session.get(Reading, r.replaces_id) for r in right)


def test_nothing_was_observed_or_done_after_now(session: Session) -> None:
    assert session.scalars(sa.select(sa.func.max(Reading.received_at))).one() <= NOW
    assert session.scalars(sa.select(sa.func.max(flags.Note.at))).one() <= NOW
    assert session.scalars(sa.select(sa.func.max(Flag.last_seen_at))).one() <= NOW


def test_every_invariant_holds(session: Session) -> None:
    assert [r.says for r in checkup.run(session) if not r.good] == []


# the people ------------------------------------------------------------------------------------------------


def test_there_are_several_operators_two_head_operators_and_a_supervisor() -> None:
    roles = Counter(p.role for p in plant.PEOPLE)
    assert roles[OPERATOR] >= 4
    assert (roles[HEAD_OPERATOR], roles[SUPERVISOR]) == (2, 1)


def test_everybody_can_sign_in_by_what_is_printed_and_sees_every_page(demo: Database, session: Session,
                                                                      tmp_path: Path) -> None:
    printed = seed_demo.who_can_sign_in()
    app = create_app(Settings(instance=tmp_path, database_url=str(demo.url)), clock=lambda: NOW)
    app.testing = True
    for who in plant.PEOPLE:
        guessing.check_strength(who.secret, who.role)
        assert f"{who.sign_in} " in printed
        assert f" {who.secret} " in printed
        client = app.test_client()
        person = session.scalars(sa.select(Person).where(Person.sign_in == who.sign_in)).one()
        factories.sign_in(client, person, who.secret)
        if who.role == SUPERVISOR:
            answers = {page: client.get(page, follow_redirects=True).status_code for page in PAGES}
            assert answers == dict.fromkeys(PAGES, 200)
    app.extensions["database"].close()


# the same again --------------------------------------------------------------------------------------------


def told(database: Database) -> tuple[object, ...]:
    with database.reading() as session:
        read = session.execute(sa.select(Reading.taken_at, Reading.current_a_1, Reading.bearing_temp_c_de)
                               .order_by(Reading.taken_at, Reading.id)).all()
        raised = session.execute(sa.select(Flag.rule, Flag.raised_at, Flag.times_seen).order_by(Flag.id)).all()
        tags = session.scalars(sa.select(Motor.tag).order_by(Motor.id)).all()
        return tags, read, raised, session.scalar(sa.select(sa.func.count(Round.id)))


def test_the_same_now_gives_the_same_demo(tmp_path: Path, migrated_file: Path) -> None:
    first, second = (seeded(tmp_path / f"{i}.sqlite3", migrated_file, 1 / 7) for i in (1, 2))
    try:
        assert told(first) == told(second)
    finally:
        first.close()
        second.close()


@pytest.mark.parametrize("now", [
    pytest.param(datetime(2026, 11, 24, 12, 0, tzinfo=UTC), id="the first second of the day shift"),
    pytest.param(datetime(2026, 11, 25, 11, 59, tzinfo=UTC), id="the last minute of the night shift"),
    pytest.param(datetime(2026, 11, 1, 7, 30, tzinfo=UTC), id="the second 01:30 of the night the clocks go back"),
])
def test_the_demo_can_be_made_at_any_hour(now: datetime, tmp_path: Path, migrated_file: Path) -> None:
    database = seeded(tmp_path / "any.sqlite3", migrated_file, 1 / 7, now)
    with database.reading() as session:
        assert [r.says for r in checkup.run(session) if not r.good] == []
        unit = the_unit(session)
        shift = unit.calendar.shift_of(now)
        assert rounds.round_of(session, unit.id, shift.date, shift.name) is not None
        newest = session.scalars(sa.select(sa.func.max(Reading.received_at))).one()
        assert newest is None or newest <= now
    database.close()


def test_a_demo_that_was_interrupted_is_not_taken_for_a_whole_one(tmp_path: Path, migrated_file: Path) -> None:
    from click import ClickException

    from app.cli import _demo

    def pull_the_plug(_: str) -> None:
        raise KeyboardInterrupt  # after the plant was stored, before its first round

    path = tmp_path / "half.sqlite3"
    shutil.copyfile(migrated_file, path)
    database = Database(f"sqlite:///{path}")
    with pytest.raises(KeyboardInterrupt):
        seed_demo.seed(database, NOW, pull_the_plug, weeks=1)
    with pytest.raises(ClickException, match=r"not filled to its end.*begin again.*half\.sqlite3"):
        _demo(database)
    database.close()


def test_a_whole_demo_says_so(session: Session) -> None:
    assert seed_demo.complete(session)
