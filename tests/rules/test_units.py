"""Units against pint and the exact definitions; a difference is not a temperature."""

from __future__ import annotations

from math import isclose, sqrt

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules import units
from app.rules.tables import MakesNoSense

UREG = pint.UnitRegistry()
NUMBERS = st.floats(-1e4, 1e4, allow_nan=False)
#: our name, pint's name; electric horsepower is 746 W by definition
SAME_KIND = [
    ("hp", "kW", "electrical_horsepower", "kilowatt"), ("mm", "in", "millimeter", "inch"),
    ("um", "mil", "micrometer", "thou"), ("g", "oz", "gram", "ounce"), ("degC", "degF", "degC", "degF"),
    ("degC", "kelvin", "degC", "kelvin"), ("K difference", "degF difference", "delta_degC", "delta_degF"),
    ("mm/s rms", "in/s rms", "millimeter/second", "inch/second"), ("metric hp", "kW", "metric_horsepower", "kilowatt"),
    ("mechanical hp", "kW", "horsepower", "kilowatt"), ("lb ft2", "kg m2", "pound*foot**2", "kilogram*meter**2"),
    ("lb ft", "N m", "foot*force_pound", "newton*meter"),
]


@pytest.mark.parametrize("a, b, pint_a, pint_b", SAME_KIND, ids=lambda v: str(v).replace("/", " per "))
@given(value=NUMBERS)
def test_conversions_agree_with_pint_both_ways(a: str, b: str, pint_a: str, pint_b: str, value: float) -> None:
    forth = UREG.Quantity(value, pint_a).to(pint_b).magnitude
    back = UREG.Quantity(value, pint_b).to(pint_a).magnitude
    assert isclose(units.convert(value, a, b), forth, rel_tol=1e-6, abs_tol=1e-9)
    assert isclose(units.convert(value, b, a), back, rel_tol=1e-6, abs_tol=1e-9)


@given(value=NUMBERS)
def test_a_value_comes_back_as_it_went(value: float) -> None:
    assert isclose(units.c_from_f(units.f_from_c(value)), value, abs_tol=1e-9)
    assert isclose(units.k_from_f_difference(units.f_difference_from_k(value)), value, abs_tol=1e-9)
    assert isclose(units.hp_from_kw(units.kw_from_hp(value)), value, abs_tol=1e-9)
    assert isclose(units.g_from_oz(units.oz_from_g(value)), value, abs_tol=1e-9)
    assert isclose(units.mm_s_rms_from_in_s_peak(units.in_s_peak_from_mm_s_rms(value)), value, abs_tol=1e-9)
    assert isclose(units.mm_s_rms_from_um_pp(units.um_pp_from_mm_s_rms(value, 1780.0), 1780.0), value, abs_tol=1e-9)


def test_ten_kelvin_of_difference_is_18_f_and_never_50() -> None:
    assert units.f_difference_from_k(10.0) == 18.0  # NIST SP 811: Δ°F = 1.8 Δ°C
    assert units.f_from_c(10.0) == 50.0
    assert units.k_from_f_difference(72.0) == pytest.approx(40.0)  # 72 °F printed as 40 K in a motor manual


def test_seven_and_a_half_hp_is_5_595_kw() -> None:
    assert units.kw_from_hp(7.5) == pytest.approx(5.595)  # 7.5 × 0.746


def test_in_s_peak_is_25_4_over_root_two_mm_s_rms() -> None:
    assert units.mm_s_rms_from_in_s_peak(1.0) == pytest.approx(17.961, abs=0.001)  # sinusoid only
    assert units.mm_s_rms_from_in_s_peak(0.3) == pytest.approx(0.3 * 25.4 / sqrt(2))
    # 0.15 in/s is 3.81 mm/s peak to peak of the same kind (EASA article)
    assert units.convert(0.15, "in/s peak", "mm/s peak") == pytest.approx(3.81)


def test_displacement_follows_speed() -> None:
    # µm p-p = 450.16 × mm/s RMS / Hz: 2.8 mm/s at 1,800 rpm (30 Hz) is 42.0
    assert units.um_pp_from_mm_s_rms(2.8, 1800.0) == pytest.approx(450.16 * 2.8 / 30, abs=0.01)
    # mil p-p = 318.31 × in/s peak / Hz: 0.12 in/s at 900 rpm is 2.546
    um = units.um_pp_from_mm_s_rms(units.mm_s_rms_from_in_s_peak(0.12), 900.0)
    assert um / 25.4 == pytest.approx(318.31 * 0.12 / 15, abs=0.001)


@pytest.mark.parametrize("a, b", [("degC", "degF difference"), ("hp", "mm"), ("parsec", "mm"), ("mm", "cubit")])
def test_another_kind_or_an_unknown_unit_is_declined(a: str, b: str) -> None:
    with pytest.raises(MakesNoSense):
        units.convert(1.0, a, b)


@pytest.mark.parametrize("rpm", [0.0, -1780.0])
def test_a_displacement_without_a_speed_is_declined(rpm: float) -> None:
    with pytest.raises(MakesNoSense):
        units.um_pp_from_mm_s_rms(2.8, rpm)
