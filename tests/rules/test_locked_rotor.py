"""Code letters against NEC Table 430.7(B)."""

from __future__ import annotations

import pytest

from app.rules import locked_rotor
from app.rules.tables import MakesNoSense, NotInTable

LETTERS = [(0.0, "A"), (3.14, "A"), (3.15, "B"), (3.549, "B"), (3.55, "C"), (4.0, "D"), (4.49, "D"), (4.5, "E"),
           (5.0, "F"), (5.6, "G"), (6.29, "G"), (6.3, "H"), (7.1, "J"), (8.0, "K"), (9.0, "L"), (10.0, "M"),
           (11.2, "N"),
           (12.5, "P"), (14.0, "R"), (16.0, "S"), (18.0, "T"), (20.0, "U"), (22.39, "U"), (22.4, "V"), (40.0, "V")]


@pytest.mark.parametrize("kva_per_hp, letter", LETTERS)
def test_a_letter_begins_at_its_bottom(kva_per_hp: float, letter: str) -> None:
    assert locked_rotor.code_letter(kva_per_hp) == letter


def test_amps_come_from_the_letter() -> None:
    # NEC handbook example quoted on a forum: 158 A with 1.73 for √3
    assert locked_rotor.locked_rotor_amps("G", 20, 460) == pytest.approx(157.9, abs=0.1)
    assert locked_rotor.locked_rotor_amps("g", 10, 460, "mid") == pytest.approx(74.6, abs=0.1)  # 5.945 kVA/hp
    assert locked_rotor.locked_rotor_amps("G", 10, 460, "min") == pytest.approx(70.3, abs=0.1)  # 5.6 kVA/hp
    assert locked_rotor.locked_rotor_amps("V", 10, 460, "min") == pytest.approx(281.1, abs=0.1)  # 22.4 kVA/hp
    assert locked_rotor.locked_rotor_amps("G", 1, 230, "max", phases=1) == pytest.approx(27.3, abs=0.1)  # 6,290 / 230


def test_the_letter_comes_from_amps() -> None:
    assert locked_rotor.code_letter_for(10, 460, 81) == "H"  # NEC 430.251(B): 6.454 kVA/hp


@pytest.mark.parametrize("code, use", [("V", "max"), ("V", "mid"), ("I", "min"), ("", "max")])
def test_what_the_table_does_not_hold_is_declined(code: str, use: str) -> None:
    with pytest.raises(NotInTable):
        locked_rotor.locked_rotor_amps(code, 10, 460, use)


def test_figures_that_cannot_be_are_declined() -> None:
    with pytest.raises(MakesNoSense):
        locked_rotor.code_letter(-0.1)
    with pytest.raises(MakesNoSense):
        locked_rotor.code_letter_for(0, 460, 81)
    with pytest.raises(MakesNoSense):
        locked_rotor.locked_rotor_amps("G", 10, 460, "most")
