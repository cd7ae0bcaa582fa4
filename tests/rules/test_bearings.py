"""The two ends against each other, and each against the limit of its kind."""

from __future__ import annotations

from typing import Any

import pytest

from app.rules import bearings
from app.rules.facts import Ends, Show
from app.rules.findings import ACT_NOW, THIS_SHIFT
from app.rules.limits import Limits
from tests.rules.plant import LIMITS, PLATE, facts, of, reading

UNEVEN = [
    ("10.0 K apart is nothing", {"bearing_temp_c": Ends(71.0, 61.0)}, []),
    ("10.2 K apart, DE hotter", {"bearing_temp_c": Ends(71.2, 61.0)}, [("DE", THIS_SHIFT)]),
    ("10.2 K apart, ODE hotter", {"bearing_temp_c": Ends(61.0, 71.2)}, [("ODE", THIS_SHIFT)]),
    ("20 K apart is this shift", {"bearing_temp_c": Ends(81.0, 61.0)}, [("DE", THIS_SHIFT)]),
    ("20.1 K apart is act now", {"bearing_temp_c": Ends(61.0, 81.1)}, [("ODE", ACT_NOW)]),
    ("one end measured tells nothing", {"bearing_temp_c": Ends(95.0, None)}, []),
    ("the same grade", {"bearing_feel": Ends("hot", "hot")}, []),
    ("one grade apart", {"bearing_feel": Ends("hot", "warm")}, [("DE", THIS_SHIFT)]),
    ("two grades apart", {"bearing_feel": Ends("cool", "hot")}, [("ODE", ACT_NOW)]),
    ("could not feel one end", {"bearing_feel": Ends("hot", "could not feel")}, []),
    ("felt one, measured the other", {"bearing_feel": Ends("hot", None), "bearing_temp_c": Ends(None, 60.0)}, []),
    ("both, feel graver", {"bearing_feel": Ends("hot", "cool"), "bearing_temp_c": Ends(72.0, 60.0)}, [("DE", ACT_NOW)]),
    ("both, measured graver", {"bearing_feel": Ends("hot", "warm"), "bearing_temp_c": Ends(85.0, 60.0)},
     [("DE", ACT_NOW)]),
    ("both equal, the figure speaks", {"bearing_feel": Ends("warm", "hot"), "bearing_temp_c": Ends(72.0, 60.0)},
     [("DE", THIS_SHIFT)]),
]
GREASED: dict[str, Any] = {"bearing": Ends("6313", "6312")}
SLEEVE: dict[str, Any] = {"bearing": Ends("sleeve", " Sleeve ")}
HOT = [
    ("grease at alarm", GREASED, {"bearing_temp_c": Ends(90.0)}, []),
    ("grease just over alarm", GREASED, {"bearing_temp_c": Ends(90.1)}, [("DE", THIS_SHIFT)]),
    ("grease at shutdown", GREASED, {"bearing_temp_c": Ends(100.0)}, [("DE", THIS_SHIFT)]),
    ("grease just over shutdown", GREASED, {"bearing_temp_c": Ends(100.1)}, [("DE", ACT_NOW)]),
    ("sleeve at alarm", SLEEVE, {"bearing_temp_c": Ends(85.0)}, []),
    ("sleeve just over alarm", SLEEVE, {"bearing_temp_c": Ends(None, 85.1)}, [("ODE", THIS_SHIFT)]),
    ("sleeve at shutdown", SLEEVE, {"bearing_temp_c": Ends(95.0)}, [("DE", THIS_SHIFT)]),
    ("sleeve just over shutdown", SLEEVE, {"bearing_temp_c": Ends(95.1)}, [("DE", ACT_NOW)]),
    ("kind not known, grease limits", {"bearing": Ends()}, {"bearing_temp_c": Ends(89.0)}, []),
    ("kind not known, over grease alarm", {"bearing": Ends()}, {"bearing_temp_c": Ends(90.1)}, [("DE", THIS_SHIFT)]),
    ("too hot to hold", GREASED, {"bearing_feel": Ends("too hot to hold", "hot")}, [("DE", THIS_SHIFT)]),
    ("hot is not too hot", GREASED, {"bearing_feel": Ends("hot", "hot")}, []),
    ("too hot to hold and over shutdown", GREASED,
     {"bearing_feel": Ends("too hot to hold", "hot"), "bearing_temp_c": Ends(101.0)}, [("DE", ACT_NOW)]),
    ("too hot to hold and a figure under alarm", GREASED,
     {"bearing_feel": Ends("too hot to hold", "hot"), "bearing_temp_c": Ends(70.0)}, [("DE", THIS_SHIFT)]),
    ("each end its own finding", GREASED, {"bearing_temp_c": Ends(91.0, 101.0)},
     [("DE", THIS_SHIFT), ("ODE", ACT_NOW)]),
]


