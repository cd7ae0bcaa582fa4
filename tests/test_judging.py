"""A flag's life over the rounds: raised, seen again, better, returned, back; late entries and corrections in place."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from app import judging, lubricating
from app.db import Database
from app.recording import NotAllowed
from app.rules.facts import LOCKED_OUT, RUNNING, STANDBY
from app.store import banners, rounds
from app.store.flags import Flag
from app.store.motors import Motor, MotorRun
from app.store.rounds import Reading
from tests import factories
from tests.entering import Crew, at_once, day, night, reading_body

HOT, AMPS, VIBRATION = "bearing_hot", "amps_over_nameplate", "vibration"


@pytest.fixture
def crew(database: Database) -> Crew:
    return Crew(database)


# one flag, counted ------------------------------------------------------------------------------------------


def test_the_same_bearing_hot_on_three_rounds_is_one_flag_seen_three_times(crew: Crew) -> None:
    crew.hot(day(0), 93.0, 92.0, 94.0)  # above 90 °C, alarm of a greased bearing
    (flag,) = crew.flags(HOT)
    assert (flag.times_seen, flag.raised_at, flag.last_seen_at) == (3, day(0), day(1))
    assert (flag.value, flag.limit, flag.state(day(1))) == (94.0, 90.0, "active")
    assert crew.unit.calendar.count(flag.raised_at, flag.last_seen_at) == 3  # day, night, day


def test_its_priority_is_that_of_the_newest_look(crew: Crew) -> None:
    crew.hot(day(0), 93.0, 100.1, 93.0)
    assert crew.flag(HOT, "DE").priority == "this shift"


def test_each_end_has_a_flag_of_its_own(crew: Crew) -> None:
    crew.read(day(0), bearing_temp_c={"DE": 93.0, "ODE": 94.0}, bearing_feel=None)
    assert {(f.rule, f.end) for f in crew.flags()} == {(HOT, "DE"), (HOT, "ODE")}


def test_the_database_itself_holds_one_open_flag_a_motor_rule_and_end(crew: Crew) -> None:
    crew.hot(day(0), 93.0)
    first = crew.flag(HOT, "DE")
    with pytest.raises(sa.exc.IntegrityError), crew.writing() as session:
        session.add(Flag(unit_id=first.unit_id, motor_id=first.motor_id, rule=HOT, end="DE", priority="watch",
                         raised_at=day(1), raised_cause="reading", raised_cause_id=first.raised_cause_id,
                         last_seen_at=day(1), source="x", says="x"))


def test_eight_tablets_that_find_it_at_once_raise_one_flag(crew: Crew) -> None:
    bodies = [reading_body(day(0, minutes=i), bearing_temp_c={"DE": 93.0}) for i in range(8)]
    done = at_once([lambda b=b: crew.enter(b, day(0, minutes=10)) for b in bodies])
    assert [d.stored for d in done] == [True] * 8
    (flag,) = crew.flags(HOT)
    assert (flag.times_seen, flag.raised_at, flag.last_seen_at) == (8, day(0), day(0, minutes=7))


# better, and back to normal ---------------------------------------------------------------------------------

#: Alarm of a greased bearing 90 °C, clearing band 3 K: two rounds running below 87 °C.
CLEARING = [
    ("in the band", [93.0, 89.0], "improving"),
    ("one good round", [93.0, 86.0], "improving"),
    ("in the band, then one good round", [93.0, 89.0, 86.0], "improving"),
    ("in the band, then two good rounds", [93.0, 89.0, 86.0, 86.0], "returned to normal"),
    ("two good rounds, not running", [93.0, 86.0, 89.0, 86.0], "improving"),
    ("at the limit less the band is not below it", [93.0, 87.0, 87.0, 87.0], "improving"),
    ("just below the limit less the band", [93.0, 86.999999, 86.999999], "returned to normal"),
    ("over the limit once more", [93.0, 86.0, 90.1, 86.0], "improving"),
    ("at the limit is not over it", [93.0, 90.0], "improving"),
    ("over the limit at the end", [93.0, 86.0, 90.1], "active"),
]


@pytest.mark.parametrize(("found", "state"), [c[1:] for c in CLEARING], ids=[c[0] for c in CLEARING])
def test_a_hot_bearing_returns_after_two_rounds_running_below_the_band(crew: Crew, found: list[float],
                                                                       state: str) -> None:
    crew.hot(day(0), *found)
    assert crew.state(HOT, "DE") == state
    assert len(crew.flags(HOT)) == 1


#: Rated 87 A, band 3 % of it: 87 - 2.61 = 84.39 A.
AMPS_CLEARING = [("at it", 84.39, "improving"), ("just below it", 84.38, "returned to normal"),
                 ("well below it", 70.0, "returned to normal")]


@pytest.mark.parametrize(("amps", "state"), [c[1:] for c in AMPS_CLEARING], ids=[c[0] for c in AMPS_CLEARING])
def test_amps_return_below_the_rated_less_three_percent_of_it(crew: Crew, amps: float, state: str) -> None:
    crew.read(day(0), current_a=[92.0])
    crew.read(night(0), current_a=[amps])
    crew.read(day(1), current_a=[amps])
    assert crew.state(AMPS) == state


def test_words_return_when_they_are_back_to_normal_twice(crew: Crew) -> None:
    rough = {"DE": "rougher than usual", "ODE": "as usual"}
    crew.read(day(0), vibration_feel=rough)
    crew.read(night(0))
    assert crew.state(VIBRATION, "DE") == "improving"
    crew.read(day(1))
    assert crew.state(VIBRATION, "DE") == "returned to normal"


def test_two_looks_of_one_round_are_one_good_round(crew: Crew) -> None:
    crew.hot(day(0), 93.0)
    crew.hot(night(0), 80.0)
    crew.hot(night(0, hours=2), 80.0)
    assert crew.state(HOT, "DE") == "improving"


def test_an_entry_that_says_nothing_of_a_standing_flag_asks_no_more_than_where_none_stands(crew: Crew) -> None:
    crew.motor("P-101B")
    crew.motor("P-101C")
    asked: list[str] = []
    crew.read(day(0), tag="P-101C")  # opens the shift's sheet, and is stored another way
    crew.read(day(0), bearing_temp_c={"DE": 93.0, "ODE": 85.0}, bearing_feel=None, method="contact")
    crew.read(day(0, hours=1), tag="P-101B")
    sa.event.listen(crew.database.engine, "before_cursor_execute", lambda *told: asked.append(told[2]))
    crew.read(day(0, hours=2), tag="P-101B")
    quiet, asked[:] = list(asked), []
    crew.read(day(0, hours=2))  # a hand after a figure
    assert asked == quiet
    assert crew.state(HOT, "DE") == "active"


NO_WORD = [
    ("a hand after a figure", {"bearing_feel": {"DE": "warm", "ODE": "warm"}}),
    ("the other end", {"bearing_temp_c": {"ODE": 60.0}, "bearing_feel": None}),
    ("a standing motor", {"state": "standby", "bearing_temp_c": {"DE": 30.0}}),
    ("could not read", {"bearing_temp_c": {"DE": "could not read"}, "bearing_feel": None}),
]


@pytest.mark.parametrize("seen", [c[1] for c in NO_WORD], ids=[c[0] for c in NO_WORD])
def test_what_was_not_looked_at_clears_nothing(crew: Crew, seen: dict[str, Any]) -> None:
    crew.hot(day(0), 93.0)
    for i in range(1, 4):
        crew.read(day(i), **seen)
    assert crew.state(HOT, "DE") == "active"


def test_a_skip_and_values_by_token_say_nothing_of_other_things(crew: Crew) -> None:
    crew.read(day(0), smoke="seen")
    for i in range(1, 4):
        crew.skip(day(i))
        crew.by_token(night(i), current_a=[78.0])
    assert crew.state("smoke") == "active"


def test_returned_and_unseen_waits_to_be_seen_and_is_closed_by_that(crew: Crew) -> None:
    crew.hot(day(0), 93.0, 80.0, 80.0)
    flag = crew.flag(HOT, "DE")
    assert (flag.returned_at, flag.closed_at) == (day(1), None)
    crew.see(flag, day(2))
    flag = crew.flag(HOT, "DE")
    assert (flag.closed_at, flag.closed_by_id, flag.closed_why) == (day(2), None, "returned to normal")


def test_returned_and_seen_closes_itself(crew: Crew) -> None:
    crew.hot(day(0), 93.0)
    crew.see(crew.flag(HOT, "DE"), day(0, hours=1))
    crew.hot(night(0), 80.0, 80.0)
    flag = crew.flag(HOT, "DE")
    assert (flag.closed_at, flag.closed_by_id, flag.closed_why) == (day(1), None, "returned to normal")


def test_it_is_never_closed_before_it_was_seen(crew: Crew) -> None:
    crew.hot(day(0), 93.0, 80.0)
    crew.see(crew.flag(HOT, "DE"), day(1, hours=2))
    crew.hot(day(1), 80.0, received=day(1, hours=3))  # taken before it was seen, received after
    flag = crew.flag(HOT, "DE")
    assert (flag.returned_at, flag.closed_at) == (day(1), day(1, hours=2))


def test_back_before_it_closed_is_the_same_flag_active_again(crew: Crew) -> None:
    crew.hot(day(0), 93.0, 80.0, 80.0, 93.0)
    (flag,) = crew.flags(HOT)
    assert (flag.state(day(2)), flag.times_seen, flag.returned_at) == ("active", 2, None)
    crew.hot(day(2), 80.0)
    assert crew.state(HOT, "DE") == "improving"  # the good rounds count from the beginning


def test_back_after_it_closed_is_a_new_flag_that_names_the_old_one(crew: Crew) -> None:
    crew.hot(day(0), 93.0)
    old = crew.flag(HOT, "DE")
    crew.close(old, day(0, hours=2))
    crew.hot(night(0), 93.0)
    new = crew.flag(HOT, "DE")
    assert (new.before_id, new.times_seen, new.raised_at, new.open) == (old.id, 1, night(0), True)
    assert crew.flags(HOT)[0].closed_why == "bearing changed"


# late entries -----------------------------------------------------------------------------------------------


def test_a_late_reading_stands_in_its_place(crew: Crew) -> None:
    crew.hot(day(0), 93.0)
    crew.hot(day(1), 93.0)
    crew.hot(night(0), 99.0, received=day(1, hours=1))
    (flag,) = crew.flags(HOT)
    assert (flag.times_seen, flag.last_seen_at, flag.value) == (3, day(1), 93.0)


def test_a_late_first_sighting_raises_the_flag_at_its_own_time_and_says_it_came_late(crew: Crew) -> None:
    crew.hot(day(1), 93.0)
    crew.hot(day(0), 91.0, received=day(1, hours=1))
    (flag,) = crew.flags(HOT)
    assert (flag.raised_at, flag.times_seen, flag.value) == (day(0), 2, 93.0)
    crew.hot(night(1), 80.0, 80.0, 80.0)
    crew.read(day(2, minutes=5), current_a=[92.0], received=day(3))
    assert crew.flag(AMPS).arrived_late is True


def test_a_late_bad_round_between_two_good_ones_starts_the_count_anew(crew: Crew) -> None:
    crew.hot(day(0), 93.0, 80.0)
    crew.hot(night(1), 80.0)
    assert crew.state(HOT, "DE") == "returned to normal"
    crew.hot(day(1), 93.0, received=night(1, hours=1))
    flag = crew.flag(HOT, "DE")
    assert (flag.state(night(1)), flag.times_seen, flag.good_rounds) == ("improving", 2, 1)


def test_a_late_bad_round_opens_a_flag_that_had_closed_itself_and_keeps_what_was_said(crew: Crew) -> None:
    crew.hot(day(0), 93.0)
    crew.see(crew.flag(HOT, "DE"), day(0, hours=1))
    crew.hot(night(0), 80.0)
    crew.hot(night(1), 80.0)
    assert crew.state(HOT, "DE") == "closed"
    crew.hot(day(1), 93.0, received=night(1, hours=1))
    (flag,) = crew.flags(HOT)
    assert (flag.state(night(1)), flag.seen_at) == ("improving", day(0, hours=1))
    assert crew.notes(flag) == [("seen", "seen")]
    crew.hot(day(2), 80.0)
    assert crew.state(HOT, "DE") == "closed"


def test_a_late_good_round_closes_the_gap(crew: Crew) -> None:
    crew.hot(day(0), 93.0)
    crew.hot(day(1), 80.0)
    assert crew.state(HOT, "DE") == "improving"
    crew.hot(night(0), 80.0, received=day(1, hours=1))
    flag = crew.flag(HOT, "DE")
    assert (flag.state(day(1)), flag.returned_at) == ("returned to normal", day(1))


def test_what_was_seen_before_a_person_closed_it_joins_the_closed_flag(crew: Crew) -> None:
    crew.hot(day(0), 93.0)
    crew.close(crew.flag(HOT, "DE"), day(0, hours=5))
    crew.hot(day(0, hours=4), 95.0, received=day(0, hours=6))
    (flag,) = crew.flags(HOT)
    assert (flag.state(day(1)), flag.times_seen, flag.closed_why) == ("closed", 2, "bearing changed")


def test_a_late_reading_goes_to_the_flag_of_its_own_time(crew: Crew) -> None:
    crew.hot(day(0), 93.0)
    crew.close(crew.flag(HOT, "DE"), day(0, hours=5))
    crew.hot(day(1), 94.0)
    crew.hot(day(0, hours=4), 95.0, received=day(1, hours=1))
    first, second = crew.flags(HOT)
    assert (first.times_seen, first.value) == (2, 95.0)
    assert (second.times_seen, second.raised_at, second.before_id) == (1, day(1), first.id)


def test_judged_twice_everything_is_as_it_was(crew: Crew) -> None:
    crew.point("DE", interval_days=90.0, last_greased_at=day(-91))
    first = crew.hot(day(0), 93.0, 101.0, 80.0, 80.0)[0]
    crew.see(crew.flag(HOT, "DE"), day(2))
    crew.hot(day(2), 93.0)
    crew.close(crew.flag(HOT, "DE"), day(2, hours=1))
    crew.hot(night(2), 94.0, 89.0)
    crew.read(day(4), current_a=[92.0], guard="missing")
    crew.skip(night(4))
    before = crew.everything()
    with crew.writing() as session:
        row = session.get_one(Reading, first.id)
        judging.judge_reading(session, crew.unit, session.get_one(Motor, row.motor_id), row)
    assert crew.everything() == before


def test_long_standing_flags_do_not_keep_a_late_entry_from_what_came_after_it(crew: Crew) -> None:
    crew.read(day(0), guard="missing")
    for i in range(1, 40):  # the guard is not answered again, so its flag stands as last seen long ago
        crew.look(day(i), current_a=[78.0])
        crew.look(night(i), current_a=[78.0])
    crew.look(day(40), bearing_temp_c={"DE": 76.0}, method="contact")
    crew.look(night(39, hours=1), day(40, hours=1), bearing_temp_c={"DE": 60.0}, method="contact")
    assert crew.flag("step_bearing", "DE").value == pytest.approx(16.0)  # 76 - 60, above 15 K


def test_a_step_that_a_greasing_recorded_late_explains_is_let_go(crew: Crew) -> None:
    crew.point("DE", interval_days=None)
    crew.look(day(0), bearing_temp_c={"DE": 60.0}, method="contact")
    crew.look(day(1), bearing_temp_c={"DE": 76.0}, method="contact")
    assert crew.state("step_bearing", "DE") == "active"
    crew.grease(day(1, hours=-1), received=day(1, hours=2))  # within 24 h before the look
    flag = crew.flag("step_bearing", "DE")
    assert (flag.closed_at, flag.closed_why) == (day(1, hours=2), judging.NOT_FOUND_AGAIN)


# corrections ------------------------------------------------------------------------------------------------


def test_a_slip_put_right_closes_its_flag_as_corrected_and_stays_readable(crew: Crew) -> None:
    (slip,) = crew.hot(day(0), 136.0)
    crew.correct(slip, day(0), bearing_temp_c={"DE": 63.0}, bearing_feel=None)
    flag = crew.flag(HOT, "DE")
    assert (flag.closed_why, flag.closed_at, flag.times_seen) == ("entry corrected", day(0, minutes=30), 0)
    with crew.database.reading() as session:
        old = session.get_one(Reading, slip.id)
        assert old.bearing_temp_c_de == 136.0
        assert [r.bearing_temp_c_de for r in rounds.last_running(session, old.motor_id, day(1))] == [63.0]
    assert any(row[0] == "Finding" and HOT in row and str(slip.id) in row for row in crew.everything())


def test_a_correction_that_still_shows_it_leaves_one_flag_with_its_notes(crew: Crew) -> None:
    (slip,) = crew.hot(day(0), 95.0)
    crew.see(crew.flag(HOT, "DE"), day(0, minutes=10))
    crew.correct(slip, day(0), bearing_temp_c={"DE": 92.0}, bearing_feel=None)
    (flag,) = crew.flags(HOT)
    assert (flag.state(day(1)), flag.times_seen, flag.value) == ("active", 1, 92.0)
    assert crew.notes(flag) == [("seen", "seen")]


def test_a_correction_takes_one_sighting_from_a_flag_that_others_show(crew: Crew) -> None:
    first, second = crew.hot(day(0), 95.0, 99.0)
    crew.correct(second, night(0), bearing_temp_c={"DE": 80.0}, bearing_feel=None)
    flag = crew.flag(HOT, "DE")
    assert (flag.state(day(1)), flag.times_seen, flag.value, flag.last_seen_at) == ("improving", 1, 95.0, day(0))
    assert first.stored


def test_a_corrected_bad_round_counts_as_the_good_one_it_was(crew: Crew) -> None:
    found = crew.hot(day(0), 93.0, 80.0, 93.0)
    crew.correct(found[2], day(1), bearing_temp_c={"DE": 80.0}, bearing_feel=None)
    flag = crew.flag(HOT, "DE")
    assert (flag.state(day(1)), flag.times_seen) == ("returned to normal", 1)


def test_a_correction_with_another_state_is_the_state_observed(crew: Crew) -> None:
    crew.read(day(-1), state="running")
    slip = crew.read(day(0), state="standby")
    crew.correct(slip, day(0), state="running")
    assert crew.condition() == (RUNNING, day(0))
    with crew.database.reading() as session:
        assert session.scalars(sa.select(MotorRun)).one().run_s == 24 * 3600


def test_an_operator_corrects_own_entries_until_the_sheet_is_signed(crew: Crew) -> None:
    with crew.writing() as session:
        other = factories.make_person(session, crew.unit, "operator", "other")
    mine = crew.read(day(0), current_a=[92.0])
    with pytest.raises(NotAllowed):
        crew.correct(mine, day(0), person=other)
    crew.sign(day(0), day(0, hours=1))
    with pytest.raises(NotAllowed):
        crew.correct(mine, day(0), received=day(0, hours=2))
    crew.correct(mine, day(0), received=day(0, hours=2), person=crew.head_operator)
    assert crew.flag(AMPS).closed_why == "entry corrected"


# locked out -------------------------------------------------------------------------------------------------


def test_a_motor_seen_running_under_a_lock_is_act_now_and_the_lock_stands(crew: Crew) -> None:
    crew.set_condition(day(0), LOCKED_OUT)
    found = crew.read(day(0, hours=1)).findings
    assert ("started_locked_out", "act now") in [(f.rule, f.priority) for f in found]
    assert crew.condition() == (LOCKED_OUT, day(0))
    crew.read(day(0, hours=2), state=STANDBY)
    assert crew.condition() == (LOCKED_OUT, day(0))
    assert crew.state("started_locked_out") == "active"  # closed by what a person does only


def test_a_lock_is_ended_by_a_named_act_and_then_the_next_look_counts(crew: Crew) -> None:
    crew.set_condition(day(0), LOCKED_OUT)
    crew.set_condition(day(0, hours=3), STANDBY)
    assert not [f for f in crew.read(day(0, hours=4)).findings if f.rule == "started_locked_out"]
    assert crew.condition() == (RUNNING, day(0, hours=4))


LATE_AND_LOCKED = [
    ("taken before the lock", day(0, hours=-1), False), ("taken when it was put on", day(0), True),
    ("taken under the lock", day(0, hours=1), True), ("taken after it was ended", day(0, hours=3), False),
]


@pytest.mark.parametrize(("taken", "flagged"), [c[1:] for c in LATE_AND_LOCKED], ids=[c[0] for c in LATE_AND_LOCKED])
def test_a_late_reading_is_judged_by_the_lock_of_its_own_time(crew: Crew, taken: Any, flagged: bool) -> None:
    crew.set_condition(day(0), LOCKED_OUT)
    crew.set_condition(day(0, hours=2), STANDBY)
    found = crew.read(taken, received=day(0, hours=5)).findings
    assert bool([f for f in found if f.rule == "started_locked_out"]) is flagged


def test_a_reading_of_before_a_lock_that_still_stands_is_no_start_under_it(crew: Crew) -> None:
    crew.set_condition(day(0), LOCKED_OUT)
    assert not crew.read(day(0, hours=-1), received=day(0, hours=1)).findings
    assert crew.condition() == (LOCKED_OUT, day(0))


# greasing that the clock makes due --------------------------------------------------------------------------

OVERDUE = "greasing_overdue"


def told_overdue(crew: Crew, at: datetime) -> int:
    """What the banner of every page counts."""
    with crew.database.reading() as session:
        return lubricating.count_overdue(banners.of_unit(session, crew.unit.id).intervals, at)


DUE = [("just under", timedelta(days=90, minutes=-1), False), ("at the interval", timedelta(days=90), False),
       ("just over", timedelta(days=90, minutes=1), True)]


@pytest.mark.parametrize(("since", "overdue"), [c[1:] for c in DUE], ids=[c[0] for c in DUE])
def test_greasing_is_overdue_past_its_interval(crew: Crew, since: timedelta, overdue: bool) -> None:
    crew.point("DE", interval_days=90.0, last_greased_at=day(0) - since)
    assert [f.rule for f in crew.read(day(0)).findings] == ([OVERDUE] if overdue else [])
    assert told_overdue(crew, day(0)) == int(overdue)


def test_overdue_greasing_is_counted_without_any_entry_and_flagged_when_the_round_is_opened(crew: Crew) -> None:
    crew.point("DE", interval_days=90.0, last_greased_at=day(-91))
    assert told_overdue(crew, day(0)) == 1
    assert crew.flags(OVERDUE) == []
    crew.open_sheet(day(0))
    crew.open_sheet(day(0, hours=1))
    (flag,) = crew.flags(OVERDUE)
    assert (flag.end, flag.times_seen, flag.raised_cause, flag.arrived_late) == ("DE", 1, "round", False)


def test_the_shifts_first_entry_opens_its_round_for_every_motor(crew: Crew) -> None:
    crew.motor("P-102", greased=False)
    crew.point("DE", tag="P-102", interval_days=90.0, last_greased_at=day(-91))
    crew.by_token(day(0), current_a=[78.0])
    assert len(crew.flags(OVERDUE, "P-102")) == 1
    crew.open_sheet(day(0, hours=1))
    assert crew.flag(OVERDUE, "DE", "P-102").times_seen == 1


def test_a_late_entry_of_an_earlier_shift_makes_nothing_due(crew: Crew) -> None:
    crew.motor("P-102", greased=False)
    crew.point("DE", tag="P-102", interval_days=90.0, last_greased_at=day(-91))
    crew.read(day(-1), received=day(0))
    assert crew.flags(OVERDUE, "P-102") == []


def test_greased_it_returns_at_once_and_seen_it_closes(crew: Crew) -> None:
    crew.point("DE", interval_days=90.0, last_greased_at=day(-91))
    crew.point("ODE", interval_days=90.0, last_greased_at=day(-91))
    crew.read(day(0))
    crew.see(crew.flag(OVERDUE, "DE"), day(0, hours=1))
    crew.grease(day(0, hours=2))
    assert (crew.state(OVERDUE, "DE"), crew.state(OVERDUE, "ODE")) == ("closed", "active")
    crew.grease(day(0, hours=3), end="ODE")
    assert crew.state(OVERDUE, "ODE") == "returned to normal"
    assert crew.read(night(0)).findings == []
    assert told_overdue(crew, night(0)) == 0


def test_a_greasing_recorded_after_it_was_seen_overdue_returns_it_too(crew: Crew) -> None:
    crew.point("DE", interval_days=90.0, last_greased_at=day(-91))
    crew.read(day(0))
    crew.read(night(0))
    crew.grease(day(0, hours=3), received=night(0, hours=1))
    flag = crew.flag(OVERDUE, "DE")
    assert (flag.state(day(1)), flag.times_seen) == ("returned to normal", 1)


def test_running_hours_count_from_the_greasing_also_when_it_was_recorded_late(crew: Crew) -> None:
    crew.point("DE", interval_days=None, interval_run_h=100.0, last_greased_at=day(-1))
    for i in range(4):
        crew.read(day(i))
    crew.grease(day(2, hours=1), received=day(3, hours=1))  # 49 h after the first reading
    # 23 h to day 3, then on: at day 6, 95 h since the greasing; at day 7, 119 h
    assert [f.rule for f in crew.read(day(6)).findings] == []
    assert [f.rule for f in crew.read(day(7)).findings] == [OVERDUE]
    assert crew.flag(OVERDUE, "DE").value == pytest.approx(119.0)


def test_a_motor_that_stands_gathers_no_running_hours(crew: Crew) -> None:
    crew.point("DE", interval_days=None, interval_run_h=100.0, last_greased_at=day(0))
    crew.read(day(0))
    crew.read(day(2), state="standby")  # 48 h
    crew.read(day(9))
    assert crew.flags(OVERDUE) == []
    assert [f.rule for f in crew.read(day(9, hours=53)).findings] == [OVERDUE]  # 48 + 53


# not checked ------------------------------------------------------------------------------------------------


def test_a_signed_sheet_flags_what_nobody_saw_until_it_is_read(crew: Crew) -> None:
    crew.sign(day(0, hours=10))
    assert crew.state("not_checked") == "active"
    crew.read(night(0))
    flag = crew.flag("not_checked")
    assert (flag.state(day(1)), flag.returned_at) == ("returned to normal", night(0))


def test_not_checked_is_seen_again_at_the_next_signature(crew: Crew) -> None:
    crew.sign(day(0, hours=10))
    crew.sign(night(0, hours=10))
    (flag,) = crew.flags("not_checked")
    assert (flag.times_seen, flag.arrived_late) == (2, False)


def test_a_look_of_that_round_that_arrives_after_the_signature_clears_it(crew: Crew) -> None:
    crew.sign(day(0, hours=10), night(0, hours=1))  # signed after the shift
    crew.read(day(0, hours=2), received=night(0, hours=2))
    flag = crew.flag("not_checked")
    assert flag.state(day(1)) == "returned to normal"
    assert flag.returned_at is not None and flag.returned_at >= flag.raised_at


DO_NOT_CLEAR = [("a skip", "skip", {}), ("values by token", "by_token", {"current_a": [78.0]})]


@pytest.mark.parametrize(("how", "seen"), [c[1:] for c in DO_NOT_CLEAR], ids=[c[0] for c in DO_NOT_CLEAR])
def test_no_look_no_clearing(crew: Crew, how: str, seen: dict[str, Any]) -> None:
    crew.sign(day(0, hours=10))
    getattr(crew, how)(night(0), **seen)
    assert crew.state("not_checked") == "active"


def test_an_entry_by_token_that_answers_smoke_is_a_look(crew: Crew) -> None:
    crew.sign(day(0, hours=10))
    crew.by_token(night(0), smoke="none")
    assert crew.state("not_checked") == "returned to normal"


# what the round required ------------------------------------------------------------------------------------


def test_a_walk_round_entry_names_what_was_left_out_and_one_by_token_never_does(crew: Crew) -> None:
    walked = crew.look(day(0), smoke="none")
    (finding,) = walked.findings
    assert (finding.rule, finding.end, finding.priority) == ("not_measured", None, "this shift")
    assert crew.by_token(day(0, hours=1), smoke="none").findings == []
    assert crew.skip(day(0, hours=2)).findings == []


def test_smoke_with_a_reason_to_skip_is_still_smoke(crew: Crew) -> None:
    body = reading_body(day(0), state=None, skip_reason="too much smoke", smoke="seen")
    assert [(f.rule, f.priority) for f in crew.enter(body).findings] == [("smoke", "act now")]
