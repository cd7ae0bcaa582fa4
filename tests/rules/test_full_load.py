"""Full-load amps and efficiency against the code's table, the regulation and hand sums."""

from __future__ import annotations

import pytest

from app.rules import full_load
from app.rules.tables import MakesNoSense, NotInTable

#: NEC Table 430.250 (2008 reprint and a second scanned page)
NEC = [(0.5, 115, 4.4), (1.5, 200, 6.9), (7.5, 208, 24.2), (20, 230, 54), (75, 460, 96), (75, 480, 96), (100, 440, 124),
       (250, 460, 302), (500, 575, 472), (500, 600, 472), (60, 2300, 16), (500, 2300, 118)]
BLANK = [(250, 230), (3, 115), (50, 2300), (80, 460), (600, 460), (100, 4160), (100, 2400), (100, 400)]
#: 10 CFR 431.25: hp, poles, enclosure, percent
EFFICIENCY = [(1, 2, "open", 77.0), (7.5, 4, "enclosed", 91.7), (100, 4, "enclosed", 95.4), (200, 6, "open", 95.4),
              (30, 8, "enclosed", 91.7)]


@pytest.mark.parametrize("hp, volts, amps", NEC)
def test_the_table_is_the_code_s(hp: float, volts: float, amps: float) -> None:
    assert full_load.table_amps(hp, volts) == amps


@pytest.mark.parametrize("hp, volts", BLANK)
def test_what_the_code_does_not_list_is_never_guessed(hp: float, volts: float) -> None:
    with pytest.raises(NotInTable):
        full_load.table_amps(hp, volts)


def test_locked_rotor_maximum_is_the_code_s() -> None:
    assert full_load.table_locked_rotor_amps(10, 460) == 81  # NEC 430.251(B)
    with pytest.raises(NotInTable):
        full_load.table_locked_rotor_amps(250, 230)


def test_medium_voltage_scales_the_2300_v_column_for_screening() -> None:
    assert full_load.medium_voltage_amps(500, 4000) == pytest.approx(67.85)  # 118 × 2300 / 4000
    with pytest.raises(NotInTable):
        full_load.medium_voltage_amps(500, 460)


@pytest.mark.parametrize("hp, poles, enclosure, percent", EFFICIENCY)
def test_nominal_efficiency_is_the_regulation_s(hp: float, poles: int, enclosure: str, percent: float) -> None:
    assert full_load.nominal_efficiency_percent(hp, poles, enclosure) == percent


def test_an_efficiency_not_regulated_is_declined() -> None:
    with pytest.raises(NotInTable):
        full_load.nominal_efficiency_percent(400, 6)


def test_the_formulas_give_the_published_examples() -> None:
    assert full_load.formula_amps(10, 460, 0.90, 0.85) == pytest.approx(12.24, abs=0.01)  # calculator page
    assert full_load.input_kw(50, 0.93) == pytest.approx(40.1, abs=0.05)  # efficiency formula page
    assert full_load.loss_kw(50, 0.93) == pytest.approx(2.81, abs=0.01)
    assert full_load.kva(460, 100) == pytest.approx(79.67, abs=0.01)
    assert full_load.output_hp(460, 12.24, 0.90, 0.85) == pytest.approx(10.0, abs=0.01)
    # single phase: 746 / (230 × 0.8 × 0.8)
    assert full_load.formula_amps(1, 230, 0.8, 0.8, phases=1) == pytest.approx(5.068, abs=0.001)


def test_code_amps_imply_low_efficiency_times_power_factor() -> None:
    for hp, implied in ((1, 0.45), (10, 0.67), (50, 0.72), (100, 0.755), (200, 0.78)):  # note beside the formulas
        amps = full_load.table_amps(hp, 460)
        assert full_load.implied_efficiency_pf(hp, 460, amps) == pytest.approx(implied, abs=0.005)


@pytest.mark.parametrize("hp, factor", [(0.5, 0.775), (1, 0.775), (10, 0.83), (50, 0.86), (200, 0.89), (500, 0.89)])
def test_typical_power_factor_runs_between_the_handbook_s_points(hp: float, factor: float) -> None:
    assert full_load.typical_power_factor(hp) == pytest.approx(factor)
    assert 0.83 < full_load.typical_power_factor(20) < 0.86
    assert full_load.typical_power_factor(0) == 0.85


@pytest.mark.parametrize("efficiency, factor, phases", [(0, 0.85, 3), (0.9, 1.1, 3), (-0.9, 0.85, 3), (0.9, 0.85, 2)])
def test_a_fraction_or_phase_count_that_cannot_be_is_declined(efficiency: float, factor: float, phases: int) -> None:
    with pytest.raises(MakesNoSense):
        full_load.formula_amps(10, 460, efficiency, factor, phases)


def test_a_plate_between_formula_and_table_asks_nothing() -> None:
    check = full_load.plausible(75, 460, 90)
    assert (check.off_percent, check.asks, len(check.expected)) == (0.0, False, 2)


def test_beyond_the_table_the_formula_alone_is_asked() -> None:
    check = full_load.plausible(1000, 4000, 130)
    # 746,000 / (√3 × 4000 × 0.90 × 0.89) = 134.4
    assert check.expected["P/(√3·V·η·pf)"] == pytest.approx(134.4, abs=0.1) and len(check.expected) == 1
    assert not check.asks
    one = full_load.plausible(1, 230, 8.0, phases=1)
    assert list(one.expected) == ["P/(V·η·pf)"] and one.asks  # 4.9 A expected


def test_figures_not_above_zero_are_declined() -> None:
    with pytest.raises(MakesNoSense):
        full_load.plausible(75, 460, 0)
