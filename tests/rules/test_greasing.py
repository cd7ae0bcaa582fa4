"""The lubrication chart against what was done: due, too soon, too much, the wrong grease."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from app.rules import greased, greasing
from app.rules.facts import Ends, Greasing, History, LubricationPoint, Show
from app.rules.findings import ACT_NOW, THIS_SHIFT, WATCH
from app.rules.limits import Limits
from tests.rules.plant import LIMITS, NOW, facts, of

CHART: dict[str, Any] = {"kind": "grease", "lubricant": "EP 2 Blue", "thickener": "polyurea", "grease_g": 23.1}


def ago(days: float) -> datetime:
    return NOW - timedelta(days=days)


def point(**changed: Any) -> LubricationPoint:
    return LubricationPoint(**{**CHART, **changed})


DUE = [
    ("day before", {"interval_days": 180, "last_greased_at": ago(179)}, greasing.NOT_DUE, None),
    ("to the day", {"interval_days": 180, "last_greased_at": ago(180)}, greasing.NOT_DUE, None),
    ("a minute over", {"interval_days": 180, "last_greased_at": ago(180) - timedelta(minutes=1)}, greasing.PAST,
     THIS_SHIFT),
    ("at its hours", {"interval_run_h": 4000, "last_greased_at": ago(300), "run_h_since": 4000.0}, greasing.NOT_DUE,
     None),
    ("over its hours", {"interval_run_h": 4000, "last_greased_at": ago(300), "run_h_since": 4000.1}, greasing.PAST,
     THIS_SHIFT),
    ("days first of both", {"interval_days": 180, "interval_run_h": 4000, "last_greased_at": ago(181),
                            "run_h_since": 100.0}, greasing.PAST, THIS_SHIFT),
    ("hours first of both", {"interval_days": 180, "interval_run_h": 4000, "last_greased_at": ago(170),
                             "run_h_since": 4001.0}, greasing.PAST, THIS_SHIFT),
    ("neither of both", {"interval_days": 180, "interval_run_h": 4000, "last_greased_at": ago(170),
                         "run_h_since": 3999.0}, greasing.NOT_DUE, None),
    ("never recorded", {"interval_days": 180}, greasing.NEVER_RECORDED, WATCH),
    ("never recorded, hours", {"interval_run_h": 4000}, greasing.NEVER_RECORDED, WATCH),
    # 4,000 h is 166.7 days of calendar
    ("hours not known, cannot be past", {"interval_run_h": 4000, "last_greased_at": ago(166)}, greasing.NOT_DUE, None),
    ("hours not known, may be past", {"interval_run_h": 4000, "last_greased_at": ago(167)}, greasing.RUN_H_UNKNOWN,
     WATCH),
    ("no interval", {"last_greased_at": ago(3000)}, greasing.NO_INTERVAL, None),
    ("oil without interval", {"kind": "oil"}, greasing.NO_INTERVAL, None),
    ("oil with interval", {"kind": "oil", "interval_days": 365, "last_greased_at": ago(366)}, greasing.PAST,
     THIS_SHIFT),
    ("sealed", {"kind": "sealed", "interval_days": 180, "last_greased_at": ago(3000)}, greasing.SEALED, None),
]


@pytest.mark.parametrize("chart, state, priority", [d[1:] for d in DUE], ids=[d[0] for d in DUE])
def test_a_point_is_overdue_past_its_interval(chart: dict[str, Any], state: str, priority: str | None) -> None:
    assert greasing.due(point(**chart), NOW).state == state
    found = greasing.check(facts(None, motor={"lubrication": Ends(None, point(**chart))}), LIMITS)
    assert of(greasing.OVERDUE, found) == ([] if priority is None else [("ODE", priority)])


def test_days_and_hours_over_are_told_for_the_pages() -> None:
    stands = greasing.due(point(interval_days=180, interval_run_h=4000, last_greased_at=ago(190), run_h_since=3900.0),
                          NOW)
    assert stands.overdue and stands.days_over == pytest.approx(10) and stands.run_h_over == pytest.approx(-100)
    assert stands.due_at == ago(10)
    assert greasing.due(point(interval_run_h=10, last_greased_at=ago(1)), NOW, run_h_since=11.0).overdue


def test_the_sentence_says_how_long_and_by_which_chart() -> None:
    chart = {"lubrication": Ends(point(interval_days=180, last_greased_at=ago(200)))}
    found = greasing.check(facts(None, motor=chart), LIMITS)[0]
    assert (found.value, found.limit, found.unit_of_measure, found.source) == (200, 180, "days", "lubrication chart")
    assert "200 days ago, interval 180 days (lubrication chart)" in found.says
    hours = {"lubrication": Ends(point(interval_run_h=4000, last_greased_at=ago(200), run_h_since=4100.0))}
    by_hours = greasing.check(facts(None, motor=hours), LIMITS)[0]
    assert (by_hours.value, by_hours.limit, by_hours.unit_of_measure) == (4100, 4000, "h")
    oil = {"lubrication": Ends(point(kind="oil", interval_days=365, last_greased_at=ago(400)))}
    assert "oil last renewed" in greasing.check(facts(None, motor=oil), LIMITS)[0].says


def test_a_clock_change_does_not_make_a_day_longer() -> None:
    zone = ZoneInfo("America/Chicago")
    # 1 November 2026 has 25 h there: from noon to noon two days later is 49 h, not 48
    greased, now = datetime(2026, 10, 31, 12, tzinfo=zone), datetime(2026, 11, 2, 12, tzinfo=zone)
    stands = greasing.due(point(interval_days=2, last_greased_at=greased), now)
    assert stands.days_over == pytest.approx(1 / 24)


def grease(**changed: Any) -> Greasing:
    return Greasing(**{"end": "DE", "at": NOW, "lubricant": "EP 2 Blue", "thickener": "polyurea", "grams": 23.0,
                       **changed})


TOO_SOON = [
    ("half the interval to the minute", {"interval_days": 180, "last_greased_at": ago(90)}, {}, False),
    ("a minute before half", {"interval_days": 180, "last_greased_at": ago(90) + timedelta(minutes=1)}, {}, True),
    ("never greased before", {"interval_days": 180}, {}, False),
    ("no interval", {"last_greased_at": ago(1)}, {}, False),
    ("at half its hours", {"interval_run_h": 4000, "last_greased_at": ago(120), "run_h_since": 2000.0}, {}, False),
    ("under half its hours", {"interval_run_h": 4000, "last_greased_at": ago(120), "run_h_since": 1999.0}, {}, True),
    ("hours well used, days not", {"interval_days": 180, "interval_run_h": 4000, "last_greased_at": ago(60),
                                   "run_h_since": 3000.0}, {}, False),
    # 80 days of calendar are at most 1,920 h, under half of 4,000
    ("hours not known, cannot be half", {"interval_run_h": 4000, "last_greased_at": ago(80)}, {}, True),
    ("hours not known, may be half", {"interval_run_h": 4000, "last_greased_at": ago(90)}, {}, False),
    # 150 % of 23.1 is 34.65
    ("at 150 % of the amount", {}, {"grams": 34.65}, False),
    ("over 150 % of the amount", {}, {"grams": 34.66}, True),
    ("34 strokes at 1.35 g", {}, {"grams": 45.9}, True),
    ("amount not given", {}, {"grams": None}, False),
    ("no amount on the chart", {"grease_g": None}, {"grams": 500.0}, False),
    ("a sealed bearing", {"kind": "sealed"}, {}, True),
]


@pytest.mark.parametrize("chart, event, flagged", [t[1:] for t in TOO_SOON], ids=[t[0] for t in TOO_SOON])
def test_too_soon_too_much_and_sealed_are_one_rule(chart: dict[str, Any], event: dict[str, Any], flagged: bool) -> None:
    given = facts(None, motor={"lubrication": Ends(point(**chart))})
    found = greasing.check_greasing(grease(**event), given, LIMITS)
    assert of(greasing.TOO_SOON, found) == ([("DE", THIS_SHIFT)] if flagged else [])


def test_the_share_of_the_amount_is_told() -> None:
    given = facts(None, motor={"lubrication": Ends(point())})
    found = greasing.check_greasing(grease(grams=45.9), given, LIMITS)[0]
    assert "198.7 % of the chart's 23.1 g, above 150 %" in found.says  # 45.9 / 23.1
    assert (found.value, found.limit, found.unit_of_measure) == (45.9, pytest.approx(34.65), "g")
    ounces = greasing.check_greasing(grease(grams=45.9), facts(None, motor={"lubrication": Ends(point())},
                                                                show=Show(grease="oz")), LIMITS)[0]
    assert "1.62 oz" in ounces.says  # 45.9 / 28.35


def test_sealed_too_much_and_too_soon_together_are_one_finding_that_names_all() -> None:
    chart = point(kind="sealed", interval_days=180, last_greased_at=ago(10))
    found = greasing.check_greasing(grease(grams=45.9), facts(None, motor={"lubrication": Ends(chart)}), LIMITS)
    assert of(greasing.TOO_SOON, found) == [("DE", THIS_SHIFT)]
    assert "sealed" in found[0].says and "Too much too. Too soon too." in found[0].says


def test_a_plate_that_says_sealed_counts_where_the_chart_says_nothing() -> None:
    plate = {"bearing": Ends("6312-2Z/C3", "6312")}
    assert of(greasing.TOO_SOON, greasing.check_greasing(grease(), facts(None, plate), LIMITS)) == [("DE", THIS_SHIFT)]
    assert greasing.check_greasing(grease(end="ODE"), facts(None, plate), LIMITS) == []
    charted = facts(None, plate, {"lubrication": Ends(point())})  # the chart wins
    assert greasing.check_greasing(grease(), charted, LIMITS) == []


def test_the_newest_earlier_greasing_of_that_end_counts_and_not_the_event_itself() -> None:
    history = History(greasings=(grease(), grease(at=ago(10)), grease(at=ago(300)), grease(at=ago(1), end="ODE")))
    chart = point(interval_days=180, last_greased_at=NOW)
    found = greasing.check_greasing(grease(), facts(None, motor={"lubrication": Ends(chart)}, history=history), LIMITS)
    assert "greased again after 10 days; 90 days is 50 % of its interval" in found[0].says


WRONG = [
    ("the chart's", {}, {}, []),
    ("the chart's, written otherwise", {}, {"lubricant": " ep 2  blue"}, []),
    ("another product, same thickener", {}, {"lubricant": "Red 2"}, [("DE", THIS_SHIFT)]),
    ("another product, thickener not known", {}, {"lubricant": "Red 2", "thickener": None}, [("DE", THIS_SHIFT)]),
    # FIST 2-4 Table 2
    ("lithium complex on polyurea", {}, {"lubricant": "Red 2", "thickener": "lithium complex"}, [("DE", ACT_NOW)]),
    ("same name, other thickener", {}, {"thickener": "sodium"}, [("DE", ACT_NOW)]),
    ("lithium on lithium complex mixes", {"thickener": "lithium complex"},
     {"lubricant": "Red 2", "thickener": "lithium"},
     [("DE", THIS_SHIFT)]),
    ("disputed pair", {"thickener": "lithium complex"}, {"thickener": "aluminum complex"}, [("DE", ACT_NOW)]),
    ("borderline pair", {"thickener": "calcium"}, {"thickener": "lithium"}, [("DE", ACT_NOW)]),
    ("pair no chart knows", {}, {"thickener": "silica gel"}, [("DE", ACT_NOW)]),
    ("nothing said", {}, {"lubricant": None, "thickener": None}, []),
    ("nothing on the chart", {"lubricant": None, "thickener": None}, {"lubricant": "Red 2", "thickener": "sodium"}, []),
]


@pytest.mark.parametrize("chart, event, expected", [w[1:] for w in WRONG], ids=[w[0] for w in WRONG])
def test_what_was_given_is_held_against_the_chart(chart: dict[str, Any], event: dict[str, Any],
                                                  expected: list[tuple[str, str]]) -> None:
    found = greasing.check_greasing(grease(**event), facts(None, motor={"lubrication": Ends(point(**chart))}), LIMITS)
    assert of(greasing.WRONG, found) == expected


def test_the_limits_of_the_unit_are_used() -> None:
    limits = Limits({"greased_too_soon_amount_percent": (200.0, "unit's limit")})
    given = facts(None, motor={"lubrication": Ends(point())})
    assert greasing.check_greasing(grease(grams=46.2), given, limits) == []  # 200 % of 23.1 exactly
    assert greasing.check_greasing(grease(grams=46.3), given, limits)[0].source == "unit's limit"


# what the handbook computes stands in where the chart has nothing -------------------------------------------


def test_twice_the_computed_amount_is_too_much_and_is_called_computed() -> None:
    # 6313: 0.005 × 140 × 33 = 23.1 g
    given = facts(None, motor={"lubrication": Ends(point(grease_g=None, computed_grease_g=23.1))})
    found = greasing.check_greasing(grease(grams=45.9), given, LIMITS)
    assert "198.7 % of the computed 23.1 g" in found[0].says
    assert greasing.check_greasing(grease(grams=34.65), given, LIMITS) == []  # 150 %
    charted = facts(None, motor={"lubrication": Ends(point(grease_g=40.0, computed_grease_g=23.1))})
    assert greasing.check_greasing(grease(grams=45.9), charted, LIMITS) == []  # the chart wins


def test_half_the_computed_interval_counts_only_where_the_chart_has_none() -> None:
    bare = point(last_greased_at=ago(10), run_h_since=240.0, computed_interval_run_h=7183.0)
    found = greasing.check_greasing(grease(), facts(None, motor={"lubrication": Ends(bare)}), LIMITS)
    assert "50 % of the computed interval" in found[0].says
    charted = point(interval_days=15, last_greased_at=ago(10), run_h_since=240.0, computed_interval_run_h=7183.0)
    assert greasing.check_greasing(grease(), facts(None, motor={"lubrication": Ends(charted)}), LIMITS) == []


def test_nothing_went_in_is_no_greasing() -> None:
    chart = point(kind="sealed", interval_days=180, last_greased_at=ago(10))
    given = facts(None, motor={"lubrication": Ends(chart)})
    assert greasing.check_greasing(grease(grams=0.0, lubricant="Red 2"), given, LIMITS) == []
    history = History(greasings=(grease(at=ago(1), grams=0.0),))
    chart = point(interval_days=180, last_greased_at=ago(100))
    given = facts(None, motor={"lubrication": Ends(chart)}, history=history)
    assert greasing.check_greasing(grease(), given, LIMITS) == []


def test_oil_renewed_early_harms_nothing() -> None:
    chart = point(kind="oil", lubricant="VG 32", thickener=None, grease_g=None, interval_days=365,
                  last_greased_at=ago(10))
    given = facts(None, motor={"lubrication": Ends(chart)})
    assert greasing.check_greasing(grease(lubricant="VG 32", thickener=None, grams=None), given, LIMITS) == []
    wrong = greasing.check_greasing(grease(grams=None), given, LIMITS)
    assert of(greasing.WRONG, wrong) == [("DE", THIS_SHIFT)]


def test_hours_are_told_where_a_day_or_two_is_all_there_is() -> None:
    chart = point(interval_days=90, last_greased_at=ago(11 / 24))
    found = greasing.check_greasing(grease(), facts(None, motor={"lubrication": Ends(chart)}), LIMITS)
    assert found[0].says.startswith("DE greased again after 11 h; 45 days is 50 % of its interval")


@pytest.mark.parametrize(("grams", "wanted", "words"), [
    (45.9, 23.1, "about twice"), (46.2, 23.1, "about twice"), (34.65, 23.1, "about one and a half times"),
    (69.3, 23.1, "about three times"), (92.4, 23.1, "about 4 times"), (11.55, 23.1, "50 % of"),
    (23.0, 23.1, "100 % of")])
def test_how_much_of_the_amount_in_words(grams: float, wanted: float, words: str) -> None:
    assert greased.in_words(grams, wanted) == words
