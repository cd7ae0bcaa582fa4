"""Is the figure meant? Asked beside the field before it is stored, with and without script; the answer is kept.

An answer names the text it was given for, so that a figure typed anew is asked about anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from app.last_values import COLUMNS, Last
from app.recording import field_of
from app.rules import doubtful
from app.rules.doubtful import Doubt
from app.web.entry_filling import in_typed_unit
from app.web.formatting import number

KEPT, MEANT = "kept", "meant"
#: Behind it in an answer: what was offered, for a tablet that makes the entry itself.
SAYING = " as "


@dataclass(frozen=True)
class Question:
    """What is asked of one figure; picks: value and words of each answer."""

    says: str
    picks: tuple[tuple[str, str], ...]
    answer: str


def figures_are_meant(form: Any) -> bool:
    """Puts the question at each figure that raises one. True when every question is answered."""
    answered = [_is_meant(form, name, past) for name, past in form.past.items()]  # each is asked, not only the first
    return all(answered)


def _is_meant(form: Any, name: str, past: Last) -> bool:
    field, unit = form[name], form.range_of(form[name].kind)[2]
    text = (field.data or "").strip()
    as_it_was = form.before.get(name, ("", 0.0))[0] == text
    if field.number is None or field.errors or as_it_was or name in form.left_out():
        return True
    usual = in_typed_unit(past.usual, COLUMNS[name], form.show)
    doubt = doubtful.asks(field.number, unit, usual, past.from_plate)
    if doubt is None:
        return True
    answer = form.answers.get(f"sure_{name}", "")
    field.question = _question(text, unit, usual, past.from_plate, doubt, answer)
    offered = field.question.picks[0][1]
    given = answer.split(SAYING)[0]
    if given == f"{KEPT} {text}":
        form.confirmed[field_of(COLUMNS[name])] = f"{text} {unit}, asked: {offered}?"
    elif given == f"{MEANT} {text}":
        field.number = doubt.meant
        form.meant[name] = f"{text} {doubt.unit}" if doubt.unit else f"{text}, meant {number(doubt.meant, 3)} {unit}"
    else:
        field.errors = [*field.errors, field.question.says]
        return False
    return True


def _question(text: str, unit: str, usual: float, from_plate: bool, doubt: Doubt, answer: str) -> Question:
    meant = f"{number(doubt.meant, 3)} {unit}"
    offered = f"{text} {doubt.unit} (= {meant})" if doubt.unit else meant
    beside = f"the plate says {number(usual, 2)} {unit}" if from_plate else f"{number(usual, 2)} {unit} is usual"
    return Question(f"{text} {unit}, where {beside}. Did you mean {offered}?",
                    ((f"{MEANT} {text}{SAYING}{number(doubt.meant, 6)} {doubt.unit or ''}".rstrip(), offered),
                     (f"{KEPT} {text}{SAYING}{offered}", f"No, {text} {unit}")), answer)
