"""The handover is put together from what stands: nobody types what the record knows, and nothing of it is left out."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from app import half_way, handovers
from app.db import Database
from app.handovers import CannotHandOver, NotAnswered, Thing
from app.store.dips import Dip, DipAnswer
from app.store.flags import Flag
from app.store.handovers import QUERY, UNDERSTOOD, Handover
from app.store.people import HEAD_OPERATOR, Person
from app.store.starts import Start, Trip, TripAct
from tests import factories
from tests.entering import TAG, Crew, day, night

EVENING = day(0, hours=10)


@pytest.fixture
def crew(database: Database) -> Crew:
    return Crew(database)


@pytest.fixture
def incoming(crew: Crew) -> Person:
    with crew.writing() as session:
        return factories.make_person(session, session.merge(crew.unit), HEAD_OPERATOR, "sam", "Sam Okafor")


def things(crew: Crew, at: Any = EVENING) -> list[Thing]:
    crew.open_sheet(at)
    with crew.database.reading() as session:
        unit = session.merge(crew.unit)
        return handovers.things(session, unit, factories.make_round(session, unit, at), at)


def kinds(crew: Crew, at: Any = EVENING) -> list[tuple[str, str | None]]:
    return [(t.kind, t.motor.tag if t.motor else None) for t in things(crew, at)]


def left_half_way(crew: Crew, since: Any, hours: float, kind: str = "drain plug out") -> None:
    motor = crew.motor()
    with crew.writing() as session:
        half_way.begin(session, session.merge(crew.unit), session.merge(motor), crew.operator, since,
                       key=uuid.uuid4(), kind=kind, expected_end=since + timedelta(hours=hours), end="DE")


def started(crew: Crew, at: Any, outcome: str = "ran") -> None:
    motor = crew.motor()
    with crew.writing() as session:
        session.add(Start(id=uuid.uuid4(), content="", unit_id=crew.unit.id, motor_id=motor.id, at=at, at_device=at,
                          received_at=at, outcome=outcome, person_id=crew.operator.id))


# what it holds ---------------------------------------------------------------------------------------------


def test_an_act_now_flag_a_plug_out_a_lock_and_two_not_seen_are_five_lines(crew: Crew) -> None:
    """The five of one afternoon: smoke on P-101A, its drain plug out since 16:00, P-101B locked out, two not seen."""
    for tag in ("P-101B", "P-102", "P-103"):
        crew.motor(tag)
    left_half_way(crew, day(0, hours=8, minutes=48), 12)  # 16:00
    crew.read(day(0, hours=9), smoke="seen")
    crew.set_condition(day(0, hours=9), "locked out", "P-101B")
    crew.read(day(0, hours=9, minutes=5), tag="P-101B", state="locked out", bearing_feel=None, vibration_feel=None,
              winding_feel=None, current_a=None)
    assert kinds(crew) == [("flag stands", TAG), ("left half-way", TAG), ("locked out", "P-101B"),
                           ("not seen", "P-102"), ("not seen", "P-103")]
    flag, plug = things(crew)[:2]
    assert flag.priority == "act now"
    assert "Drain plug out at DE since 24 Nov 16:00 CST" in plug.says


def test_signed_with_motors_not_seen_they_are_not_listed_twice(crew: Crew) -> None:
    crew.motor("P-102")
    crew.read(day(0))
    crew.sign(day(0), day(0, hours=9))
    assert [f.rule for f in crew.flags(tag="P-102")] == ["not_checked"]
    assert kinds(crew) == [("not seen", "P-102")]


def test_a_motor_not_seen_a_shift_ago_still_stands_as_a_flag(crew: Crew) -> None:
    crew.motor("P-102")
    crew.read(day(0))
    crew.sign(day(0), day(0, hours=9))
    crew.read(night(0))
    crew.read(night(0), tag="P-102", state="running")
    assert ("not seen", "P-102") not in kinds(crew, night(0, hours=10))


def test_a_temporary_state_past_its_end_is_one_line_and_says_how_grave(crew: Crew) -> None:
    crew.read(day(0))
    left_half_way(crew, day(0), 2, "guard off")
    crew.read(day(0, hours=3))
    (thing,) = [t for t in things(crew) if t.kind == "left half-way"]
    assert thing.priority == "act now"
    assert "past its end" in thing.says
    assert not [t for t in things(crew) if t.kind == "flag stands" and "expected" in t.says]


def test_a_flag_run_on_says_why_what_to_watch_and_when_to_look(crew: Crew) -> None:
    crew.read(day(0), current_a=[92.0])
    with crew.writing() as session:
        flag = session.scalars(sa.select(Flag)).one()
        flag.run_on_reason, flag.run_on_watch, flag.run_on_review_at = "no spare", "amps", day(0, hours=14)
    (thing,) = things(crew)
    assert thing.kind == "run on"
    assert thing.says.startswith("Run on: no spare. Watch: amps. Look at it again 24 Nov 21:12 CST.")


@pytest.mark.parametrize(("minutes_ago", "counted"), [(59, 1), (60, 0), (61, 0)])
def test_the_starts_of_the_last_hour_are_half_open(crew: Crew, minutes_ago: int, counted: int) -> None:
    crew.read(day(0))
    started(crew, day(0, hours=10) - timedelta(minutes=minutes_ago))
    (thing,) = things(crew)
    assert thing.kind == "starts used"
    assert f"1 start in the shift, {counted} in the last 60 min" in thing.says


def test_a_trip_says_that_nobody_found_its_cause(crew: Crew) -> None:
    crew.read(day(0))
    motor = crew.motor()
    with crew.writing() as session:
        session.add(Trip(id=uuid.uuid4(), content="", unit_id=crew.unit.id, motor_id=motor.id, at=day(0, hours=2),
                         at_device=day(0, hours=2), received_at=day(0, hours=2), protection="fuse",
                         person_id=crew.operator.id))
    (thing,) = things(crew)
    assert (thing.kind, "Cause not found yet" in thing.says, "nothing is recorded since" in thing.says) == (
        "tripped", True, True)


def test_what_was_done_about_a_flag_ends_with_one_full_stop(crew: Crew) -> None:
    crew.read(day(0, hours=1), guard="loose")
    with crew.writing() as session:
        session.execute(sa.update(Flag).values(action="Area taped off. Bolts ordered."))
    told = [t.says for t in things(crew, day(0, hours=2)) if "Coupling guard loose" in t.says]
    assert len(told) == 1 and "Done: Area taped off. Bolts ordered. (" in told[0]


def test_an_overload_relay_that_nobody_reset_is_handed_on_until_somebody_does_with_what_was_done(crew: Crew) -> None:
    """Tripped in the day: the head operator agreed, but the next night still finds the relay not reset."""
    crew.read(day(0))
    motor, trip = crew.motor(), uuid.uuid4()
    with crew.writing() as session:
        session.add(Trip(id=trip, content="", unit_id=crew.unit.id, motor_id=motor.id, at=day(0, hours=2), cause="jam",
                         at_device=day(0, hours=2), received_at=day(0, hours=2), protection="overload relay",
                         person_id=crew.operator.id))
        session.flush()
        session.add(TripAct(trip_id=trip, kind="head operator agrees", at=day(0, hours=3),
                            person_id=crew.head_operator.id))
        session.add(TripAct(trip_id=trip, kind="cleared", at=day(0, hours=4), person_id=crew.head_operator.id,
                            qualified_name="Rosa Lind"))
    (thing,) = [t for t in things(crew, night(0, hours=10)) if t.kind == "tripped"]
    assert thing.says == (
        "Tripped 24 Nov 09:12 CST: overload relay. Cause: jam. Since then: head operator agrees 24 Nov 10:12 CST, "
        "Head Operator; cleared 24 Nov 11:12 CST, Rosa Lind.")
    with crew.writing() as session:
        session.add(TripAct(trip_id=trip, kind="relay reset", at=night(0), person_id=crew.operator.id))
    assert not [t for t in things(crew, night(0, hours=10)) if t.kind == "tripped"]
    assert [t.says.count("relay reset") for t in things(crew) if t.kind == "tripped"] == [1]


def test_greasing_that_is_overdue_or_falls_due_before_the_next_shift_ends_is_a_line_a_motor(database: Database) -> None:
    crew = Crew(database, greased=True)  # every 90 days
    with crew.writing() as session:
        session.execute(sa.text("UPDATE lubrication_point SET last_greased_at = '2026-08-01 18:00:00+00:00' "
                                "WHERE \"end\" = 'DE'"))
        session.execute(sa.text("UPDATE lubrication_point SET last_greased_at = '2026-08-27 06:00:00+00:00' "
                                "WHERE \"end\" = 'ODE'"))  # due 25 Nov 06:00 UTC: midnight, in the next shift
    crew.read(day(0))
    (thing,) = [t for t in things(crew) if t.kind == "greasing due"]
    assert thing.says == "Greasing: DE overdue, ODE due."


def test_a_dip_names_what_each_motor_did(crew: Crew) -> None:
    crew.read(day(0))
    motor = crew.motor()
    with crew.writing() as session:
        dip = Dip(unit_id=crew.unit.id, at=day(0, hours=1), recorded_at=day(0, hours=1), person_id=crew.operator.id)
        session.add(dip)
        session.flush()
        session.add(DipAnswer(dip_id=dip.id, motor_id=motor.id, answer="left down", at=day(0, hours=1),
                              person_id=crew.operator.id))
    (thing,) = things(crew)
    assert f"left down: {TAG}" in thing.says


def test_what_arrives_for_a_signed_sheet_goes_to_the_shift_on_duty(crew: Crew) -> None:
    """Observed at 07:12 of the day shift, received at 20:12: the night's handover has it, the day's has not."""
    crew.motor("P-102")
    crew.read(day(0))
    crew.sign(day(0), day(0, hours=10))
    crew.read(day(0), received=night(0, hours=1), tag="P-102")
    assert "addendum" not in [k for k, _ in kinds(crew, day(0, hours=10))]
    (thing,) = [t for t in things(crew, night(0, hours=10)) if t.kind == "addendum"]
    assert "observed 24 Nov 07:12 CST" in thing.says
    assert "received 24 Nov 20:12 CST" in thing.says
    assert "The signature stands." in thing.says


# given and taken -------------------------------------------------------------------------------------------


def give(crew: Crew, person: Person, at: Any) -> Handover:
    with crew.writing() as session:
        unit = session.merge(crew.unit)
        return handovers.give(session, unit, factories.make_round(session, unit, day(0)), person, at, "", "")


def take(crew: Crew, person: Person, at: Any, answers: dict[str, tuple[str, str]], together: bool = True) -> Handover:
    with crew.writing() as session:
        unit = session.merge(crew.unit)
        return handovers.take(session, unit, factories.make_round(session, unit, day(0)), person, at, answers, together)


def test_it_is_complete_only_when_every_line_is_answered(crew: Crew, incoming: Person) -> None:
    crew.motor("P-102")
    made = give(crew, crew.head_operator, day(0, hours=10))
    keys = [item.key for item in made.items]
    assert len(keys) == 2
    with pytest.raises(NotAnswered) as refused:
        take(crew, incoming, day(0, hours=11), {keys[0]: (UNDERSTOOD, "")})
    assert refused.value.keys == keys[1:]
    taken = take(crew, incoming, day(0, hours=11), {keys[0]: (UNDERSTOOD, ""), keys[1]: (QUERY, "why?")})
    assert taken.complete
    assert taken.face_to_face
    assert [(i.answer, i.query) for i in taken.items] == [(UNDERSTOOD, ""), (QUERY, "why?")]


def test_an_answer_that_is_neither_word_is_none(crew: Crew, incoming: Person) -> None:
    made = give(crew, crew.head_operator, day(0, hours=10))
    with pytest.raises(NotAnswered):
        take(crew, incoming, day(0, hours=11), {made.items[0].key: ("fine", "")})


def test_what_came_after_it_was_given_is_answered_too(crew: Crew, incoming: Person) -> None:
    made = give(crew, crew.head_operator, day(0, hours=10))
    crew.read(day(0, hours=10, minutes=1), smoke="seen")
    given = {item.key: (UNDERSTOOD, "") for item in made.items}
    with pytest.raises(NotAnswered) as refused:
        take(crew, incoming, day(0, hours=11), given)
    assert refused.value.keys == [f"flag {crew.flag('smoke').id}"]


def test_taken_with_nobody_there_it_is_not_face_to_face(crew: Crew, incoming: Person) -> None:
    taken = take(crew, incoming, day(0, hours=11), {t.key: (UNDERSTOOD, "") for t in things(crew)})
    assert (taken.given_at, taken.face_to_face, taken.complete) == (None, False, True)
    assert not give(crew, crew.head_operator, day(0, hours=11, minutes=5)).face_to_face


def test_given_and_not_taken_it_is_not_face_to_face(crew: Crew) -> None:
    made = give(crew, crew.head_operator, day(0, hours=10))
    assert (made.face_to_face, made.complete) == (False, False)


def test_nobody_takes_their_own_and_nobody_signs_twice(crew: Crew, incoming: Person) -> None:
    made = give(crew, crew.head_operator, day(0, hours=10))
    answers = {item.key: (UNDERSTOOD, "") for item in made.items}
    with pytest.raises(CannotHandOver, match="somebody else takes it"):
        take(crew, crew.head_operator, day(0, hours=11), answers)
    with pytest.raises(CannotHandOver, match="was given 24 Nov 17:12 CST by Head Operator"):
        give(crew, incoming, day(0, hours=11))
    take(crew, incoming, day(0, hours=11), answers)
    with pytest.raises(CannotHandOver, match="was taken 24 Nov 18:12 CST by Sam Okafor"):
        take(crew, incoming, day(0, hours=12), answers)


def test_once_taken_it_stays_as_it_was_taken(crew: Crew, incoming: Person) -> None:
    made = give(crew, crew.head_operator, day(0, hours=10))
    take(crew, incoming, day(0, hours=11), {item.key: (UNDERSTOOD, "") for item in made.items})
    crew.read(day(0, hours=11, minutes=1), received=day(0, hours=12), smoke="seen")
    with crew.database.reading() as session:
        unit = session.merge(crew.unit)
        held, came = handovers.lines(session, unit, factories.make_round(session, unit, day(0)), day(0, hours=12))
    assert ([t.says for t in held], came) == ([i.says for i in made.items], set())
