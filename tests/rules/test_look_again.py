"""The same figures many rounds running, and a pace nobody walks: a question, never an accusation."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from app.rules import look_again
from app.rules.facts import Ends, History, Reading
from app.rules.findings import WATCH
from tests.rules.plant import LIMITS, NOW, facts, of, reading

SEEN: dict[str, Any] = {"current_a": (78.0,), "bearing_temp_c": Ends(61.0, 58.5)}


def rounds(count: int, **changed: Any) -> tuple[Reading, ...]:
    return tuple(reading(at=NOW - timedelta(hours=12 * i), **{**SEEN, **changed}) for i in range(1, count + 1))


SAME = [
    ("five rounds", rounds(4), SEEN, False), ("six rounds", rounds(5), SEEN, True),
    ("ten rounds", rounds(9), SEEN, True),
    ("one digit other now", rounds(9), {**SEEN, "current_a": (78.1,)}, False),
    ("one round broke it", (*rounds(3), *rounds(9, current_a=(79.0,))), SEEN, False),
    ("one more figure now", rounds(9), {**SEEN, "winding_temp_c": 98.0}, False),
    ("one figure alone means nothing", rounds(9, bearing_temp_c=Ends()), {"current_a": (78.0,)}, False),
    ("words are no figures", (), {"winding_feel": "warm"}, False),
]


@pytest.mark.parametrize("before, seen, flagged", [s[1:] for s in SAME], ids=[s[0] for s in SAME])
def test_the_same_to_the_digit_many_rounds_running_asks(before: tuple[Reading, ...], seen: dict[str, Any],
                                                        flagged: bool) -> None:
    before = tuple(sorted(before, key=lambda r: r.taken_at))  # whatever order they come in
    found = look_again.check(facts(reading(**seen), history=History(running=before)), LIMITS)
    assert of(look_again.RULE, found) == ([(None, WATCH)] if flagged else [])


@pytest.mark.parametrize("pace_s, in_a_row, flagged",
                         [(9.9, 5, True), (10.0, 9, False), (9.9, 4, False), (None, 9, False)])
def test_a_pace_nobody_walks_asks(pace_s: float | None, in_a_row: int, flagged: bool) -> None:
    history = History(pace_s=pace_s, fast_in_a_row=in_a_row)
    found = look_again.check(facts(reading(**SEEN), history=history), LIMITS)
    assert of(look_again.RULE, found) == ([(None, WATCH)] if flagged else [])


def test_both_are_one_question() -> None:
    history = History(running=rounds(7), pace_s=5.0, fast_in_a_row=8)
    found = look_again.check(facts(reading(**SEEN), history=history), LIMITS)
    assert of(look_again.RULE, found) == [(None, WATCH)] and found[0].value == 8.0
    assert found[0].says.endswith("The pace was quick too.")


def test_a_reading_by_token_and_a_standing_motor_are_not_asked_about() -> None:
    history = History(running=rounds(9))
    assert look_again.check(facts(reading(**SEEN), history=history, walked=False), LIMITS) == []
    assert look_again.check(facts(reading("standby", **SEEN), history=history), LIMITS) == []
    assert look_again.check(facts(None, history=history), LIMITS) == []


def test_every_measured_number_counts_and_zero_is_one() -> None:
    taken = reading(current_a=(0.0,), voltage_v=(460.0, 461.0, 459.0), vibration_mm_s=Ends(1.2), winding_temp_c=98.0,
                    bearing_temp_c=Ends(None, 60.0))
    assert dict(look_again.figures(taken)) == {
        "current_a.0": 0.0, "voltage_v.0": 460.0, "voltage_v.1": 461.0, "voltage_v.2": 459.0,
        "bearing_temp_c.ODE": 60.0, "vibration_mm_s.DE": 1.2, "winding_temp_c": 98.0}
