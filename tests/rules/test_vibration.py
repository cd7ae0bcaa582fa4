"""A hand's words against this motor's usual, an instrument against the zones of its size and mounting."""

from __future__ import annotations

from typing import Any

import pytest

from app.rules import vibration
from app.rules.facts import Ends, Show
from app.rules.findings import ACT_NOW, THIS_SHIFT
from app.rules.limits import Limits
from tests.rules.plant import LIMITS, facts, of, reading

#: ISO 20816-3 / 10816-3 Annex A and ISO 10816-1 class I: hp, mounting, B/C, C/D
SIZES = [
    ("75 hp rigid", 75.0, "rigid", 2.8, 4.5), ("75 hp flexible", 75.0, "flexible", 4.5, 7.1),
    ("450 hp rigid", 450.0, "rigid", 4.5, 7.1), ("450 hp flexible", 450.0, "flexible", 7.1, 11.0),
    ("20 hp is small (14.92 kW)", 20.0, "rigid", 1.8, 4.5), ("15 kW is small", 15 / 0.746, "flexible", 1.8, 4.5),
    ("25 hp is medium", 25.0, "rigid", 2.8, 4.5), ("300 kW is medium", 300 / 0.746, "rigid", 2.8, 4.5),
    ("just over 300 kW is large", 300.1 / 0.746, "rigid", 4.5, 7.1),
    ("size not known", None, "rigid", 2.8, 4.5), ("mounting not known", 75.0, None, 2.8, 4.5),
    ("neither known", None, None, 2.8, 4.5),
]
FELT = [("as usual", None), ("rougher than usual", THIS_SHIFT), ("severe", ACT_NOW), ("could not feel", None)]


@pytest.mark.parametrize("hp, mounting, c_above, d_above", [s[1:] for s in SIZES], ids=[s[0] for s in SIZES])
def test_an_instrument_is_judged_by_size_and_mounting(hp: float | None, mounting: str | None, c_above: float,
                                                      d_above: float) -> None:
    for mm_s, priority in ((c_above, None), (c_above + 0.01, THIS_SHIFT), (d_above, THIS_SHIFT),
                           (d_above + 0.01, ACT_NOW)):
        found = vibration.check(facts(reading(vibration_mm_s=Ends(mm_s)), {"hp": hp, "mounting": mounting}), LIMITS)
        assert of(vibration.RULE, found) == ([] if priority is None else [("DE", priority)]), mm_s


@pytest.mark.parametrize("feel, priority", FELT, ids=[f[0] for f in FELT])
def test_a_hand_tells_only_the_change(feel: str, priority: str | None) -> None:
    found = vibration.check(facts(reading(vibration_feel=Ends(None, feel))), LIMITS)
    assert of(vibration.RULE, found) == ([] if priority is None else [("ODE", priority)])
    assert all(finding.value is None for finding in found)


@pytest.mark.parametrize("seen, priority, text", [
    ({"vibration_mm_s": Ends(5.0), "vibration_feel": Ends("rougher than usual")}, ACT_NOW,
     "Feels rougher than usual too."),
    ({"vibration_mm_s": Ends(3.0), "vibration_feel": Ends("severe")}, ACT_NOW, "Measured 3 mm/s, zone C."),
    ({"vibration_mm_s": Ends(3.0), "vibration_feel": Ends("rougher than usual")}, THIS_SHIFT,
     "Feels rougher than usual too."),
], ids=["instrument graver", "hand graver", "equal, the figure speaks"])
def test_hand_and_instrument_are_one_finding_an_end(seen: dict[str, Any], priority: str, text: str) -> None:
    found = vibration.check(facts(reading(**seen)), LIMITS)
    assert of(vibration.RULE, found) == [("DE", priority)] and found[0].says.endswith(text)


def test_the_source_names_the_standard_and_what_is_not_known() -> None:
    plate = {"hp": None, "mounting": None}
    found = vibration.check(facts(reading(vibration_mm_s=Ends(2.9)), plate), LIMITS)[0]
    assert found.source == "ISO 20816-3/10816-3 Annex A, size and mounting not known" and found.source in found.says
    small = vibration.check(facts(reading(vibration_mm_s=Ends(2.0)), {"hp": 10.0}), LIMITS)[0]
    assert small.source == "ISO 10816-1 Annex B, class I"


def test_inches_a_second_are_peak_of_the_same_sine() -> None:
    found = vibration.check(facts(reading(vibration_mm_s=Ends(5.0)), show=Show(vibration="in/s")), LIMITS)[0]
    # 5.0 / 17.961 = 0.278; 4.5 / 17.961 = 0.2505
    assert "0.28 in/s peak, zone D above 0.25 in/s peak" in found.says
    assert (found.value, found.limit, found.unit_of_measure) == (5.0, 4.5, "mm/s")


def test_a_standing_motor_shakes_nothing() -> None:
    seen = {"vibration_mm_s": Ends(9.0), "vibration_feel": Ends("severe")}
    assert vibration.check(facts(reading("standby", **seen)), LIMITS) == []
    assert vibration.check(facts(None), LIMITS) == []


def test_the_unit_s_own_limit_is_used() -> None:
    limits = Limits({"vibration_group2_rigid_this_shift_mm_s": (2.0, "unit's limit")})
    assert vibration.check(facts(reading(vibration_mm_s=Ends(2.1))), limits)[0].source == "unit's limit"
