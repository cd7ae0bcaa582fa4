"""What a motor showed before, figure by figure: told only once the new figure is in, never beside an empty field."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from statistics import median
from typing import Any

from sqlalchemy.orm import Session

from app.rules import facts
from app.store import earlier_readings
from app.store.earlier_readings import Past
from app.store.motors import Motor

#: field at the motor -> column of a reading, SI
COLUMNS = {
    "bearing_temp_DE": "bearing_temp_c_de", "bearing_temp_ODE": "bearing_temp_c_ode", "winding_temp": "winding_temp_c",
    "vibration_DE": "vibration_mm_s_de", "vibration_ODE": "vibration_mm_s_ode",
    **{f"amps_{i}": f"current_a_{i}" for i in (1, 2, 3)}, **{f"volts_{i}": f"voltage_v_{i}" for i in (1, 2, 3)},
}
#: Above this a hand cannot rank heat and may be burnt; common practice (140 °F), see app/rules/touch.py.
HOT_C = 60.0
#: How many running readings make the usual.
MOST = 20


@dataclass(frozen=True)
class Last:
    """One figure's past under the plate fitted now, SI. at: None where only the nameplate is known."""

    last: float | None
    usual: float
    at: datetime | None = None

    @property
    def from_plate(self) -> bool:
        return self.at is None


def last_values(session: Session, motor: Motor, before: datetime) -> dict[str, Last]:
    """Field -> its newest figure and its median over the last running readings; amps and volts else by the plate."""
    return values_of(motor, before, earlier_readings.last_running_past(session, motor.id, before, MOST))


def values_of(motor: Motor, before: datetime, past: list[Past], names: Iterable[str] = COLUMNS) -> dict[str, Last]:
    """The same from the running readings themselves, the newest first. names: of these fields only."""
    plate = motor.nameplate_at(before)
    plate_id = plate.id if plate else None
    running = [p.row for p in past[:MOST] if plate_id is None or p.row.nameplate_id == plate_id]
    rated = {"amps": plate.amps, "volts": plate.volts} if plate else {}
    told = {}
    for name in names:
        column = COLUMNS[name]
        seen = [(value, r.taken_at) for r in running if (value := getattr(r, column)) is not None]
        if seen:
            told[name] = Last(seen[0][0], median([value for value, _ in seen]), seen[0][1])
        elif stamped := rated.get(name.partition("_")[0]):
            told[name] = Last(None, stamped)
    return told


def hot(last: Any) -> bool:
    """Whether housing or frame was too hot for a hand, by the last running reading or what is kept of it (None: it has
    none): said before anybody feels it."""
    return last is not None and (_measured_hot(last) or facts.TEMPERATURE_FEEL[-1] in (
        last.bearing_feel_de, last.bearing_feel_ode, last.winding_feel))


def _measured_hot(last: Any) -> bool:
    """A probe in the winding tells the winding; a frame measured on its surface is what a hand meets."""
    outside = [last.bearing_temp_c_de, last.bearing_temp_c_ode,
               last.winding_temp_c if last.winding_method in ("contact", "infrared") else None]
    return any(value is not None and value >= HOT_C for value in outside)
