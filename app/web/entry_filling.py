"""For a correction only: the form at the motor filled as the corrected entry had it, figures to the digit."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from app.rules import facts, units
from app.rules.facts import Show
from app.rules.wording import MOST_PLACES
from app.store.rounds import Reading

NOTHING_WRONG = "nothing wrong"
AS_STORED = ("state", "winding_feel", "winding_method", "method", "cleanliness", "remarks")
BY_END = ("vibration_feel", "bearing_feel", "lubricant")


def as_typed(value: float) -> str:
    """A stored figure as a person would type it so that it is read as the same one: 1.234 is written 1.2340."""
    text = f"{value:.{MOST_PLACES}f}".rstrip("0").rstrip(".")
    return f"{text}0" if re.fullmatch(r"-?[1-9]\d{0,2}\.\d{3}", text) else text


def in_typed_unit(value: float, column: str, show: Show) -> float:
    """A stored figure of this column in the unit that is typed for it at the motor."""
    if show.temperature == "F" and ("_temp_c" in column or column == "ambient_c"):
        return units.f_from_c(value)
    if show.vibration == "in/s" and column.startswith("vibration_mm_s"):
        return units.in_s_peak_from_mm_s_rms(value)
    return value


def figures_of(old: Reading, show: Show) -> dict[str, tuple[str, float]]:
    """Field of the form -> the text it is filled with, in the unit typed here, and the stored SI value behind it."""
    def scaled(column: str) -> Callable[[float], float]:
        return lambda value: in_typed_unit(value, column, show)

    temperature, vibration, same = scaled("winding_temp_c"), scaled("vibration_mm_s"), scaled("current_a")
    stored = [("winding_temp", old.winding_temp_c, temperature), ("ambient", old.ambient_c, temperature)]
    for end in facts.ENDS:
        stored += [(f"bearing_temp_{end}", getattr(old, f"bearing_temp_c_{end.lower()}"), temperature),
                   (f"vibration_{end}", getattr(old, f"vibration_mm_s_{end.lower()}"), vibration)]
    for i in (1, 2, 3):
        stored += [(f"amps_{i}", getattr(old, f"current_a_{i}"), same),
                   (f"volts_{i}", getattr(old, f"voltage_v_{i}"), same)]
    return {name: (as_typed(scale(value)), value) for name, value, scale in stored if value is not None}


def fill_from(form: Any, old: Reading) -> None:
    """Sets every field of an empty EntryForm to what the earlier entry held."""
    for name, (text, _) in figures_of(old, form.show).items():
        form[name].data = text
    for name in AS_STORED:
        form[name].data = getattr(old, name)
    for name in BY_END:
        for end in facts.ENDS:
            form[f"{name}_{end}"].data = getattr(old, f"{name}_{end.lower()}")
    for both, name, fine in (("vibration_both", "vibration_feel", "as usual"), ("lubricant_both", "lubricant", "ok")):
        ends = [form[f"{name}_{end}"].data for end in facts.ENDS]
        if any(ends):
            form[both].data = fine if ends == [fine, fine] else "not"
        for end in facts.ENDS if ends == [fine, fine] else ():
            form[f"{name}_{end}"].data = None  # said for both at once
    unread = (old.unread or {}).get("current_a")
    form.amps_unread.data = [unread] if unread else []
    form.look.data = _look(old)


def _look(old: Reading) -> list[str]:
    seen = [("smoke", old.smoke == "seen"), ("leak", old.leak == "seen"),
            *((f"{thing} {state}", state in ("missing", "loose"))
              for thing, state in (("guard", old.guard), ("ground", old.ground)))]
    wrong = [word for word, there in seen if there]
    return wrong or ([NOTHING_WRONG] if old.smoke == "none" else [])
