"""The course of a flag by readings alone: called better, shown again, come and gone too often. No store, no people.

The flags that stand and those of a rehearsal follow it alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Protocol

from app.rules import clearing
from app.rules.shifts import Calendar

#: Come and gone so often in so many rounds, a condition is unstable: its limit wants a look.
UNSTABLE_TIMES, UNSTABLE_ROUNDS = 3, 14
#: Nothing about these has a limit that could be wrong.
NEVER_UNSTABLE = clearing.BY_ACT_ONLY | {"not_checked", "not_measured", "look_again"}


class Standing(Protocol):
    """What of a flag its course reads and moves."""

    rule: str
    last_seen_at: datetime
    improving_at: datetime | None
    returned_at: datetime | None
    good_rounds: int
    good_round_id: int | None


def called_better(flag: Standing | Any, verdict: str, at: datetime, round_id: int) -> bool:
    """One later entry's word. True when the condition is gone with it: two rounds running below the band."""
    if verdict in (clearing.NO_WORD, clearing.SHOWS) or flag.returned_at is not None:
        return False
    flag.improving_at = at
    if verdict == clearing.IN_BAND:
        flag.good_rounds, flag.good_round_id = 0, None
        return False
    if flag.good_round_id != round_id:
        flag.good_rounds, flag.good_round_id = flag.good_rounds + 1, round_id
    return flag.good_rounds >= 2 or flag.rule == "not_checked"


def shown_again(flag: Standing | Any, at: datetime) -> None:
    """An entry shows it: what was better before counts no more, and one that had returned is active again."""
    if flag.improving_at is None or flag.improving_at <= at:
        flag.improving_at, flag.returned_at = None, None
        flag.good_rounds, flag.good_round_id = 0, None


def unstable(calendar: Calendar, gone: Sequence[tuple[datetime, datetime]]) -> bool:
    """gone: when it came and when it went, the newest first, UNSTABLE_TIMES at most."""
    return (len(gone) == UNSTABLE_TIMES
            and calendar.count(gone[-1][0], gone[0][1]) <= UNSTABLE_ROUNDS)
