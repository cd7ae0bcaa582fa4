"""Insulation resistance after IEEE 43 as read."""

from __future__ import annotations

import pytest

from app.rules import insulation_resistance as ir
from app.rules.tables import MakesNoSense, NotInTable


@pytest.mark.parametrize("r, temp, at_40", [(500, 25, 176.8), (40, 60, 160), (100, 40, 100), (100, 50, 200),
                                            (0, 20, 0)])
def test_resistance_is_corrected_to_40_c(r: float, temp: float, at_40: float) -> None:
    assert ir.at_40_c_mohm(r, temp) == pytest.approx(at_40, abs=0.1)


@pytest.mark.parametrize("kv, winding, year, minimum", [
    (4.16, "form", 1990, 100), (4.16, "form", None, 100), (0.48, "random", 1990, 5), (0.48, "form", 1990, 5),
    (1.0, "form", 1990, 100), (0.999, "form", 1990, 5), (4.16, "form", 1969, 5.16), (4.16, "form", 1970, 100),
    (0.48, "random", 1950, 1.48), (0.25, "field", 1990, 1.25),
])
def test_the_minimum_depends_on_winding_and_age(kv: float, winding: str, year: int | None, minimum: float) -> None:
    assert ir.minimum_mohm(kv, winding, year) == pytest.approx(minimum)


@pytest.mark.parametrize("letter, r1, r10, ok", [("F", 200, 400, True), ("F", 200, 399, False), ("A", 200, 300, True),
                                                 ("A", 200, 299, False), ("B", 5000, 10000, True)])
def test_the_polarization_index_has_a_minimum_by_class(letter: str, r1: float, r10: float, ok: bool) -> None:
    assert ir.pi_ok(letter, r1, r10) is ok


def test_above_5000_megohm_the_index_means_nothing() -> None:
    assert ir.pi_applies(5000) and not ir.pi_applies(5000.1)
    with pytest.raises(MakesNoSense):
        ir.pi_ok("F", 6000, 7000)
    with pytest.raises(NotInTable):
        ir.minimum_pi("N")


def test_an_index_above_about_eight_is_a_warning_on_old_insulation() -> None:
    assert not ir.pi_high(100, 800) and ir.pi_high(100, 801)


@pytest.mark.parametrize("rated, volts", [(480, (500, 500)), (999, (500, 500)), (999.5, (500, 500)),
                                          (1000, (500, 1000)),
                                          (2500, (500, 1000)), (4160, (1000, 2500)), (12000, (2500, 5000)),
                                          (13200, (5000, 10000))])
def test_the_test_voltage_follows_the_rating(rated: float, volts: tuple[float, float]) -> None:
    assert ir.test_volts_dc(rated) == volts


def test_figures_that_cannot_be_are_declined() -> None:
    for call in (lambda: ir.at_40_c_mohm(-1, 40), lambda: ir.minimum_mohm(0, "form"),
                 lambda: ir.minimum_mohm(1, "foil"),
                 lambda: ir.polarization_index(0, 1)):
        with pytest.raises(MakesNoSense):
            call()
    with pytest.raises(NotInTable):
        ir.test_volts_dc(0)
