"""Numbers about the flags themselves, each with its target: a unit that is told too much stops listening.

The measures follow the alarm performance metrics of ISA-18.2 / IEC 62682 in kind. The targets are general practice for
rounds of two looks a day, carried over from alarms that ring by the minute; no standard gives them for rounds.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app.rules.findings import ACT_NOW, THIS_SHIFT, WATCH
from app.store import flags, motors, rounds
from app.store.flags import Flag
from app.store.units import Unit

MET, BETWEEN, NOT_MET, NO_NUMBER = "met", "look at it", "not met", "nothing to count"
WEEKS = 4
WEEK = timedelta(days=7)
#: To be seen within: act now at once, by ISA-18.2 practice in minutes; the others within shifts.
SEEN_WITHIN = {ACT_NOW: timedelta(minutes=15), THIS_SHIFT: timedelta(hours=12), WATCH: timedelta(hours=24)}
STANDS_LONG, REPEATS = 2, 3


@dataclass(frozen=True)
class Measure:
    """One line: what, what it should be, what it is, and whether that is met."""

    name: str
    target: str
    now: str
    state: str
    why: str = ""


def at_most(value: float, target: float, act_at: float) -> str:
    """Met at the target; not met above the value at which somebody must act."""
    return MET if value <= target else NOT_MET if value > act_at else BETWEEN


def at_least(value: float, target: float, act_at: float) -> str:
    return MET if value >= target else NOT_MET if value < act_at else BETWEEN


def share(part: int, whole: int) -> float:
    return 100.0 * part / whole


@dataclass(frozen=True)
class Facts:
    """What is counted from: the span's flags, what stands now, the register, the rounds."""

    raised: list[Flag]
    standing: list[Flag]
    motor_count: int
    round_count: int
    unit: Unit
    now: datetime


def gather(session: Session, unit: Unit, now: datetime) -> Facts:
    since = now - WEEKS * WEEK
    known = flags.flags_standing(session, unit.id, since, now + timedelta(microseconds=1))
    return Facts([f for f in known if f.raised_at >= since], [f for f in known if f.open],
                 len(motors.motors_of(session, unit.id)), len(rounds.rounds_between(session, unit.id, since, now)),
                 unit, now)


def measures(given: Facts) -> list[Measure]:
    return [_new_a_round(given), _act_now_share(given), _standing_long(given), _without_action(given),
            _repeats(given), _top_motors(given), _one_motor(given), _shelved(given), _seen_in_time(given),
            _time_to_seen(given), _closed_by_themselves(given)]


def _new_a_round(given: Facts) -> Measure:
    name, target = "New flags a round, of the motors", "at most 5 %; above 10 % act"
    if not given.round_count or not given.motor_count:
        return Measure(name, target, "no round", NO_NUMBER)
    value = share(len(given.raised), given.round_count * given.motor_count)
    return Measure(name, target, f"{value:.1f} % ({len(given.raised)} raised; rounds: {given.round_count}, "
                                 f"motors: {given.motor_count})", at_most(value, 5.0, 10.0))


def _act_now_share(given: Facts) -> Measure:
    name, target = "Share act now of those raised", "at most 5 %; above 10 % act"
    if not given.raised:
        return Measure(name, target, "none raised", NO_NUMBER)
    grave = sum(1 for f in given.raised if f.priority == ACT_NOW)
    value = share(grave, len(given.raised))
    return Measure(name, target, f"{value:.1f} % ({grave} of {len(given.raised)})", at_most(value, 5.0, 10.0),
                   "By the newest look's priority.")


def _long(given: Facts) -> list[Flag]:
    return [f for f in given.standing if given.unit.calendar.count(f.raised_at, given.now) > STANDS_LONG]


def _standing_long(given: Facts) -> Measure:
    count = len(_long(given))
    return Measure("Standing more than 2 shifts", "at most 5", str(count), at_most(count, 5, 5))


def _without_action(given: Facts) -> Measure:
    count = sum(1 for f in _long(given) if f.without_action)
    return Measure("Of these, with nothing done and nobody named", "none", str(count), at_most(count, 0, 0))


