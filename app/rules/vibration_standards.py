"""Vibration tables: in-service zones, acceptance limits of new motors, and limits from a motor's own baseline.

Zones (ISO 20816-3 / 10816-3): 400 kW, shaft height 400 mm, 5.0 mm/s RMS is zone C rigid, zone B flexible. At 15 kW and
less that standard does not apply, and the older ISO 10816-1 class I does: 1.5 mm/s is zone B. MG 1 Part 7 (in/s peak)
and IEC 60034-14 are for new, uncoupled motors, never for one in service.
"""

from __future__ import annotations

from math import pi

from app.rules import tables
from app.rules.findings import over
from app.rules.frames import read_frame as read_frame
from app.rules.tables import MakesNoSense, NotInTable

BOUNDARIES = ("A/B", "B/C", "C/D")
MG1_FASTEST_RPM = 3600.0
MG1_LEVEL_FROM_RPM = 1200.0
#: a speed this share below a column's is that column's motor under load
SLIP = 0.08


def rule(name: str) -> float:
    """A figure of the vibration rules. Raises NotInTable."""
    return tables.figure("vibration_rules", "value", rule=name)


def standard_applies(kw: float) -> bool:
    """ISO 10816-3 and 20816-3 start above 15 kW."""
    return over(kw, rule("scope of ISO 10816-3 starts above"))


def group(kw: float | None = None, shaft_height_mm: float | None = None) -> str:
    """"class I", "group 1" or "group 2". Shaft height decides where both are known. Raises MakesNoSense, NotInTable."""
    if kw is None and shaft_height_mm is None:
        raise MakesNoSense("power or shaft height is needed")
    if kw is not None and not standard_applies(kw):
        return "class I"
    if shaft_height_mm is not None and (kw is None or shaft_height_mm >= 160):
        if shaft_height_mm < 160:
            raise NotInTable("ISO 10816-3", f"shaft height {shaft_height_mm:g} mm")
        return "group 1" if shaft_height_mm >= 315 else "group 2"
    return "group 1" if kw is not None and over(kw, 300.0) else "group 2"


def boundary_mm_s(group_or_class: str, boundary: str, support: str = "rigid") -> float:
    """A zone boundary in mm/s RMS; classes of the older table have no support. Raises NotInTable."""
    return tables.figure("vibration_zones", "velocity_mm_s_rms", group=group_or_class, boundary=boundary,
                         support=_support(group_or_class, support))


def boundary_um(group_or_class: str, boundary: str, support: str = "rigid") -> float:
    """A zone boundary in µm RMS (displacement, from memory). Raises NotInTable."""
    return tables.figure("vibration_zones", "displacement_um_rms", group=group_or_class, boundary=boundary,
                         support=_support(group_or_class, support))


def zone(mm_s_rms: float, group_or_class: str, support: str = "rigid") -> str:
    """A, B, C or D; a boundary itself still belongs to the milder zone. Raises NotInTable."""
    passed = [over(mm_s_rms, boundary_mm_s(group_or_class, b, support)) for b in BOUNDARIES]
    return "ABCD"[sum(passed)]


def _support(group_or_class: str, support: str) -> str:
    return "" if group_or_class.startswith("class") else support


def mg1_limit_in_s_peak(rpm: float, mounting: str = "resilient") -> float:
    """NEMA MG 1 Part 7, new motor, in/s peak; rigid is 0.8 of resilient. Raises NotInTable, MakesNoSense.

    Between the table's speeds below 1,200 rpm the limit follows 2.5 mil peak to peak.
    """
    if rpm <= 0 or mounting not in ("rigid", "resilient"):
        raise MakesNoSense("a speed above zero, and rigid or resilient mounting")
    if rpm > MG1_FASTEST_RPM:
        raise NotInTable("NEMA MG 1 Part 7", f"{rpm:g} rpm")
    return _resilient(rpm) * (rule("rigid share of resilient") if mounting == "rigid" else 1.0)


def _resilient(rpm: float) -> float:
    rows = tables.rows("vibration_mg1")
    for row in rows:
        speed = float(row["rpm"])
        if speed * (1 - SLIP) <= rpm <= speed:
            return float(row["resilient_in_s_peak"])
    level = max(float(row["resilient_in_s_peak"]) for row in rows)
    follows = pi * rpm / 60.0 * rule("displacement below 1,200 rpm") / 1000.0
    return level if rpm >= MG1_LEVEL_FROM_RPM else min(level, follows)


def mg1_old_limit_mil_pp(rpm: float) -> float:
    """NEMA MG 1 20.52 of old editions, mil peak to peak: only for old nameplates. Raises NotInTable."""
    for row in tables.rows("vibration_mg1_old"):
        if float(row["rpm_from"]) <= rpm < float(row["rpm_to"]) + 1:
            return float(row["mil_peak_to_peak"])
    raise NotInTable("NEMA MG 1 20.52", f"{rpm:g} rpm")


def acceptance_row(shaft_height_mm: float, grade: str = "A", support: str = "rigid") -> tables.Row:
    """IEC 60034-14 row of a new, uncoupled motor. Raises NotInTable."""
    wanted = "free suspension" if support.startswith("free") else support
    for row in tables.rows("vibration_acceptance"):
        low, high = float(row["shaft_height_over_mm"]), tables.number(row["shaft_height_to_mm"])
        inside = (low < shaft_height_mm or low == 56 == shaft_height_mm) and (high is None or shaft_height_mm <= high)
        if inside and (row["grade"], row["support"]) == (grade, wanted):
            return row
    raise NotInTable("IEC 60034-14 Table 1", f"H {shaft_height_mm:g} mm, grade {grade}, {support}")


def iso_alarm_mm_s(baseline_mm_s: float, group_or_class: str, support: str = "rigid") -> float:
    """Own baseline + 25 % of the B/C boundary, normally not above 1.25 × B/C (ceiling from memory)."""
    bc = boundary_mm_s(group_or_class, "B/C", support)
    return min(baseline_mm_s + rule("alarm share of B/C above baseline") * bc, rule("alarm ceiling over B/C") * bc)


def change_is_significant(change_mm_s: float, group_or_class: str, support: str = "rigid") -> bool:
    """A change of more than 25 % of B/C is worth a look even inside a zone (from memory)."""
    bc = boundary_mm_s(group_or_class, "B/C", support)
    return over(abs(change_mm_s), rule("alarm share of B/C above baseline") * bc)


def baseline_alarm(baseline: float) -> float:
    """A large-motor settings sheet: 1.8 × the loaded baseline, in whatever unit the baseline is."""
    return rule("alarm over loaded baseline") * baseline


def baseline_trip(baseline: float) -> float:
    """The same sheet: 2.8 × the loaded baseline."""
    return rule("trip over loaded baseline") * baseline
