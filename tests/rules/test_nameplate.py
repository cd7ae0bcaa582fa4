"""Is this plate right? What the register asks, and never refuses."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from app.rules import nameplate
from app.rules.limits import Limits
from app.rules.tables import MakesNoSense
from tests.rules.plant import LIMITS, PLATE

#: 75 hp at 460 V: the code's table says 96 A; 55.95 kW / (√3 × 460 × 0.954 × 0.866) gives 84.97 A
CASES = [
    ("as it stands", {}, []),
    # above the table by more than 25 %: 96 × 1.25 = 120
    ("at 25 % above the table", {"rated_amps": 120.0}, []), ("just above", {"rated_amps": 120.1}, ["amps"]),
    ("far below", {"rated_amps": 60.0}, ["amps"]), ("the other voltage's amps", {"rated_amps": 174.0}, ["amps"]),
    ("no hp", {"hp": None, "rated_amps": 500.0}, []), ("no volts", {"volts": None, "rated_amps": 500.0}, []),
    ("no amps", {"rated_amps": None}, []), ("two phases are not judged", {"phases": 2, "rated_amps": 500.0}, []),
    ("wrong poles", {"poles": 6}, ["poles"]), ("rpm of no motor", {"rpm": 1400.0}, ["rpm"]),
    ("rpm above two poles", {"rpm": 3700.0}, ["rpm"]), ("no rpm", {"rpm": None, "poles": 6}, []),
    ("50 Hz", {"hz": 50.0, "rpm": 1480.0}, []),
    ("service-factor amps at rated", {"service_factor_amps": 87.0}, ["service_factor_amps"]),
    ("service-factor amps just above", {"service_factor_amps": 87.1}, []),
]


@pytest.mark.parametrize("plate, fields", [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_a_plate_that_looks_wrong_is_asked_about(plate: dict[str, Any], fields: list[str]) -> None:
    asked = nameplate.questions(replace(PLATE, **plate), LIMITS)
    assert [question.field for question in asked] == fields
    assert all(question.says.endswith("Is this right?") for question in asked)


def test_the_question_says_what_it_compared_with() -> None:
    says = nameplate.questions(replace(PLATE, rated_amps=174.0), LIMITS)[0].says
    assert "174 A is 81 % above" in says and "96 A (NEC Table 430.250)" in says  # 174 / 96
    low = nameplate.questions(replace(PLATE, rated_amps=43.5), LIMITS)[0].says
    assert "49 % below" in low  # 43.5 / 84.97


def test_how_far_away_is_too_far_is_a_setting() -> None:
    limits = Limits({"nameplate_amps_ask_percent": (5.0, "unit's limit")})
    assert nameplate.questions(replace(PLATE, rated_amps=101.0), limits)[0].field == "amps"


@pytest.mark.parametrize("rpm, hz, poles", [(3570, 60, 2), (1780, 60, 4), (1750, 60, 4), (1160, 60, 6), (885, 60, 8),
                                            (1480, 50, 4), (3600, 60, 2), (1800, 60, 4)])
def test_poles_come_from_the_stamped_speed(rpm: float, hz: float, poles: int) -> None:
    assert nameplate.poles_from_rpm(rpm, hz) == poles
    assert nameplate.synchronous_rpm(hz, poles) >= rpm


@pytest.mark.parametrize("rpm, hz", [(3601, 60), (3000, 60), (0, 60), (1780, 0), (-1780, 60)])
def test_a_speed_that_fits_no_pole_count_is_declined(rpm: float, hz: float) -> None:
    with pytest.raises(MakesNoSense):
        nameplate.poles_from_rpm(rpm, hz)


@pytest.mark.parametrize("hz, poles", [(60, 3), (60, 0), (0, 4)])
def test_poles_come_in_pairs(hz: float, poles: int) -> None:
    with pytest.raises(MakesNoSense):
        nameplate.synchronous_rpm(hz, poles)


def test_plates_are_rated_below_their_system() -> None:
    assert nameplate.SYSTEM_VOLTS[480.0] == 460.0 and nameplate.SYSTEM_VOLTS[4160.0] == 4000.0
