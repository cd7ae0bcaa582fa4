"""`greased_too_soon`, `wrong_lubricant`: one greasing against the chart and against the greasings before it.

Too soon: again before half the interval, over 150 % of the amount, or a sealed bearing. 45.9 g against 23.1 g is
198.7 %. Where the chart has no interval or amount, what the handbook computes stands in, and the sentence says so.
Wrong: not the chart's lubricant, this shift; a thickener that does not mix, act now. Oil renewed early harms nothing.
Nothing went in (0 g): no greasing, for good or bad.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from app.rules import elapsed, thickeners, wording
from app.rules.bearing_numbers import is_sealed
from app.rules.facts import Facts, Greasing, LubricationPoint
from app.rules.findings import ACT_NOW, THIS_SHIFT, Finding, over, under
from app.rules.limits import Limits

TOO_SOON, WRONG = "greased_too_soon", "wrong_lubricant"
CHART, HANDBOOK = "lubrication chart", "handbook formula"
SEALED, OIL = "sealed", "oil"
STOP = "Add no more; watch its temperature."
_TIMES = {1.5: "about one and a half times", 2.0: "about twice", 2.5: "about two and a half times",
          3.0: "about three times"}


def check_greasing(event: Greasing, facts: Facts, limits: Limits) -> list[Finding]:
    """What is wrong with one recorded greasing, against the chart and the greasings before it."""
    if event.grams == 0:
        return []
    point = facts.motor.lubrication[event.end] or LubricationPoint()
    reasons = [reason for reason in (_sealed(event, point, facts), _amount(event, point, facts, limits),
                                     _again(event, point, facts, limits)) if reason is not None]
    found = [replace(reasons[0], says=f"{reasons[0].says} {_short(reasons[1:])}{STOP}")] if reasons else []
    return [*found, *_wrong(event, point)]


def sealed_by(point: LubricationPoint | None, bearing: str | None) -> str | None:
    """What says that this bearing is sealed: the chart, or the plate where the chart says nothing; None: neither."""
    if point is not None and point.kind is not None:
        return CHART if point.kind == SEALED else None
    return "nameplate" if is_sealed(bearing) else None


def in_words(grams: float, wanted_g: float) -> str:
    """How much of the amount that is: 45.9 g of 23.1 g is about twice; 92.4 g is 4 times; 11.5 g is 50 %."""
    times = grams / wanted_g
    near = next((words for share, words in _TIMES.items() if abs(times - share) <= 0.15), None)
    if near is not None:
        return near
    return f"about {wording.digits(times, 1)} times" if times > 1.5 else f"{wording.digits(100 * times, 0)} % of"


def _short(rest: list[Finding]) -> str:
    words = {"g": "Too much too.", "days": "Too soon too.", "h": "Too soon too."}
    return "".join(f"{words[str(finding.unit_of_measure)]} " for finding in rest)


def _sealed(event: Greasing, point: LubricationPoint, facts: Facts) -> Finding | None:
    source = sealed_by(point, facts.motor.nameplate.bearing[event.end])
    if source is None:
        return None
    says = f"{event.end} bearing is sealed; no grease belongs in it ({source})."
    return Finding(TOO_SOON, event.end, THIS_SHIFT, None, None, None, source, says)


def _amount(event: Greasing, point: LubricationPoint, facts: Facts, limits: Limits) -> Finding | None:
    wanted_g, whose = point.grease_g, "chart's"
    if not wanted_g:
        wanted_g, whose = point.computed_grease_g, "computed"
    if event.grams is None or not wanted_g:
        return None
    limit = limits["greased_too_soon_amount_percent"]
    percent = 100.0 * event.grams / wanted_g
    if not over(percent, limit.value):
        return None
    share, most = wording.pair(percent, limit.value, wording.PERCENT)
    scale = wording.grease(facts.show)
    says = (f"{event.end} given {wording.figure(event.grams, scale)}, {share} of the {whose} "
            f"{wording.figure(wanted_g, scale)}, above {most} ({limit.origin}).")
    return Finding(TOO_SOON, event.end, THIS_SHIFT, event.grams, wanted_g * limit.value / 100.0, "g", limit.origin,
                   says)


def _again(event: Greasing, point: LubricationPoint, facts: Facts, limits: Limits) -> Finding | None:
    last, interval_run_h = _last_before(event, point, facts), point.interval_run_h
    if not (point.interval_days or interval_run_h):
        interval_run_h = point.computed_interval_run_h
    if last is None or point.kind == OIL or not (point.interval_days or interval_run_h):
        return None
    limit = limits["greased_too_soon_interval_percent"]
    since, shares = elapsed.days(last, event.at), []
    if point.interval_days:
        shares.append((100.0 * since / point.interval_days, since, point.interval_days, wording.DAYS, "days"))
    # the estimate runs from the newest greasing on the chart; for an older one there is none
    if interval_run_h and point.run_h_since is not None and last == point.last_greased_at:
        run_h = point.run_h_since
        shares.append((100.0 * run_h / interval_run_h, run_h, interval_run_h, wording.HOURS, "h"))
    elif interval_run_h:  # it cannot have run longer than the calendar
        most_h = since * 24.0
        shares.append((100.0 * most_h / interval_run_h, most_h, interval_run_h, wording.HOURS, "h"))
    share, value, interval, scale, unit = max(shares)
    if not under(share, limit.value):
        return None
    least = interval * limit.value / 100.0
    done, soonest = wording.pair(value, least, scale)
    if unit == "days" and value < 2.0:
        done = wording.figure(value * 24.0, wording.HOURS)
    whose = "its" if interval in (point.interval_days, point.interval_run_h) else "the computed"
    says = (f"{event.end} greased again after {done}; {soonest} is "
            f"{wording.digits(limit.value, 1)} % of {whose} interval ({limit.origin}).")
    return Finding(TOO_SOON, event.end, THIS_SHIFT, value, least, unit, limit.origin, says)


def _last_before(event: Greasing, point: LubricationPoint, facts: Facts) -> datetime | None:
    """The newest earlier greasing of this end, from the record or from the chart's own date."""
    times = [done.at for done in facts.history.greasings if done.end == event.end and done.grams != 0]
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
    if event.lubricant and point.lubricant and same_product(event.lubricant, point.lubricant) is False:
        says = f"{end} given {event.lubricant}, not {point.lubricant} ({CHART}). Tell the lubrication owner."
        return [Finding(WRONG, end, THIS_SHIFT, None, None, None, CHART, says)]
    return []


def same_product(given: str | None, wanted: str | None) -> bool | None:
    """Whether two names are one product's, whatever case and spaces; None where one is not named."""
    return _plain(given) == _plain(wanted) if given and wanted else None


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())
