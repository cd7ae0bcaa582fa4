"""NEMA MG 10 table of starts (two hosted pages, all cells compared): what it lists, and what it declines."""

from __future__ import annotations

import pytest

from app.rules import tables
from app.rules.mg10 import Mg10Row, mg10, mg10_starts_per_hour
from app.rules.tables import MakesNoSense, NotInTable


@pytest.mark.parametrize("hp, poles, row", [
    (1, 2, Mg10Row(15.0, 1.2, 75.0)), (1.5, 4, Mg10Row(25.7, 8.6, 38.0)), (7.5, 6, Mg10Row(15.8, 104.0, 39.0)),
    (20, 4, Mg10Row(9.6, 99.0, 55.0)),  # the row one page misprints as 10 hp
    (60, 2, Mg10Row(3.2, 58.0, 170.0)),  # also printed in a trade article: 3.2 an hour, 170 s
    (75, 4, Mg10Row(5.8, 338.0, 90.0)), (250, 2, Mg10Row(1.8, 210.0, 1000.0)), (250, 6, Mg10Row(4.2, 2744.0, 440.0)),
])
def test_a_size_it_lists(hp: float, poles: int, row: Mg10Row) -> None:
    assert mg10(hp, poles) == row


@pytest.mark.parametrize("hp, poles", [(0.75, 4), (35, 4), (300, 4), (75, 8), (75, None), (None, 4), (float("nan"), 2)])
def test_a_size_it_does_not_list_is_declined(hp: float | None, poles: int | None) -> None:
    with pytest.raises(NotInTable):
        mg10(hp, poles)
    with pytest.raises(NotInTable):
        mg10_starts_per_hour(hp, poles, 10.0)


@pytest.mark.parametrize("hp, poles, wk2, starts", [
    (25, 4, 50.0, 2.44),  # the published example: 122 / 50
    (25, 4, None, 8.8), (5, 6, 10.0, 7.1),  # 71 / 10, below A 18.4
    (40, 4, 25.0, 7.4),  # 189 / 25 = 7.56, above A
    (75, 4, 338.0, 1.0),  # B / Wk² is exactly one start
])
def test_the_lesser_of_a_and_b_over_the_inertia(hp: float, poles: int, wk2: float | None, starts: float) -> None:
    assert mg10_starts_per_hour(hp, poles, wk2) == pytest.approx(starts)


@pytest.mark.parametrize("wk2", [0.0, -1.0, float("nan"), float("inf")])
def test_an_inertia_that_cannot_be_is_refused(wk2: float) -> None:
    with pytest.raises(MakesNoSense):
        mg10_starts_per_hour(75, 4, wk2)


def test_all_sixty_sizes_are_there_and_more_poles_allow_more() -> None:
    rows = tables.rows("starts_mg10")
    assert len(rows) == 60 and len({(row["hp"], row["poles"]) for row in rows}) == 60
    for hp in {float(row["hp"]) for row in rows}:
        two, four, six = (mg10(hp, poles) for poles in (2, 4, 6))
        assert two.a < four.a < six.a and two.b < four.b < six.b and two.c > four.c > six.c
