"""Insulation resistance after IEEE 43: corrected to 40 °C, the minimum, and the polarization index.

R40 = R × 0.5^((40 − T) / 10): 40 MΩ at 60 °C is 160 MΩ at 40. Minimum: form-wound since about 1970 100 MΩ, random-wound
and form-wound below 1 kV 5 MΩ, most windings before about 1970 kV + 1. PI 1.5 for class A, 2.0 for B, F and H; above
5,000 MΩ it means nothing. For the pre-start record only: the test itself is work for qualified people, locked out.
"""

from __future__ import annotations

from app.rules import tables
from app.rules.findings import over, under
from app.rules.tables import MakesNoSense, NotInTable

FORM, RANDOM = "form", "random"


def rule(name: str) -> float:
    """A figure of IEEE 43 as read. Raises NotInTable."""
    return tables.figure("insulation_resistance", "value", rule=name)


def at_40_c_mohm(r_mohm: float, winding_c: float) -> float:
    """Resistance in MΩ corrected to 40 °C, halving for each 10 K. Raises MakesNoSense below zero."""
    if r_mohm < 0:
        raise MakesNoSense("a resistance is not below zero")
    return r_mohm * float(0.5 ** ((rule("reference temperature") - winding_c) / rule("halves for each")))


def minimum_mohm(kv: float, winding: str, year: int | None = None) -> float:
    """Least 1-minute resistance at 40 °C in MΩ; winding "form", "random" or "field". Raises MakesNoSense.

    A year that is not known is taken as modern, the higher figure.
    """
    if kv <= 0 or winding not in (FORM, RANDOM, "field"):
        raise MakesNoSense("rated kV above zero, and a winding that is form, random or field")
    # "before about 1970": 1970 itself counts as modern, the higher figure
    old = year is not None and year < rule("modern since")
    if winding == "field" or old:
        return kv + rule("minimum, old")
    form = winding == FORM and kv >= rule("form-wound counts as random below")
    return rule("minimum, form") if form else rule("minimum, random")


def polarization_index(r1_mohm: float, r10_mohm: float) -> float:
    """10-minute over 1-minute resistance. Raises MakesNoSense."""
    if r1_mohm <= 0 or r10_mohm < 0:
        raise MakesNoSense("the 1-minute resistance must be above zero")
    return r10_mohm / r1_mohm


def minimum_pi(insulation_class: str) -> float:
    """Least polarization index of the class. Raises NotInTable."""
    letter = insulation_class.strip().upper()
    if letter not in ("A", "B", "F", "H"):
        raise NotInTable("IEEE 43 Table 2", f"class {insulation_class}")
    return rule("minimum PI, A" if letter == "A" else "minimum PI, B F H")


def pi_applies(r1_mohm: float) -> bool:
    """Above 5,000 MΩ after one minute the index means nothing."""
    return not over(r1_mohm, rule("PI not meaningful above"))


def pi_ok(insulation_class: str, r1_mohm: float, r10_mohm: float) -> bool:
    """At or above the class's minimum. Raises NotInTable, and MakesNoSense where the index means nothing."""
    if not pi_applies(r1_mohm):
        raise MakesNoSense("above 5,000 MΩ after one minute the index means nothing")
    return not under(polarization_index(r1_mohm, r10_mohm), minimum_pi(insulation_class))


def pi_high(r1_mohm: float, r10_mohm: float) -> bool:
    """Above about 8 on old insulation: may be dried out and brittle. Raises MakesNoSense."""
    return over(polarization_index(r1_mohm, r10_mohm), rule("PI high on old insulation"))


def test_volts_dc(rated_v: float) -> tuple[float, float]:
    """Lowest and highest d.c. test voltage for a winding rated so. Raises NotInTable."""
    for row in tables.rows("insulation_test_volts"):
        top = tables.number(row["rated_to_v"])
        if rated_v > 0 and (top is None or rated_v <= top or rated_v < 1000 <= top + 1):
            return float(row["test_from_v_dc"]), float(row["test_to_v_dc"])
    raise NotInTable("IEEE 43 Table 1", f"{rated_v:g} V")
