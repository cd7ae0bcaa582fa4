"""`look_again`: the same figures to the digit many rounds running, or a pace nobody walks: watch.

A question for the head operator, never an accusation: meters stick, probes freeze, a tablet may have stood at one
place. Common practice, no published source.
"""

from __future__ import annotations

from app.rules.facts import Facts, Reading
from app.rules.findings import WATCH, Finding, under
from app.rules.limits import PRACTICE, Limits

RULE = "look_again"


def figures(reading: Reading) -> tuple[tuple[str, float], ...]:
    """Every measured number of a reading under its field's name."""
    found = [(f"current_a.{i}", a) for i, a in enumerate(reading.current_a)]
    found += [(f"voltage_v.{i}", v) for i, v in enumerate(reading.voltage_v)]
    found += [(f"bearing_temp_c.{end}", c) for end, c in reading.bearing_temp_c.items()]
    found += [(f"vibration_mm_s.{end}", v) for end, v in reading.vibration_mm_s.items()]
    found += [("winding_temp_c", reading.winding_temp_c)] if reading.winding_temp_c is not None else []
    return tuple(found)


def same_rounds(reading: Reading, earlier: tuple[Reading, ...]) -> int:
    """How many readings in a row, this one included, hold exactly the figures of this one."""
    rounds = 1
    for before in sorted(earlier, key=lambda r: r.taken_at, reverse=True):
        if figures(before) != figures(reading):
            break
        rounds += 1
    return rounds


def check(facts: Facts, limits: Limits) -> list[Finding]:
    reading = facts.reading
    if reading is None or not facts.walked:
        return []
    same, fast = _same(reading, facts, limits), _fast(facts, limits)
    if same is None or fast is None:
        return [finding for finding in (same, fast) if finding is not None]
    return [Finding(RULE, None, WATCH, same.value, same.limit, same.unit_of_measure, same.source,
                    f"{same.says} The pace was quick too.")]


def _same(reading: Reading, facts: Facts, limits: Limits) -> Finding | None:
    limit = limits["look_again_same_figures_rounds"]
    enough = not under(len(figures(reading)), limits.value("look_again_same_figures_count"))
    rounds = same_rounds(reading, facts.history.running) if reading.running and enough else 0
    if under(rounds, limit.value):
        return None
    says = (f"The same figures to the digit {rounds} rounds running; {limit.value:g} asks for a look "
            f"({limit.origin}). Could a meter be stuck?")
    return Finding(RULE, None, WATCH, float(rounds), limit.value, "rounds", limit.origin, says)


def _fast(facts: Facts, limits: Limits) -> Finding | None:
    pace, motors = limits["look_again_pace_s"], limits["look_again_pace_motors"]
    if facts.history.pace_s is None or not under(facts.history.pace_s, pace.value):
        return None
    if under(facts.history.fast_in_a_row, motors.value):
        return None
    says = (f"{facts.history.fast_in_a_row} motors in a row under {pace.value:g} s each ({PRACTICE}). "
            "Were they entered afterwards? Mark them so.")
    return Finding(RULE, None, WATCH, facts.history.pace_s, pace.value, "s", pace.origin, says)
