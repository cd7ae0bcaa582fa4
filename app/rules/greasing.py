"""`greasing_overdue`, `greased_too_soon`, `wrong_lubricant`: the lubrication chart against what was done.

Overdue: past the interval of that end's lubrication point, in days or in running hours, the first where both are set:
this shift. Never recorded though an interval is set: watch. Running hours not known and the calendar past the interval:
watch, and it says so. Sealed points, and points without an interval, are never due.
Too soon: again before half the interval, over 150 % of the amount, or a sealed bearing. 45.9 g against 23.1 g is
198.7 %. Wrong: not the chart's lubricant, this shift; a thickener that does not mix, act now.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from app.rules import elapsed, thickeners, wording
from app.rules.bearing_numbers import is_sealed
from app.rules.facts import Facts, Greasing, LubricationPoint
from app.rules.findings import ACT_NOW, THIS_SHIFT, WATCH, Finding, over, under
from app.rules.limits import Limits

OVERDUE, TOO_SOON, WRONG = "greasing_overdue", "greased_too_soon", "wrong_lubricant"
CHART = "lubrication chart"
SEALED, NO_INTERVAL, NEVER_RECORDED = "sealed", "no interval", "never recorded"
RUN_H_UNKNOWN, NOT_DUE, PAST = "running hours not known", "not due", "overdue"
STOP = "Add no more; watch its temperature."


@dataclass(frozen=True)
class Due:
    """Where one lubrication point stands at one moment. Over is above zero when overdue, below while there is time."""

    state: str
    days_since: float | None = None
    days_over: float | None = None
    run_h_since: float | None = None
    run_h_over: float | None = None
    due_at: datetime | None = None

    @property
    def overdue(self) -> bool:
        return self.state == PAST


def due(point: LubricationPoint, now: datetime, run_h_since: float | None = None) -> Due:
    """When this point is due, by days and by running hours; run_h_since stands in for the point's own estimate."""
    if point.kind == SEALED:
        return Due(SEALED)
    if point.interval_days is None and point.interval_run_h is None:
        return Due(NO_INTERVAL)
    if point.last_greased_at is None:
        return Due(NEVER_RECORDED)
    run_h = point.run_h_since if run_h_since is None else run_h_since
    since = elapsed.days(point.last_greased_at, now)
    days_over = None if point.interval_days is None else since - point.interval_days
    run_h_over = None if point.interval_run_h is None or run_h is None else run_h - point.interval_run_h
    due_at = None if point.interval_days is None else point.last_greased_at + timedelta(days=point.interval_days)
    found = Due(NOT_DUE, since, days_over, run_h, run_h_over, due_at)
    if any(past is not None and over(past, 0.0) for past in (days_over, run_h_over)):
        return replace(found, state=PAST)
    unknown = point.interval_run_h is not None and run_h is None and over(since * 24.0, point.interval_run_h)
    return replace(found, state=RUN_H_UNKNOWN) if unknown else found


def check(facts: Facts, limits: Limits) -> list[Finding]:
    found = (_overdue(end, point, facts.now) for end, point in facts.motor.lubrication.items())
    return [finding for finding in found if finding is not None]


def _overdue(end: str, point: LubricationPoint, now: datetime) -> Finding | None:
    stands = due(point, now)
    done = "oil last renewed" if point.kind == "oil" else "last greased"
    if stands.state == NEVER_RECORDED:
        says = f"{end}: nothing recorded, interval {_interval(point)} ({CHART}). Grease by the chart, or enter when."
        return Finding(OVERDUE, end, WATCH, None, None, None, CHART, says)
    if stands.state == RUN_H_UNKNOWN:
        ago = wording.figure(stands.days_since or 0.0, wording.DAYS)
        says = (f"{end} {done} {ago} ago; running hours not known, interval {_interval(point)} ({CHART}) may be past. "
                "Enter running hours or grease by the chart.")
        return Finding(OVERDUE, end, WATCH, None, point.interval_run_h, "h", CHART, says)
    if not stands.overdue:
        return None
    if stands.days_over is not None and point.interval_days is not None and over(stands.days_over, 0.0):
        value, limit = (stands.days_since or 0.0), point.interval_days
        scale, unit = wording.DAYS, "days"
    else:
        value, limit = (stands.run_h_since or 0.0), (point.interval_run_h or 0.0)
        scale, unit = wording.Scale("running hours", 0), "h"
    since, most = wording.pair(value, limit, scale)
    says = f"{end} {done} {since} ago, interval {most} ({CHART}). Grease by the chart, or say why not."
    return Finding(OVERDUE, end, THIS_SHIFT, value, limit, unit, CHART, says)


def _interval(point: LubricationPoint) -> str:
    by = [wording.figure(value, scale) for value, scale in ((point.interval_days, wording.DAYS),
                                                            (point.interval_run_h, wording.HOURS)) if value is not None]
    return " or ".join(by)


