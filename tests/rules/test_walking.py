"""The order of a walk: one motor, several, or a whole area moves; as few numbers of the register as can be change."""

from __future__ import annotations

from itertools import pairwise

import pytest

from app.rules.walking import moved, numbered, stretch_moved, stretches

WALK = ["a", "b", "c", "d", "e"]


@pytest.mark.parametrize(("who", "to", "after"), [
    (["c"], 1, "cabde"), (["a"], 2, "bacde"), (["a"], 5, "bcdea"), (["e"], 4, "abced"), (["c"], 3, "abcde"),
    (["a"], 99, "bcdea"), (["e"], 0, "eabcd"), (["b", "d"], 1, "bdace"), ([], 3, "abcde"),
], ids=["first", "down", "last", "up", "stays", "past the end", "before the first", "two together", "nobody"])
def test_who_is_moved_stands_at_the_place_and_the_rest_keep_their_order(who: list[str], to: int, after: str) -> None:
    assert "".join(moved(WALK, who, to)) == after


def test_an_area_is_a_stretch_of_the_walk() -> None:
    assert stretches(["N", "N", "S", "N"]) == [(0, 2), (2, 3), (3, 4)]
    assert stretches([]) == []


@pytest.mark.parametrize(("first", "by", "after"), [
    ("c", -1, "cabde"), ("a", 1, "cabde"), ("d", -1, "abdec"), ("a", -1, "abcde"), ("d", 1, "abcde"), ("b", 1, "abcde"),
], ids=["up", "down", "last up", "the first cannot rise", "the last cannot sink", "not the first of its area"])
def test_an_area_moves_as_a_whole(first: str, by: int, after: str) -> None:
    assert "".join(stretch_moved(WALK, ["N", "N", "S", "T", "T"], first, by)) == after


@pytest.mark.parametrize(("now", "after"), [
    ([10, 20, 30], [10, 20, 30]),
    ([10, 30, 20, 40], [10, 15, 20, 40]),  # one of the two changes, by half: 10 to 20
    ([30, 10, 20], [5, 10, 20]),  # moved to the front: half of the first
    ([20, 30, 10], [20, 30, 40]),  # moved to the end: ten more
    ([1, 3, 2, 4], [1, 1.5, 2, 4]),  # no whole number between 1 and 2
    ([10, 10, 20], [5, 10, 20]),  # two with one number are in no order of their own
    ([1, 1.01, 1, 1.02], [10, 20, 30, 40]),  # no room left: all anew
    ([10, None, None], [10, None, None]),  # without a number: walked last, and stays so
    ([10, None, 20, None], [10, 15, 20, None]), ([None, 10], [5, 10]), ([None, None], [None, None]), ([], []),
    ([0, None, 1], [0, 0.5, 1]), ([None, 0], [10, 20]),
])
def test_as_few_numbers_change_as_can_be(now: list[float | None], after: list[float | None]) -> None:
    assert numbered(now) == after


def test_numbers_rise_wherever_one_of_400_motors_is_moved() -> None:
    numbers: list[float | None] = [10.0 * (i + 1) for i in range(400)]
    for to in range(1, 401, 7):
        walk = moved(range(400), [200], to)
        after = numbered([numbers[i] for i in walk])
        assert all(a is not None and b is not None and a < b for a, b in pairwise(after))
        assert sum(after[i] != numbers[key] for i, key in enumerate(walk)) <= 1
