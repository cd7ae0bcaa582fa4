"""What the round asks, and what nobody answered."""

from __future__ import annotations

from typing import Any

import pytest

from app.rules import required
from app.rules.facts import Ends, LubricationPoint
from app.rules.findings import THIS_SHIFT
from tests.rules.plant import LIMITS, MOTOR, facts, of, quiet, reading

ALL = ("smoke", "guard", "ground", "vibration.DE", "vibration.ODE", "bearing.DE", "bearing.ODE", "winding",
       "current_a", "lubricant.DE", "lubricant.ODE", "cleanliness")
STANDING = ("smoke", "guard", "ground", "lubricant.DE", "lubricant.ODE", "cleanliness")
SEALED = LubricationPoint(kind="sealed")
CASES = [
    ("running", "running", {}, ALL),
    ("standby", "standby", {}, STANDING),
    ("out of service", "out of service", {}, ()),
    ("locked out", "locked out", {}, ()),
    ("no ammeter", "running", {"ammeter": "none"}, tuple(c for c in ALL if c != "current_a")),
    ("ammeter not known", "running", {"ammeter": None}, tuple(c for c in ALL if c != "current_a")),
    ("ammeter in the control room", "running", {"ammeter": "control room"}, tuple(c for c in ALL if c != "current_a")),
    ("three meters", "running", {"ammeter": "three"}, ALL),
    ("one end sealed", "standby", {"lubrication": Ends(SEALED, LubricationPoint(kind="oil"))},
     tuple(c for c in STANDING if c != "lubricant.DE")),
    ("both sealed", "standby", {"lubrication": Ends(SEALED, SEALED)}, ("smoke", "guard", "ground", "cleanliness")),
    ("probes report to the control room", "running",
     {"by_control_room": frozenset({"winding_temp_c", "bearing_temp_c.DE", "vibration_mm_s"})},
     tuple(c for c in ALL if c not in ("winding", "bearing.DE", "vibration.DE", "vibration.ODE"))),
]
ANSWERS = [
    ("nothing left", {}, ()),
    ("a feel answers", {"bearing_temp_c": Ends(), "bearing_feel": Ends("warm", "cool")}, ()),
    ("a figure answers", {"bearing_feel": Ends(), "bearing_temp_c": Ends(61.0, 60.0), "vibration_feel": Ends(),
                          "vibration_mm_s": Ends(1.0, 0.0)}, ()),
    ("zero is an answer", {"current_a": (0.0,)}, ()),
    ("could not feel is an answer", {"winding_feel": "could not feel"}, ()),
    ("not fitted is an answer", {"current_a": (), "unread": {"current_a": "not fitted"}}, ()),
    ("could not read at one end", {"bearing_feel": Ends("warm"), "unread": {"bearing_temp_c.ODE": "could not read"}},
     ()),
    ("could not read either end", {"bearing_feel": Ends(), "unread": {"bearing_temp_c": "could not read"}}, ()),
    ("a reason for one end is none for the other", {"bearing_feel": Ends(),
                                                    "unread": {"bearing_temp_c.ODE": "not fitted"}},
     ("bearing.DE",)),
    ("amps blank", {"current_a": ()}, ("current_a",)),
    ("winding blank", {"winding_feel": None}, ("winding",)),
    ("smoke blank", {"smoke": None}, ("smoke",)),
    ("lubricant blank at one end", {"lubricant": Ends("ok")}, ("lubricant.ODE",)),
]


@pytest.mark.parametrize("state, motor, expected", [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_the_round_asks_what_this_motor_has_in_this_state(state: str, motor: dict[str, Any],
                                                          expected: tuple[str, ...]) -> None:
    assert required.required(facts(None, motor=motor).motor, state) == expected


@pytest.mark.parametrize("seen, left", [c[1:] for c in ANSWERS], ids=[c[0] for c in ANSWERS])
def test_a_value_or_a_reason_answers_and_a_blank_does_not(seen: dict[str, Any], left: tuple[str, ...]) -> None:
    assert required.missing(MOTOR, quiet(**seen)) == left


def test_everything_left_out_is_one_finding_that_names_all_of_it() -> None:
    found = required.check(facts(reading()), LIMITS)
    assert of(required.RULE, found) == [(None, THIS_SHIFT)]
    assert ("smoke, guard, ground, vibration both ends, bearing both ends, winding, amps, lubricant both ends, "
            "cleanliness") in found[0].says
    one = required.check(facts(quiet(lubricant=Ends("ok"))), LIMITS)
    assert "no reason given: lubricant ODE (" in one[0].says


def test_nobody_walked_or_nothing_left_is_no_finding() -> None:
    assert required.check(facts(reading(), walked=False), LIMITS) == []  # by token
    assert required.check(facts(None), LIMITS) == []  # only the clock moved
    assert required.check(facts(quiet()), LIMITS) == []
    assert required.check(facts(reading("out of service")), LIMITS) == []
