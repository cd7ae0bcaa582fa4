"""A winding probe against its class, a hand against this motor's own normal."""

from __future__ import annotations

from typing import Any

import pytest

from app.rules import windings
from app.rules.findings import ACT_NOW, THIS_SHIFT
from app.rules.limits import Limits
from tests.rules.plant import LIMITS, facts, of, reading

#: a motor maker's table (MN408 Table 3-7): class, service factor, alarm, limit
MAKER = [("B", 1.0, 130, 140), ("B", 1.15, 140, 150), ("F", 1.0, 155, 165), ("F", 1.15, 160, 165),
         ("H", 1.0, 175, 185), ("H", 1.15, 180, 185), ("F", None, 155, 165), ("F", 1.1, 155, 165),
         ("A", 1.0, 100, 105), ("A", 1.15, 100, 105), ("E", 1.0, 115, 120), (" f ", 1.0, 155, 165),
         ("N", 1.0, 175, 185), (None, 1.0, 130, 140), ("?", 1.0, 130, 140)]
GRADES = [("at alarm", 0, 0.0, None), ("just over alarm", 0, 0.1, THIS_SHIFT), ("at limit", 1, 0.0, THIS_SHIFT),
          ("just over limit", 1, 0.1, ACT_NOW)]
FELT = [("as accepted", "warm", "warm", None), ("hotter than accepted", "hot", "warm", THIS_SHIFT),
        ("accepted as hot", "hot", "hot", None), ("too hot, accepted hot", "too hot to hold", "hot", THIS_SHIFT),
        ("no normal yet, warm", "warm", None, None), ("no normal yet, hot", "hot", None, THIS_SHIFT),
        ("could not feel", "could not feel", "warm", None), ("not felt", None, "warm", None)]


@pytest.mark.parametrize("letter, factor, alarm, limit", MAKER, ids=lambda v: str(v))
@pytest.mark.parametrize("which, over, priority", [g[1:] for g in GRADES], ids=[g[0] for g in GRADES])
def test_a_probe_is_judged_by_class_and_service_factor(letter: str | None, factor: float | None, alarm: int,
                                                       limit: int, which: int, over: float,
                                                       priority: str | None) -> None:
    plate = {"insulation_class": letter, "service_factor": factor}
    taken = reading(winding_temp_c=(alarm, limit)[which] + over, winding_method="fitted")
    found = windings.check(facts(taken, plate), LIMITS)
    assert of(windings.RULE, found) == ([] if priority is None else [(None, priority)])


@pytest.mark.parametrize("method, value, priority", [
    ("contact", 130.0, None), ("contact", 130.1, THIS_SHIFT), ("infrared", 140.0, THIS_SHIFT),
    ("infrared", 140.1, ACT_NOW), (None, 155.0, None), (None, 155.1, THIS_SHIFT),
])
def test_a_surface_reading_is_judged_25_k_lower(method: str | None, value: float, priority: str | None) -> None:
    # class F, service factor 1.0: 155 − 25 = 130 alarm, 165 − 25 = 140 limit
    plate = {"service_factor": 1.0}
    found = windings.check(facts(reading(winding_temp_c=value, winding_method=method), plate), LIMITS)
    assert of(windings.RULE, found) == ([] if priority is None else [(None, priority)])


@pytest.mark.parametrize("feel, accepted, priority", [f[1:] for f in FELT], ids=[f[0] for f in FELT])
def test_a_hand_is_judged_by_the_change_from_this_motor_s_normal(feel: str | None, accepted: str | None,
                                                                 priority: str | None) -> None:
    found = windings.check(facts(reading(winding_feel=feel), motor={"accepted_normal_feel": accepted}), LIMITS)
    assert of(windings.RULE, found) == ([] if priority is None else [(None, priority)])


def test_the_sentence_says_what_had_to_be_assumed() -> None:
    felt = windings.check(facts(reading(winding_feel="hot"), motor={"accepted_normal_feel": None}), LIMITS)[0]
    assert felt.source == "no accepted normal yet, taken as warm" and felt.source in felt.says
    plate: dict[str, Any] = {"insulation_class": None, "service_factor": 1.0}
    seen = {"winding_temp_c": 118.0, "winding_method": "contact", "winding_feel": "hot"}
    surface = windings.check(facts(reading(**seen), plate), LIMITS)[0]
    assert (surface.priority, surface.limit) == (ACT_NOW, 115.0)  # class B 140 − 25
    assert "less 25 K at surface, class taken as B" in surface.says and "feels hot" in surface.says


def test_probe_and_hand_are_one_finding() -> None:
    found = windings.check(facts(reading(winding_temp_c=161.0, winding_feel="hot")), LIMITS)
    assert len(found) == 1 and found[0].value == 161.0 and "feels hot" in found[0].says


def test_a_standing_motor_s_winding_is_no_finding() -> None:
    assert windings.check(facts(reading("standby", winding_temp_c=200.0)), LIMITS) == []
    assert windings.check(facts(None), LIMITS) == []


def test_this_motor_s_own_limit_is_used() -> None:
    limits = Limits({"winding_hot_f_sf_alarm_c": (130.0, "this motor's limit")})
    found = windings.check(facts(reading(winding_temp_c=130.1, winding_method="fitted")), limits)
    assert (found[0].limit, found[0].source) == (130.0, "this motor's limit")
