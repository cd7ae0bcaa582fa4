"""May it be started? Sums by hand beside the cases.

The table cases rest on NEMA MG 10 (two hosted pages, all cells compared); every other figure here is common practice,
no published source: 3 starts an hour, 20 min apart, 15 min of running between (to 50 hp); 1 an hour (to 1,500 hp);
6 and 3 short starts; 3 and 2 tries.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from app.rules.facts import Nameplate
from app.rules.limits import Limits
from app.rules.starting_basis import basis
from app.rules.starting_facts import (
    AUTOMATIC,
    DID_NOT_START,
    TABLE,
    TRIPPED,
    WRITTEN,
    ReleaseRecord,
    StartHistory,
    StartPlan,
    StartRecord,
    TripRecord,
)
from app.rules.tables import MakesNoSense
from tests.rules.starts_plant import (
    BY_PRACTICE,
    BY_TABLE,
    CHICAGO,
    G305,
    K201,
    LIMITS,
    P101A,
    ask,
    at,
    did,
    later,
    plate,
    ran,
    record,
    told,
)

FIND = "no, find the cause"
THREE = record(ran("10:00", 18), ran("10:20", 18), ran("10:40", 18))
FIVE = record(*(ran(f"10:{m}", 1) for m in ("00", "10", "20", "30", "40")), stops=("10:41",))
TRIPPED_ONCE = record(*did(TRIPPED, "13:00:20"))
SHORTS = tuple(ran(clock, 8 / 60) for clock in ("10:00", "10:10", "10:20", "10:30", "10:40"))
RELEASE = ReleaseRecord(at("13:10"), "head", "seized coupling, freed")

ORDINARY = [
    # three an hour, 20 min apart, 15 min of running: 10:40 + 20 = 11:00, when the first is 60 min old as well
    ("30 hp a second early", "10:59:59", THREE, 30, "not before 11:00:00"),
    ("30 hp at 11:00", "11:00", THREE, 30, "yes"),
    ("50 hp is still small", "11:00", THREE, 50, "yes"),
    ("just over 50 hp is not", "11:00", THREE, 50.01, "not before 11:40:00"),
    ("spacing alone", "10:19:59", record(ran("10:00", 15)), 30, "not before 10:20:00"),
    ("spacing over", "10:20", record(ran("10:00", 15)), 30, "yes"),
    # 200 hp: one an hour, however long it ran
    ("200 hp ran half an hour", "13:31", record(ran("13:00", 30)), 200, "not before 14:00:00"),
    ("200 hp an hour after", "14:00", record(ran("13:00", 30)), 200, "yes"),
    ("1,500 hp has its figure", "14:00", record(ran("13:00", 30)), 1500, "yes"),
    ("nothing started yet today", "10:00", record(), 200, "yes"),
    ("an automatic restart is a start", "13:30", record(*did(AUTOMATIC, "13:00"), stops=("13:20",)), 200,
     "not before 14:00:00"),
    ("a start later than the moment asked", "10:00", record(ran("10:05", 5)), 200, "yes"),
]

TRIES = [
    ("200 hp tripped while starting", "13:00:40", TRIPPED_ONCE, 200, "yes, try 2 of 2"),
    ("200 hp, the second fails too", "13:02", record(*did(TRIPPED, "13:00:20", "13:01")), 200, FIND),
    ("days later still", datetime(2026, 12, 5, tzinfo=CHICAGO), record(*did(TRIPPED, "13:00:20", "13:01")), 200, FIND),
    ("50 hp two failed", "13:05", record(*did(DID_NOT_START, "13:00", "13:02")), 50, "yes, try 3 of 3"),
    ("50 hp third failed", "13:05", record(*did(DID_NOT_START, "13:00", "13:02", "13:04")), 50, FIND),
    ("a short run begins a series", "10:06", record(ran("10:00", 5)), 30, "yes, try 2 of 3"),
    ("a run of just the time does not", "10:16", record(ran("10:00", 15)), 30, "not before 10:20:00"),
    ("just under does", "10:16", record(ran("10:00", 14.99)), 30, "yes, try 2 of 3"),
    ("over 50 hp any run is a full run", "13:05", record(ran("13:00", 1)), 200, "not before 14:00:00"),
    # another start stands in the hour: count 2 of 3 is met, spacing 10:20 + 20 min
    ("a failed try in a mixed hour", "10:21", record(ran("10:00", 18), *did(DID_NOT_START, "10:20")), 30,
     "not before 10:40:00"),
    # 200 hp: at 14:00 the start of 13:00 leaves the hour; what is left belongs to the series
    ("200 hp in a mixed hour", "13:41", record(ran("13:00", 30), *did(TRIPPED, "13:40")), 200, "not before 14:00:00"),
    ("and at that time it is a try", "14:00", record(ran("13:00", 30), *did(TRIPPED, "13:40")), 200, "yes, try 2 of 2"),
    # it ran 5 of 15 min: waiting cannot mend that; when 10:00 leaves the hour it is a try
    ("a short run in a mixed hour", "10:41", record(ran("10:00", 18), ran("10:20", 5)), 30, "not before 11:00:00"),
    # the series has its three starts, one failed; 60 min of rest after the stop at 10:11
    ("three in the series, not all failed", "10:12", record(*did(TRIPPED, "10:00"), ran("10:05", 1), ran("10:10", 1)),
     30, "not before 11:11:00"),
    ("a full run ends a series", "10:50", record(*did(TRIPPED, "10:00", "10:01"), ran("10:02", 20)), 30,
     "not before 11:00:00"),
    ("rest ends a series that never failed", "11:05", record(ran("10:00", 5)), 30, "yes"),
    ("rest does not end one that failed", "14:05", record(*did(TRIPPED, "10:00", "10:01")), 30, "yes, try 3 of 3"),
    ("a full run does not end one used up", "14:30", record(*did(TRIPPED, "13:00", "13:01"), ran("13:02", 30)), 200,
     FIND),
    ("a release ends it, the hour still counts", "13:11", record(*did(TRIPPED, "13:00", "13:01"), releases=(RELEASE,)),
     200, "not before 14:01:00"),
    ("released and rested", "14:01", record(*did(TRIPPED, "13:00", "13:01"), releases=(RELEASE,)), 200, "yes"),
    ("a release before the last try does not count", "13:21",
     record(*did(TRIPPED, "13:00", "13:20", "13:20:30"), releases=(RELEASE,)), 200, FIND),
    ("a release in the instant of a start was before it", "14:30",
     record(*did(TRIPPED, "13:00", "13:01", "13:10"), releases=(RELEASE,)), 200, "yes, try 2 of 2"),
    ("a release without a cause releases nothing", "14:30",
     record(*did(TRIPPED, "13:00", "13:01"), releases=(replace(RELEASE, cause=" "),)), 200, FIND),
]

CONTINUOUS = [
    # six short starts, 10 min apart, where continuous running follows
    ("a sixth short start", "10:50", record(*SHORTS), 30, "yes"),
    ("too soon after the fifth", "10:49:59", record(*SHORTS), 30, "not before 10:50:00"),
    ("a seventh", "10:55", record(*SHORTS, ran("10:50", 8 / 60)), 30, "not before 11:00:00"),
    ("over 50 hp three, 20 min apart", "13:20", record(ran("13:00", 0.1)), 200, "yes"),
    ("over 50 hp too soon", "13:19", record(ran("13:00", 0.1)), 200, "not before 13:20:00"),
    ("over 50 hp the fourth", "13:45", record(*(ran(f"13:{m}", 0.1) for m in ("00", "20", "40"))), 200,
     "not before 14:00:00"),
    ("9 s is no short start", "13:20", record(ran("13:00", 9 / 60)), 200, "not before 14:00:00"),
    ("half an hour is no short start", "13:31", record(ran("13:00", 30)), 200, "not before 14:00:00"),
]


@pytest.mark.parametrize("clock, history, hp, answer", [c[1:] for c in ORDINARY + TRIES],
                         ids=[c[0] for c in ORDINARY + TRIES])
def test_general_practice(clock: Any, history: StartHistory, hp: float, answer: str) -> None:
    assert told(ask(clock, history, plate(hp))) == answer


@pytest.mark.parametrize("clock, history, hp, answer", [c[1:] for c in CONTINUOUS], ids=[c[0] for c in CONTINUOUS])
def test_short_starts_before_continuous_running(clock: str, history: StartHistory, hp: float, answer: str) -> None:
    assert told(ask(clock, history, plate(hp), then_continuous=True)) == answer


def test_short_starts_count_in_the_hour_of_the_next_ordinary_start() -> None:
    # 200 hp: three short ones to 13:40; without continuous running one an hour after 13:40
    history = record(*(ran(f"13:{m}", 0.1) for m in ("00", "20", "40")))
    assert told(ask("14:00", history, plate(200))) == "not before 14:40:00"
    assert told(ask("14:00", history, plate(200), then_continuous=True)) == "yes"
    assert "continuous running follows" in ask("14:00", history, plate(200)).would_change


def test_short_starts_are_no_excuse_under_the_table() -> None:
    history = record(*(ran(f"13:{m:02}", 0.1) for m in (0, 20)))
    assert told(ask("13:40", history, K201, BY_TABLE, then_continuous=True)) == "not before 14:20:00"


@pytest.mark.parametrize("clock, counted", [("10:59:59", 3), ("11:00", 2), ("11:20", 1), ("11:40", 0)])
def test_a_start_exactly_an_hour_old_no_longer_counts(clock: str, counted: int) -> None:
    assert ask(clock, THREE, plate(30)).starts_last_60_min == counted


# the table -------------------------------------------------------------------------------------------------


def test_five_starts_by_the_table_and_the_hour_rolls() -> None:
    # 75 hp, 4-pole: 5.8 is 5 an hour, 90 s; 10:00 + 60 min = 11:00
    early = ask("10:42:30", FIVE, P101A, BY_TABLE)
    assert told(early) == "not before 11:00:00" and (early.starts_last_60_min, early.allowed_per_hour) == (5, 5)
    assert (early.not_before - at("10:42:30")).total_seconds() == 17.5 * 60  # type: ignore[operator]
    assert early.decided_by == "starts in 60 min" and "5 of 5 starts used in 60 min" in early.says
    assert told(ask("10:59:59", FIVE, P101A, BY_TABLE)) == "not before 11:00:00"
    assert told(ask("11:00:00", FIVE, P101A, BY_TABLE)) == "yes"


def test_rest_by_the_table_is_counted_from_the_stop() -> None:
    history = record(ran("11:00", 60), stops=("12:00",))
    blocked = ask("12:01", history, P101A, BY_TABLE)
    assert told(blocked) == "not before 12:01:30" and blocked.decided_by == "rest" and "90 s of rest" in blocked.says
    assert told(ask("12:01:30", history, P101A, BY_TABLE)) == "yes"


def test_a_big_motor_that_failed_waits_for_hour_and_rest_under_the_table() -> None:
    # 250 hp, 2-pole: 1.8 is 1 an hour, 1000 s: rest over at 13:17:00, the hour at 14:00:00
    history = record(*did(TRIPPED, "13:00", duration_s=20))
    resting = ask("13:10", history, K201, BY_TABLE)
    assert told(resting) == "not before 14:00:00"
    later_on = ask("13:20", history, K201, BY_TABLE)
    assert told(later_on) == "not before 14:00:00" and later_on.decided_by == "starts in 60 min"
    assert told(ask("14:00", history, K201, BY_TABLE)) == "yes, try 2 of 2"
    again = record(*history.starts, *did(TRIPPED, "14:00"))
    assert told(ask("15:30", again, K201, BY_TABLE)) == FIND


def test_an_automatic_restart_uses_up_a_start() -> None:
    # 25 hp, 4-pole: 8 an hour; back by itself at 02:10 after a dip
    before, after = record(ran("02:00", 10)), record(ran("02:00", 10), *did(AUTOMATIC, "02:10"), stops=("02:20",))
    assert ask("02:21", before, G305, BY_TABLE).starts_last_60_min == 1
    assert ask("02:21", after, G305, BY_TABLE).starts_last_60_min == 2


@pytest.mark.parametrize("motor, plan, count, rest, source", [
    (P101A, BY_TABLE, 5, 90, "NEMA MG 10 table, load inertia unknown: A alone"),
    # 25 hp, Wk² 50: 122 / 50 = 2.44, two (published example)
    (G305, StartPlan(TABLE, load_wk2_lbft2=50.0), 2, 58, "NEMA MG 10 table"),
    (replace(G305, load_wk2_lbft2=50.0), BY_TABLE, 2, 58, "NEMA MG 10 table"),
    (plate(75, 8), BY_TABLE, 1, 0, "general practice, outside the NEMA MG 10 table"),
    (plate(45, 4), BY_TABLE, 3, 0, "general practice, outside the NEMA MG 10 table"),
], ids=["inertia unknown", "inertia of the plan", "inertia of the plate", "8 poles", "45 hp"])
def test_the_table_s_figures_and_what_they_lack(motor: Nameplate, plan: StartPlan, count: int, rest: int,
                                                source: str) -> None:
    figures = basis(motor, plan, LIMITS)
    assert (figures.count.value, figures.rest_s.value, figures.count.source) == (count, rest, source)
    assert source in ask("10:00", record(), motor, plan).says


def test_a_load_too_heavy_for_one_start_an_hour_is_never_yes_by_the_table() -> None:
    # 75 hp, 4-pole: B 338 / 400 = 0.845, rounded down none
    heavy = StartPlan(TABLE, load_wk2_lbft2=400.0)
    assert told(ask("10:00", record(), P101A, heavy)) == "no"
    assert told(ask("10:00", record(), P101A, replace(heavy, written_starts_per_hour=1))) == "yes"


# the unit's procedure --------------------------------------------------------------------------------------


WRITTEN_CASES = [
    # 2 an hour is 30 min apart unless the procedure says otherwise
    ("two an hour", StartPlan(WRITTEN, 2), 2000, "10:29", "not before 10:30:00"),
    ("spacing as written", StartPlan(WRITTEN, 2, written_spacing_min=5), 2000, "10:10", "yes"),
    ("a wide spacing alone", StartPlan(WRITTEN, None, written_spacing_min=45), 2000, "10:44", "not before 10:45:00"),
    ("half a start an hour", StartPlan(WRITTEN, 0.5), 2000, "11:59", "not before 12:00:00"),
    ("half a start an hour, short spacing", StartPlan(WRITTEN, 0.5, written_spacing_min=5), 2000, "11:59",
     "not before 12:00:00"),
    ("over general practice", StartPlan(written_starts_per_hour=4), 200, "10:10", "not before 10:15:00"),
    # the table's 1000 s still stand: run to 10:08, over at 10:24:40
    ("over the table, whose rest stands", StartPlan(TABLE, 4), 250, "10:10", "not before 10:24:40"),
    ("without a figure, general practice", StartPlan(WRITTEN), 200, "10:10", "not before 11:00:00"),
]


@pytest.mark.parametrize("plan, hp, clock, answer", [c[1:] for c in WRITTEN_CASES], ids=[c[0] for c in WRITTEN_CASES])
def test_the_written_procedure_wins_where_it_has_the_figure(plan: StartPlan, hp: float, clock: str,
                                                            answer: str) -> None:
    assert told(ask(clock, record(ran("10:00", 8)), plate(hp, 2), plan)) == answer


def test_a_written_running_time_and_what_ends_the_wait() -> None:
    # it ran 8 of 10 min; standing it cannot run longer: 60 min of rest after 10:08
    plan = StartPlan(WRITTEN, 4, written_spacing_min=5, written_run_min=10)
    short = ask("10:10", record(ran("10:00", 8)), plate(200), plan)
    assert told(short) == "not before 11:08:00" and short.source == "unit's procedure"
    assert told(ask("10:10", record(ran("10:00", 10)), plate(200), replace(plan, written_run_min=10))) == "yes"


def test_a_failed_start_under_a_procedure_waits_and_its_tries_end() -> None:
    plan = StartPlan(WRITTEN, 4, written_spacing_min=10, written_tries=2)
    one, two = record(*did(TRIPPED, "10:00")), record(*did(TRIPPED, "10:00", "10:10"))
    assert told(ask("10:01", one, plate(2000), plan)) == "not before 10:10:00"
    assert told(ask("10:10", one, plate(2000), plan)) == "yes, try 2 of 2"
    assert told(ask("12:00", two, plate(2000), plan)) == FIND


def test_a_written_spacing_leaves_no_try_at_once() -> None:
    # 30 hp, 25 min written over general practice; with tries alone written, the hour is still general practice's
    failed = record(*did(TRIPPED, "10:00"))
    spaced, tries_only = StartPlan(written_spacing_min=25), StartPlan(written_tries=2)
    assert told(ask("10:01", failed, plate(30), spaced)) == "not before 10:25:00"
    bumped = record(ran("10:00", 0.1))  # 6 s; 60 min of rest after it
    assert told(ask("10:11", bumped, plate(30), spaced, then_continuous=True)) == "not before 11:00:06"
    assert told(ask("10:01", failed, plate(30), tries_only)) == "yes, try 2 of 2"


@pytest.mark.parametrize("motor", [plate(2000), plate(1500.01), plate(None)],
                         ids=["2,000 hp", "1,500.01 hp", "hp unknown"])
@pytest.mark.parametrize("plan", [BY_PRACTICE, BY_TABLE, StartPlan(WRITTEN), StartPlan(written_tries=2)])
@pytest.mark.parametrize("continuous", [False, True])
def test_without_a_procedure_nobody_is_told_yes(motor: Nameplate, plan: StartPlan, continuous: bool) -> None:
    answer = ask("10:00", record(), motor, plan, then_continuous=continuous)
    assert (answer.answer, answer.not_before, answer.allowed_per_hour) == ("no", None, None)
    assert "written procedure" in answer.would_change


def test_a_limit_of_the_unit_wins_over_general_practice_and_says_so() -> None:
    two = Limits({"start_to_50_hp_per_hour": (2.0, "unit's limit")})
    answer = ask("10:20", record(ran("10:00", 18)), plate(30), limits=two)
    assert told(answer) == "not before 10:30:00" and answer.source == "unit's limit"  # 60 / 2


# before the limits -----------------------------------------------------------------------------------------


FUSE = TripRecord(at("09:00"), "fuse", cause="not known")
OVERLOAD = TripRecord(at("09:00"), "overload relay")
ORDER = [
    ("running now", record(condition="running", running_since=at("08:00"), trips=(FUSE,)), "running now", "no"),
    ("started, no stop on record", record(StartRecord(at("08:00")), condition="running"), "running now", "no"),
    ("locked out, a trip besides", record(condition="locked out", trips=(FUSE,)), "locked out", "no"),
    ("seen running under its lock", record(condition="locked out", running_since=at("08:00")), "running now", "no"),
    ("out of service", record(condition="out of service"), "out of service", "no"),
    ("fault before overload", record(trips=(FUSE, replace(OVERLOAD, at=at("09:30")))), "fault trip", FIND),
    ("overload before tries", record(*did(TRIPPED, "08:00", "08:01"), trips=(OVERLOAD,)), "overload trip", FIND),
    ("tries before limits", record(*did(TRIPPED, "09:50", "09:51")), "tries used up", FIND),
    ("limits before the check", StartHistory(starts=(ran("09:50", 5),), back_in_service_at=at("09:56")),
     "starts in 60 min", "not before 10:50:00"),
    ("the check last", StartHistory(), "pre-start check", "no"),
]


@pytest.mark.parametrize("history, rule, answer", [c[1:] for c in ORDER], ids=[c[0] for c in ORDER])
def test_the_first_rule_in_order_decides(history: StartHistory, rule: str, answer: str) -> None:
    got = ask("10:00", history, plate(200))
    assert (got.decided_by, told(got)) == (rule, answer)
    assert got.answer == ("not before" if answer.startswith("not") else "no")


def test_a_check_that_is_due_as_well_is_told_while_waiting() -> None:
    waiting = ask("10:00", StartHistory(starts=(ran("09:50", 5),), back_in_service_at=at("09:56")), plate(200))
    assert "pre-start check is due as well" in waiting.would_change


def test_a_start_that_tripped_is_judged_by_tries_until_a_trip_record_says_what_opened() -> None:
    failed = record(*did(TRIPPED, "13:00:20"))
    assert told(ask("13:02", failed, plate(200))) == "yes, try 2 of 2"
    told_later = replace(failed, trips=(TripRecord(at("13:00:20"), "circuit breaker"),))
    assert told(ask("13:02", told_later, plate(200))) == FIND


# time ------------------------------------------------------------------------------------------------------


def test_thirty_real_minutes_are_thirty_minutes_on_the_night_the_clocks_go_back() -> None:
    # 1 Nov 2026, America/Chicago: 01:30 CDT (06:30 UTC), and 01:30 CST an hour later. Spacing 20 min.
    first, second = (datetime(2026, 11, 1, 1, 30, tzinfo=CHICAGO, fold=fold) for fold in (0, 1))
    history = StartHistory(starts=(StartRecord(first, "ran", 900.0),), seen_running_at=first)
    early = ask(datetime(2026, 11, 1, 1, 49, tzinfo=CHICAGO), history, plate(30))
    assert early.not_before == datetime(2026, 11, 1, 6, 50, tzinfo=UTC) and "01:50:00 CDT" in early.says
    assert told(ask(datetime(2026, 11, 1, 1, 50, tzinfo=CHICAGO), history, plate(30))) == "yes"
    # a start at 01:50 CDT, asked at 01:10 CST: 20 real minutes, though the wall clock went back
    wall_back = StartHistory(starts=(StartRecord(datetime(2026, 11, 1, 1, 50, tzinfo=CHICAGO), "ran", 900.0),),
                             seen_running_at=first)
    assert told(ask(datetime(2026, 11, 1, 1, 9, 59, tzinfo=CHICAGO, fold=1), wall_back, plate(30))).startswith("not")
    assert told(ask(datetime(2026, 11, 1, 1, 10, tzinfo=CHICAGO, fold=1), wall_back, plate(30))) == "yes"
    # 200 hp: the hour from 01:30 CDT ends at 01:30 CST
    assert told(ask(second, history, plate(200))) == "yes"
    assert told(ask(datetime(2026, 11, 1, 1, 29, 59, tzinfo=CHICAGO, fold=1), history, plate(200))).startswith("not")


def test_the_time_is_said_in_the_zone_asked_in_and_never_too_early() -> None:
    history = record(StartRecord(later("10:00", milliseconds=400), "ran", 900.0))
    told_in_utc = ask(at("10:10").astimezone(UTC), history, plate(30))
    assert told_in_utc.not_before == later("10:20", milliseconds=400) and "16:20:01" in told_in_utc.says
    over_midnight = ask("23:50", record(ran("23:40", 5)), plate(200))
    assert "00:40:00 on 25 Nov" in over_midnight.says


def test_a_time_without_its_zone_is_refused() -> None:
    with pytest.raises(MakesNoSense):
        ask(datetime(2026, 11, 24, 10, 0), record(), P101A)  # noqa: DTZ001


# what is on record of a run --------------------------------------------------------------------------------


RUNS = [
    ("a stop goes before the duration", record(StartRecord(at("10:00"), "ran", 8.0), stops=("10:16",)),
     "not before 10:20:00"),
    ("a trip is a stop", record(StartRecord(at("10:00"), "ran"),
                                trips=(replace(OVERLOAD, at=at("10:05"), cause="jam", relay_reset_at=at("10:06")),)),
     "yes, try 2 of 3"),
    ("noted standing since", record(StartRecord(at("10:00"), "ran"), condition_since=at("10:05")), "yes, try 2 of 3"),
    ("nobody noted a stop", record(StartRecord(at("10:00"), "ran")), "not before 10:20:00"),
    ("ran until the next start", record(StartRecord(at("09:40"), "ran"), StartRecord(at("10:00"), "ran"),
                                        stops=("10:15",)), "not before 10:20:00"),
]


@pytest.mark.parametrize("history, answer", [c[1:] for c in RUNS], ids=[c[0] for c in RUNS])
def test_how_long_it_ran(history: StartHistory, answer: str) -> None:
    assert told(ask("10:17", history, plate(30))) == answer


def test_every_answer_is_short_and_says_what_would_change_it() -> None:
    histories = (THREE, FIVE, TRIPPED_ONCE, *(case[1] for case in ORDER), *(case[2] for case in ORDINARY + TRIES))
    wordy = Limits({"start_over_50_hp_per_hour": (1.0, "unit's limit")})
    for history in histories:
        for motor in (P101A, K201, plate(30), plate(2000), plate(45, 8)):
            for plan in (BY_PRACTICE, BY_TABLE, StartPlan(WRITTEN, 2)):
                answer = ask("13:41", history, motor, plan, limits=wordy)
                assert len(answer.says.split()) <= 30 and answer.says.endswith("."), answer.says
                assert answer.would_change and answer.source and answer.decided_by
                assert "safe" not in answer.says
