"""What a trip asks for before a start: the guide, step by step, and what still bars the start.

Overload relay: cool, find the cause, reset the relay, then Start; the second in one shift also needs the head operator.
Low-voltage protection: Start is enough once volts are back. Low-voltage release and automatic start: it restarts by
itself. Fuse, circuit breaker, unknown: a qualified person corrects the cause first (OSHA 29 CFR 1910.334(b)(2), from
memory). Our own words; common practice, no published source. The site's procedure and licensed people decide.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from app.rules.refusals import Refusal, clock
from app.rules.starting_facts import StartHistory, TripRecord

OVERLOAD, LOW_VOLTAGE, FUSE, BREAKER, UNKNOWN = "overload relay", "low voltage", "fuse", "circuit breaker", "unknown"
PROTECTIONS = (OVERLOAD, LOW_VOLTAGE, FUSE, BREAKER, UNKNOWN)
BY_ITSELF = ("low-voltage release", "automatic start")
SOURCE = "trip on record"
OPERATOR, HEAD_OPERATOR, QUALIFIED = "operator", "head operator", "qualified person"
LOOK = "Look from where you stand: jam, smell, smoke, heat, low volts, one phase missing."


@dataclass(frozen=True)
class Step:
    """One step of the guide and who may do it."""

    does: str
    who: str  # OPERATOR, HEAD_OPERATOR, QUALIFIED


LEAVE = Step("Leave it stopped. Press nothing, reset nothing; call a qualified person.", OPERATOR)
CORRECT = Step("The cause is found and corrected, by the plant's electrical procedure.", QUALIFIED)
CLEAR = Step("Record the clearance: the qualified person's name and what was found.", HEAD_OPERATOR)
START = Step("Start only when the start limits say so; count it.", OPERATOR)
GUIDE = {
    OVERLOAD: (Step(f"Let it cool. {LOOK}", OPERATOR), Step("Find the cause and write it down.", OPERATOR),
               Step("Reset the relay once; the setting is not touched.", OPERATOR), START),
    LOW_VOLTAGE: (Step("Wait until the volts are back and steady.", OPERATOR),
                  Step("Start is enough; one motor after the other, in the unit's order.", OPERATOR)),
    FUSE: (LEAVE, CORRECT, Step("Only then is the fuse replaced.", QUALIFIED), CLEAR, START),
    BREAKER: (LEAVE, CORRECT, Step("Only then is the breaker reset.", QUALIFIED), CLEAR, START),
    UNKNOWN: (LEAVE, CORRECT, CLEAR, START),
}
AGREE = Step("Second overload in this shift: the head operator decides whether it is tried again.", HEAD_OPERATOR)
RESTARTS = (Step("Stay clear: it restarts by itself when the volts return.", OPERATOR),
            Step("From a distance, see that it came back; record that as an automatic start.", OPERATOR))
RESET_FIRST = (Step("Low voltage opened the overload relay: wait until the volts are back and steady.", OPERATOR),
               Step("Write down the cause, then reset the relay, before Start.", OPERATOR), START)


#: Under every guide.
CAUTION = "Never reset and retry in a row. Your unit's procedure and qualified people come first."


def is_fault(protection: str) -> bool:
    """Fuse, circuit breaker, unknown, and any word that is none of ours: treated as a fault."""
    return protection not in (OVERLOAD, LOW_VOLTAGE)


def trip_guide(protection: str, interlock: str | None = None, by_low_voltage: bool = False,
               second_in_shift: bool = False) -> tuple[Step, ...]:
    """The steps after this protection opened, in order. interlock as in the register; by_low_voltage: low volts
    opened the overload relay."""
    if protection == LOW_VOLTAGE and interlock in BY_ITSELF:
        return RESTARTS
    if protection == OVERLOAD:
        steps = RESET_FIRST if by_low_voltage else GUIDE[OVERLOAD]
        return (*steps[:-1], AGREE, steps[-1]) if second_in_shift else steps
    return GUIDE.get(protection, GUIDE[UNKNOWN])


def cannot_wait(steps: tuple[Step, ...]) -> bool:
    """The first step is to keep the hands off: leave it stopped, or stay clear."""
    return steps[0] in (LEAVE, RESTARTS[0])


def missing(trip: TripRecord, second_in_shift: bool) -> tuple[str, ...]:
    """What is not on record yet of what this trip needs before a start, in the guide's order."""
    if is_fault(trip.protection):
        cleared = trip.cleared_at is not None and (trip.cleared_by or "").strip()
        return () if cleared else ("clearance by a qualified person",)
    if trip.protection == LOW_VOLTAGE:
        return ()
    needs = {"cause": bool((trip.cause or "").strip()), "relay reset": trip.relay_reset_at is not None,
             "head operator's agreement": trip.head_operator_at is not None or not second_in_shift}
    return tuple(name for name, there in needs.items() if not there)


def second_in_shift(trip: TripRecord, history: StartHistory) -> bool:
    """An overload trip with another before it in the same shift; `history` as as_of() gives it."""
    shift = _shift(trip, history)
    return trip.protection == OVERLOAD and shift is not None and any(
        other.protection == OVERLOAD and other is not trip and other.at <= trip.at and _shift(other, history) == shift
        for other in history.trips)


def _shift(trip: TripRecord, history: StartHistory) -> datetime | None:
    if trip.shift_start is not None:
        return trip.shift_start
    begun = history.shift_start
    return begun if begun is not None and trip.at >= begun else None


def unsettled(history: StartHistory) -> tuple[TripRecord, tuple[str, ...]] | None:
    """The trip that forbids a start and what it needs: an uncleared fault before an overload, the newest of each."""
    for trip in sorted(history.trips, key=lambda trip: (is_fault(trip.protection), trip.at), reverse=True):
        if needs := missing(trip, second_in_shift(trip, history)):
            return trip, needs
    return None


def bars(history: StartHistory, now: datetime) -> Refusal | None:
    """The no of the trip that forbids a start."""
    found = unsettled(history)
    if found is None:
        return None
    trip, needs = found
    return _fault(trip, now) if is_fault(trip.protection) else _overload(trip, needs, now)


def _fault(trip: TripRecord, now: datetime) -> Refusal:
    what = {FUSE: "Fuse", BREAKER: "Circuit breaker"}.get(trip.protection, "Unknown protection")
    return Refusal(
        "fault trip", SOURCE, f"{what} opened at {clock(trip.at, now)} ({SOURCE}), not cleared. "
        "Leave it stopped; call a qualified person to correct the cause first.",
        "A qualified person's clearance, recorded by the head operator with what was found.",
        find_the_cause=True, grave=True)


def _overload(trip: TripRecord, needs: tuple[str, ...], now: datetime) -> Refusal:
    do = {"cause": "Let it cool; find the cause and record it.", "relay reset": "Reset the relay and record it.",
          "head operator's agreement": "Second in this shift: ask the head operator."}
    return Refusal(
        "overload trip", SOURCE, f"Overload relay opened at {clock(trip.at, now)} ({SOURCE}); {needs[0]} not recorded. "
        f"{do[needs[0]]}", f"On record: {', '.join(needs)}.", find_the_cause="cause" in needs)