def check_greasing(event: Greasing, facts: Facts, limits: Limits) -> list[Finding]:
    """What is wrong with one recorded greasing, against the chart and the greasings before it."""
    point = facts.motor.lubrication[event.end] or LubricationPoint()
    reasons = [reason for reason in (_sealed(event, point, facts), _amount(event, point, facts, limits),
                                     _again(event, point, facts, limits)) if reason is not None]
    found = [replace(reasons[0], says=f"{reasons[0].says} {_short(reasons[1:])}{STOP}")] if reasons else []
    return [*found, *_wrong(event, point)]


def _short(rest: list[Finding]) -> str:
    words = {"g": "Too much too.", "days": "Too soon too.", "h": "Too soon too."}
    return "".join(f"{words[str(finding.unit_of_measure)]} " for finding in rest)


def _sealed(event: Greasing, point: LubricationPoint, facts: Facts) -> Finding | None:
    stamped = point.kind is None and is_sealed(facts.motor.nameplate.bearing[event.end])
    if point.kind != SEALED and not stamped:
        return None
    source = "nameplate" if stamped else CHART
    says = f"{event.end} bearing is sealed; no grease belongs in it ({source})."
    return Finding(TOO_SOON, event.end, THIS_SHIFT, None, None, None, source, says)


def _amount(event: Greasing, point: LubricationPoint, facts: Facts, limits: Limits) -> Finding | None:
    if event.grams is None or not point.grease_g:
        return None
    limit = limits["greased_too_soon_amount_percent"]
    percent = 100.0 * event.grams / point.grease_g
    if not over(percent, limit.value):
        return None
    share, most = wording.pair(percent, limit.value, wording.PERCENT)
    scale = wording.grease(facts.show)
    says = (f"{event.end} given {wording.figure(event.grams, scale)}, {share} of the chart's "
            f"{wording.figure(point.grease_g, scale)}, above {most} ({limit.origin}).")
    return Finding(TOO_SOON, event.end, THIS_SHIFT, event.grams, point.grease_g * limit.value / 100.0, "g",
                   limit.origin, says)


def _again(event: Greasing, point: LubricationPoint, facts: Facts, limits: Limits) -> Finding | None:
    last = _last_before(event, point, facts)
    if last is None or not (point.interval_days or point.interval_run_h):
        return None
    limit = limits["greased_too_soon_interval_percent"]
    since, shares = elapsed.days(last, event.at), []
    if point.interval_days:
        shares.append((100.0 * since / point.interval_days, since, point.interval_days, wording.DAYS, "days"))
    # the estimate runs from the newest greasing on the chart; for an older one there is none
    if point.interval_run_h and point.run_h_since is not None and last == point.last_greased_at:
        run_h = point.run_h_since
        shares.append((100.0 * run_h / point.interval_run_h, run_h, point.interval_run_h, wording.HOURS, "h"))
    elif point.interval_run_h:  # it cannot have run longer than the calendar
        most_h = since * 24.0
        shares.append((100.0 * most_h / point.interval_run_h, most_h, point.interval_run_h, wording.HOURS, "h"))
    share, value, interval, scale, unit = max(shares)
    if not under(share, limit.value):
        return None
    least = interval * limit.value / 100.0
    done, soonest = wording.pair(value, least, scale)
    says = (f"{event.end} greased again after {done}; {soonest} is "
            f"{wording.digits(limit.value, 1)} % of its interval ({limit.origin}).")
    return Finding(TOO_SOON, event.end, THIS_SHIFT, value, least, unit, limit.origin, says)


def _last_before(event: Greasing, point: LubricationPoint, facts: Facts) -> datetime | None:
    """The newest earlier greasing of this end, from the record or from the chart's own date."""
    times = [done.at for done in facts.history.greasings if done.end == event.end]
    times += [point.last_greased_at] if point.last_greased_at is not None else []
    earlier = [at for at in times if elapsed.hours(at, event.at) > 0]
    return max(earlier, default=None)


def _wrong(event: Greasing, point: LubricationPoint) -> list[Finding]:
    end = event.end
    if event.thickener and point.thickener:
        mix = thickeners.mixing(point.thickener, event.thickener)
        if not mix.mixes:
            verdict = mix.rating if mix.rating == thickeners.INCOMPATIBLE else mix.action
            says = (f"{end} given {event.thickener} on {point.thickener}: {verdict} ({mix.source}). "
                    "Add no more; tell the lubrication owner.")
            return [Finding(WRONG, end, ACT_NOW, None, None, None, mix.source, says)]
    if event.lubricant and point.lubricant and _plain(event.lubricant) != _plain(point.lubricant):
        says = f"{end} given {event.lubricant}, not {point.lubricant} ({CHART}). Tell the lubrication owner."
        return [Finding(WRONG, end, THIS_SHIFT, None, None, None, CHART, says)]
    return []


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())
