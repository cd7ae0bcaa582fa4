"""Running hours: counted by one method, and how sure that is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from app.rules import running_hours
from app.rules.running_hours import Seen, add_up, how_sure, running_share

BEGAN = datetime(2026, 11, 24, 6, 0, tzinfo=UTC)


def seen(hour: float, state: str, exact: bool = False) -> Seen:
    return Seen(BEGAN + timedelta(hours=hour), state, exact)


#: name: observations, hours until now, running hours, unsure hours (hand sums)
SPANS = [
    ("running at every look", [seen(0, "running"), seen(12, "running"), seen(24, "running")], 24, 24, 0),
    ("found standing, nobody says since when", [seen(0, "running"), seen(12, "standby")], 12, 12, 12),
    ("a stop says since when", [seen(0, "running"), seen(4, "standby", True), seen(12, "standby")], 12, 4, 0),
    ("a start says since when", [seen(0, "standby"), seen(10, "running", True), seen(12, "running")], 12, 2, 0),
    # a look a day is what a round does: 24 h are sure, what is over is not
    ("a day without a look", [seen(0, "running"), seen(24, "running")], 24, 24, 0),
    ("two days without a look", [seen(0, "running"), seen(48, "running")], 48, 48, 24),
    ("still running now", [seen(0, "running")], 10, 10, 0),
    ("still running, not looked at for 30 h", [seen(0, "running")], 30, 30, 6),
    ("standing all the time", [seen(0, "standby"), seen(12, "out of service")], 12, 0, 12),
    ("in any order", [seen(12, "running"), seen(0, "running")], 12, 12, 0),
    ("nothing observed", [], 100, 0, 0),
]


@pytest.mark.parametrize(("looks", "until_h", "run_h", "unsure"), [s[1:] for s in SPANS], ids=[s[0] for s in SPANS])
def test_a_motor_stays_as_last_observed(looks: list[Seen], until_h: float, run_h: float, unsure: float) -> None:
    assert add_up(looks, BEGAN + timedelta(hours=until_h)) == (pytest.approx(run_h), pytest.approx(unsure))


@pytest.mark.parametrize(("unsure", "over_h", "word"), [
    (0.0, 100.0, "sure"), (5.0, 100.0, "sure"), (5.1, 100.0, "fairly sure"), (25.0, 100.0, "fairly sure"),
    (25.1, 100.0, "rough"), (None, 100.0, "rough"), (0.0, 0.0, "sure")])
def test_how_sure_is_the_share_that_may_be_otherwise(unsure: float | None, over_h: float, word: str) -> None:
    assert how_sure(unsure, over_h) == word


@pytest.mark.parametrize(("run_h", "over_h", "share"), [
    (84.0, 168.0, 0.5), (0.0, 168.0, 0.0), (84.0, 167.9, 1.0), (None, 1000.0, 1.0), (170.0, 168.0, 1.0)],
    ids=["half a week", "stands", "less than a week", "not known", "never more than all"])
def test_with_less_than_a_week_on_record_a_motor_is_taken_to_run(
        run_h: float | None, over_h: float, share: float) -> None:
    assert running_share(run_h, over_h) == share


def test_the_method_is_the_same_piece_by_piece() -> None:
    looks = [seen(0, "running"), seen(7, "standby"), seen(60, "running", True), seen(61, "running")]
    run, unsure = 0.0, 0.0
    for one, other in pairwise(looks):
        gap_h = (other.at - one.at).total_seconds() / 3600
        run += gap_h if one.state == "running" else 0.0
        unsure += running_hours.unsure_h(gap_h, one.state != other.state, other.exact)
    assert add_up(looks) == (pytest.approx(run), pytest.approx(unsure))
