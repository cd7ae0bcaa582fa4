"""A motor against itself: which quantities are followed, and which earlier readings are like the one judged.

Like with like: same nameplate, same method, running, not from before a bearing was changed or a new normal accepted;
none taken while an end was still warm from greasing or the motor still warming up after its start.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter

from app.rules import elapsed
from app.rules.facts import ENDS, Facts, Reading
from app.rules.limits import Limits

TAKEN_AT = attrgetter("taken_at")
#: When something disturbed a quantity, and for how many hours it must settle.
Disturbed = list[tuple[datetime, float]]


@dataclass(frozen=True)
class Quantity:
    """One figure that is followed; SI; its rules are step_<name>, off_own_normal_<name>, heading_for_limit_<name>."""

    name: str
    end: str | None
    unit: str
    value: Callable[[Reading], float | None]
    method: Callable[[Reading], str | None]
    #: greasing one of these ends disturbs it
    warmed_by: tuple[str, ...] = ()


def _amps(reading: Reading) -> float | None:
    return max(reading.current_a) if reading.current_a else None


def _difference(reading: Reading) -> float | None:
    de, ode = reading.bearing_temp_c.de, reading.bearing_temp_c.ode
    return None if de is None or ode is None else de - ode


def _bearing(end: str) -> Quantity:
    return Quantity("bearing", end, "°C", lambda r: r.bearing_temp_c[end], lambda r: r.method, (end,))


AMPS = Quantity("amps", None, "A", _amps, lambda r: None)
BEARINGS = tuple(_bearing(end) for end in ENDS)
END_DIFFERENCE = Quantity("end_difference", None, "K", _difference, lambda r: r.method, ENDS)
WINDING = Quantity("winding", None, "°C", lambda r: r.winding_temp_c, lambda r: r.winding_method)
QUANTITIES = (AMPS, *BEARINGS, END_DIFFERENCE, WINDING)


def now_value(quantity: Quantity, facts: Facts, limits: Limits) -> float | None:
    """The figure of the reading judged; None where it was not read, the motor stands, or it must settle first."""
    reading = facts.reading
    value = quantity.value(reading) if reading is not None and reading.running else None
    if reading is None or value is None or _settling(quantity, reading, facts, limits):
        return None
    return value


def candidates(facts: Facts) -> list[Reading]:
    """Earlier running readings of the same machine, newest first; none from before a normal that was begun anew."""
    reading, renewed = facts.reading, facts.history.new_normal_at
    if reading is None:
        return []
    return [earlier for earlier in sorted(facts.history.running, key=TAKEN_AT, reverse=True)
            if earlier.running and earlier.nameplate_key == reading.nameplate_key
            and elapsed.hours(earlier.taken_at, reading.taken_at) > 0
            and (renewed is None or elapsed.hours(renewed, earlier.taken_at) >= 0)]


def before(quantity: Quantity, facts: Facts, limits: Limits,
           earlier: list[Reading] | None = None) -> list[tuple[Reading, float]]:
    """Earlier readings of the same kind with their figure, newest first, at most the window's count.

    earlier: the candidates, where several quantities of one reading are looked at.
    """
    reading, found = facts.reading, []
    if reading is None:
        return []
    most, disturbed = int(limits.value("off_own_normal_window_readings")), _disturbed(quantity, facts, limits)
    method = quantity.method(reading)
    for then in candidates(facts) if earlier is None else earlier:
        value = quantity.value(then)
        undisturbed = not disturbed or not _within(disturbed, then.taken_at)
        if value is not None and undisturbed and quantity.method(then) == method:
            found.append((then, value))
            if len(found) == most:
                break
    return found


def _settling(quantity: Quantity, reading: Reading, facts: Facts, limits: Limits) -> bool:
    return _within(_disturbed(quantity, facts, limits), reading.taken_at)


def _disturbed(quantity: Quantity, facts: Facts, limits: Limits) -> Disturbed:
    """What this quantity must settle after, each with its wait in hours: a start, a greasing of an end it feels."""
    started, wait_h = facts.history.last_start_at, limits.value("step_greasing_wait_h")
    found = [] if started is None else [(started, limits.value("step_start_wait_h"))]
    found += [(done.at, wait_h) for done in facts.history.greasings if done.end in quantity.warmed_by]
    for end in quantity.warmed_by:
        point = facts.motor.lubrication[end]
        if point is not None and point.last_greased_at is not None:
            found.append((point.last_greased_at, wait_h))
    return found


def _within(disturbed: Disturbed, at: datetime) -> bool:
    return any(0 <= elapsed.hours(event, at) < wait_h for event, wait_h in disturbed)
