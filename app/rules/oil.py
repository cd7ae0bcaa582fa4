"""`drinks_oil`: top-ups of one bearing in 30 days against what it usually takes in 30 days: watch.

Usual is the median of the 30-day spans before, back to its first oil entry; two whole spans are needed. Its normal ends
3.5 scaled median absolute deviations above, which are never taken smaller than a tenth of the median and 10 mL. Three
spans of 200 mL and then 300 mL: the normal ends at 200 + 3.5 × 20 = 270 mL, flagged. (Common practice, no published
source.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

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

    taken_ml: float
    spans: int
    usual_ml: float | None = None
    normal_ends_ml: float | None = None

    @property
    def above_normal(self) -> bool:
        return self.normal_ends_ml is not None and over(self.taken_ml, self.normal_ends_ml)


def drinking(top_ups: Sequence[TopUp], since: datetime | None, now: datetime, limits: Limits) -> Drinking:
    """since: the bearing's first oil entry of any kind, from which on a span without a top-up took nothing."""
    days = limits.value("drinks_oil_span_days")
    spans = 0 if since is None else int(round(elapsed.days(since, now), 6) // days) - 1
    spans = max(0, min(spans, MOST_SPANS))
    sums = [_taken(top_ups, now - timedelta(days=days * i), days) for i in range(spans + 1)]
    if spans < limits.value("drinks_oil_min_spans"):
        return Drinking(sums[0], spans)
    usual = robust.median(sums[1:])
    floor = max(limits.value("drinks_oil_floor_ml"), usual * limits.value("drinks_oil_floor_percent") / 100.0)
    ends = usual + limits.value("off_own_normal_watch_distance") * robust.scatter(sums[1:], floor)
    return Drinking(sums[0], spans, usual, ends)


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


def _taken(top_ups: Sequence[TopUp], until: datetime, days: float) -> float:
    """What went in within (until - days, until]."""
    return sum(t.amount_ml for t in top_ups if 0 <= round(elapsed.days(t.at, until), 9) < days)
