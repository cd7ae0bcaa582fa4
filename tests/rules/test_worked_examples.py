"""The worked examples of the reference set and more of our own from the same tables, each beside its source."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.rules.tables import NotInTable
from tests.worked_examples import examples, main, named, run

DATA = Path(__file__).parent / "data"
ROWS = [*examples(DATA / "worked_examples.csv"), *examples(DATA / "more_examples.csv")]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["example_id"])
def test_the_published_answer_is_given(row: dict[str, str]) -> None:
    outcome = run(row)
    assert outcome.passed, f"{outcome.example_id} ({outcome.source}, {row['confirmed_how']}): " \
                           f"expected {outcome.expected}, got {outcome.got}"


def test_a_wrong_answer_and_an_answer_where_none_is_due_are_misses(tmp_path: Path,
                                                                   capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "examples.csv"
    head = "example_id,topic,inputs_json,expected_name,expected_value,tolerance,units,kind,source,confirmed_how,note\n"
    seventy = 'units,"{""temp_c"": 70}",temp_f'
    rows = [f"wrong,{seventy},160,0.1,,,,,", f"not declined,{seventy},null,0,,,,,", f"right,{seventy},158,0.1,,,,,",
            'no topic,nothing,"{}",x,null,0,,,,,']
    file.write_text(head + "\n".join(rows) + "\n", encoding="utf-8")
    assert main([str(file)]) == 1
    assert capsys.readouterr().out.splitlines()[-1] == "1 passed, 3 failed"


def test_only_errors_that_the_rules_name_count_as_declining() -> None:
    assert named(NotInTable("table", "row"))
    assert not named(ValueError("slip"))
