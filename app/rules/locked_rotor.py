"""Code letters: locked-rotor kVA per hp after NEC Table 430.7(B) and NEMA MG 1 10.37.2.

Code G is 5.6 to 6.29 kVA/hp; 20 hp at 460 V with the top of G draws 6.29 × 20 × 1000 / (√3 × 460) = 157.9 A.
"""

from __future__ import annotations

from app.rules import tables
from app.rules.full_load import kva
from app.rules.tables import MakesNoSense, NotInTable


def kva_per_hp(code: str) -> tuple[float, float | None]:
    """Bottom and printed top of a code letter in kVA per hp; V has no top. Raises NotInTable."""
    row = tables.row("locked_rotor_code", code_letter=code.strip().upper())
    return float(row["kva_per_hp_min"]), tables.number(row["kva_per_hp_max_printed"])


def code_letter(kva_per_hp: float) -> str:
    """The letter whose range holds it; 3.55 is C, 3.549 still B. Raises MakesNoSense below zero."""
    if kva_per_hp < 0:
        raise MakesNoSense("kVA per hp cannot be below zero")
    rows = tables.rows("locked_rotor_code")
    return [row["code_letter"] for row in rows if kva_per_hp >= float(row["kva_per_hp_min"])][-1]


def code_letter_for(hp: float, volts: float, locked_rotor_amps: float, phases: int = 3) -> str:
    """The letter that locked-rotor amps amount to. Raises MakesNoSense."""
    if hp <= 0:
        raise MakesNoSense("hp must be above zero")
    return code_letter(kva(volts, locked_rotor_amps, phases) / hp)


def locked_rotor_amps(code: str, hp: float, volts: float, use: str = "max", phases: int = 3) -> float:
    """Amps at standstill from the "min", "mid" or "max" of the letter. Raises NotInTable, MakesNoSense."""
    low, high = kva_per_hp(code)
    if use not in ("min", "mid", "max"):
        raise MakesNoSense(f"“{use}”: min, mid or max")
    if use != "min" and high is None:
        raise NotInTable("NEC Table 430.7(B)", f"a top for code {code.strip().upper()}")
    per_hp = {"min": low, "mid": (low + (high or low)) / 2, "max": high or low}[use]
    return per_hp * hp / kva(volts, 1.0, phases)
