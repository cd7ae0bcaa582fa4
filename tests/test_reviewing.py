"""The head operator's acts: seen, done, closed, signed. Each is a note that stays, and the second of two is told."""

from __future__ import annotations

import pytest

from app import recording, reviewing, signatures
from app.db import Database
from app.reviewing import SomebodyWasFaster
from app.store.flags import Flag
from app.store.rounds import Round
from app.store.units import Unit
from tests import factories
from tests.entering import TAG, Crew, at_once, day, night

SMOKE = "smoke"


@pytest.fixture
def crew(database: Database) -> Crew:
    made = Crew(database)
    made.read(day(0), smoke="seen")
    return made


def act(crew: Crew, what: object, version: int | None = None, at: object = None) -> None:
    """Takes the smoke flag and does something with it."""
    with crew.writing() as session:
        flag = reviewing.take_flag(session, crew.unit.id, crew.flag(SMOKE).id, version)
        assert flag is not None
        what(session, flag, crew.head_operator, at or day(0, hours=1))  # type: ignore[operator]


# flags ------------------------------------------------------------------------------------------------------


def test_seen_is_owned_not_gone(crew: Crew) -> None:
    act(crew, reviewing.mark_seen)
    act(crew, reviewing.mark_seen, at=day(0, hours=2))
    flag = crew.flag(SMOKE)
    assert (flag.seen_at, flag.seen_by_id, flag.open) == (day(0, hours=1), crew.head_operator.id, True)
    assert crew.notes(flag) == [("seen", "seen")]


def test_who_writes_what_was_done_has_seen_it(crew: Crew) -> None:
    act(crew, lambda *a: reviewing.note_action(*a, "told the shift lead by radio, 07:20"))
    act(crew, lambda *a: reviewing.note_action(*a, "stopped by procedure"))
    flag = crew.flag(SMOKE)
    assert (flag.action, flag.seen_at is not None, flag.open) == ("stopped by procedure", True, True)
    assert [text for _, text in crew.notes(flag)] == ["seen", "told the shift lead by radio, 07:20",
                                                      "stopped by procedure"]


def test_closed_says_by_whom_and_with_what_was_done(crew: Crew) -> None:
    act(crew, lambda *a: reviewing.close(*a, "belt changed"))
    flag = crew.flag(SMOKE)
    assert (flag.closed_at, flag.closed_by_id, flag.closed_why) == (day(0, hours=1), crew.head_operator.id,
                                                                    "belt changed")
    assert crew.notes(flag) == [("seen", "seen"), ("closed", "belt changed")]


def test_a_flag_that_had_returned_keeps_the_words_it_is_closed_with(crew: Crew) -> None:
    crew.read(night(0))
    crew.read(day(1))
    act(crew, lambda *a: reviewing.close(*a, "belt changed"), at=day(2))
    assert crew.flag(SMOKE).closed_why == "belt changed"


def test_the_second_of_two_people_is_told_what_the_first_did(crew: Crew) -> None:
    version = crew.flag(SMOKE).version
    act(crew, lambda *a: reviewing.close(*a, "belt changed"), version)
    with pytest.raises(SomebodyWasFaster, match="Head Operator, closed, “belt changed”"):
        act(crew, lambda *a: reviewing.close(*a, "nothing found"), version)
    assert crew.flag(SMOKE).closed_why == "belt changed"


def test_of_six_who_act_at_once_on_what_they_saw_one_acts(crew: Crew) -> None:
    version = crew.flag(SMOKE).version
    done = at_once([lambda i=i: act(crew, lambda *a: reviewing.close(*a, f"word {i}"), version) for i in range(6)])
    assert sum(isinstance(d, SomebodyWasFaster) for d in done) == 5
    assert [kind for kind, _ in crew.notes(crew.flag(SMOKE))] == ["seen", "closed"]


def test_another_units_flag_is_not_there(crew: Crew) -> None:
    with crew.writing() as session:
        other: Unit = factories.make_unit(session, "Unit 3")
        assert reviewing.take_flag(session, other.id, crew.flag(SMOKE).id, None) is None
        assert reviewing.take_flag(session, crew.unit.id, 999_999, None) is None


# the signature ----------------------------------------------------------------------------------------------


def test_a_signature_covers_the_sheet_as_it_stands(crew: Crew) -> None:
    for tag in ("P-102", "P-103"):
        crew.motor(tag)
    crew.skip(day(0), "P-102")
    crew.sign(day(0, hours=10))
    with crew.database.reading() as session:
        opened = session.query(Round).one()
        assert opened.signed_by_id == crew.head_operator.id and opened.signed_at == day(0, hours=10)
        state = opened.signed_state
        assert state is not None
        assert (state["done"], state["skipped"], state["left"]) == (1, 1, 1)
        told = {row["tag"]: row["status"] for row in state["rows"]}
        assert told == {TAG: "done", "P-102": "skipped", "P-103": "left"}


def test_what_was_not_seen_is_flagged_and_what_was_skipped_is_not(crew: Crew) -> None:
    for tag in ("P-102", "P-103"):
        crew.motor(tag)
    crew.skip(day(0), "P-102")
    crew.sign(day(0, hours=10))
    assert [len(crew.flags("not_checked", tag)) for tag in (TAG, "P-102", "P-103")] == [0, 0, 1]
    flag = crew.flag("not_checked", tag="P-103")
    assert (flag.priority, flag.raised_at, flag.raised_cause) == ("this shift", day(0, hours=10), "round")
    assert "P-103 was due on Day 2026-11-24" in flag.says


def test_a_motor_that_is_not_due_is_not_flagged(crew: Crew) -> None:
    crew.motor("P-102", checked_every="week")
    crew.read(day(0), tag="P-102")
    crew.sign(night(0, hours=10))
    assert crew.flags("not_checked", "P-102") == []
    assert len(crew.flags("not_checked")) == 1


def test_a_sheet_signed_after_its_shift_flags_within_it(crew: Crew) -> None:
    crew.motor("P-102")
    crew.sign(day(0), day(1))
    flag = crew.flag("not_checked", tag="P-102")
    assert crew.unit.calendar.shift_of(flag.raised_at).label == "Day 2026-11-24"


def test_a_sheet_is_signed_once_and_the_second_is_told_when(crew: Crew) -> None:
    crew.sign(day(0, hours=10))
    with pytest.raises(SomebodyWasFaster, match="signed at 17:12"):  # 07:12 and ten hours, the unit's time
        crew.sign(day(0, hours=10.5))


def test_of_four_who_sign_at_once_one_signs(crew: Crew) -> None:
    crew.motor("P-102")
    done = at_once([lambda: crew.sign(day(0, hours=10))] * 4)
    assert sum(isinstance(d, SomebodyWasFaster) for d in done) == 3
    assert crew.flag("not_checked", tag="P-102").times_seen == 1


def test_what_came_in_after_the_signature_is_listed(crew: Crew) -> None:
    crew.motor("P-102")
    crew.sign(day(0, hours=10))
    late = crew.read(day(0, hours=2), received=day(0, hours=11), tag="P-102")
    with crew.database.reading() as session:
        opened = session.query(Round).one()
        assert [r.id for r in signatures.addenda(session, opened).late] == [late.id]


def test_nothing_is_after_a_signature_that_was_not_given(crew: Crew) -> None:
    with crew.writing() as session:
        opened = recording.open_sheet(session, crew.unit, day(0), crew.operator)
        assert signatures.addenda(session, opened).late == []
        assert session.query(Flag).count() >= 1
