"""What the lubrication chart is offered from bearing, speed and service."""

from __future__ import annotations

from dataclasses import replace

import pytest

from app.rules import chart_offer
from app.rules.chart_offer import FRAME_TABLE, HANDBOOK, Service
from app.rules.facts import Ends
from tests.rules.plant import PLATE

MILD = Service()


def test_amount_and_hours_after_the_handbook() -> None:
    # 0.005 × 140 × 33 = 23.1 g; 10 × (14e6 / (1780 × √65) − 4 × 65) = 10 × (975.55 − 260) = 7,155.5 h, rounded down
    found = chart_offer.by_handbook("6313", 1780.0, MILD)
    assert (found.source, found.interval_run_h) == (HANDBOOK, 7155.0)
    assert found.grease_g == pytest.approx(23.1)
    assert "housing below 65 °C" in found.told


@pytest.mark.parametrize(("service", "share"), [
    ({"housing": "65 to 80 °C"}, 0.5), ({"contamination": "heavy abrasive"}, 0.2), ({"moisture": "80 to 90 %"}, 0.7),
    ({"vibration": "above 0.4 in/s peak"}, 0.3), ({"position": "vertical"}, 0.3),
    ({"housing": "65 to 80 °C", "position": "45 degrees"}, 0.25)], ids=str)
def test_harder_service_shortens_the_hours_by_its_factor(service: dict[str, str], share: float) -> None:
    # the factors of the lubrication-institute table, from memory; K is their product
    found = chart_offer.by_handbook("6313", 1780.0, replace(MILD, **service))
    assert found.interval_run_h == pytest.approx(7155.5 * share, abs=1.0)
    assert found.grease_g == pytest.approx(23.1)


@pytest.mark.parametrize(("bearing", "rpm", "grams", "why"), [
    (None, 1780.0, None, "no bearing number on the plate"), ("6313", None, 23.1, "no speed on the plate"),
    ("sleeve", 1780.0, None, "not a bearing number"), ("6320", 3600.0, 50.525, "gives no interval"),
    ("6399", 1780.0, None, "")])
def test_without_an_answer_it_says_why(bearing: str | None, rpm: float | None, grams: float | None, why: str) -> None:
    found = chart_offer.by_handbook(bearing, rpm, MILD)
    assert found.grease_g == (None if grams is None else pytest.approx(grams))
    assert found.interval_run_h is None
    assert why in found.why_not


def test_a_sealed_bearing_is_offered_nothing() -> None:
    found = chart_offer.by_handbook("6313-2Z", 1780.0, MILD)
    assert found.sealed and found.grease_g is None
    plate = replace(PLATE, frame="286T", rpm=1750.0, bearing=Ends("6313-2Z", None))
    assert [o.source for o in chart_offer.offers(plate, "DE", MILD)] == [HANDBOOK]


@pytest.mark.parametrize(("service", "hours"), [
    ({}, 9500.0), ({"severity": "severe"}, 4750.0), ({"severity": "severe", "position": "vertical"}, 2375.0)], ids=str)
def test_beside_it_the_makers_table_by_frame(service: dict[str, str], hours: float) -> None:
    # motor maker manual, sample determination: 286T at 1,750 rpm, severe: 9,500 × 0.5; vertical half of that
    plate = replace(PLATE, frame="286T", rpm=1750.0, bearing=Ends("6311", "6309"))
    offers = chart_offer.offers(plate, "DE", replace(MILD, **service))
    assert [(o.source, o.interval_run_h) for o in offers][1] == (FRAME_TABLE, hours)
    assert offers[1].grease_g == pytest.approx(17.4)  # the manual's own 6311


def test_a_frame_the_table_does_not_list_is_not_offered() -> None:
    assert chart_offer.by_frame_table(replace(PLATE, frame="9999", rpm=1750.0), "6313", MILD) is None
    assert chart_offer.by_frame_table(replace(PLATE, frame=None), "6313", MILD) is None
