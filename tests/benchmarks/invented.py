"""An invented unit's rounds for any number of motors and days, with planted faults and the answer key to them.

Seeded: the same size and seed give the same rows to the digit. Two scatters. AS_HEARD is common practice, from no
published record: a contact thermometer repeats within about a degree, an ammeter within two per cent of its load.
AS_MEASURED has the figures of an open record of a pump's motor on a test stand in normal work: Katser and Kozitsin,
Skoltech Anomaly Benchmark, 2020, doi 10.34740/KAGGLE/DSV/1693952 (GPL-3.0 by its README, the LICENSE file beside it is
the MIT text), data/anomaly-free/anomaly-free.csv, the 60 rows from 2020-02-08 14:54:22 on, one a second; statistics
only, none of its rows is kept here:

    current            mean 2.46 A, spread 0.460 A (18.7 %), one second to the next 0.03 alike; means of ten seconds,
                       which is what an eye makes of a needle, spread 0.109 A: 4.4 % of the load
    motor's body       mean 88.99 °C, spread 0.21 K, one second to the next 0.38 alike

It is one minute of one small motor, so it tells how an instrument scatters, not how a motor differs between two rounds:
its temperatures scatter less than a thermometer held by hand, its current three times as much as was heard.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from random import Random
from zoneinfo import ZoneInfo

from app.rules import facts

ZONE = ZoneInfo("America/Chicago")
#: The clocks go back on 1 November: every generated run of 90 days from here has that night in it.
FIRST = datetime(2026, 9, 1, tzinfo=UTC)
#: A day's swing of the air, which both bearings follow.
AIR_K = 3.0
GREASED_EVERY_DAYS = 60.0
#: After greasing a bearing runs warm for about half a day.
GREASE_WARMS_K, GREASE_WARMS_H = 6.0, 12.0


@dataclass(frozen=True)
class Scatter:
    """Standard deviations of a healthy reading: a bearing's in kelvin, the amps' as a share of the load."""

    bearing_k: float
    amps: float


AS_HEARD, AS_MEASURED = Scatter(0.7, 0.015), Scatter(0.21, 0.109 / 2.459)


@dataclass(frozen=True)
class Machine:
    """A motor as it is fitted: what its healthy figures scatter about."""

    number: int
    rated_a: float
    load: float  # share of rated
    de_c: float
    ode_c: float
    phases: int  # read at each round: 1 or 3

    @property
    def tag(self) -> str:
        return f"M-{self.number:04d}"


@dataclass
class Row:
    """One reading."""

    motor: int
    at: datetime
    amps: tuple[float, ...]
    de_c: float
    ode_c: float
    plate: int = 0  # counts the machines fitted there
    smoke: str = "none"
    state: str = facts.RUNNING  # standing, nothing is read of it but what a look tells


@dataclass(frozen=True)
class Grease:
    motor: int
    at: datetime
    end: str
    grams: float


@dataclass(frozen=True)
class Fault:
    """A line of the answer key: any of these rules must speak of this motor within the window."""

    kind: str
    motor: int
    since: datetime
    until: datetime
    rules: tuple[str, ...]


@dataclass
class Invented:
    machines: list[Machine]
    faults: list[Fault]
    days: int
    shifts: int
    seed: int
    scatter: Scatter = AS_HEARD
    greasings: list[Grease] = field(default_factory=list)
    starts: list[tuple[int, datetime]] = field(default_factory=list)  # motor and instant, as logged

    def rows(self) -> Iterator[Row]:
        """Every reading, motor by motor, in the order of time."""
        for machine in self.machines:
            yield from self.rows_of(machine)

    def rows_of(self, machine: Machine) -> Iterator[Row]:
        chance = Random(f"{self.seed} {machine.number}")
        mine = [f for f in self.faults if f.motor == machine.number]
        ahead = sorted((g for g in self.greasings if g.motor == machine.number), key=lambda g: g.at, reverse=True)
        greased: dict[str, datetime] = {}
        copied: Row | None = None
        for at in instants(self.days, self.shifts, machine.number):
            while ahead and ahead[-1].at <= at:
                done = ahead.pop()
                greased[done.end] = done.at
            row = _healthy(machine, at, greased, chance, self.scatter)
            copied = _plant(row, mine, copied) if mine else None
            yield row


def instants(days: int, shifts: int, number: int) -> Iterator[datetime]:
    """When a motor is read: once a shift by the plant's clock, each at its place on the route. Local noon stays noon
    whatever the clocks do, so one of these nights is an hour longer."""
    along = timedelta(seconds=70 * (number % 150))
    for begins in _begins(days, shifts):
        yield begins + along


@cache
def _begins(days: int, shifts: int) -> tuple[datetime, ...]:
    """When the first motor of the route is read in each shift."""
    first, found = FIRST.astimezone(ZONE).date(), []
    for day in range(days):
        for shift in range(shifts):
            hour = 6 + shift * 24 // shifts
            date = first + timedelta(days=day + hour // 24)
            found.append(datetime(date.year, date.month, date.day, hour % 24, 30, tzinfo=ZONE).astimezone(UTC))
    return tuple(found)


def _healthy(machine: Machine, at: datetime, greased: dict[str, datetime], chance: Random,
             scatter: Scatter) -> Row:
    """greased: by end, when it was greased last."""
    gauss = chance.gauss
    air = AIR_K * math.sin(2 * math.pi * (at.hour - 9) / 24) + gauss(0, 0.5)
    amps = machine.rated_a * machine.load * (1 + gauss(0, scatter.amps))
    return Row(machine.number, at,
               tuple([round(amps * (1 + gauss(0, 0.006)), 1) for _ in range(machine.phases)]),
               round(machine.de_c + air + _warmer("DE", greased, at) + gauss(0, scatter.bearing_k), 1),
               round(machine.ode_c + air + _warmer("ODE", greased, at) + gauss(0, scatter.bearing_k), 1))


def _warmer(end: str, greased: dict[str, datetime], at: datetime) -> float:
    """How much warmer a bearing is for having been greased."""
    since = greased.get(end)
    if since is None or at - since > timedelta(hours=96):
        return 0.0
    return GREASE_WARMS_K * math.exp(-_hours(since, at) / GREASE_WARMS_H)


def _hours(earlier: datetime, later: datetime) -> float:
    return (later - earlier).total_seconds() / 3600.0


# faults ----------------------------------------------------------------------------------------------------

#: A motor that is stopped for a day and a half and then started: so long it is found standing.
STANDS_DAYS = 1.5

KINDS: dict[str, tuple[float, tuple[str, ...]]] = {
    # kind: days it lasts, the rules of which one must speak
    "bearing wear": (24.0, ("heading_for_limit_bearing", "heading_for_limit_end_difference", "bearings_uneven",
                            "off_own_normal_bearing", "off_own_normal_end_difference", "bearing_hot")),
    "lost phase": (0.6, ("phase_unbalance",)),
    "drift of the load": (24.0, ("off_own_normal_amps", "heading_for_limit_amps", "amps_over_nameplate")),
    "doubled greasing": (8.0, ("greased_too_soon",)),
    "copied rounds": (6.0, ("look_again",)),
    "unit slip": (0.6, ("bearing_hot", "step_bearing")),
    "unlogged start": (STANDS_DAYS + 1.0, ("start_not_logged",)),
    "logged start": (STANDS_DAYS + 1.0, ()),  # the same with its start in the log: nothing is wrong
    "swap": (12.0, ()),  # another machine, other figures: nothing is wrong, and nothing may be said
}


def invent(motors: int, days: int, shifts: int = 2, faults: int = 0, seed: int = 11,
           scatter: Scatter = AS_HEARD) -> Invented:
    """So many motors over so many days, with so many planted faults (at most one a motor), all kinds in turn."""
    chance = Random(seed)
    machines = [Machine(i + 1, round(chance.uniform(20.0, 400.0), 1), chance.uniform(0.55, 0.85),
                        chance.uniform(52.0, 68.0), 0.0, 3 if i % 3 == 0 else 1) for i in range(motors)]
    machines = [_even(machine, chance) for machine in machines]
    made = Invented(machines, [], days, shifts, seed, scatter)
    for machine in machines:
        made.greasings += _greasings(machine, days, chance)
    kinds = list(KINDS)
    for i, machine in enumerate(chance.sample(machines, faults)):
        _add_fault(made, kinds[i % len(kinds)], machine, chance)
    return made


def _even(machine: Machine, chance: Random) -> Machine:
    """The opposite end runs a few kelvin cooler, as it mostly does."""
    return Machine(machine.number, machine.rated_a, machine.load, machine.de_c,
                   machine.de_c - chance.uniform(0.0, 4.0), machine.phases)


def _greasings(machine: Machine, days: int, chance: Random) -> list[Grease]:
    first = chance.uniform(-GREASED_EVERY_DAYS, 0.0)
    found = []
    while first < days:
        at = FIRST + timedelta(days=first, hours=14)
        found += [Grease(machine.number, at + timedelta(minutes=m), end, 30.0) for m, end in ((0, "DE"), (3, "ODE"))]
        first += GREASED_EVERY_DAYS
    return found


def _add_fault(made: Invented, kind: str, machine: Machine, chance: Random) -> None:
    lasts, rules = KINDS[kind]
    since = FIRST + timedelta(days=chance.uniform(14.0, made.days - lasts - 3.0), hours=6)
    if kind == "lost phase" and machine.phases != 3:
        index = machine.number - 1
        machine = made.machines[index] = Machine(machine.number, machine.rated_a, machine.load, machine.de_c,
                                                 machine.ode_c, 3)
    if kind == "doubled greasing":
        before = max((g for g in made.greasings if g.motor == machine.number and g.at < since and g.end == "DE"),
                     key=lambda g: g.at)
        since = before.at + timedelta(days=4.9)
        made.greasings.append(Grease(machine.number, before.at + timedelta(days=5), "DE", 30.0))
    if kind == "logged start":
        made.starts.append((machine.number, since + timedelta(days=STANDS_DAYS)))
    made.faults.append(Fault(kind, machine.number, since, since + timedelta(days=lasts), rules))


def _plant(row: Row, faults: list[Fault], copied: Row | None) -> Row | None:
    """What the planted faults make of a healthy reading. Gives the row that is being copied, if one is."""
    for fault in faults:
        share = (row.at - fault.since) / (fault.until - fault.since)
        if fault.kind == "swap" and share >= 0:
            row.plate, row.de_c, row.ode_c = 1, round(row.de_c - 12.0, 1), round(row.ode_c - 9.0, 1)
            row.amps = tuple(round(a * 0.85, 1) for a in row.amps)
        if not 0 <= share < 1:
            continue
        if fault.kind in ("unlogged start", "logged start") and row.at - fault.since < timedelta(days=STANDS_DAYS):
            row.state = facts.STANDBY
        elif fault.kind == "bearing wear":
            row.de_c = round(row.de_c + 30.0 * share, 1)
        elif fault.kind == "drift of the load":
            row.amps = tuple(round(a * (1 + 0.3 * share), 1) for a in row.amps)
        elif fault.kind == "lost phase":
            row.amps = (0.0, *(round(a * 1.6, 1) for a in row.amps[1:]))
        elif fault.kind == "unit slip":  # °F read off, written down as °C
            row.de_c, row.ode_c = round(row.de_c * 1.8 + 32, 1), round(row.ode_c * 1.8 + 32, 1)
        elif fault.kind == "copied rounds":
            copied = copied or row
            row.amps, row.de_c, row.ode_c = copied.amps, copied.de_c, copied.ode_c
    return copied
