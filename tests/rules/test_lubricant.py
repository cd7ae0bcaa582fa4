"""What was seen at each bearing, running or not, and a leak anywhere."""

from __future__ import annotations

import pytest

from app.rules import lubricant
from app.rules.facts import LUBRICANT, STATES, Ends
from app.rules.findings import ACT_NOW, THIS_SHIFT, WATCH
from tests.rules.plant import LIMITS, facts, of, reading

EXPECTED = {"ok": None, "high": WATCH, "discoloured": WATCH, "purging": WATCH, "low": THIS_SHIFT,
            "leaking": THIS_SHIFT, "empty": ACT_NOW}


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("word", LUBRICANT)
def test_each_word_has_its_priority_in_every_state(word: str, state: str) -> None:
    found = lubricant.check(facts(reading(state, lubricant=Ends(None, word))), LIMITS)
    assert of(lubricant.RULE, found) == ([] if EXPECTED[word] is None else [("ODE", EXPECTED[word])])


@pytest.mark.parametrize("leak, expected", [("none", []), (None, []), ("seen", [(None, THIS_SHIFT)])])
def test_a_leak_belongs_to_no_end(leak: str | None, expected: list[tuple[None, str]]) -> None:
    assert of(lubricant.RULE, lubricant.check(facts(reading(leak=leak)), LIMITS)) == expected


def test_ends_and_leak_are_findings_of_their_own() -> None:
    found = lubricant.check(facts(reading(lubricant=Ends("empty", "high"), leak="seen")), LIMITS)
    assert of(lubricant.RULE, found) == [("DE", ACT_NOW), ("ODE", WATCH), (None, THIS_SHIFT)]


def test_without_a_reading_nothing_was_seen() -> None:
    assert lubricant.check(facts(None), LIMITS) == []
