"""Is this plate right? What the register asks, and never refuses.

Amps against hp, volts and phases (full_load.plausible, more than 25 % away), rpm against poles and hertz,
service-factor amps against rated amps. A plate is rated below the system it hangs on: 460 V on 480, 4,000 on 4,160.
How a plate's own words are read (`7 1/2`, `230/460`) is plate.py; bearing numbers are bearing_numbers.py; code letters
are locked_rotor.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.rules import wording
from app.rules.facts import Nameplate
from app.rules.findings import over
from app.rules.full_load import plausible
from app.rules.limits import Limits
from app.rules.tables import MakesNoSense

#: system volts: plate volts (440 to 480 under 460 read in the NEC heading; medium voltage from memory)
SYSTEM_VOLTS = {120.0: 115.0, 208.0: 200.0, 240.0: 230.0, 480.0: 460.0, 600.0: 575.0, 2400.0: 2300.0, 4160.0: 4000.0}
MOST_SLIP = 0.15  # a NEMA design D motor slips up to 13 % (from memory); beyond this the poles are wrong
RIGHT = "is this right?"


@dataclass(frozen=True)
class Question:
    """One thing about a plate that looks wrong: the field, and a sentence that asks."""

    field: str
    says: str


def synchronous_rpm(hz: float, poles: int) -> float:
    """120 × Hz ÷ poles. Raises MakesNoSense for odd poles or no frequency."""
    if poles < 2 or poles % 2 or hz <= 0:
        raise MakesNoSense("poles come in pairs, and the frequency is above zero")
    return 120.0 * hz / poles


def poles_from_rpm(rpm: float, hz: float = 60.0) -> int:
    """The pole count whose synchronous speed lies next above the stamped rpm: 1,750 at 60 Hz is 4.

    Raises MakesNoSense where the slip would be above 15 %, or the speed above two-pole synchronous.
    """
    if rpm > 0 and hz > 0:
        poles = 2 * int(60.0 * hz / rpm + 1e-9)
        if poles >= 2 and rpm >= (1 - MOST_SLIP) * synchronous_rpm(hz, poles):
            return poles
    raise MakesNoSense(f"{rpm:g} rpm fits no pole count at {hz:g} Hz")


def questions(plate: Nameplate, limits: Limits) -> list[Question]:
    """Everything about this plate that asks "is this right?"; empty where nothing does or too little is known."""
    found = (_amps(plate, limits), _speed(plate), _service_factor_amps(plate))
    return [question for question in found if question is not None]


def _amps(plate: Nameplate, limits: Limits) -> Question | None:
    if not (plate.rated_amps and plate.hp and plate.volts) or plate.phases not in (1, 3):
        return None
    check = plausible(plate.hp, plate.volts, plate.rated_amps, plate.phases, plate.poles,
                      limits.value("nameplate_amps_ask_percent"))
    if not check.asks:
        return None
    given = wording.listed([f"{wording.figure(amps, wording.AMPS)} ({source})"
                            for source, amps in check.expected.items()])
    side = "above" if check.off_percent > 0 else "below"
    return Question("amps", f"{wording.figure(plate.rated_amps, wording.AMPS)} is "
                            f"{wording.digits(abs(check.off_percent), 0)} % {side} what hp, volts and phases give: "
                            f"{given}. {RIGHT.capitalize()}")


def _speed(plate: Nameplate) -> Question | None:
    if not plate.rpm or not plate.hz or not plate.poles:
        return None
    try:
        poles = poles_from_rpm(plate.rpm, plate.hz)
    except MakesNoSense as error:
        return Question("rpm", f"{str(error).capitalize()}. {RIGHT.capitalize()}")
    if poles == plate.poles:
        return None
    return Question("poles", f"{plate.rpm:g} rpm at {plate.hz:g} Hz is a {poles}-pole speed, not {plate.poles}. "
                             f"{RIGHT.capitalize()}")


def _service_factor_amps(plate: Nameplate) -> Question | None:
    stamped, rated = plate.service_factor_amps, plate.rated_amps
    if stamped is None or rated is None or over(stamped, rated):
        return None
    return Question("service_factor_amps", f"Service-factor amps {wording.figure(stamped, wording.AMPS)} are not above "
                                           f"rated {wording.figure(rated, wording.AMPS)}. {RIGHT.capitalize()}")
