"""Runs worked examples through the public functions of app.rules: `python -m tests.worked_examples FILE.csv`.

Columns: example_id, topic, inputs_json, expected_name, expected_value, tolerance, units, kind, source, confirmed_how,
note. `null` as expected value means that the function must decline by an error that app.rules names. Each miss is
printed with what was expected and what came; the last line counts, and the exit code is 1 when anything failed.
"""

from __future__ import annotations

import csv
import json
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.rules import topics_electrical, topics_grease, topics_heat, topics_vibration
from tests.rules.topic_inputs import Inputs, Unmapped

TOPICS: dict[str, Callable[[Inputs, str], Any]] = {
    "amps_formula": topics_electrical.amps_formula,
    "bearing_dimensions": topics_grease.bearing_size,
    "bearing_temperature": topics_heat.bearing_heat,
    "efficiency": topics_electrical.efficiency,
    "full_load_amps": topics_electrical.full_load_amps,
    "grease_compatibility": topics_grease.mixing,
    "insulation": topics_heat.heat,
    "insulation_resistance": topics_heat.megohms,
    "load_from_amps": topics_electrical.load_from_amps,
    "locked_rotor": topics_electrical.locked,
    "overload": topics_electrical.protection,
    "regrease": topics_grease.greasing,
    "starts": topics_grease.starts,
    "touch": topics_heat.hands,
    "units": topics_vibration.conversion,
    "vibration": topics_vibration.vibration,
    "voltage_unbalance": topics_electrical.unbalance,
}


@dataclass(frozen=True)
class Outcome:
    """One example: did it pass, and what came."""

    example_id: str
    passed: bool
    expected: str
    got: str
    source: str


def answer(topic: str, inputs: Inputs, name: str) -> Any:
    """What app.rules says. Raises Unmapped, or the rule's own named error."""
    if topic not in TOPICS:
        raise Unmapped(f"no such topic: {topic}")
    try:
        return TOPICS[topic](inputs, name)
    except KeyError as missing:
        if type(missing) is KeyError:
            raise Unmapped(f"input {missing} is missing") from missing
        raise


def named(error: Exception) -> bool:
    """An error that app.rules names, not a slip of Python's."""
    return type(error).__module__.startswith("app.rules")


def agrees(got: Any, expected: str, tolerance: str) -> bool:
    if expected in ("True", "False"):
        return isinstance(got, bool) and str(got) == expected
    try:
        wanted = float(expected)
    except ValueError:
        return str(got).strip().casefold() == expected.strip().casefold()
    if isinstance(got, bool) or not isinstance(got, int | float | str):
        return False
    slack = 1e-9 * max(1.0, abs(wanted))
    return abs(float(got) - wanted) <= float(tolerance or 0) + slack


def run(row: dict[str, str]) -> Outcome:
    """One row of the file."""
    expected = row["expected_value"].strip()
    try:
        got = answer(row["topic"], json.loads(row["inputs_json"]), row["expected_name"])
        passed, shown = expected != "null" and agrees(got, expected, row.get("tolerance", "0")), repr(got)
    except Exception as error:
        passed, shown = expected == "null" and named(error), f"{type(error).__name__}: {error}"
    return Outcome(row["example_id"], passed, f"{row['expected_name']} = {expected} ± {row.get('tolerance', '0')}",
                   shown, row.get("source", ""))


def examples(path: Path) -> Iterator[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        yield from csv.DictReader(file)


def main(arguments: list[str]) -> int:
    if len(arguments) != 1:
        print("usage: python -m tests.worked_examples FILE.csv", file=sys.stderr)
        return 2
    outcomes = [run(row) for row in examples(Path(arguments[0]))]
    failed = [outcome for outcome in outcomes if not outcome.passed]
    for outcome in failed:
        print(f"{outcome.example_id}: expected {outcome.expected}, got {outcome.got}")
    print(f"{len(outcomes) - len(failed)} passed, {len(failed)} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
