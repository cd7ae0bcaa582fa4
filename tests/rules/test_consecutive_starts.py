"""Starts in a row after the standards."""

from __future__ import annotations

import pytest

from app.rules.consecutive_starts import consecutive_starts, switch_off_after_s
from app.rules.tables import NotInTable


@pytest.mark.parametrize("standard, cold_hot", [("NEMA MG 1 12.54", (2, 1)), ("NEMA MG 1 20.12", (2, 1)),
                                                ("IEC 60034-12", (2, 1)), ("IEEE 841", (2, 1)),
                                                ("maker's manual", (3, 2))])
def test_two_cold_one_hot_unless_the_maker_allows_more(standard: str, cold_hot: tuple[int, int]) -> None:
    assert consecutive_starts(standard) == cold_hot


def test_a_standard_that_gives_no_count_is_declined() -> None:
    with pytest.raises(NotInTable):
        consecutive_starts("API 541")


def test_a_rotor_that_does_not_turn_is_switched_off_in_two_seconds() -> None:
    assert switch_off_after_s() == 2.0
