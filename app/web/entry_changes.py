"""The last figure and the change, told once the new one is in: "last 61, change +2"."""

from __future__ import annotations

from app.last_values import COLUMNS, Last
from app.rules.facts import Show
from app.store.rounds import Reading
from app.web.entry_filling import in_typed_unit
from app.web.formatting import number


def changes_since(row: Reading, past: dict[str, Last], show: Show) -> dict[str, str]:
    """Field -> "last 61, change +2", for every figure of an entry that has an earlier one."""
    told = {}
    for name, column in COLUMNS.items():
        value, before = getattr(row, column), past.get(name)
        if value is not None and before is not None and before.last is not None:
            told[name] = change_words(in_typed_unit(value, column, show), in_typed_unit(before.last, column, show))
    return told


def change_words(value: float, last: float) -> str:
    """
    >>> change_words(63.0, 61.0), change_words(0.11, 0.12), change_words(78.0, 78.0)
    ('last 61, change +2', 'last 0.12, change −0.01', 'last 78, no change')
    """
    change = round(value - last, 2)
    words = f"change {'+' if change > 0 else '−'}{number(abs(change), 2)}" if change else "no change"
    return f"last {number(last, 2)}, {words}"
