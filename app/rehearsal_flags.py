"""The flags that one motor would have had: raised, shown again, returned, closed, as flagging does it, kept nowhere.

What people did with the flags that were really raised is done to those that take their place: seen and closed at the
same times. One that was never really raised is taken as seen at once, so that it closes itself when it returns.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime

from app import flag_course
from app.flag_course import NEVER_UNSTABLE, UNSTABLE_TIMES
from app.rules.findings import Finding
from app.rules.shifts import Calendar
from app.store.flags import NO_END, Flag

Key = tuple[str, str]  # rule and end


@dataclass
class Rehearsed:
    """A flag of a rehearsal, with what its course needs."""

    rule: str
    end: str
    raised_at: datetime
    last_seen_at: datetime
    measured: bool
    seen: bool
    came_at: datetime
    improving_at: datetime | None = None
    returned_at: datetime | None = None
    good_rounds: int = 0
    good_round_id: int | None = None
    unstable: bool = False
    #: it stood before the rehearsal began
    stood_before: bool = False


@dataclass
class Course:
    """One motor's flags, standing and gone. real: the flags that were really there, of the same rules."""

    calendar: Calendar
    real: dict[Key, list[Flag]]
    returns: dict[Key, list[tuple[datetime, datetime]]] = field(default_factory=dict)
    settled: dict[Key, datetime] = field(default_factory=dict)
    standing: dict[Key, Rehearsed] = field(default_factory=dict)
    raised: list[Rehearsed] = field(default_factory=list)

    def people(self, after: datetime, end: datetime) -> list[tuple[datetime, Callable[[], None]]]:
        """What people did after an instant with the flags that were really there, in order."""
        done: list[tuple[datetime, Callable[[], None]]] = []
        for key, flags in self.real.items():
            for flag in flags:
                if flag.seen_at is not None and after < flag.seen_at < end:
                    done.append((flag.seen_at, lambda key=key, at=flag.seen_at: self.see(key, at)))
                if flag.closed_at is not None and flag.closed_by_id is not None and after < flag.closed_at < end:
                    done.append((flag.closed_at, lambda key=key, at=flag.closed_at: self.close(key, at)))
        return sorted(done, key=lambda act: act[0])

    def begin(self, flag: Flag, last_seen_at: datetime, measured: bool, start: datetime) -> None:
        """A flag that stood when the rehearsal begins."""
        self.standing[flag.rule, flag.end] = Rehearsed(
            flag.rule, flag.end, flag.raised_at, last_seen_at, measured,
            flag.seen_at is not None and flag.seen_at <= start, flag.raised_at, stood_before=True)

    def show(self, found: Iterable[Finding], at: datetime) -> None:
        for f in found:
            key = (f.rule, f.end or NO_END)
            flag = self.standing.get(key)
            if flag is None:
                flag = self.standing[key] = Rehearsed(*key, at, at, f.value is not None, self._seen(key, at), at)
                self.raised.append(flag)
            elif flag.returned_at is not None:
                flag.came_at = at
            flag.last_seen_at, flag.measured = at, f.value is not None
            flag_course.shown_again(flag, at)

    def answer(self, flag: Rehearsed, verdict: str, at: datetime, round_id: int) -> None:
        if flag_course.called_better(flag, verdict, at, round_id):
            self.give_back(flag, at)

    def give_back(self, flag: Rehearsed, at: datetime) -> None:
        key = (flag.rule, flag.end)
        flag.returned_at = max(at, flag.last_seen_at)
        if flag.rule not in NEVER_UNSTABLE:
            self.returns.setdefault(key, []).append((flag.came_at, flag.returned_at))
            gone = [pair for pair in self.returns[key] if key not in self.settled or pair[0] >= self.settled[key]]
            newest = sorted(gone, key=lambda pair: pair[1], reverse=True)[:UNSTABLE_TIMES]
            flag.unstable = flag.unstable or flag_course.unstable(self.calendar, newest)
        self._close_itself(flag)

    def see(self, key: Key, at: datetime) -> None:
        flag = self.standing.get(key)
        if flag is not None:
            flag.seen = True
            self._close_itself(flag)

    def close(self, key: Key, at: datetime) -> None:
        flag = self.standing.pop(key, None)
        if flag is not None and flag.unstable:
            self.settled[key] = at

    def _close_itself(self, flag: Rehearsed) -> None:
        if flag.returned_at is not None and flag.seen and not flag.unstable:
            del self.standing[flag.rule, flag.end]

    def _seen(self, key: Key, at: datetime) -> bool:
        """Whether the flag that was really there had been seen; where there was none, nobody can tell: seen at once."""
        there = [f for f in self.real.get(key, ()) if f.raised_at <= at and (f.closed_at is None or f.closed_at > at)]
        return all(f.seen_at is not None and f.seen_at <= at for f in there)
