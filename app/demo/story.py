"""What went on at the demo's motors besides the ordinary, counted back in shifts from the present one (0).

`change` is laid over an ordinary body; keys with a plus work on the figures: +load (share of rated amps), +DE_k and
+ODE_k (warmer by so much), +stuck_f (dials that stand still), +phases (shares of each), +vibration (measured, mm/s).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from app.demo.plant import OIL


@dataclass(frozen=True)
class Change:
    """From shift `first` to shift `last` before now, this motor was found so."""

    tag: str
    first: int
    last: int
    change: dict[str, Any] = field(default_factory=dict)

    def holds(self, ago: int) -> bool:
        return self.first >= ago >= self.last


@dataclass(frozen=True)
class Act:
    """What was done about a flag so many shifts before now: done, plan, run on, shelve or close.

    more: the owner of a plan, or what is watched meanwhile; days: until it is done or looked at again.
    """

    tag: str
    rule: str
    ago: int
    kind: str
    text: str
    more: str = ""
    days: float = 0.0


@dataclass(frozen=True)
class Event:
    """Something besides the round: start, stop, trip, check (before a start), reset (of the relay), turned, oil,
    half-way or insulation.

    minute: after the shift began; below zero, before now (only in the present shift).
    """

    tag: str
    ago: int
    minute: float
    kind: str
    more: dict[str, Any] = field(default_factory=dict)


RAN = {"outcome": "ran"}
EVENTS = (
    Event("C-420", 60, 128, "stop"), Event("C-420", 60, 290, "check"), Event("C-420", 60, 292, "start", RAN),
    Event("CF-502", 36, 300, "stop"), Event("CF-502", 36, 310, "start", RAN), Event("CF-502", 36, 316, "stop"),
    Event("CF-502", 36, 338, "start", RAN),  # over 50 hp one start an hour is usual: flagged
    Event("S-406", 25, 4, "trip", {"protection": "fuse"}),  # nobody has cleared it yet
    Event("P-710", 10, 200, "trip", {"protection": "overload relay", "cause": "Rag in the impeller"}),
    Event("P-710", 10, 228, "reset", {"found": "Rag in the impeller, taken out under lock; relay cooled 25 min."}),
    Event("P-710", 10, 236, "start", RAN),
    Event("P-510C", 21, 400, "turned"), Event("P-720", 20, 410, "turned"),
    Event("K-301", 62, 300, "oil", {"end": "DE", "kind": "top-up", "amount_ml": 250.0, "lubricant": OIL}),
    Event("K-301", 20, 300, "oil", {"end": "DE", "kind": "top-up", "amount_ml": 300.0, "lubricant": OIL}),
    Event("K-302", 32, 260, "oil", {"end": "ODE", "kind": "top-up", "amount_ml": 400.0, "lubricant": OIL}),
    Event("A-401", 4, 310, "half-way", {"kind": "temporary fan", "days": 5.0,
                                        "words": "Portable fan on the housing until the screen is washed."}),
    Event("P-720", 40, 420, "insulation", {"r1_mohm": 620.0, "r10_mohm": 1580.0, "temp_c": 21.0, "winding": "random",
                                           "test_volts": 500.0, "measured_by": "Kit Maple, electrician"}),
    Event("CF-503", 0, -44, "stop"), Event("CF-503", 0, -27, "start", RAN), Event("CF-503", 0, -6, "stop"),
)
#: The night of the dip; what fell out and had to be started; every running motor was asked after.
DIP, DIP_MINUTE = 19, 505.0
DIP_STOPPED = ("P-103", "P-213", "P-710")
DIP_REMARKS = "Lights dipped twice, under a second. Feeder switched by the utility."
#: After a dip, in this order.
RESTART_ORDER = ("P-310A", "P-510A", "P-510B", "P-602A", "K-301", "K-302", "P-201A", "P-202A", "P-203A")

CHANGES = (
    # standing now
    Change("P-203A", 2, 0, {"guard": "loose", "remarks": "Coupling guard: two of four bolts gone, rattles."}),
    Change("P-210A", 3, 0, {"+load": 1.03, "remarks": "Product thick, density 1.31."}),
    Change("P-202A", 1, 0, {"vibration_feel": {"ODE": "rougher than usual"}}),
    Change("P-103", 2, 0, {"lubricant": {"DE": "purging"}}),
    Change("P-104A", 5, 0, {"bearing_feel": {"DE": "hot"}}),
    Change("CF-501", 6, 2, {"vibration_feel": {"DE": "rougher than usual"}}),  # and better since
    Change("A-401", 4, 3, {"cleanliness": "vents blocked", "remarks": "Crystal dust on the fan cover; wiped off."}),
    # over and done with
    Change("C-420", 60, 60, {"smoke": "seen", "bearing_feel": dict.fromkeys(("DE", "ODE"), "could not feel"),
                             "vibration_feel": dict.fromkeys(("DE", "ODE"), "could not feel"),
                             "winding_feel": "could not feel", "remarks": "Blue smoke from the fan end. Stopped it."}),
    Change("P-104A", 58, 56, {"bearing_feel": {"DE": "hot"}}),
    Change("P-104A", 30, 29, {"bearing_feel": {"DE": "hot"}}),
    Change("P-510A", 51, 47, {"+DE_k": 9.5}),
    Change("1E05", 49, 45, {"cleanliness": "dusty"}),
    Change("F-411", 41, 38, {"+vibration": {"DE": 3.2}}),
    Change("F-411", 37, 35, {"+vibration": {}}),
    Change("P-201A", 37, 35, {"+phases": (1.0, 0.84, 1.04)}),
    Change("K-302", 33, 32, {"lubricant": {"ODE": "low"}}),
    Change("CF-503", 28, 21, {"+stuck_f": {"DE": 135, "ODE": 131}}),
    Change("A-110", 24, 23, {"winding_feel": "hot"}),
    Change("P-212", 21, 21, {"winding_feel": None, "cleanliness": None}),
    Change("P-211", 18, 15, {"leak": "seen", "remarks": "Seal water drips on the base, not on the motor."}),
    Change("P-601A", 12, 12, {"+load": 0.45, "remarks": "Lost suction for an hour."}),
    Change("S-406", 25, 25, {"remarks": "Fuses blown. Needs an electrician."}),
    Change("P-203A", 9, 8, {"ambient_c": 31.0}),
)

ACTS = (
    Act("P-203A", "guard_or_ground", 2, "done", "Fitter told by radio, area taped off. Bolts ordered; a stop to fit "
                                                "them is agreed for the next day shift."),
    Act("P-210A", "amps_over_nameplate", 2, "done", "Thinned with 4 m³/h of condensate, watching the ammeter hourly."),
    Act("P-104A", "bearings_uneven", 3, "plan", "Third time in six weeks: bearing to be changed", "Mechanics", 4.0),
    Act("F-410", "bearing_hot", 1, "run on", "No spare fan; the dryer stops with it", "DE dial every two hours; "
                                              "stop by procedure at 205 °F", 2.0),
    Act("P-511", "greasing_overdue", 1, "shelve", "Asked the workshop when it was last done", "DE by hand each round"),
    Act("CF-501", "vibration", 2, "done", "Fan stopped 20 min, blades cleaned of scale, started again."),
    Act("P-102A", "greasing_overdue", 7, "done", "Gun for this grease is away for repair; due back this week."),
    Act("F-410", "heading_for_limit_bearing", 9, "done", "Supervisor told; spare NU322 found in the store."),
    Act("CF-502", "started_outside_limits", 36, "close", "Blades had to be freed, so two starts. Talked through: "
                                                         "an hour between starts, or ask first. Felt warm, no more."),
    Act("C-420", "smoke", 59, "close", "Stopped by hand at once, locked, jammed lump cut out. Electrician tested the "
                                       "winding and released it; started again, no smoke, no smell."),
    Act("P-104A", "bearings_uneven", 55, "close", "Greased DE by the chart, back to warm since."),
    Act("A-402", "wrong_lubricant", 51, "close", "Wrong gun taken. Purged by the lubrication owner with the chart's "
                                                 "grease the same day; guns are now marked."),
    Act("P-510A", "bearings_uneven", 48, "done", "Greased DE by the chart; electrician to look at the coupling."),
    Act("P-101A", "greased_too_soon", 43, "close", "Both crews greased it in one day: the day's entry came in late. "
                                                   "DE watched for two shifts, no warmer."),
    Act("F-411", "vibration", 39, "done", "Fan wheel cleaned and balanced during the wash stop."),
    Act("P-201A", "phase_unbalance", 34, "close", "Electrician found a loose fuse clip in phase 2 and put it right."),
    Act("K-302", "lubricant", 32, "done", "Topped up 0.4 L with the chart's oil by procedure; drain plug nipped up."),
    Act("P-104A", "bearings_uneven", 28, "close", "Felt again by two people: both ends warm."),
    Act("CF-503", "look_again", 20, "close", "Both dials stood still: capillary broken, changed by instruments."),
    Act("P-211", "lubricant", 16, "done", "Gland nipped up by the fitter, drips less."),
)
#: Not yet marked seen by any head operator.
UNSEEN = {("A-401", "dirty"), ("P-202A", "vibration"), ("B-711", "greasing_overdue")}

#: (tag, shift): the reason why it was not read.
SKIPPED = {
    ("P-211", 31): "could not reach it", ("P-213", 31): "could not reach it",
    **{(tag, 14): "area closed by permit or gas" for tag in ("F-410", "F-411", "C-420", "1E05", "V-430")},
    ("CF-503", 6): "no time this round", ("F-411", 1): "could not reach it",
}
SKIP_EVERY = 110  # one in so many, besides these
#: Neither read nor skipped; the signature flags them.
NOT_SEEN = {("CF-501", 47), ("CF-502", 47), ("CF-503", 47), ("P-710", 11)}
#: Observed in one shift, received in the next: the tablet found no network.
LATE = {("CF-502", 17), ("P-510C", 17)}
#: No round was walked, the crew being one short: this shift, or the night next to it.
MISSED = 32
UNSIGNED = (22, 1, 0)
#: Duty and standby change places from this shift on.
SWAPS = {("P-101A", "P-101B"): (28,), ("P-601A", "P-601B"): (56, 26)}
OUT_OF_SERVICE = {"S-406": 25}
LOCKED = ("P-603", 7, "L-0417", "Kit Maple, electrician", "Coupling off for the pump's repair.")

#: (tag, end, shift, share of the chart's amount, lubricant, thickener): besides what the chart makes due.
GREASED = (
    ("A-402", "DE", 52, 1.0, "motor grease NLGI 2 LC", "lithium complex"),
    ("P-101A", "DE", 44, 1.0, "", ""), ("P-101A", "DE", 43, 1.0, "", ""),
    ("P-510A", "DE", 48, 1.0, "", ""), ("P-104A", "DE", 55, 1.0, "", ""),
)
#: (tag, shift, what was typed wrong, minutes later, by the head operator?, why)
CORRECTED = (
    ("P-511", 20, {"current_a": [286.0]}, 4, False, "The point was missed: 28.6 A."),
    ("A-110", 8, {"cleanliness": "oily"}, 95, True, "That was the gearbox, not the motor."),
)
NEW_PLATE = ("P-212", 38, {"amps": "6.2", "serial": "FB-019-771", "rpm": "3500"}, "Winding burnt, spare fitted.")
OWN_LIMIT = ("K-301", "bearing_hot_sleeve_alarm_c", 82.0, "Compressor maker's sheet, page 4.")


def change_of(tag: str, ago: int) -> dict[str, Any]:
    """Everything out of the ordinary at this motor in this shift."""
    found: dict[str, Any] = {}
    for change in CHANGES:
        if change.tag == tag and change.holds(ago):
            found |= change.change
    if tag == "F-410":  # a bearing that warms over six weeks, faster towards the end
        grown = max(0.0, 1 - ago / 84) ** 1.6
        found |= {"+DE_k": 17.0 * grown, "+ODE_k": 13.0 * grown}
    return found
