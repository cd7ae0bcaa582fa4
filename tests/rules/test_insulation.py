"""Insulation class, rise and life against NEMA MG 1, IEC and the ten-degree rule."""

from __future__ import annotations

from typing import Any

import pytest

from app.rules import insulation
from app.rules.tables import MakesNoSense, NotInTable

#: NEMA MG 1 12.43 (read); 20.8 and TENV rows from memory; IEC 60034-1 (read in a maker manual)
RISES: list[tuple[str, dict[str, Any], float]] = [
    ("F at 1.0", {"insulation_class": "F"}, 105), ("B at 1.15", {"insulation_class": "b", "service_factor": 1.15}, 90),
    ("factor not known", {"insulation_class": "H", "service_factor": None}, 125),
    ("TENV", {"insulation_class": "F", "size": "tenv"}, 110),
    ("encapsulated", {"insulation_class": "B", "size": "encapsulated"}, 85),
    ("large by resistance", {"insulation_class": "H", "service_factor": 1.15, "size": "large"}, 135),
    ("detector", {"insulation_class": "F", "method": "embedded detector"}, 115),
    ("detector, 1,500 hp", {"insulation_class": "F", "method": "fitted", "hp": 1500}, 115),
    ("detector, over 1,500 hp", {"insulation_class": "F", "method": "fitted", "hp": 1501, "volts": 7000}, 110),
    ("detector, over 1,500 hp, 13.2 kV", {"insulation_class": "F", "method": "fitted", "hp": 1501, "volts": 13200},
     105),
    ("IEC", {"insulation_class": "E", "standard": insulation.IEC}, 75),
    ("IEC detector", {"insulation_class": "B", "standard": insulation.IEC, "method": "fitted"}, 90),
]


@pytest.mark.parametrize("asked, rise", [r[1:] for r in RISES], ids=[r[0] for r in RISES])
def test_the_allowed_rise_is_the_standard_s(asked: dict[str, Any], rise: float) -> None:
    assert insulation.rise_limit_k(**asked) == rise


@pytest.mark.parametrize("asked", [{"insulation_class": "H", "service_factor": 1.15}, {"insulation_class": "E"},
                                   {"insulation_class": "F", "service_factor": 1.25}, {"insulation_class": ""}])
def test_a_rise_the_standard_does_not_give_is_declined(asked: dict[str, Any]) -> None:
    with pytest.raises(NotInTable):
        insulation.rise_limit_k(**asked)


@pytest.mark.parametrize("letter, total", [("A", 105), ("E", 120), ("B", 130), ("F", 155), ("h", 180), ("N", 200)])
def test_the_class_total_is_the_standard_s(letter: str, total: float) -> None:
    assert insulation.class_total_c(letter) == total


def test_ambient_rise_and_hot_spot_add_up_to_the_class() -> None:
    assert insulation.total_c(105) == 155  # 40 + 105 + 10, two engineering pages
    with pytest.raises(NotInTable):
        insulation.class_total_c("Q")


@pytest.mark.parametrize("letter, factor, pair", [("B", 1.0, (130, 140)), ("F", None, (155, 165)),
                                                  ("H", 1.15, (180, 185))])
def test_a_maker_s_detector_settings(letter: str, factor: float | None, pair: tuple[float, float]) -> None:
    assert insulation.winding_settings_c(letter, factor) == pair


def test_a_surface_stands_20_to_25_k_below_the_winding() -> None:
    assert insulation.winding_from_surface_c(65) == (85, 90)


@pytest.mark.parametrize("actual, limit, factor", [(155, 155, 1.0), (145, 155, 2.0), (165, 155, 0.5),
                                                   (130, 155, 5.657)])
def test_life_halves_for_each_10_k(actual: float, limit: float, factor: float) -> None:
    assert insulation.life_factor(actual, limit) == pytest.approx(factor, abs=0.001)  # 2^2.5 = 5.657


def test_a_life_in_any_unit() -> None:
    assert insulation.life(20000, below_limit_k=20) == 80000  # design handbook quoted on a forum
    assert insulation.life(20, above_limit_k=40) == 1.25
    with pytest.raises(MakesNoSense):
        insulation.life(-1)
