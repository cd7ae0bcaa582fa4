"""All rules over one motor: one finding a rule and end, gravest first, the same every time, sentences short enough."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules import facts as f
from app.rules import sheet
from app.rules.cautions import CAUTIONS, GENERAL, caution_for
from app.rules.facts import Ends, Facts, History, LubricationPoint, Reading, Show
from app.rules.findings import ACT_NOW, THIS_SHIFT, WATCH, Finding, gravest, over, rank, under
from tests.rules.plant import LIMITS, NOW, facts, quiet, reading


def words(choices: tuple[str, ...], *more: str) -> st.SearchStrategy[str | None]:
    return st.sampled_from([None, *choices, *more])


def ends(each: st.SearchStrategy[Any]) -> st.SearchStrategy[Ends[Any]]:
    return st.builds(Ends, each, each)


FIGURES = st.none() | st.floats(0, 250).map(lambda v: round(v, 2))
SEEN = st.fixed_dictionaries({
    "smoke": words(f.SMOKE), "guard": words(f.IN_PLACE), "ground": words(f.IN_PLACE), "leak": words(f.LEAK),
    "vibration_feel": ends(words(f.VIBRATION_FEEL, f.COULD_NOT_FEEL)),
    "vibration_mm_s": ends(st.none() | st.floats(0, 30).map(lambda v: round(v, 2))),
    "bearing_feel": ends(words(f.TEMPERATURE_FEEL, f.COULD_NOT_FEEL)), "bearing_temp_c": ends(FIGURES),
    "winding_feel": words(f.TEMPERATURE_FEEL, f.COULD_NOT_FEEL), "winding_temp_c": FIGURES,
    "winding_method": words(("fitted", "contact", "infrared")), "method": words(f.METHODS),
    "current_a": st.sampled_from([(), (92.0,), (101.0, 90.0, 87.0), (70.0, 70.0, 1.0), (120.0, 60.0, 90.0)]),
    "voltage_v": st.sampled_from([(), (460.0, 461.0, 459.0), (510.0, 480.0, 460.0), (400.0,)]),
    "lubricant": ends(words(f.LUBRICANT)), "cleanliness": words(f.CLEANLINESS),
})
PLATES = st.fixed_dictionaries({
    "rated_amps": st.sampled_from([None, 87.0]), "service_factor": st.sampled_from([None, 1.0, 1.15]),
    "service_factor_amps": st.sampled_from([None, 100.0]), "hp": st.sampled_from([None, 10.0, 75.0, 500.0]),
    "insulation_class": words(("A", "B", "E", "F", "H"), "?"), "mounting": words(("rigid", "flexible")),
    "bearing": ends(words(("6313", "sleeve"))), "volts": st.sampled_from([None, 460.0]),
})
SHOWS = st.builds(Show, st.sampled_from(["C", "F"]), st.sampled_from(["mm/s", "in/s"]), st.sampled_from(["g", "oz"]))
CHART = st.sampled_from([None, LubricationPoint(kind="grease", interval_days=180),
                         LubricationPoint(kind="oil", interval_run_h=4000, last_greased_at=NOW - timedelta(days=400)),
                         LubricationPoint(kind="grease", interval_days=180, last_greased_at=NOW - timedelta(days=400))])
STATES = st.sampled_from(f.STATES)


@st.composite
def cases(draw: st.DrawFn) -> Facts:
    """Any reading of any motor, with some history of the same readings."""
    seen, state = draw(SEEN), draw(STATES)
    running = tuple(reading(at=NOW - timedelta(hours=12 * i), **draw(SEEN)) for i in range(1, draw(st.integers(1, 3))))
    steady = tuple(reading(at=NOW - timedelta(hours=12 * i), **{**seen, "current_a": (50.0,)}) for i in range(4, 20))
    history = History(running=running + steady, last_start_at=draw(st.sampled_from([None, NOW - timedelta(hours=1)])),
                      stood_at=draw(st.sampled_from([None, NOW - timedelta(hours=9)])),
                      pace_s=5.0, fast_in_a_row=draw(st.integers(0, 9)))
    motor = {"lubrication": draw(ends(CHART)), "accepted_normal_feel": draw(words(f.TEMPERATURE_FEEL))}
    return facts(reading(state, **seen), draw(PLATES), motor, history, show=draw(SHOWS))


@settings(max_examples=60, deadline=None)
@given(cases())
def test_whatever_was_found_the_sheet_stands_in_order_and_reads_briefly(given_facts: Facts) -> None:
    found = sheet.judge(given_facts, LIMITS)
    assert found == sheet.judge(given_facts, LIMITS)
    keys = [(finding.rule, finding.end) for finding in found]
    assert len(keys) == len(set(keys))
    order = [(rank(finding.priority), finding.rule, finding.end or "") for finding in found]
    assert order == sorted(order)
    for finding in found:
        assert len(finding.says.split()) <= 30, finding.says
        assert finding.says.endswith((".", "?")) and "  " not in finding.says
        assert finding.source in finding.says or finding.rule == "look_again", finding
        assert (finding.value is None) == (finding.unit_of_measure is None) or finding.rule == "greasing_overdue"
        assert "safe" not in finding.says.lower()
        assert re.match(r"[A-Z0-9]", finding.says)
        assert caution_for(finding)


@settings(max_examples=25, deadline=None)
@given(cases())
def test_a_standing_motor_has_no_heat_amps_or_vibration(given_facts: Facts) -> None:
    taken = given_facts.reading
    assert taken is not None
    still = facts(Reading(**{**taken.__dict__, "state": "standby"}), history=given_facts.history)
    rules = {finding.rule for finding in sheet.judge(still, LIMITS)}
    assert rules <= {"smoke", "guard_or_ground", "dirty", "lubricant", "not_measured", "greasing_overdue", "look_again"}


UNKNOWN: dict[str, Any] = {"hp": None, "mounting": None, "insulation_class": None, "bearing": Ends(),
                           "service_factor": 1.0}
LONGEST: list[tuple[str, dict[str, Any], int]] = [
    ("everything left out", {}, 30),
    ("vibration, nothing known", {"vibration_mm_s": Ends(4.51), "vibration_feel": Ends("rougher than usual")}, 29),
    ("bearing, kind not known", {"bearing_temp_c": Ends(100.05), "bearing_feel": Ends("too hot to hold")}, 30),
    ("winding surface, class not known", {"winding_temp_c": 116.0, "winding_method": "contact",
                                          "winding_feel": "too hot to hold"}, 30),
    ("amps over 110 %", {"current_a": (101.0, 90.0, 87.0)}, 30),
    ("level and unbalance", {"voltage_v": (520.0, 520.0, 500.0)}, 28),
    ("ends uneven both ways", {"bearing_temp_c": Ends(72.0, 61.0), "bearing_feel": Ends("cool", "too hot to hold")},
     27),
]


@pytest.mark.parametrize("seen, longest", [case[1:] for case in LONGEST], ids=[case[0] for case in LONGEST])
def test_the_longest_sentences_still_fit_30_words(seen: dict[str, Any], longest: int) -> None:
    found = sheet.judge(facts(reading(**seen), UNKNOWN, show=Show("F", "in/s", "oz")), LIMITS)
    lengths = {len(each.says.split()) for each in found}
    assert longest in lengths and max(lengths) <= 30


def test_a_quiet_motor_has_no_finding() -> None:
    assert sheet.judge(facts(quiet()), LIMITS) == []
    assert sheet.judge(facts(quiet("standby")), LIMITS) == []
    assert sheet.judge(facts(None), LIMITS) == []


def test_gravest_first_then_by_rule_then_by_end() -> None:
    taken = quiet(smoke="seen", current_a=(92.0,), bearing_temp_c=Ends(101.0, 101.0), lubricant=Ends("high", "low"),
                  cleanliness="dusty")
    assert [(x.priority, x.rule, x.end) for x in sheet.judge(facts(taken), LIMITS)] == [
        (ACT_NOW, "bearing_hot", "DE"), (ACT_NOW, "bearing_hot", "ODE"), (ACT_NOW, "smoke", None),
        (THIS_SHIFT, "amps_over_nameplate", None), (THIS_SHIFT, "lubricant", "ODE"),
        (WATCH, "dirty", None), (WATCH, "lubricant", "DE")]


def test_the_tablet_offline_gets_the_rules_that_need_no_history() -> None:
    chart = {"lubrication": Ends(LubricationPoint(kind="grease", interval_days=180))}
    given_facts = facts(quiet(smoke="seen"), motor=chart)
    assert [x.rule for x in sheet.judge_at_the_motor(given_facts, LIMITS)] == ["smoke"]
    assert [x.rule for x in sheet.judge(given_facts, LIMITS)] == ["smoke", "greasing_overdue"]


def test_what_the_round_asks_is_also_told_by_the_sheet() -> None:
    assert sheet.required(facts(None).motor, "standby")[0] == "smoke"
    assert sheet.caution_for is caution_for


def finding(rule: str, priority: str = WATCH) -> Finding:
    return Finding(rule, None, priority, None, None, None, "general practice", "Says.")


@pytest.mark.parametrize("rule", sorted(CAUTIONS))
def test_each_rule_has_its_caution_and_none_says_safe(rule: str) -> None:
    line = caution_for(finding(rule))
    assert line == CAUTIONS[rule] and line.endswith(".") and "\n" not in line
    assert "safe to" not in line and "OSHA limit" not in line


def test_a_rule_without_a_caution_of_its_own_defers_to_the_procedures() -> None:
    assert caution_for(finding("not_measured")) == GENERAL and "site procedures" in GENERAL


def test_the_gravest_is_the_first_of_equals() -> None:
    a, b, c = finding("a"), finding("b", ACT_NOW), finding("c", ACT_NOW)
    assert gravest([a, b, c]) is b
    with pytest.raises(ValueError):
        gravest([])
    with pytest.raises(ValueError):
        rank("urgent")


@pytest.mark.parametrize("value, is_over, is_under", [(90.0, False, False), (90.0000004, False, False),
                                                      (90.000001, True, False), (89.999999, False, True)])
def test_a_limit_is_compared_after_rounding_to_six_decimals(value: float, is_over: bool, is_under: bool) -> None:
    assert over(value, 90.0) is is_over and under(value, 90.0) is is_under
