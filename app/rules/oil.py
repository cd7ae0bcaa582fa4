"""`drinks_oil`: what one bearing was topped up with in 30 days against what it usually takes in 30 days: watch.

A top-up replaces what went since the one before, so its amount is spread evenly over that time. Usual is the median of
the 30-day spans before, back to the bearing's first oil entry; two whole spans are needed. Its normal ends 3.5 scaled
median absolute deviations above, which are never taken smaller than a tenth of the median and 10 mL (common practice,
no published source). Flagged where both what went in within 30 days and what that is when spread are above.
200 mL a month, and then 300 mL: the normal ends at 200 + 3.5 × 20 = 270 mL, flagged. Two of the usual 200 mL 28 days
apart fall into one span and are nothing new.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from app.rules import elapsed, robust, wording
from app.rules.facts import Show
from app.rules.findings import WATCH, Finding, over
from app.rules.limits import Limits

RULE = "drinks_oil"
MOST_SPANS = 12


@dataclass(frozen=True)
class TopUp:
    """Oil put into one bearing."""

    at: datetime
    amount_ml: float


@dataclass(frozen=True)
class Drinking:
    """What one bearing took in the newest span, and where its own normal ends; None: not enough on record."""

    taken_ml: float  # put in within the span
    spans: int
    spread_ml: float = 0.0  # of what was put in, the part that went within the span
    usual_ml: float | None = None
    normal_ends_ml: float | None = None

    @property
    def above_normal(self) -> bool:
        return self.normal_ends_ml is not None and over(min(self.taken_ml, self.spread_ml), self.normal_ends_ml)


def drinking(top_ups: Sequence[TopUp], since: datetime | None, now: datetime, limits: Limits) -> Drinking:
    """since: the bearing's first oil entry of any kind, from which on a span without a top-up took nothing."""
    days = limits.value("drinks_oil_span_days")
    ordered = sorted((t for t in top_ups if _age(t.at, now) >= 0), key=lambda t: t.at)
    taken = sum(t.amount_ml for t in ordered if _age(t.at, now) < days)
    if since is None:
        return Drinking(taken, 0)
    at = ordered[-1].at if ordered else now  # of the time since the last top-up nobody knows yet
    newest, start = [t for t in ordered if _age(t.at, at) < days], at - timedelta(days=days)
    before = ordered[:len(ordered) - len(newest)]
    base = before[-1].at if before else start
    spans = min(int(round(elapsed.days(since, base), 6) // days), MOST_SPANS)
    spread = _spread(ordered, since, start, at)
    if spans < limits.value("drinks_oil_min_spans"):
        return Drinking(taken, max(spans, 0), spread)
    sums = [_spread(before, since, base - timedelta(days=days * (i + 1)), base - timedelta(days=days * i))
            for i in range(spans)]
    usual = robust.median(sums)
    floor = max(limits.value("drinks_oil_floor_ml"), usual * limits.value("drinks_oil_floor_percent") / 100.0)
    ends = usual + limits.value("off_own_normal_watch_distance") * robust.scatter(sums, floor)
    return Drinking(taken, spans, spread, usual, ends)


def check_top_ups(end: str, top_ups: Sequence[TopUp], since: datetime | None, now: datetime, limits: Limits,
                  show: Show) -> list[Finding]:
    """A bearing that drinks: more in the newest span than its own normal."""
    found = drinking(top_ups, since, now, limits)
    if not found.above_normal or found.normal_ends_ml is None or found.usual_ml is None:
        return []
    scale, days = wording.oil(show), limits["drinks_oil_span_days"]
    taken, ends = wording.pair(found.taken_ml, found.normal_ends_ml, scale)
    says = (f"{end} took {taken} of oil in {days.value:g} days, usually {wording.figure(found.usual_ml, scale)}; its "
            f"normal ends at {ends} ({days.origin}). Look where it goes.")
    return [Finding(RULE, end, WATCH, found.taken_ml, found.normal_ends_ml, "mL", f"own last {found.spans} spans, "
                    f"{days.origin}", says)]


def _age(at: datetime, now: datetime) -> float:
    return round(elapsed.days(at, now), 9)


def _spread(ordered: Sequence[TopUp], since: datetime, start: datetime, end: datetime) -> float:
    """What went within (start, end]: each top-up spread over the time since the one before, or since the record began.

    Of a first entry nobody knows what time it covers: it is left out.
    """
    times = [since, *(t.at for t in ordered)]
    total = 0.0
    for (earlier, later), top_up in zip(pairwise(times), ordered, strict=True):
        span = elapsed.days(earlier, later)
        inside = elapsed.days(max(earlier, start), min(later, end))
        if span > 0 and inside > 0:
            total += top_up.amount_ml * inside / span
    return total
