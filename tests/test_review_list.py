"""The order in which the head operator reads what stands."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from app import review_list
from app.store.flags import Flag


def test_one_that_rose_stands_above_its_like_and_never_above_a_graver_one() -> None:
    """This shift's that stood too long, an act now, and a fresh this shift's: the gravest first."""
    at = datetime(2026, 11, 24, 13, tzinfo=UTC)

    def line(number: int, priority: str, age: int, rises: bool) -> review_list.Line:
        flag = Flag(id=number, priority=priority, raised_at=at - timedelta(days=age))
        return review_list.Line(flag, 1, review_list.STANDING, rises, False, False)

    lines = [line(1, "this shift", 6, True), line(2, "act now", 1, False), line(3, "this shift", 9, False),
             line(4, "watch", 8, True), line(5, "act now", 4, True)]
    assert [x.flag.id for x in sorted(lines, key=lambda x: x.order)] == [5, 2, 1, 3, 4]
