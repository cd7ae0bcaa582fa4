"""A bearing that drinks: more in 30 days than its own normal."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.rules.facts import Show
from app.rules.findings import WATCH
from app.rules.limits import Limits
from app.rules.oil import TopUp, check_top_ups, drinking
from tests.rules.plant import LIMITS, NOW

METRIC, OUNCES = Show(), Show(grease="oz")


def top_ups(*amounts: tuple[float, float]) -> list[TopUp]:
    """(days ago, mL)"""
    return [TopUp(NOW - timedelta(days=days), ml) for days, ml in amounts]


#: 200 mL every 30 days, the newest earlier one 30 days ago: usual 200, its normal ends at 200 + 3.5 × 20 = 270
MONTHLY = ((120, 200), (90, 200), (60, 200), (30, 200))
CASES = [
    ("as usual", (*MONTHLY, (0, 200)), 120, False),
    ("at the end of its normal", (*MONTHLY, (0, 270)), 120, False),
    ("just over the end of its normal", (*MONTHLY, (0, 271)), 120, True),
    ("twice in a month", (*MONTHLY, (15, 200), (0, 200)), 120, True),
    ("two of the usual 28 days apart fall into one span", ((113, 150), (85, 150), (57, 150), (29, 150), (1, 150)), 113,
     False),
    ("unevenly topped up, and then three times as much", ((150, 150), (118, 150), (90, 150), (61, 150), (33, 150),
                                                          (2, 450)), 150, True),
    ("never topped up in three months of looks, then 40 mL", ((0, 40),), 120, False),  # 40 mL over 120 days
    ("never topped up, then a little each week", ((21, 60), (14, 60), (7, 60), (0, 60)), 120, True),
    ("one span on record is no normal", ((45, 200), (0, 900)), 60, False),
    ("nothing on record before", ((0, 900),), 0, False),
]


@pytest.mark.parametrize(("given", "since_days", "drinks"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_a_bearing_that_takes_more_than_its_own_normal_is_found(
        given: tuple[tuple[float, float], ...], since_days: float, drinks: bool) -> None:
    found = check_top_ups("DE", top_ups(*given), NOW - timedelta(days=since_days), NOW, LIMITS, METRIC)
    assert [(f.rule, f.end, f.priority) for f in found] == ([("drinks_oil", "DE", WATCH)] if drinks else [])


def test_the_sentence_names_what_it_took_what_is_usual_and_where_its_normal_ends() -> None:
    given = top_ups(*MONTHLY, (0, 400))
    found = check_top_ups("DE", given, NOW - timedelta(days=120), NOW, LIMITS, METRIC)[0]
    assert (found.value, found.limit, found.unit_of_measure) == (400.0, pytest.approx(270.0), "mL")
    assert found.says == ("DE took 400 mL of oil in 30 days, usually 200 mL; its normal ends at 270 mL "
                          "(general practice). Look where it goes.")
    # 400 / 29.5735 = 13.5 fl oz
    ounces = check_top_ups("DE", given, NOW - timedelta(days=120), NOW, LIMITS, OUNCES)[0]
    assert "DE took 13.5 fl oz of oil" in ounces.says


def test_without_any_entry_there_is_no_normal() -> None:
    found = drinking([], None, NOW, LIMITS)
    assert (found.taken_ml, found.spans, found.usual_ml, found.above_normal) == (0, 0, None, False)


def test_the_limits_of_the_unit_are_used() -> None:
    wide = Limits({"drinks_oil_floor_percent": (100.0, "unit's limit")})  # 200 + 3.5 × 200 = 900
    given = top_ups(*MONTHLY, (0, 900))
    assert check_top_ups("DE", given, NOW - timedelta(days=120), NOW, wide, METRIC) == []
    assert check_top_ups("DE", given, NOW - timedelta(days=120), NOW, LIMITS, METRIC)
