"""The rule table knows every check of the sheet, as judged at the motor or named for later: none can be forgotten."""

from __future__ import annotations

import json

from hypothesis import given, settings

from app.rules import cautions, sheet
from app.rules.facts import Facts
from app.rules.rule_table import AT_THE_MOTOR, LATER, rule_table
from tests.rules.plant import LIMITS
from tests.rules.test_sheet import cases


def test_every_check_of_the_sheet_is_in_the_table_once() -> None:
    assert list(AT_THE_MOTOR) == list(sheet.AT_THE_MOTOR)
    assert list(LATER) == list(sheet.WITH_HISTORY)
    names = [name for names in (*AT_THE_MOTOR.values(), *LATER.values()) for name in names]
    assert len(names) == len(set(names))


@settings(max_examples=80, deadline=None)
@given(cases())
def test_what_the_sheet_finds_is_named_in_the_table(given_facts: Facts) -> None:
    here, later = ({name for names in each.values() for name in names} for each in (AT_THE_MOTOR, LATER))
    assert {found.rule for found in sheet.judge_at_the_motor(given_facts, LIMITS)} <= here
    assert {found.rule for found in sheet.judge(given_facts, LIMITS)} <= here | later


def test_the_table_is_plain_data_with_a_caution_wherever_a_hand_goes() -> None:
    table = rule_table()
    assert json.loads(json.dumps(table)) == json.loads(json.dumps(rule_table()))
    assert table["cautions"] == {name: cautions.CAUTIONS[name] for name in table["rules"] if name != "not_measured"}
    assert table["words"]["smoke"]["seen"][2] == "act now" and "none" not in table["words"]["smoke"]
    assert table["words"]["uneven"]["warm"]["hot"][:3] == ["bearings_uneven", "ODE", "this shift"]
