"""What a spreadsheet or a copy did to a cell: refused by name, because what was typed before can no longer be known."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Iterator

from app.store.register_columns import COLUMNS

_EXPONENT = re.compile(r"[-+]?\d([.,]\d+)?E[+-]\d{2,3}", re.IGNORECASE)
_MONTHS = ("Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Sept|Oct|Nov|Dec|Mrz|Mär|Mai|Okt|Dez|janv|févr|mars|avr|juin|juil|août|"
           "déc|ene|abr|ago|dic|gen|mag|giu|lug|set|ott|mrt|mei")
_MADE_A_DATE = re.compile(rf"\d{{1,2}}[-. ] ?({_MONTHS})\.?([-. ]\d{{2,4}})?|({_MONTHS})[-. ]\d{{2,4}}", re.IGNORECASE)
_ERROR_CELL = re.compile(r"#(N/A|NA|NAME\?|REF!|VALUE!|DIV/0!|NUM!|NULL!|SPILL!|CALC!)|#{3,}", re.IGNORECASE)
_FORMULA_TEXT = re.compile(r'="(.*)"', re.DOTALL)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}( 00:00(:00)?)?|\d{1,2}[./]\d{1,2}[./]\d{2,4}|\d{5}")
_MONTH_FIRST = re.compile(rf"({_MONTHS})[-. ]?\d{{1,4}}", re.IGNORECASE)
_PARTS = re.compile(r"\d{1,2}[-/.]\d{1,2}([-/.]\d{2,4})?")
_SUSPECT = re.compile("[#=\ufffd]|E[+-]|" + _MONTHS, re.IGNORECASE)  # without any of these all is well


def damage(column: str, cell: str, known: bool, quoted: bool = False) -> str | None:
    """What was done to this cell, and what to do; None where nothing was.

    known: the register holds this very tag, so that it was typed so. quoted: one ' stood before the cell.
    """
    cell = cell.strip()
    if not cell.isprintable():
        told = _unseen(column, cell)
        if told:
            return told
    if not _SUSPECT.search(cell):
        return None
    if "\ufffd" in cell:
        return "Enter it as it was before: a letter was lost here (�) when the file was saved in another encoding."
    if COLUMNS[column].kind == "remarks" or (column == "tag" and known):
        return None
    formula = None if quoted else _FORMULA_TEXT.fullmatch(cell)
    if formula:
        return f"Enter {formula[1] or 'nothing'} itself: a spreadsheet wrote it as a formula."
    if _ERROR_CELL.fullmatch(cell):
        return "Enter the value itself: a spreadsheet put its own error word here."
    if _EXPONENT.fullmatch(cell):
        return "Enter it as it was before: a spreadsheet turned it into powers of ten. Format the column as text."
    if _MADE_A_DATE.fullmatch(cell):
        return ("Enter the date as 2026-11-24." if COLUMNS[column].kind == "date" else
                "Enter it as it was before: a spreadsheet made a date of it. Format the column as text.")
    return None


def _unseen(column: str, cell: str) -> str | None:
    """A control character in the cell; a line end inside a tag."""
    for c in cell:
        if unicodedata.category(c) in ("Cc", "Cs") and c not in "\t\n\r":
            return f"Take out the character that cannot be seen here (code {ord(c)})."
    if column == "tag" and any(c in "\t\n\r" for c in cell):
        return "Enter the tag in one line, without line end or tab."
    return None


def eaten(new: Collection[str], missing: Collection[str]) -> Iterator[tuple[str, str]]:
    """(new tag, the register's tag) wherever the one is what a spreadsheet makes of the other: 7 of 007, 100000 of
    1E05, 2026-04-03 of 3-4. new: tags of the file that the register does not hold; missing: the register's tags that
    are not in the file.
    """
    numbers: dict[float, str] = {}
    dates = [tag for tag in missing if _PARTS.fullmatch(tag.strip()) or _MONTH_FIRST.fullmatch(tag.strip())]
    for tag in missing:
        value = _number(tag)
        if value is not None:
            numbers.setdefault(value, tag)
    for tag in new:
        value = _number(tag)
        if value is not None and value in numbers:
            yield tag, numbers[value]
        elif dates and _DATE.fullmatch(tag.strip()):
            yield tag, dates[0]


def _number(text: str) -> float | None:
    if not re.fullmatch(r"\d+([.,]\d+)?(E\+?\d{1,2})?", text.strip(), re.IGNORECASE):
        return None
    return float(text.strip().replace(",", "."))
