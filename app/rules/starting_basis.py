"""Which figures bind a motor's starts: the unit's written ones, else the basis it is set to.

The NEMA MG 10 table by hp, poles and load inertia (A rounded down, rest C since the last stop), or general practice by
hp: common practice, no published source. 75 hp, 4-pole, by the table: 5 starts an hour and 90 s of rest. Above 1,500 hp
general practice has no figure: without the unit's written procedure nobody is told yes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import timedelta

from app.rules.facts import Nameplate
from app.rules.findings import over
from app.rules.limits import Limits
from app.rules.mg10 import SOURCE as MG10
from app.rules.mg10 import mg10, mg10_starts_per_hour
from app.rules.starting_facts import TABLE, WRITTEN, StartPlan
from app.rules.tables import NotInTable

HOUR = timedelta(minutes=60)
#: "short" of the short starts before continuous running: common practice, no published source
SHORT_START = timedelta(seconds=8)
SMALL_HP, LARGE_HP = 50.0, 1500.0
TO_50, OVER_50 = "to_50_hp", "over_50_hp"
PROCEDURE = "unit's procedure"
NONE = timedelta(0)


@dataclass(frozen=True)
class Figure:
    """One figure and where it comes from; `time` where it is a length of time."""

    value: float
    source: str

    @property
    def time(self) -> timedelta:
        return timedelta(minutes=self.value)


@dataclass(frozen=True)
class Basis:
    """Every figure in force. spacing, run in min; rest in s. refuses: why nobody is told yes whatever was recorded."""

    count: Figure  # whole starts in any rolling 60 min
    spacing: Figure
    run: Figure
    rest_s: Figure
    tries: Figure
    #: short starts before continuous running; None where the general practice line does not apply
    short_count: Figure | None = None
    #: a try may follow a failed start at once: general practice only
    at_once: bool = False
    refuses: str | None = None


def basis(nameplate: Nameplate, plan: StartPlan, limits: Limits) -> Basis:
    """The figures in force for this motor. Raises MakesNoSense for a load inertia that cannot be."""
    found = _unwritten(nameplate, plan, limits)
    return _written(found, plan)


def _unwritten(nameplate: Nameplate, plan: StartPlan, limits: Limits) -> Basis:
    if plan.basis == WRITTEN:
        return replace(_practice(nameplate.hp, limits, ", no written figure"), short_count=None, at_once=False)
    if plan.basis == TABLE:
        try:
            return _by_table(nameplate, plan, limits)
        except NotInTable:
            return _practice(nameplate.hp, limits, f", outside the {MG10}")
    return _practice(nameplate.hp, limits)


def _by_table(nameplate: Nameplate, plan: StartPlan, limits: Limits) -> Basis:
    """Lesser of A and B / Wk², and C. Tries are general practice's: the table has none."""
    wk2 = nameplate.load_wk2_lbft2 if plan.load_wk2_lbft2 is None else plan.load_wk2_lbft2
    allowed = whole(mg10_starts_per_hour(nameplate.hp, nameplate.poles, wk2))
    source = MG10 if wk2 is not None else f"{MG10}, load inertia unknown: A alone"
    rest = mg10(nameplate.hp, nameplate.poles).c
    refuses = None if allowed else f"less than one start an hour with this load inertia ({MG10})"
    return Basis(Figure(allowed, source), Figure(0.0, source), Figure(0.0, source), Figure(rest, MG10),
                 _tries(nameplate.hp, limits), refuses=refuses)


def size(hp: float | None) -> str | None:
    """The column of general practice; None above 1,500 hp, or where the hp is not known."""
    if hp is None or not hp > 0 or over(hp, LARGE_HP):
        return None
    return OVER_50 if over(hp, SMALL_HP) else TO_50


def _practice(hp: float | None, limits: Limits, why: str = "") -> Basis:
    column = size(hp)
    if column is None:
        none = Figure(0.0, "general practice")
        known = "hp not on the nameplate" if hp is None else "over 1,500 hp"
        return Basis(none, none, none, none, _tries(hp, limits), refuses=f"{known}, no written procedure")
    count = _limit(f"start_{column}_per_hour", limits, why)
    run = _limit("start_to_50_hp_run_min", limits, why) if column == TO_50 else Figure(0.0, count.source)
    return Basis(count, _evenly(count), run, Figure(0.0, count.source), _tries(hp, limits),
                 _limit(f"start_{column}_short_per_hour", limits, why), at_once=True)


def _limit(name: str, limits: Limits, why: str = "") -> Figure:
    limit = limits[name]
    return Figure(limit.value if name.endswith("_min") else max(whole(limit.value), 1), limit.origin + why)


def _tries(hp: float | None, limits: Limits) -> Figure:
    """Two where general practice has no column: the fewer of those it has."""
    return _limit(f"start_{size(hp) or OVER_50}_tries", limits)


def _evenly(count: Figure) -> Figure:
    """Evenly spaced: 60 min ÷ the count. 20 min for three, 10 min for six."""
    return Figure(60.0 / count.value, count.source)


def whole(starts: float) -> int:
    """Rounded down, after six decimals: 2.44 is 2, and 338 / 338 is 1."""
    return math.floor(round(starts, 6))


def _written(found: Basis, plan: StartPlan) -> Basis:
    """The written figures put over the basis. Under half a figure the rest stays the basis's own."""
    per_hour, spacing = plan.written_starts_per_hour, plan.written_spacing_min
    if per_hour is not None and per_hour > 0:
        found = _written_count(found, per_hour, table=found.rest_s.value > 0)
    if spacing is not None:
        found = _written_spacing(found, _less_than_one(per_hour, spacing))
    if plan.written_run_min is not None:
        found = replace(found, run=Figure(plan.written_run_min, PROCEDURE))
    if plan.written_tries is not None:
        found = replace(found, tries=Figure(max(plan.written_tries, 1), PROCEDURE))
    return found


def _written_count(found: Basis, per_hour: float, table: bool) -> Basis:
    """Half a start an hour is one in two hours. The spacing follows the count, but the table knows no spacing."""
    count = Figure(max(whole(per_hour), 1), PROCEDURE)
    spacing = _evenly(Figure(min(per_hour, count.value), f"{PROCEDURE}, evenly spaced by general practice"))
    return replace(found, count=count, spacing=found.spacing if table and per_hour >= 1 else spacing,
                   short_count=None, at_once=False, refuses=None)


def _written_spacing(found: Basis, spacing_min: float) -> Basis:
    """A written spacing alone also says how many go into an hour, where nothing else does."""
    figure = Figure(spacing_min, PROCEDURE)
    if found.refuses is not None and spacing_min > 0:
        implied = Figure(math.ceil(round(60.0 / spacing_min, 6)), PROCEDURE)
        return replace(found, count=implied, spacing=figure, refuses=None)
    return replace(found, spacing=figure, short_count=None, at_once=False)


def _less_than_one(per_hour: float | None, spacing_min: float) -> float:
    """Less than one start an hour written: no written spacing may make more of it."""
    return max(spacing_min, 60.0 / per_hour) if per_hour is not None and 0 < per_hour < 1 else spacing_min
