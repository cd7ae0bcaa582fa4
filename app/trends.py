"""The last readings of the quantity that a flag is about, with the limit beside them. Figures in SI."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from app.gathering import plate_facts
from app.rules import balance, bearings, windings
from app.store.flag_behind import Behind
from app.store.flags import Flag
from app.store.limits import LimitChange, limits_from
from app.store.rounds import Reading

MOST_POINTS = 20


@dataclass(frozen=True)
class Point:
    at: datetime
    value: float
    flagged: bool


@dataclass(frozen=True)
class Trend:
    """What was read, the oldest first; limit None where none of this quantity's own is known."""

    what: str
    unit_of_measure: str
    points: tuple[Point, ...]
    limit: float | None


def trend_of(flag: Flag, stands: Behind) -> Trend | None:
    """None where the rule looks at words, or where nobody measured. stands: what stands behind the flag."""
    quantity = _quantity(flag)
    if quantity is None:
        return None
    shown_by = {s.cause_id for s in stands.sightings}
    found = [Point(r.taken_at, value, r.id in shown_by) for r in stands.entries
             if not r.skipped and r.id not in stands.corrected and (value := _value(r, flag)) is not None][:MOST_POINTS]
    if not found:
        return None
    what, measure = quantity
    return Trend(what, measure, tuple(reversed(found)), _limit(flag, measure, stands.limit_changes))


def _about(flag: Flag, *names: str) -> bool:
    return flag.rule in names or any(flag.rule.endswith(f"_{name}") for name in names)


def _quantity(flag: Flag) -> tuple[str, str] | None:
    """What is followed, and in which unit of measure."""
    if _about(flag, "amps", "amps_over_nameplate"):
        return "Amps, highest phase", "A"
    if _about(flag, "end_difference", "bearings_uneven"):
        return "DE less ODE", "K"
    if _about(flag, "bearing", "bearing_hot", "warming_fast"):
        return f"{flag.end} bearing", "°C"
    if _about(flag, "winding", "winding_hot"):
        return "Winding", "°C"
    if flag.rule == "vibration":
        return f"{flag.end} vibration", "mm/s"
    return {"phase_unbalance": ("Phase currents, unbalance", "%"),
            "volts_off": ("Line volts, unbalance", "%")}.get(flag.rule)


def _value(r: Reading, flag: Flag) -> float | None:
    end = (flag.end or "DE").lower()
    de, ode = r.bearing_temp_c_de, r.bearing_temp_c_ode
    if _about(flag, "amps", "amps_over_nameplate"):
        return max(r.current_a, default=None)
    if _about(flag, "end_difference", "bearings_uneven"):
        return None if de is None or ode is None else de - ode
    if _about(flag, "winding", "winding_hot"):
        return r.winding_temp_c
    if flag.rule in ("phase_unbalance", "volts_off"):
        three = r.current_a if flag.rule == "phase_unbalance" else r.voltage_v
        return balance.unbalance_percent(three) if len(three) == 3 and sum(three) > 0 else None
    return getattr(r, f"vibration_mm_s_{end}" if flag.rule == "vibration" else f"bearing_temp_c_{end}")  # type: ignore[no-any-return]


def _limit(flag: Flag, measure: str, changes: list[LimitChange]) -> float | None:
    """The flag's own limit where it is one of this quantity, else the first that the quantity runs into."""
    if flag.limit is not None and flag.unit_of_measure == measure:
        return -flag.limit if flag.rule == "bearings_uneven" and flag.end == "ODE" else flag.limit
    in_force = limits_from(changes, flag.motor_id, flag.last_seen_at)
    plate = plate_facts(flag.motor.nameplate_at(flag.last_seen_at))
    if _about(flag, "bearing", "bearing_hot", "warming_fast"):
        return bearings.alarm_c(plate, flag.end or "DE", in_force)
    if _about(flag, "winding", "winding_hot"):
        return windings.limit_c(plate, "alarm", None, in_force)[0]
    if _about(flag, "amps") and plate.rated_amps:
        return plate.rated_amps * in_force.value("amps_over_nameplate_this_shift_percent") / 100.0
    return None
