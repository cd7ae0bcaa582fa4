"""What the eye finds before a hand goes anywhere, running or not."""

from __future__ import annotations

from typing import Any

import pytest

from app.rules import safety
from app.rules.facts import STATES
from app.rules.findings import ACT_NOW, THIS_SHIFT, WATCH
from tests.rules.plant import LIMITS, facts, reading

CASES = [
    ("smoke", {"smoke": "seen"}, [("smoke", ACT_NOW)]),
    ("no smoke", {"smoke": "none"}, []),
    ("guard missing", {"guard": "missing"}, [("guard_or_ground", ACT_NOW)]),
    ("guard loose", {"guard": "loose"}, [("guard_or_ground", ACT_NOW)]),
    ("ground missing", {"ground": "missing"}, [("guard_or_ground", ACT_NOW)]),
    ("ground loose", {"ground": "loose"}, [("guard_or_ground", ACT_NOW)]),
    ("both are one finding", {"guard": "missing", "ground": "loose"}, [("guard_or_ground", ACT_NOW)]),
    ("both in place", {"guard": "in place", "ground": "in place"}, []),
    ("clean", {"cleanliness": "clean"}, []),
    ("dusty", {"cleanliness": "dusty"}, [("dirty", WATCH)]),
    ("oily", {"cleanliness": "oily"}, [("dirty", THIS_SHIFT)]),
    ("vents blocked", {"cleanliness": "vents blocked"}, [("dirty", THIS_SHIFT)]),
    ("nothing looked at", {}, []),
]


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("seen, expected", [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_the_eye_counts_in_every_state(seen: dict[str, Any], expected: list[tuple[str, str]], state: str) -> None:
    found = safety.check(facts(reading(state, **seen)), LIMITS)
    assert [(finding.rule, finding.priority) for finding in found] == expected


def test_guard_and_ground_are_both_named() -> None:
    says = safety.check(facts(reading(guard="missing", ground="loose")), LIMITS)[0].says
    assert says.startswith("Coupling guard missing and ground wire loose")
    assert safety.check(facts(reading(ground="loose")), LIMITS)[0].says.startswith("Ground wire loose")


def test_without_a_reading_nothing_was_seen() -> None:
    assert safety.check(facts(None), LIMITS) == []