@pytest.mark.parametrize("seen, expected", [c[1:] for c in UNEVEN], ids=[c[0] for c in UNEVEN])
def test_uneven_ends_flag_the_hotter(seen: dict[str, Any], expected: list[tuple[str, str]]) -> None:
    assert of(bearings.UNEVEN, bearings.check(facts(reading(**seen)), LIMITS)) == expected


@pytest.mark.parametrize("plate, seen, expected", [c[1:] for c in HOT], ids=[c[0] for c in HOT])
def test_a_hot_bearing_is_judged_by_its_kind(plate: dict[str, Any], seen: dict[str, Any],
                                             expected: list[tuple[str, str]]) -> None:
    assert of(bearings.HOT, bearings.check(facts(reading(**seen), plate), LIMITS)) == expected


def test_a_standing_motor_is_neither_uneven_nor_hot() -> None:
    seen = {"bearing_temp_c": Ends(101.0, 60.0), "bearing_feel": Ends("too hot to hold", "cool")}
    assert bearings.check(facts(reading("standby", **seen)), LIMITS) == []
    assert bearings.check(facts(None), LIMITS) == []


def test_figures_are_in_the_finding_and_the_sentence_says_what_to_do() -> None:
    found = bearings.check(facts(reading(bearing_temp_c=Ends(92.0, None))), LIMITS)[0]
    assert (found.value, found.limit, found.unit_of_measure, found.source) == (92.0, 90.0, "°C", "general practice")
    assert "92 °C, above alarm 90 °C (general practice)" in found.says
    assert "Check lubrication and every level at once" in found.says


def test_a_unit_that_reads_fahrenheit_gets_differences_without_the_32() -> None:
    found = bearings.check(facts(reading(bearing_temp_c=Ends(72.0, 61.0)), show=Show(temperature="F")), LIMITS)[0]
    # 72 °C = 161.6 °F, 61 °C = 141.8 °F, 11 K = 19.8 °F, 10 K = 18 °F
    assert "161.6 °F, ODE 141.8 °F: 19.8 °F apart, above 18 °F" in found.says
    assert (found.value, found.limit, found.unit_of_measure) == (11.0, 10.0, "K")  # stored in SI


def test_the_source_says_from_memory_and_kind_not_known() -> None:
    sleeve = bearings.check(facts(reading(bearing_temp_c=Ends(86.0)), SLEEVE), LIMITS)[0]
    assert sleeve.source == "general practice, from memory" and sleeve.source in sleeve.says
    unknown = bearings.check(facts(reading(bearing_temp_c=Ends(92.0)), {"bearing": Ends()}), LIMITS)[0]
    assert unknown.source == "general practice; kind not known, grease limits" and unknown.source in unknown.says


def test_the_second_way_of_finding_it_is_named_too() -> None:
    both = bearings.check(facts(reading(bearing_temp_c=Ends(85.0, 60.0), bearing_feel=Ends("hot", "warm"))), LIMITS)
    assert both[0].value == 25.0 and both[0].says.endswith("Felt uneven too.")
    feel = bearings.check(facts(reading(bearing_temp_c=Ends(72.0, 60.0), bearing_feel=Ends("hot", "cool"))), LIMITS)
    assert feel[0].value is None and feel[0].says.endswith("Measured uneven too.")


def test_this_motor_s_own_limit_is_used_and_named() -> None:
    limits = Limits({"bearing_hot_grease_alarm_c": (80.0, "this motor's limit")})
    found = bearings.check(facts(reading(bearing_temp_c=Ends(80.1))), limits)
    assert (found[0].limit, found[0].source) == (80.0, "this motor's limit")
    assert bearings.alarm_c(PLATE, "DE", limits) == 80.0


def test_grades_are_ordered_words_and_nothing_else_is_a_grade() -> None:
    assert bearings.grades_apart("too hot to hold", "cool") == 3
    with pytest.raises(ValueError):
        bearings.grades_apart("hot", "could not feel")
