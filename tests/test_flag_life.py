"""A flag over many rounds: shelved and woken by what gets worse, come and gone too often, corrected, suppressed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session

from app import flag_life, power_dips, review_list
from app.db import Database
from app.rules import shelving
from app.rules.facts import Show
from app.store.dips import Dip
from app.store.flags import Flag, FlagReturn
from app.store.motors import Motor
from app.store.sightings import open_flags_and_dips
from tests.entering import Crew, at_once, day, night

#: The alarm of a grease bearing is 90 °C and the shutdown 100 (defaults); the clearing band is 3 K: 86.9 is below it.
FINE_C, IN_BAND_C, HOT_C = 80.0, 88.0, 92.0


@pytest.fixture
def crew(database: Database) -> Crew:
    return Crew(database)


def shelve(crew: Crew, flag: Flag, at: datetime) -> None:
    """Until the start of the night shift."""
    until = shelving.wakes_at(crew.unit.calendar, at, for_days=False)[0]
    with crew.writing() as session:
        held = session.get_one(Flag, flag.id)
        flag_life.shelve(session, crew.unit, held, crew.head_operator, at, "fan is being made", "DE temperature", until)


def lines(crew: Crew, now: datetime) -> list[review_list.Line]:
    with crew.database.reading() as session:
        since = crew.unit.calendar.shift_of(now).starts_at
        parts = review_list.parts(crew.unit, *open_flags_and_dips(session, crew.unit.id), since, now)
        return [line for groups in parts.values() for group in groups for line in group.lines]


def hot_lines(crew: Crew, now: datetime) -> list[review_list.Line]:
    return [line for line in lines(crew, now) if line.flag.rule == "bearing_hot"]


# shelved ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("then_c", "wakes"), [(97.0, False), (97.1, True), (91.0, False), (100.1, True)],
                         ids=["5 K up", "more than 5 K", "lower", "past the act-now limit"])
def test_a_shelved_flag_wakes_when_it_gets_worse(crew: Crew, then_c: float, wakes: bool) -> None:
    crew.hot(day(0), HOT_C)  # 92 + 5 = 97
    shelve(crew, crew.flag("bearing_hot", "DE"), day(0, hours=1))
    crew.hot(day(0, hours=3), then_c)
    flag = crew.flag("bearing_hot", "DE")
    assert flag.state(day(0, hours=4)) == ("active" if wakes else "shelved")
    assert (flag.woken_why is not None) is wakes
    assert flag.times_seen == 2  # counted all the same


@pytest.mark.parametrize(("then", "value", "limit", "unit", "wakes"), [
    (90.0, 94.5, 87.0, "A", False), (90.0, 94.6, 87.0, "A", True),  # 5 % of 90 is 4.5
    (60.0, 57.0, 70.0, "A", False), (60.0, 56.9, 70.0, "A", True),  # below its normal, further down
    (10.0, 9.5, 14.0, "days", False), (10.0, 9.4, 14.0, "days", True),  # days to the limit, fewer
    (12.0, 17.0, 10.0, "K", False), (12.0, 17.1, 10.0, "K", True),
    (None, 95.0, 90.0, "°C", False), (92.0, None, None, None, False),
])
def test_how_much_worse_wakes(then: float | None, value: float | None, limit: float | None, unit: str | None,
                              wakes: bool) -> None:
    why = shelving.why_wake("this shift", then, "this shift", value, limit, unit, Show())
    assert (why is not None) is wakes


def test_a_shelved_watch_wakes_beside_an_act_now_of_the_same_bearing(crew: Crew) -> None:
    crew.hot(day(-9), 60.0)
    crew.hot(day(-9, hours=12), 76.0)  # 16 K up since its last reading: step
    flag = crew.flag("step_bearing", "DE")
    shelve(crew, flag, day(-9, hours=13))
    crew.hot(day(-9, hours=15), 101.0)
    assert crew.flag("step_bearing", "DE").state(day(-9, hours=15, minutes=1)) == "active"


def test_a_shelved_flag_that_returns_closes_itself(crew: Crew) -> None:
    crew.hot(day(0), HOT_C)
    with crew.writing() as session:
        held = session.get_one(Flag, crew.flag("bearing_hot", "DE").id)
        flag_life.shelve(session, crew.unit, held, crew.supervisor, day(0, hours=1), "why", "what", day(3, hours=-1.2))
    crew.hot(night(0), FINE_C, FINE_C)
    assert crew.flag("bearing_hot", "DE").closed_why == "returned to normal"


# two at once -----------------------------------------------------------------------------------------------


def test_of_two_decisions_in_one_moment_one_stands_and_nothing_is_lost(crew: Crew) -> None:
    crew.hot(day(0), HOT_C)
    flag, at = crew.flag("bearing_hot", "DE"), day(0, hours=1)

    def decide(act: Callable[[Session, Flag], None]) -> None:
        with crew.writing() as session:
            held = flag_life.take_flag(session, crew.unit.id, flag.id, flag.version)
            assert held is not None
            act(session, held)

    def run_on(session: Session, held: Flag) -> None:
        flag_life.run_on(session, crew.unit, held, crew.head_operator, at, "no spare", "DE", day(0, hours=4))

    def note(session: Session, held: Flag) -> None:
        flag_life.note_action(session, held, crew.supervisor, at, "told mechanical")

    answers = at_once([lambda: decide(run_on), lambda: decide(note)])
    told = [answer for answer in answers if answer is not None]
    assert [type(answer) for answer in told] == [flag_life.SomebodyWasFaster]
    kept = [kind for kind, _ in crew.notes(flag)]
    assert kept in (["seen", "run on"], ["seen", "done"]) and kept[-1] in str(told[0])


# come and gone ---------------------------------------------------------------------------------------------


def episodes(crew: Crew, start: datetime, count: int, *, rounds_apart: int = 0, see: bool = True) -> datetime:
    """Hot once and fine twice, so many times; with fine rounds between. Gives the instant after."""
    at = start
    for _ in range(count):
        crew.hot(at, HOT_C)
        if see:
            crew.see(crew.flag("bearing_hot", "DE"), at + timedelta(minutes=20))
        crew.hot(at + timedelta(hours=12), FINE_C, FINE_C)
        at += timedelta(hours=36)
        for _ in range(rounds_apart):
            crew.hot(at, FINE_C)
            at += timedelta(hours=12)
    return at


@pytest.mark.parametrize("see", [True, False], ids=["seen each time", "never seen"])
def test_come_and_gone_three_times_in_14_rounds_is_one_unstable_flag(crew: Crew, see: bool) -> None:
    after = episodes(crew, day(0), 3, see=see)  # 9 rounds
    found = crew.flags("bearing_hot")
    assert [f.open for f in found] == ([False, False, True] if see else [True])
    assert found[-1].unstable_at is not None
    crew.see(found[-1], after)
    assert crew.flags("bearing_hot")[-1].open  # it does not close itself: its limit wants a look
    crew.hot(after, HOT_C)
    assert len(crew.flags("bearing_hot")) == len(found) and crew.state("bearing_hot", "DE") == "active"


def test_come_and_gone_twice_is_not_unstable(crew: Crew) -> None:
    episodes(crew, day(0), 2)
    assert [f.unstable_at for f in crew.flags("bearing_hot")] == [None, None]


@pytest.mark.parametrize(("apart", "unstable"), [(2, True), (3, False)], ids=["13 rounds", "15 rounds"])
def test_only_within_14_rounds(crew: Crew, apart: int, unstable: bool) -> None:
    episodes(crew, day(0), 3, rounds_apart=apart)  # 3 × 3 and twice the rounds between
    assert (crew.flag("bearing_hot", "DE").unstable_at is not None) is unstable


def test_an_unstable_flag_that_somebody_closed_begins_to_count_anew(crew: Crew) -> None:
    after = episodes(crew, day(0), 3)
    crew.close(crew.flag("bearing_hot", "DE"), after, "limit looked at")
    episodes(crew, after, 2)
    assert [f.unstable_at is not None for f in crew.flags("bearing_hot")] == [False, False, True, False, False]


def test_judged_again_it_came_and_went_as_often(crew: Crew) -> None:
    episodes(crew, day(0), 2)
    crew.look(day(2, hours=11), received=day(9), smoke="none")  # late, between two good rounds
    with crew.database.reading() as session:
        assert len(session.scalars(sa.select(FlagReturn)).all()) == 2


# corrected -------------------------------------------------------------------------------------------------


def test_a_corrected_entry_leaves_no_coming_and_going(crew: Crew) -> None:
    wrong = crew.hot(day(0), HOT_C)[0]
    crew.hot(night(0), FINE_C, FINE_C)
    crew.correct(wrong, day(0), received=day(2), person=crew.head_operator, bearing_temp_c={"DE": FINE_C},
                 bearing_feel=None, method="contact")
    assert crew.flag("bearing_hot", "DE").closed_why == "entry corrected"
    with crew.database.reading() as session:
        assert not session.scalars(sa.select(FlagReturn)).all()


# suppressed by state, never by hand ------------------------------------------------------------------------

HEAT_AND_AMPS: dict[str, Any] = {
    "bearing_temp_c": {"DE": 101.0, "ODE": 70.0}, "method": "contact", "winding_temp_c": 190.0,
    "winding_method": "fitted", "current_a": [120.0]}


def test_a_motor_that_stands_raises_no_flag_of_heat_or_amps(crew: Crew) -> None:
    crew.look(day(0), state="standby", **HEAT_AND_AMPS)
    assert not [f.rule for f in crew.flags() if f.rule != "not_measured"]


def test_smoke_is_flagged_whatever_the_state(crew: Crew) -> None:
    crew.look(day(0), state="out of service", smoke="seen")
    assert [f.priority for f in crew.flags("smoke")] == ["act now"]


@pytest.mark.parametrize(("rule", "waits"), [("bearing_hot", False), ("step_bearing", True)])
@pytest.mark.parametrize(("hours", "inside"), [(23.9, True), (24.1, False)], ids=["within a day", "after"])
def test_after_greasing_only_what_compares_waits(crew: Crew, rule: str, waits: bool, hours: float,
                                                 inside: bool) -> None:
    crew.point("DE", last_greased_at=day(-60))
    crew.hot(day(-3), 60.0)
    crew.grease(day(0))
    crew.hot(day(0) + timedelta(hours=hours), 93.0)
    raised = [f for f in crew.flags(rule) if f.end == "DE"]
    assert bool(raised) is not (waits and inside)
    if rule == "bearing_hot":
        assert ("greased" in raised[0].says) is inside  # marked, never held back


# a power dip -----------------------------------------------------------------------------------------------


def test_what_came_after_one_power_dip_is_one_entry(crew: Crew) -> None:
    with crew.writing() as session:
        dip_id = power_dips.log_dip(session, crew.unit, day(0), day(0), crew.operator, "").id
    for tag in ("P-301", "P-302", "P-303"):  # never started before, and no pre-start check: each start is flagged
        motor = crew.motor(tag, interlock="low-voltage protection")
        with crew.writing() as session:
            dip = session.get_one(Dip, dip_id)
            held = session.get_one(Motor, motor.id)
            power_dips.answer(session, crew.unit, dip, held, "started again", crew.operator, day(0, minutes=1))
    with crew.database.reading() as session:
        standing, dips = open_flags_and_dips(session, crew.unit.id)
        found = review_list.parts(crew.unit, standing, dips, day(0, hours=-1), day(0, minutes=10))
    assert {f.raised_cause for f in standing} == {"start"}
    assert [(group.motors, group.dip is not None) for groups in found.values() for group in groups] == [(3, True)]


# rising ----------------------------------------------------------------------------------------------------


def test_the_same_flag_on_three_rounds_is_one_that_rises_on_the_third(crew: Crew) -> None:
    for count, at in enumerate((day(0), night(0), day(1)), start=1):
        crew.hot(at, HOT_C)
        (line,) = hot_lines(crew, at + timedelta(minutes=5))
        assert (line.flag.times_seen, line.shifts, line.rises) == (count, count, count == 3)
    assert len(crew.flags("bearing_hot")) == 1
    with crew.writing() as session:
        held = session.get_one(Flag, crew.flag("bearing_hot", "DE").id)
        flag_life.note_action(session, held, crew.head_operator, day(1, hours=1), "told mechanical")
    assert not any(x.rises for x in hot_lines(crew, day(1, hours=2)))


def test_what_was_to_be_done_and_is_late_rises(crew: Crew) -> None:
    crew.hot(day(0), HOT_C)
    with crew.writing() as session:
        held = session.get_one(Flag, crew.flag("bearing_hot", "DE").id)
        flag_life.plan(session, crew.unit, held, crew.head_operator, day(0, hours=1), "Mechanical", day(0, hours=5))
    assert [x.rises for x in hot_lines(crew, day(0, hours=5))] == [False]
    assert [x.rises for x in hot_lines(crew, day(0, hours=5, minutes=1))] == [True]
