"""Two from cold, one from hot: how many starts in a row the standards give, for comparison beside a motor's own rule.

NEMA MG 1 12.54 (read in a maker's guideline), 20.12, IEC 60034-12, IEEE 841 (from memory): two from ambient, one from
rated-load temperature. One maker allows three and two: that is why the limit is a setting of the motor.
"""

from __future__ import annotations

from app.rules import tables
from app.rules.tables import NotInTable

RECORDS = {"NEMA MG 1 12.54": "mg1_12_54_consecutive_starts", "NEMA MG 1 20.12": "mg1_20_12_consecutive_starts",
           "IEC 60034-12": "iec_60034_12_starts", "IEEE 841": "ieee_841_starts",
           "maker's manual": "maker_manual_starts_example"}


def consecutive_starts(standard: str) -> tuple[int, int]:
    """Starts in a row from cold, and from hot. Raises NotInTable."""
    if standard not in RECORDS:
        raise NotInTable("starts_rules", standard)
    cold, hot = tables.row("starts_rules", rule_id=RECORDS[standard])["value"].split("/")
    return int(cold.split()[0]), int(hot.split()[0])


def switch_off_after_s() -> float:
    """Seconds after which a rotor that has not begun to turn is switched off (one maker's manual)."""
    return float(tables.row("starts_rules", rule_id="start_stop_stalled")["value"].split()[0])