def _repeats(given: Facts) -> Measure:
    week = [f for f in given.raised if f.raised_at >= given.now - WEEK]
    often = Counter((f.motor_id, f.rule, f.end) for f in week)
    tags = sorted({f.motor.tag for f in week if often[f.motor_id, f.rule, f.end] >= REPEATS})
    return Measure("Motors with the same flag 3 times in 7 days", "at most 2; above 5 act",
                   f"{len(tags)}{': ' + ', '.join(tags) if tags else ''}", at_most(len(tags), 2, 5))


def _by_motor(given: Facts) -> list[tuple[str, int]]:
    return sorted(Counter(f.motor.tag for f in given.raised).items(), key=lambda one: (-one[1], one[0]))


def _top_motors(given: Facts) -> Measure:
    name, target = "Share of the 10 motors with most flags", "at most 50 %"
    if not given.raised:
        return Measure(name, target, "none raised", NO_NUMBER)
    top = _by_motor(given)[:10]
    value = share(sum(count for _, count in top), len(given.raised))
    return Measure(name, target, f"{value:.1f} %: " + ", ".join(f"{tag} {count}" for tag, count in top),
                   MET if value <= 50.0 else BETWEEN)


def _one_motor(given: Facts) -> Measure:
    name, target = "Share of the one motor with most flags", "at most 20 %"
    if not given.raised:
        return Measure(name, target, "none raised", NO_NUMBER)
    tag, count = _by_motor(given)[0]
    value = share(count, len(given.raised))
    return Measure(name, target, f"{value:.1f} % ({tag})", at_most(value, 20.0, 20.0))


def _shelved(given: Facts) -> Measure:
    count = sum(1 for f in given.standing if f.shelved(given.now))
    return Measure("Shelved now", "at most 3", str(count), at_most(count, 3, 3))


def _waits(given: Facts) -> list[tuple[Flag, timedelta]]:
    """How long each waited to be seen; one nobody has seen yet waits until now, or until it went by itself."""
    return [(f, (f.seen_at or f.closed_at or given.now) - f.raised_at) for f in given.raised]


def _seen_in_time(given: Facts) -> Measure:
    name, target = "Seen in time", "at least 95 %; below 90 % act"
    why = "Act now within 15 min, this shift within 12 h, watch within 24 h. Not yet seen counts once its time is over."
    counted = [(f, wait) for f, wait in _waits(given) if f.seen_at is not None or wait > SEEN_WITHIN[f.priority]]
    if not counted:
        return Measure(name, target, "none due", NO_NUMBER, why)
    good = sum(1 for f, wait in counted if f.seen_at is not None and wait <= SEEN_WITHIN[f.priority])
    value = share(good, len(counted))
    return Measure(name, target, f"{value:.1f} % ({good} of {len(counted)})", at_least(value, 95.0, 90.0), why)


def _time_to_seen(given: Facts) -> Measure:
    name, target = "Time to seen, half of them within", "12 h"
    waits = sorted(wait for f, wait in _waits(given) if f.seen_at is not None)
    if not waits:
        return Measure(name, target, "none seen", NO_NUMBER)
    half = (waits[(len(waits) - 1) // 2] + waits[len(waits) // 2]) / 2
    hours = half.total_seconds() / 3600.0
    return Measure(name, target, f"{hours:.1f} h ({len(waits)} seen)", at_most(hours, 12.0, 24.0))


def _closed_by_themselves(given: Facts) -> Measure:
    name, target = "Closed with nobody's act", "10 to 50 %; above 50 % the limits want a look"
    closed = [f for f in given.raised if not f.open]
    if not closed:
        return Measure(name, target, "none closed", NO_NUMBER)
    alone = sum(1 for f in closed if f.closed_by_id is None)
    value = share(alone, len(closed))
    state = MET if 10.0 <= value <= 50.0 else NOT_MET if value > 50.0 else BETWEEN
    return Measure(name, target, f"{value:.1f} % ({alone} of {len(closed)})", state)
