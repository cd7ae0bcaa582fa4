"""What plates say. How plates are written is common practice of the trade, with no published source."""

from __future__ import annotations

import pytest

from app.rules import plate
from app.rules.numbers import NotANumber, OutOfRange
from app.rules.plate import check_pairs, connected, connected_volts, flatten, read_figures, read_hp


@pytest.mark.parametrize(("stamped", "figures"), [
    ("460", ((460.0,),)),
    ("230/460", ((230.0,), (460.0,))),
    (" 230 / 460 ", ((230.0,), (460.0,))),
    ("24,8/12,4", ((24.8,), (12.4,))),
    ("208-230/460", ((208.0, 230.0), (460.0,))),
    ("208–230/460", ((208.0, 230.0), (460.0,))),
    ("12.6-11.8/5.9", ((12.6, 11.8), (5.9,))),
])
def test_a_plate_cell_is_read_connection_by_connection(stamped: str, figures: plate.Figures) -> None:
    assert read_figures(stamped) == figures


@pytest.mark.parametrize("stamped", ["", "/", "230/", "230//460", "230/460/575/690", "1-2-3", "460V", "24.8.1/12", "0",
                                     "-230", "230/0", "nan"])
def test_a_plate_cell_that_must_be_guessed_is_refused(stamped: str) -> None:
    with pytest.raises(NotANumber):
        read_figures(stamped)


@pytest.mark.parametrize(("stamped", "hp"), [
    ("75", 75.0), ("7 1/2", 7.5), ("7-1/2", 7.5), ("7 - 1/2", 7.5), ("7‑1/2", 7.5), ("1/2", 0.5), ("3/4", 0.75),
    ("½", 0.5), ("7½", 7.5), ("0.5", 0.5), ("7,5", 7.5), ("1/20", 0.05), ("5000", 5000.0),
])
def test_horsepower_is_read_as_stamped(stamped: str, hp: float) -> None:
    assert read_hp(stamped) == hp


def test_a_plate_in_kw_gives_electric_horsepower() -> None:
    # 5.5 kW ÷ 0.746 kW/hp = 7.3727 hp
    assert read_hp("5.5 kW") == pytest.approx(7.3727, abs=1e-4)
    assert read_hp("5.5kW") == read_hp("5,5 kw")


@pytest.mark.parametrize("stamped", ["1/0", "7 1/0", "10/5", "2/2", "7 1/2 1/2", "1//2", "02-Jan", "0", "0 kW", "-5",
                                     "", "7.5 PS", "46350"])
def test_a_size_no_motor_has_is_refused(stamped: str) -> None:
    with pytest.raises(NotANumber):
        read_hp(stamped)


# A utility course's example plate: 122/61 A at 230/460 V.
@pytest.mark.parametrize(("chosen", "amps"), [(230.0, 122.0), (460.0, 61.0), (None, None)])
def test_the_connected_pair_counts_and_none_before_it_is_chosen(chosen: float | None, amps: float | None) -> None:
    assert connected(read_figures("230/460"), read_figures("122/61"), chosen) == amps


@pytest.mark.parametrize(("chosen", "amps"), [(208.0, 12.6), (230.0, 11.8), (460.0, 5.9)])
def test_a_range_of_volts_has_its_own_amps(chosen: float, amps: float) -> None:
    assert connected(read_figures("208-230/460"), read_figures("12.6-11.8/5.9"), chosen) == amps


def test_one_current_may_stand_for_a_range_of_volts() -> None:
    assert connected(read_figures("220-230/460"), read_figures("12/6"), 230.0) == 12.0


def test_a_single_voltage_needs_no_choice() -> None:
    assert connected_volts(read_figures("460"), None) == 460.0
    assert connected(read_figures("460"), read_figures("12.4"), None) == 12.4


@pytest.mark.parametrize("chosen", [208.0, 480.0, 459.9])
def test_a_voltage_the_plate_does_not_know_cannot_be_connected(chosen: float) -> None:
    with pytest.raises(NotANumber, match="230, 460"):
        connected_volts(read_figures("230/460"), chosen)


@pytest.mark.parametrize(("volts", "amps"), [("230/460", "12.4"), ("460", "24.8/12.4"), ("208-230/460", "1-2-3/4")])
def test_each_voltage_has_its_amps(volts: str, amps: str) -> None:
    with pytest.raises(NotANumber):
        check_pairs(read_figures(volts), read_figures(amps))


@pytest.mark.parametrize(("volts", "amps"), [("230/460", "12.4/24.8"), ("460/230", "24.8/12.4"), ("230/460", "12/12")])
def test_the_higher_voltage_has_the_smaller_current(volts: str, amps: str) -> None:
    with pytest.raises(NotANumber, match="order"):
        check_pairs(read_figures(volts), read_figures(amps))


def test_a_plate_that_begins_with_the_higher_voltage_is_read_too() -> None:
    assert connected(read_figures("460/230"), read_figures("12.4/24.8"), 460.0) == 12.4


def test_out_of_range_says_the_unit() -> None:
    with pytest.raises(OutOfRange, match="V"):
        read_figures("230/46000", 0, 20_000, "V")


def test_all_figures_in_the_order_of_the_plate() -> None:
    assert flatten(read_figures("208-230/460")) == (208.0, 230.0, 460.0)
