"""What the lubrication chart is offered where it has nothing: from bearing, speed and service. Marked computed.

The handbook's formula with its six factors gives the hours, 0.005 × D × B the grams; beside it a motor maker's table by
frame and speed, where it lists the motor. A person confirms; the maker's plate and the unit's own chart win.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor

from app.rules import regrease_tables, tables
from app.rules.bearing_numbers import read_bearing
from app.rules.facts import Nameplate
from app.rules.regrease import k_factor, offer
from app.rules.tables import MakesNoSense, NotInTable

HANDBOOK, FRAME_TABLE = "handbook formula", "motor maker's frame table"
#: words of the form -> a figure inside that band of the table
HOUSING_C = {"below 65 °C": 40.0, "65 to 80 °C": 70.0, "80 to 93 °C": 85.0, "above 93 °C": 100.0}
VIBRATION_IN_S_PEAK = {"below 0.2 in/s peak": 0.0, "0.2 to 0.4 in/s peak": 0.3, "above 0.4 in/s peak": 0.5}
SEVERITIES = ("standard", "severe", "extreme")


def words_of(factor: str) -> tuple[str, ...]:
    """The words of one factor of the handbook's table: Fc contamination, Fm moisture, Fp position."""
    return tuple(row["word"] for row in tables.rows("regrease_factors") if row["factor"] == factor)


CONTAMINATION, MOISTURE, POSITION = words_of("Fc"), words_of("Fm"), words_of("Fp")


@dataclass(frozen=True)
class Service:
    """How the motor serves. The mildest of each is what the formula starts from; it is said beside every figure."""

    housing: str = "below 65 °C"
    contamination: str = CONTAMINATION[0]
    moisture: str = MOISTURE[0]
    vibration: str = "below 0.2 in/s peak"
    position: str = POSITION[0]
    severity: str = SEVERITIES[0]

    @property
    def told(self) -> str:
        return (f"housing {self.housing}, {self.contamination} dust, humidity {self.moisture}, vibration "
                f"{self.vibration}, shaft {self.position}")


@dataclass(frozen=True)
class ChartOffer:
    """One offer. None where the source has no answer; why_not says why."""

    source: str
    grease_g: float | None
    interval_run_h: float | None
    told: str
    why_not: str = ""
    sealed: bool = False


def by_handbook(bearing: str | None, rpm: float | None, service: Service) -> ChartOffer:
    """Grams and running hours after the handbook. Never raises."""
    if bearing is None:
        return ChartOffer(HANDBOOK, None, None, "", "no bearing number on the plate")
    try:
        k = k_factor(read_bearing(bearing).kind, HOUSING_C[service.housing], service.contamination, service.moisture,
                     VIBRATION_IN_S_PEAK[service.vibration], service.position)
    except (MakesNoSense, NotInTable):
        k = None
    found = offer(bearing, rpm, k)
    return ChartOffer(HANDBOOK, found.grease_g, found.interval_run_h, service.told, found.why_not, found.sealed)


def by_frame_table(plate: Nameplate, bearing: str | None, service: Service) -> ChartOffer | None:
    """Running hours after a motor maker's table, rounded down; None where it does not list the motor."""
    if plate.frame is None or plate.rpm is None or bearing is None:
        return None
    position = "horizontal" if service.position == "horizontal" else "vertical"
    try:
        read = read_bearing(bearing)
        if read.sealed:
            return None
        hours = regrease_tables.frame_interval_h(plate.frame, plate.rpm, service.severity, position,
                                                 read.kind or "ball")
    except (MakesNoSense, NotInTable):
        return None
    grams = by_handbook(bearing, plate.rpm, service).grease_g
    told = f"frame {plate.frame} at {plate.rpm:g} rpm, {service.severity} service, {position}"
    return ChartOffer(FRAME_TABLE, grams, float(floor(hours)), told)


def offers(plate: Nameplate, end: str, service: Service) -> list[ChartOffer]:
    """What can be offered for one bearing, the handbook first."""
    bearing = plate.bearing[end]
    found = [by_handbook(bearing, plate.rpm, service), by_frame_table(plate, bearing, service)]
    return [each for each in found if each is not None]
