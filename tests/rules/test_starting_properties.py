"""What must hold of every record of starts: a yes is never flagged, and waiting never turns a yes into a no.

The sums here are done a second way, in whole seconds and by going through the record start by start.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from app.rules.facts import Nameplate
from app.rules.mg10 import mg10
from app.rules.starting import Permission, start_permission
from app.rules.starting_check import check_start
from app.rules.starting_facts import (
    AUTOMATIC,
    DID_NOT_START,
    FAILED,
    OUTCOMES,
    PRACTICE,
    RAN,
    TABLE,
    TRIPPED,
    WRITTEN,
    ReleaseRecord,
    StartHistory,
    StartPlan,
    StartRecord,
    TripRecord,
)
from tests.rules.starts_plant import LIMITS, plate

BEGIN = datetime(2026, 10, 31, 20, 0, tzinfo=UTC)  # the clocks of America/Chicago go back ten hours later
CHICAGO = ZoneInfo("America/Chicago")
MOTORS = [plate(hp, poles) for hp, poles in ((10, 6), (30, 4), (50, 2), (75, 4), (200, 2), (250, 2), (300, 4),
                                             (2000, 2))]
PLANS = [StartPlan(), StartPlan(TABLE), StartPlan(TABLE, load_wk2_lbft2=60.0), StartPlan(WRITTEN, 4),
         StartPlan(WRITTEN, 2, 5.0, 10.0, 2), StartPlan(WRITTEN, 0.5), StartPlan(PRACTICE, written_tries=1),
         StartPlan(PRACTICE, written_spacing_min=45.0)]
motors, plans = st.sampled_from(MOTORS), st.sampled_from(PLANS)
gaps_s = st.sampled_from([0, 5, 90, 300, 599, 600, 1199, 1200, 2000, 3599, 3600, 3601, 7200])
lengths_s = st.sampled_from([0, 5, 8, 9, 60, 899, 900, 901, 1800, 3600])
events = st.lists(st.tuples(gaps_s, st.sampled_from([*OUTCOMES, "release"]), lengths_s), max_size=8)


def moment(seconds: float) -> datetime:
    return BEGIN + timedelta(seconds=seconds)


def told(drawn: list[tuple[int, str, int]]) -> tuple[StartHistory, int]:
    """A record of starts one after the other, and the second at which the last had ended."""
    clock, starts, releases = 0, [], []
    for gap, outcome, length in drawn:
        clock += gap
        if outcome == "release":
            releases.append(ReleaseRecord(moment(clock), "head", "cause found"))
            continue
        length = min(length, 30) if outcome in FAILED else length
        starts.append(StartRecord(moment(clock), outcome, float(length)))
        clock += max(length, 1)
    return StartHistory(starts=tuple(starts), releases=tuple(releases), seen_running_at=BEGIN), clock


def ask(motor: Nameplate, plan: StartPlan, history: StartHistory, second: float,
        continuous: bool = False) -> Permission:
    return start_permission(motor, plan, history, moment(second), then_continuous=continuous, limits=LIMITS)


@settings(max_examples=250, deadline=None)
@given(motors, plans, events, gaps_s, st.booleans(), st.sampled_from([RAN, AUTOMATIC]))
def test_a_start_that_was_told_yes_is_never_flagged(motor: Nameplate, plan: StartPlan,
                                                    drawn: list[tuple[int, str, int]], gap: int, continuous: bool,
                                                    outcome: str) -> None:
    history, end = told(drawn)
    answer = ask(motor, plan, history, end + gap, continuous)
    start = StartRecord(moment(end + gap), outcome)
    flagged = check_start(start, motor, plan, history, limits=LIMITS, then_continuous=continuous)
    assert (answer.answer == "yes") == (not flagged), (answer, flagged)


@settings(max_examples=150, deadline=None)
@given(motors, plans, events, gaps_s, st.integers(0, 20 * 24 * 3600), st.booleans())
def test_waiting_never_turns_yes_to_no(motor: Nameplate, plan: StartPlan, drawn: list[tuple[int, str, int]], gap: int,
                                       wait: int, continuous: bool) -> None:
    history, end = told(drawn)
    assume(ask(motor, plan, history, end + gap, continuous).answer == "yes")
    assert ask(motor, plan, history, end + gap + wait, continuous).answer == "yes"


def test_but_a_long_idle_makes_a_check_due() -> None:
    history = StartHistory(starts=(StartRecord(moment(0), RAN, 900.0),))
    day = 24 * 3600
    assert ask(MOTORS[0], PLANS[0], history, 900 + 30 * day - 1).answer == "yes"
    assert ask(MOTORS[0], PLANS[0], history, 900 + 30 * day).decided_by == "pre-start check"


@settings(max_examples=600, deadline=None)  # of which one in five is told a time
@given(motors, plans, events, gaps_s, st.booleans())
def test_the_time_told_is_the_first_at_which_it_may_be_started(motor: Nameplate, plan: StartPlan,
                                                               drawn: list[tuple[int, str, int]], gap: int,
                                                               continuous: bool) -> None:
    history, end = told(drawn)
    answer = ask(motor, plan, history, end + gap, continuous)
    if answer.not_before is None:
        assert answer.answer != "not before"
        return
    assert answer.not_before > moment(end + gap)
    second = (answer.not_before - BEGIN).total_seconds()
    assert ask(motor, plan, history, second, continuous).answer == "yes"
    just_before = start_permission(motor, plan, history, answer.not_before - timedelta(microseconds=1),
                                   then_continuous=continuous, limits=LIMITS)
    assert just_before.answer == "not before"


@settings(max_examples=80, deadline=None)
@given(motors, plans, events, gaps_s)
def test_the_zone_of_the_clock_changes_nothing(motor: Nameplate, plan: StartPlan, drawn: list[tuple[int, str, int]],
                                               gap: int) -> None:
    history, end = told(drawn)
    local = replace(history, starts=tuple(replace(s, at=s.at.astimezone(CHICAGO)) for s in history.starts),
                    releases=tuple(replace(r, at=r.at.astimezone(CHICAGO)) for r in history.releases))
    here = start_permission(motor, plan, local, moment(end + gap).astimezone(CHICAGO), limits=LIMITS)
    there = ask(motor, plan, history, end + gap)
    assert (here.verdict, here.not_before, here.decided_by) == (there.verdict, there.not_before, there.decided_by)


full_runs = st.lists(st.tuples(gaps_s, st.sampled_from([900, 901, 1800, 3600])), max_size=8)


@settings(max_examples=120, deadline=None)
@given(full_runs, gaps_s)
def test_after_full_runs_a_small_motor_goes_by_count_and_spacing_alone(drawn: list[tuple[int, int]], gap: int) -> None:
    history, end = told([(rest, RAN, length) for rest, length in drawn])
    now = end + gap
    ages = [now - int((start.at - BEGIN).total_seconds()) for start in history.starts]
    allowed = sum(age < 3600 for age in ages) < 3 and all(age >= 1200 for age in ages)
    assert ask(plate(30), PLANS[0], history, now).answer == ("yes" if allowed else "not before")


obedient = st.lists(st.tuples(st.integers(0, 5400), st.sampled_from([RAN, RAN, RAN, TRIPPED, DID_NOT_START]),
                              st.integers(900, 4000)), min_size=1, max_size=12)


def obeyed(motor: Nameplate, plan: StartPlan, drawn: list[tuple[int, str, int]]) -> tuple[list[StartRecord], list[int]]:
    """Somebody who starts only when told yes, at the first moment, and never has a release; the starts, each end."""
    starts: list[StartRecord] = []
    ends, clock = [], 0
    for wait, outcome, length in drawn:
        clock += wait
        history = StartHistory(starts=tuple(starts), seen_running_at=BEGIN)
        answer = ask(motor, plan, history, clock)
        if answer.not_before is not None:
            clock = -int((BEGIN - answer.not_before).total_seconds() // 1)
        elif answer.answer == "no":
            break
        lasted = 10 if outcome in FAILED else length
        starts.append(StartRecord(moment(clock), outcome, float(lasted)))
        clock += lasted
        ends.append(clock)
    return starts, ends


@settings(max_examples=80, deadline=None)
@given(st.sampled_from([plate(75, 4), plate(250, 2), plate(30, 4)]), obedient)
def test_who_obeys_the_table_never_passes_it(motor: Nameplate, drawn: list[tuple[int, str, int]]) -> None:
    starts, ends = obeyed(motor, StartPlan(TABLE), drawn)
    row = mg10(motor.hp, motor.poles)
    seconds = [int((start.at - BEGIN).total_seconds()) for start in starts]
    assert all(sum(at <= other < at + 3600 for other in seconds) <= int(row.a) for at in seconds)
    assert all(at - end >= row.c for end, at in zip(ends, seconds[1:], strict=False))
    assert tries_in_a_row(starts) <= (3 if motor.hp == 30 else 2)


@settings(max_examples=80, deadline=None)
@given(st.sampled_from([30, 200]), obedient)
def test_who_obeys_general_practice_passes_it_only_by_tries(hp: float, drawn: list[tuple[int, str, int]]) -> None:
    starts, _ = obeyed(plate(hp), StartPlan(), drawn)
    most, spacing, tries = (3, 1200, 3) if hp == 30 else (1, 3600, 2)
    seconds = [int((start.at - BEGIN).total_seconds()) for start in starts]
    for place, (earlier, at) in enumerate(pairwise(seconds)):
        since_failed = starts[place].outcome in FAILED
        in_hour = [start for start, second in zip(starts, seconds, strict=True) if at - 3600 < second < at]
        if not (since_failed and all(start.outcome in FAILED for start in in_hour)):
            assert at - earlier >= spacing and len(in_hour) < most
    assert tries_in_a_row(starts) <= tries


def tries_in_a_row(starts: list[StartRecord]) -> int:
    """The most failed starts one after the other."""
    most = row = 0
    for start in starts:
        row = row + 1 if start.outcome in FAILED else 0
        most = max(most, row)
    return most


@settings(max_examples=60, deadline=None)
@given(motors, plans, events, st.sampled_from(["fuse", "circuit breaker", "unknown", "arc detector"]), gaps_s)
def test_no_wait_opens_the_way_over_an_uncleared_fault(motor: Nameplate, plan: StartPlan,
                                                       drawn: list[tuple[int, str, int]], protection: str,
                                                       gap: int) -> None:
    history, end = told(drawn)
    barred = replace(history, trips=(TripRecord(moment(0), protection, cause="found", relay_reset_at=moment(1),
                                                head_operator_at=moment(2)),))
    assert ask(motor, plan, barred, end + gap).verdict == "no, find the cause"
    assert ask(motor, plan, barred, end + 10_000_000).verdict == "no, find the cause"
