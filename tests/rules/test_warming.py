"""First-run watch: a bearing that warms faster than 2 K a minute."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from app.rules import warming
from app.rules.facts import Ends, History, Reading, Show
from app.rules.findings import ACT_NOW
from app.rules.tables import MakesNoSense
from tests.rules.plant import LIMITS, NOW, facts, of, reading

STARTED = NOW - timedelta(minutes=14)


def at(minute: float, de: float | None, ode: float | None = None, **seen: Any) -> Reading:
    """A reading so many minutes after the start."""
    return reading(at=STARTED + timedelta(minutes=minute), bearing_temp_c=Ends(de, ode), **seen)


CASES = [
    # started with 30 °C; 45 at 10 min is 1.5 K/min; 54 at 14 min is 9 K in 4 min, 2.25 K/min
    ("1.5 K a minute", (at(0, 30.0),), at(10, 45.0), []),
    ("2.25 K a minute since the last", (at(10, 45.0), at(0, 30.0)), at(14, 54.0), [("DE", ACT_NOW)]),
    ("exactly 2 K a minute", (at(10, 45.0),), at(14, 53.0), []),
    ("just over 2 K a minute", (at(10, None, 45.0),), at(14, None, 53.1), [("ODE", ACT_NOW)]),
    ("cooling", (at(10, 60.0),), at(14, 45.0), []),
    ("another method", (at(10, 45.0, method="infrared"),), at(14, 60.0, method="contact"), []),
    ("before the start", (at(-5, 20.0),), at(1, 45.0), []),
    ("nothing before", (), at(14, 54.0), []),
    ("end not read now", (at(10, 45.0),), at(14, None), []),
    ("same instant twice", (at(14, 45.0),), at(14, 60.0), []),
]


@pytest.mark.parametrize("before, now, expected", [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_the_rate_between_two_timed_readings_counts(before: tuple[Reading, ...], now: Reading,
                                                    expected: list[tuple[str, str]]) -> None:
    given = facts(now, history=History(running=before, last_start_at=STARTED))
    assert of(warming.RULE, warming.check(given, LIMITS)) == expected


@pytest.mark.parametrize("hours, watched", [(2.0, True), (2.01, False)])
def test_the_watch_ends_after_two_hours(hours: float, watched: bool) -> None:
    late = at(60 * hours, 90.0)
    before = at(60 * hours - 10, 45.0)
    found = warming.check(facts(late, history=History(running=(before,), last_start_at=STARTED)), LIMITS)
    assert bool(found) is watched


def test_without_a_start_or_standing_there_is_no_watch() -> None:
    now, before = at(14, 90.0), at(10, 45.0)
    assert warming.check(facts(now, history=History(running=(before,))), LIMITS) == []
    standing = reading("standby", at=now.taken_at, bearing_temp_c=Ends(90.0))
    assert warming.check(facts(standing, history=History(running=(before,), last_start_at=STARTED)), LIMITS) == []
    assert warming.check(facts(None, history=History(last_start_at=STARTED)), LIMITS) == []


def test_the_sentence_gives_the_rate_in_the_unit_s_degrees() -> None:
    history = History(running=(at(10, 45.0),), last_start_at=STARTED)
    celsius = warming.check(facts(at(14, 54.0), history=history), LIMITS)[0]
    assert "2.25 K a minute, above 2 K a minute" in celsius.says and celsius.value == pytest.approx(2.25)
    fahrenheit = warming.check(facts(at(14, 54.0), history=history, show=Show(temperature="F")), LIMITS)[0]
    assert "4.05 °F a minute, above 3.6 °F a minute" in fahrenheit.says


def test_a_rate_needs_time() -> None:
    assert warming.rate_k_per_min(30.0, 45.0, 10.0) == 1.5
    with pytest.raises(MakesNoSense):
        warming.rate_k_per_min(30.0, 45.0, 0.0)
