"""`winding_hot`: a probe against the limits of its insulation class, and a hand against this motor's own normal.

Probe (embedded detector): alarm / limit from insulation class and service factor after a motor maker's table, class B
130/140, F 155/165, H 175/185 °C, and a little more where the plate says service factor 1.15. A surface reading stands
25 K below the winding, so its limits do. A class the plate does not give is taken as B, and the source says so.
Feel: modern frames run hot when healthy, so the rule is the change from the accepted normal feel; without one, warm.
"""

from __future__ import annotations

from app.rules import wording
from app.rules.facts import TEMPERATURE_FEEL, Facts, Motor, Nameplate, Reading
from app.rules.findings import ACT_NOW, THIS_SHIFT, Finding, over
from app.rules.limits import Limits

RULE = "winding_hot"
SURFACE_METHODS = ("contact", "infrared")
TAKEN_AS_NORMAL = "warm"
SAYS = {
    "limit": "Winding {spot} {value}, above limit {limit} ({source}){felt}. Reduce load at once.",
    "alarm": "Winding {spot} {value}, above alarm {limit} ({source}){felt}. Check load and cooling.",
    "felt": "Winding feels {feel}, above its normal {normal} ({source}). Check load and cooling; use an instrument.",
}
ALSO_FELT = ", feels {feel}"
#: classes with settings of their own; N stands above H and is judged as H
CLASSES = {"A": "a", "B": "b", "E": "e", "F": "f", "H": "h", "N": "h"}
WITH_SERVICE_FACTOR = ("b", "f", "h")


def limit_name(plate: Nameplate, grade: str) -> str:
    """The name of the limit, grade "alarm" or "limit", for this plate's class and service factor."""
    letter = CLASSES.get((plate.insulation_class or "").strip().upper(), "b")
    factor = plate.service_factor is not None and not over(1.15, plate.service_factor)
    return f"winding_hot_{letter}_{'sf_' if factor and letter in WITH_SERVICE_FACTOR else ''}{grade}_c"


def limit_c(plate: Nameplate, grade: str, method: str | None, limits: Limits) -> tuple[float, str]:
    """The limit in °C for a reading by `method`, and where it comes from."""
    limit = limits[limit_name(plate, grade)]
    below = limits.value("winding_hot_surface_allowance_k") if method in SURFACE_METHODS else 0.0
    surface = f", less {wording.digits(below, 1)} K at surface" if below else ""
    given = (plate.insulation_class or "").strip().upper() in CLASSES
    return limit.value - below, f"{limit.origin}{surface}{'' if given else ', class taken as B'}"


def normal_feel(motor: Motor) -> tuple[str, str]:
    """What a hand may find on this motor, and where that comes from."""
    accepted = motor.accepted_normal_feel
    if accepted in TEMPERATURE_FEEL and accepted is not None:
        return accepted, "this motor's accepted normal"
    return TAKEN_AS_NORMAL, f"no accepted normal yet, taken as {TAKEN_AS_NORMAL}"


def hotter_than_normal(feel: str | None, accepted: str | None) -> bool:
    """A hand finds it above the accepted normal; without one, above warm."""
    if feel not in TEMPERATURE_FEEL:
        return False
    normal = accepted if accepted in TEMPERATURE_FEEL else TAKEN_AS_NORMAL
    return TEMPERATURE_FEEL.index(feel) > TEMPERATURE_FEEL.index(normal)


def check(facts: Facts, limits: Limits) -> list[Finding]:
    reading = facts.reading
    if reading is None or not reading.running:
        return []
    felt = hotter_than_normal(reading.winding_feel, facts.motor.accepted_normal_feel)
    measured = _measured(facts, reading, felt, limits)
    if measured is not None:
        return [measured]
    return [_felt(facts.motor, reading.winding_feel)] if felt and reading.winding_feel else []


def _measured(facts: Facts, reading: Reading, felt: bool, limits: Limits) -> Finding | None:
    if reading.winding_temp_c is None:
        return None
    scale = wording.temperature(facts.show)
    also = ALSO_FELT.format(feel=str(reading.winding_feel).removesuffix(" to hold")) if felt else ""
    spot = "surface" if reading.winding_method in SURFACE_METHODS else "probe"
    for grade, priority in (("limit", ACT_NOW), ("alarm", THIS_SHIFT)):
        limit, source = limit_c(facts.motor.nameplate, grade, reading.winding_method, limits)
        if over(reading.winding_temp_c, limit):
            value, most = wording.pair(reading.winding_temp_c, limit, scale)
            says = SAYS[grade].format(spot=spot, value=value, limit=most, source=source, felt=also)
            return Finding(RULE, None, priority, reading.winding_temp_c, limit, "°C", source, says)
    return None


def _felt(motor: Motor, feel: str) -> Finding:
    normal, source = normal_feel(motor)
    says = SAYS["felt"].format(feel=feel, normal=normal, source=source)
    return Finding(RULE, None, THIS_SHIFT, None, None, None, source, says)
