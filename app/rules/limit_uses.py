"""Which limits a reading's figures are compared with, without judging it: how often each is passed, and how nearly.

75 hp, rated 87 A, 92 A: 105.7 % against amps_over_nameplate_this_shift_percent; a service factor of 1.15 sets its own
act-now limit, so 92 A is not compared with amps_over_nameplate_act_now_percent.
"""

from __future__ import annotations

from collections.abc import Iterator

from app.rules import balance, bearings, load, starting_basis, vibration, windings
from app.rules.facts import ENDS, Nameplate, Reading
from app.rules.findings import over, under
from app.rules.limits import Limits

#: Passed below, all others above.
FLOORS = frozenset({"phase_unbalance_single_phasing_percent"})
#: Limits of the rules with history: what their rules' names begin with. They are counted by what was found.
WITH_HISTORY = {
    "step_this_shift_k": "step_", "off_own_normal_watch_distance": "off_own_normal_",
    "heading_for_limit_watch_days": "heading_for_limit_", "not_settled_this_shift_k": "not_settled_bearing",
    "warming_fast_act_now_k_per_min": "warming_fast", "look_again_same_figures_rounds": "look_again",
}


def compared(plate: Nameplate, reading: Reading, limits: Limits) -> Iterator[tuple[str, float]]:
    """Name of a limit and the figure held against it, in the limit's own unit. Nothing for a motor that stands."""
    if not reading.running:
        return
    yield from _amps(plate, reading)
    yield from _volts(plate, reading)
    yield from _bearings(plate, reading)
    yield from _winding(plate, reading, limits)
    for _, mm_s in reading.vibration_mm_s.items():
        for grade in ("this_shift", "act_now"):
            yield f"vibration_{vibration.zone_key(plate)[0]}_{grade}_mm_s", mm_s


def passes(name: str, figure: float, limits: Limits) -> bool:
    return (under if name in FLOORS else over)(figure, limits.value(name))


def _amps(plate: Nameplate, reading: Reading) -> Iterator[tuple[str, float]]:
    worst = load.highest(reading.current_a)
    percent = None if worst is None else load.percent_of_rated(worst, plate.rated_amps)
    if percent is not None:
        yield "amps_over_nameplate_this_shift_percent", percent
        if load.service_factor_amps(plate) is None:
            yield "amps_over_nameplate_act_now_percent", percent
    if len(reading.current_a) == 3 and sum(reading.current_a) > 0:
        yield "phase_unbalance_this_shift_percent", balance.unbalance_percent(reading.current_a)
        yield "phase_unbalance_single_phasing_percent", balance.lowest_share_percent(reading.current_a)


def _volts(plate: Nameplate, reading: Reading) -> Iterator[tuple[str, float]]:
    if reading.voltage_v and plate.volts:
        yield "volts_off_this_shift_percent", max(abs(balance.away_percent(v, plate.volts)) for v in reading.voltage_v)
    if len(reading.voltage_v) == 3 and sum(reading.voltage_v) > 0:
        for grade in ("watch", "this_shift", "act_now"):
            yield f"volts_off_unbalance_{grade}_percent", balance.unbalance_percent(reading.voltage_v)


def _bearings(plate: Nameplate, reading: Reading) -> Iterator[tuple[str, float]]:
    for end, temp_c in reading.bearing_temp_c.items():
        for grade in ("alarm", "shutdown"):
            yield f"bearing_hot_{bearings.kind(plate, end)}_{grade}_c", temp_c
    de, ode = reading.bearing_temp_c.de, reading.bearing_temp_c.ode
    if de is not None and ode is not None:
        yield "bearings_uneven_this_shift_k", abs(de - ode)
        yield "bearings_uneven_act_now_k", abs(de - ode)


def _winding(plate: Nameplate, reading: Reading, limits: Limits) -> Iterator[tuple[str, float]]:
    if reading.winding_temp_c is not None:
        surface = reading.winding_method in windings.SURFACE_METHODS
        below = limits.value("winding_hot_surface_allowance_k") if surface else 0.0
        for grade in ("alarm", "limit"):
            yield windings.limit_name(plate, grade), reading.winding_temp_c + below


def applies(name: str, plate: Nameplate) -> bool:
    """Whether a limit is one for a machine of this kind; what is for no kind is for every machine."""
    if name.startswith("bearing_hot_"):
        return any(f"_{bearings.kind(plate, end)}_" in name for end in ENDS)
    if name.startswith("winding_hot_") and name.endswith(("_alarm_c", "_limit_c")):
        return name in (windings.limit_name(plate, "alarm"), windings.limit_name(plate, "limit"))
    if name.startswith("vibration_"):
        return f"_{vibration.zone_key(plate)[0]}_" in name
    if name.startswith(("start_to_50", "start_over_50")):
        return f"start_{starting_basis.size(plate.hp)}_" in name
    return True
