"""Temporary states past the end that was expected for them."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.rules import temporary
from app.rules.facts import History, TemporaryState
from app.rules.findings import ACT_NOW, THIS_SHIFT
from tests.rules.plant import LIMITS, NOW, facts, of


def state(kind: str = "drain plug out", ended_h: float = 1.0, since_h: float = 5.0, end: str | None = "DE",
          person: str | None = "Lee") -> TemporaryState:
    """Begun since_h ago; its expected end was ended_h ago (below zero: still to come)."""
    return TemporaryState(kind, NOW - timedelta(hours=since_h), NOW - timedelta(hours=ended_h), end, person)


def found(*states: TemporaryState) -> list[tuple[str | None, str]]:
    return of(temporary.RULE, temporary.check(facts(None, history=History(temporary=states)), LIMITS))


@pytest.mark.parametrize(("ended_h", "expected"), [
    (-0.001, []), (0.0, []), (0.001, [("DE", THIS_SHIFT)])], ids=["before its end", "at its end", "past its end"])
def test_a_state_is_flagged_when_its_end_has_passed(ended_h: float, expected: list[tuple[str, str]]) -> None:
    assert found(state(ended_h=ended_h)) == expected


@pytest.mark.parametrize(("kind", "priority"), [
    ("drain plug out", THIS_SHIFT), ("temporary fan", THIS_SHIFT), ("other", THIS_SHIFT), ("guard off", ACT_NOW),
    ("bypass", ACT_NOW)])
def test_a_guard_off_or_a_bypass_past_its_end_is_act_now(kind: str, priority: str) -> None:
    assert found(state(kind)) == [("DE", priority)]


def test_each_end_has_its_own_finding_and_the_gravest_speaks_for_the_rest() -> None:
    states = (state(end="DE"), state("guard off", end=None), state("temporary fan", end=None), state(end="ODE"))
    given = temporary.check(facts(None, history=History(temporary=states)), LIMITS)
    assert [(f.end, f.priority) for f in given] == [(None, ACT_NOW), ("DE", THIS_SHIFT), ("ODE", THIS_SHIFT)]
    assert given[0].says.startswith("Guard off for 5 h; 4 h was expected")
    assert given[0].says.endswith("1 more past the end.")


def test_the_sentence_says_how_long_how_long_was_expected_and_by_whom() -> None:
    says = temporary.check(facts(None, history=History(temporary=(state(),))), LIMITS)[0].says
    assert says == ("Drain plug out at DE for 5 h; 4 h was expected (the end expected for it, Lee). End it, or give a "
                    "new end.")


def test_nothing_half_way_is_nothing() -> None:
    assert found() == []
