"""The judge over 90 days of 60 invented motors with planted faults: what it must find, and what it must not say.

Goals of the client: 95 % of the planted faults found; 2 false flags of act now or this shift in 1,000 readings at most.
"""

from __future__ import annotations

import itertools

import pytest

from tests.benchmarks.answer_key import Score, judge
from tests.benchmarks.invented import AS_HEARD, AS_MEASURED, Scatter, invent

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module", params=[AS_HEARD, AS_MEASURED], ids=["scatter as heard", "scatter as measured"])
def score(request: pytest.FixtureRequest) -> Score:
    """54 faults, six of each kind; the night the clocks go back is among the days."""
    scatter: Scatter = request.param
    return judge(invent(motors=60, days=90, shifts=2, faults=54, scatter=scatter))


def test_of_the_planted_faults_nearly_all_are_found(score: Score) -> None:
    assert score.planted == 42  # a swap and a start that was logged are no faults
    assert score.recall >= 0.95, "\n".join(score.lines())


def test_motors_with_nothing_wrong_are_left_alone(score: Score) -> None:
    assert score.readings == 60 * 90 * 2
    assert score.false_per_1000 <= 2.0, "\n".join(score.lines())


def test_starts_are_asked_about_where_nobody_logged_them_and_nowhere_else(score: Score) -> None:
    """Six motors stood and were started without a word, six with their start in the log."""
    assert score.by_rule["start_not_logged"] == (6, 0)


def test_each_motor_is_read_once_a_shift_also_in_the_night_the_clocks_go_back() -> None:
    rows = list(invent(motors=1, days=70, shifts=3).rows())
    apart_h = [(b.at - a.at).total_seconds() / 3600 for a, b in itertools.pairwise(rows)]
    assert (len(rows), apart_h.count(8.0), apart_h.count(9.0)) == (210, 208, 1)
