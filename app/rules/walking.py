"""The order of a walk, and how one motor or one area moves in it. Plain lists; common practice, no published source.

>>> moved(["a", "b", "c", "d"], ["d"], 2)
['a', 'd', 'b', 'c']
>>> numbered([10.0, 30.0, 20.0, 40.0])  # the third was moved to the second place's number: one number changes
[10.0, 15.0, 20.0, 40.0]
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Hashable, Sequence
from itertools import groupby, pairwise
from typing import TypeVar

T = TypeVar("T", bound=Hashable)

STEP = 10.0
#: Numbers between two others have at most so many digits behind the point, or all are numbered anew.
DIGITS = 2


def moved(order: Sequence[T], who: Sequence[T], to: int) -> list[T]:
    """The order with a block taken out and put where its first stands at place `to`, 1 the first."""
    block = [key for key in order if key in set(who)]
    rest = [key for key in order if key not in set(who)]
    at = max(0, min(to - 1, len(rest)))
    return rest[:at] + block + rest[at:]


def stretches(areas: Sequence[str]) -> list[tuple[int, int]]:
    """(first, one past the last) of each run of the same area."""
    found, at = [], 0
    for _, run in groupby(areas):
        length = len(list(run))
        found.append((at, at + length))
        at += length
    return found


def stretch_moved(order: Sequence[T], areas: Sequence[str], first: T, by: int) -> list[T]:
    """The order with the run of an area that begins with `first` before the run above it (-1) or after the next (1)."""
    runs = stretches(areas)
    starts = [order[begin] for begin, _ in runs]
    if first not in starts:
        return list(order)
    here = starts.index(first)
    there = here + by
    if not 0 <= there < len(runs):
        return list(order)
    upper, lower = sorted((here, there))
    blocks = [list(order[begin:end]) for begin, end in runs]
    blocks[upper], blocks[lower] = blocks[lower], blocks[upper]
    return [key for block in blocks for key in block]


def numbered(numbers: Sequence[float | None]) -> list[float | None]:
    """Numbers that rise along the walk, as few changed as can be; those without one at the end stay so.

    numbers: what each motor has now, in the new order.
    """
    end = len(numbers)
    while end and numbers[end - 1] is None:
        end -= 1
    kept = _rising(numbers[:end])
    filled: list[float | None] = [numbers[i] if i in kept else None for i in range(end)]
    at = 0
    while at < end:
        if filled[at] is not None:
            at += 1
            continue
        until = next((i for i in range(at, end) if filled[i] is not None), end)
        low = filled[at - 1] if at else None
        between = _between(low, filled[until] if until < end else None, until - at)
        if between is None:
            return [STEP * (i + 1) for i in range(end)] + [None] * (len(numbers) - end)
        filled[at:until] = between
        at = until
    return filled + [None] * (len(numbers) - end)


def _rising(numbers: Sequence[float | None]) -> set[int]:
    """The places of a longest strictly rising run through the numbers."""
    tails: list[float] = []  # the lowest number that a rising run of each length ends with
    ends: list[int] = []  # and where
    before: dict[int, int | None] = {}
    for i, value in enumerate(numbers):
        if value is None:
            continue
        length = bisect_left(tails, value)
        before[i] = ends[length - 1] if length else None
        tails[length:length + 1], ends[length:length + 1] = [value], [i]
    at = ends[-1] if ends else None
    kept = set()
    while at is not None:
        kept.add(at)
        at = before[at]
    return kept


def _between(low: float | None, high: float | None, count: int) -> list[float] | None:
    """So many numbers between two; None where they have no room."""
    if high is None:
        start = low or 0.0
        return [start + STEP * (i + 1) for i in range(count)]
    start = low if low is not None else 0.0
    found = [round(start + (high - start) * (i + 1) / (count + 1), DIGITS) for i in range(count)]
    whole = [float(round(value)) for value in found]
    for tried in (whole, found):
        chain = [*([] if low is None else [low]), *tried, high]
        if all(a < b for a, b in pairwise(chain)) and tried[0] >= 0:
            return tried
    return None
