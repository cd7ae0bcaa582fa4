"""After greasing: warmth is expected for a day, then the bearing must be back where it was."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from app.rules import settling, sheet
from app.rules.facts import Ends, Facts, Greasing, History, Reading
from app.rules.findings import THIS_SHIFT
from app.rules.limits import Limits
from tests.rules.plant import LIMITS, NOW, facts, of, quiet

#: three readings before the greasing, median 58 °C at the drive end
BEFORE = (57.0, 58.0, 60.0)


def earlier(greased_h: float, temps: tuple[float, ...] = BEFORE, feel: str = "warm") -> tuple[Reading, ...]:
    return tuple(quiet(at=NOW - timedelta(hours=greased_h + 12 * i), bearing_temp_c=Ends(temp, 55.0), method="contact",
                       bearing_feel=Ends(feel, "warm")) for i, temp in enumerate(temps, start=1))


def after(greased_h: float, temp_c: float | None, state: str = "running", feel: str = "warm", method: str = "contact",
          **history: Any) -> Facts:
    seen = {"bearing_temp_c": Ends(temp_c, 55.0)} if temp_c is not None else {}
    taken = quiet(state, bearing_feel=Ends(feel, "warm"), method=method, **seen)
    greased = Greasing("DE", NOW - timedelta(hours=greased_h), grams=23.0)
    given = {"running": earlier(greased_h), "greasings": (greased,), **history}
    return facts(taken, history=History(**given))


#: name: hours since the greasing, °C now, flagged
MEASURED = [
    ("8 K above, as before", 30.0, 66.0, False), ("just over 8 K above", 30.0, 66.1, True),
    ("within the day, warmth is expected", 23.9, 75.0, False), ("the day is over", 24.0, 75.0, True),
    ("a week later", 168.0, 75.0, True), ("longer ago than a week", 168.1, 75.0, False),
    ("colder than before", 30.0, 50.0, False),
]


@pytest.mark.parametrize(("hours", "temp_c", "flagged"), [m[1:] for m in MEASURED], ids=[m[0] for m in MEASURED])
def test_a_bearing_that_does_not_settle_back_is_flagged(hours: float, temp_c: float, flagged: bool) -> None:
    found = settling.check(after(hours, temp_c), LIMITS)
    assert of(settling.RULE, found) == ([("DE", THIS_SHIFT)] if flagged else [])


def test_the_sentence_says_how_far_above_and_how_long_ago() -> None:
    found = settling.check(after(30.0, 70.0), LIMITS)[0]
    assert (found.value, found.limit, found.unit_of_measure) == (12.0, 8.0, "K")
    assert found.says == ("DE bearing 70 °C, 12 K above before it was greased 30 h ago; 8 K may stay "
                          "(general practice). Check for too much grease.")


@pytest.mark.parametrize("history", [
    {"running": ()}, {"running": earlier(30.0)[:2]}, {"greasings": ()},
    {"greasings": (Greasing("DE", NOW - timedelta(hours=30), grams=0.0),)},
    {"greasings": (Greasing("ODE", NOW - timedelta(hours=30), grams=23.0),)}],
    ids=["nothing read before", "two readings before", "not greased", "nothing went in", "the other end"])
def test_without_a_before_there_is_no_word(history: dict[str, Any]) -> None:
    assert settling.check(after(30.0, 80.0, **history), LIMITS) == []


def test_another_method_or_a_motor_that_stands_says_nothing() -> None:
    assert settling.check(after(30.0, 80.0, method="infrared"), LIMITS) == []
    assert settling.check(after(30.0, 80.0, state="standby"), LIMITS) == []


def test_by_hand_a_grade_hotter_than_before_is_flagged() -> None:
    assert of(settling.RULE, settling.check(after(30.0, None, feel="hot"), LIMITS)) == [("DE", THIS_SHIFT)]
    assert settling.check(after(30.0, None, feel="warm"), LIMITS) == []
    assert settling.check(after(30.0, None, feel="could not feel"), LIMITS) == []
    found = settling.check(after(30.0, None, feel="hot"), LIMITS)[0]
    assert found.says.startswith("DE bearing hot, warm before it was greased 30 h ago")


def test_what_flags_within_the_day_says_that_it_was_greased() -> None:
    given = after(3.0, 92.0)
    hot = next(f for f in sheet.judge(given, LIMITS) if f.rule == "bearing_hot")
    assert hot.says.endswith("DE greased 3 h ago.")
    assert len(hot.says.split()) <= 30
    later = next(f for f in sheet.judge(after(25.0, 92.0), LIMITS) if f.rule == "bearing_hot")
    assert "greased" not in later.says


def test_the_limits_of_the_unit_are_used() -> None:
    assert settling.check(after(30.0, 70.0), Limits({"not_settled_this_shift_k": (12.0, "unit's limit")})) == []
    assert settling.check(after(30.0, 70.1), Limits({"not_settled_this_shift_k": (12.0, "unit's limit")}))
