"""Temporary states: begun and ended by name, flagged when past the expected end, kept with how it was moved."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

import pytest

from app import half_way
from app.db import Database
from app.rules.temporary import KINDS
from app.store import temporary
from app.store.temporary import TemporaryState
from tests.entering import Crew, day, night

RULE = "temporary_state_past_end"


@pytest.fixture
def crew(database: Database) -> Crew:
    return Crew(database)


def begin(crew: Crew, at: datetime, until: datetime, key: uuid.UUID | None = None, **columns: Any) -> TemporaryState:
    known = crew.motor()
    with crew.writing() as session:
        motor = session.merge(known)
        state, _ = half_way.begin(session, crew.unit, motor, crew.operator, at, key=key or uuid.uuid4(),
                                  expected_end=until, **{"kind": "drain plug out", "end": "DE", **columns})
        return state


def standing(crew: Crew) -> list[str]:
    with crew.database.reading() as session:
        return [s.what for s in temporary.standing(session, crew.unit.id)]


def finish(crew: Crew, state: TemporaryState, at: datetime, words: str = "") -> bool:
    with crew.writing() as session:
        kept = session.get_one(TemporaryState, state.id)
        return half_way.finish(session, crew.unit, kept, crew.head_operator, at, words)


def test_a_state_stands_from_its_beginning_to_its_end(crew: Crew) -> None:
    state = begin(crew, day(0), day(0, hours=2))
    assert standing(crew) == ["drain plug out"]
    assert finish(crew, state, day(0, hours=1), "plug back in")
    assert standing(crew) == []
    with crew.database.reading() as session:
        ended = temporary.newest_ended(session, crew.unit.id)[0]
        assert (ended.ended_at, ended.ended_by_id, ended.ended_words) == (
            day(0, hours=1), crew.head_operator.id, "plug back in")
    assert crew.flags(RULE) == []


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_can_stand(crew: Crew, kind: str) -> None:
    begin(crew, day(0), day(0, hours=2), kind=kind, words="strap over the coupling", end=None)
    assert standing(crew) == ["strap over the coupling" if kind == "other" else kind]


def test_sent_twice_it_is_one(crew: Crew) -> None:
    key = uuid.uuid4()
    assert begin(crew, day(0), day(1), key).id == begin(crew, day(0, minutes=1), day(2), key).id
    assert len(standing(crew)) == 1


def test_the_second_to_end_it_changes_nothing(crew: Crew) -> None:
    state = begin(crew, day(0), day(1))
    assert finish(crew, state, day(0, hours=1))
    assert not finish(crew, state, day(0, hours=2), "again")
    with crew.database.reading() as session:
        assert session.get_one(TemporaryState, state.id).ended_at == day(0, hours=1)


def test_past_its_end_it_is_flagged_with_the_next_opened_round_and_the_flag_goes_when_it_ends(crew: Crew) -> None:
    state = begin(crew, day(0), day(0, hours=2))
    crew.open_sheet(day(0, hours=1))
    assert crew.flags(RULE) == []
    crew.open_sheet(night(0))
    flag = crew.flag(RULE, "DE")
    assert (flag.priority, flag.raised_at, flag.unit_of_measure) == ("this shift", night(0), "h")
    assert flag.says.startswith("Drain plug out at DE for 12 h; 2 h was expected")
    finish(crew, state, night(0, hours=1))
    assert crew.state(RULE, "DE") == "returned to normal"


def test_a_reading_of_the_motor_flags_it_too(crew: Crew) -> None:
    begin(crew, day(0), day(0, hours=2))
    crew.read(day(0, hours=1))
    assert crew.flags(RULE) == []
    found = crew.read(day(0, hours=3)).findings
    assert [(f.rule, f.end) for f in found] == [(RULE, "DE")]
    assert crew.flag(RULE, "DE").raised_at == day(0, hours=3)


def test_the_first_look_after_its_end_flags_it_once(crew: Crew) -> None:
    begin(crew, day(0), day(0, hours=2))
    for minutes in (119, 120):
        with crew.writing() as session:
            half_way.flag_late(session, crew.unit, day(0, minutes=minutes))
    assert crew.flags(RULE) == []
    for minutes in (121, 125):
        with crew.writing() as session:
            half_way.flag_late(session, crew.unit, day(0, minutes=minutes))
    assert [f.times_seen for f in crew.flags(RULE)] == [1]


def test_a_later_end_with_its_reason_gives_the_flag_back_and_both_are_kept(crew: Crew) -> None:
    state = begin(crew, day(0), day(0, hours=2))
    crew.open_sheet(night(0))
    with crew.writing() as session:
        kept = session.get_one(TemporaryState, state.id)
        assert half_way.move_end(session, crew.unit, kept, crew.operator, night(0, hours=1), day(1), "still drips")
    assert crew.state(RULE, "DE") == "returned to normal"
    with crew.database.reading() as session:
        moves = temporary.moves_of(session, session.get_one(TemporaryState, state.id))
        assert [(m.before, m.after, m.why) for m in moves] == [
            (day(0, hours=2).isoformat(), day(1).isoformat(), "still drips")]
    crew.open_sheet(day(1, hours=1))
    assert crew.flag(RULE, "DE").open
    assert crew.state(RULE, "DE") == "active"


def test_ended_meanwhile_it_cannot_be_moved(crew: Crew) -> None:
    state = begin(crew, day(0), day(1))
    finish(crew, state, day(0, hours=1))
    with crew.writing() as session:
        kept = session.get_one(TemporaryState, state.id)
        assert not half_way.move_end(session, crew.unit, kept, crew.operator, day(0, hours=2), day(2), "why")


def test_two_on_one_end_are_one_flag_that_waits_for_both(crew: Crew) -> None:
    first = begin(crew, day(0), day(0, hours=2))
    second = begin(crew, day(0), day(0, hours=3), kind="temporary fan")
    crew.open_sheet(night(0))
    assert "1 more past the end." in crew.flag(RULE, "DE").says
    finish(crew, first, night(0, hours=1))
    assert crew.state(RULE, "DE") == "active"
    finish(crew, second, night(0, hours=2))
    assert crew.state(RULE, "DE") == "returned to normal"


def test_an_entry_that_arrives_late_is_judged_by_what_stood_then(crew: Crew) -> None:
    state = begin(crew, day(0), day(0, hours=2))
    finish(crew, state, day(0, hours=5))
    late = crew.read(day(0, hours=3), received=day(0, hours=8))
    assert [f.rule for f in late.findings] == [RULE]
    assert crew.read(day(0, hours=9)).findings == []


def test_another_unit_does_not_see_it(crew: Crew, database: Database) -> None:
    from tests import factories

    state = begin(crew, day(0), day(1))
    with database.writing() as session:
        other = factories.make_unit(session, "Boiler house")
        session.commit()
        assert temporary.standing(session, other.id) == []
        assert temporary.temporary_by_id(session, other.id, state.id) is None


def test_beginning_and_ending_are_in_the_record_of_changes(crew: Crew) -> None:
    from app.store import changes

    state = begin(crew, day(0), day(1))
    finish(crew, state, day(0, hours=1), "back in")
    with crew.database.reading() as session:
        kept = changes.changes_of(session, temporary.SUBJECT, state.id)
        assert [(c.field, c.person_id, c.why) for c in reversed(kept)] == [
            ("begun", crew.operator.id, None), ("ended", crew.head_operator.id, "back in")]
        assert kept[0].at - kept[1].at == timedelta(hours=1)
