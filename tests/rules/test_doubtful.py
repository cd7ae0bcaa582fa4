"""A figure worth a question before it is stored. The bounds are common practice and have no published source."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from app.rules.doubtful import Doubt, asks

CASES = list(csv.DictReader((Path(__file__).parents[1] / "doubts.csv").read_text(encoding="utf-8").splitlines()))


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["plant"])
def test_a_figure_far_from_its_own_is_asked_about_where_a_likely_slip_explains_it(case: dict[str, str]) -> None:
    usual = float(case["usual"]) if case["usual"] else None
    found = asks(float(case["value"]), case["unit"], usual, case["from_plate"] == "yes")
    wanted = Doubt(float(case["meant"]), case["meant_unit"] or None) if case["meant"] else None
    assert found == wanted
