"""Reading a typed number strictly: comma or point, never both, nothing guessed, and what was understood is said.

>>> read_number("24,8"), read_number(" 87.0 "), read_number("-2.5")
(24.8, 87.0, -2.5)
"""

from __future__ import annotations

import re

LONGEST = 12
_NUMBER = re.compile(r"[-+]?(\d+([.,]\d*)?|[.,]\d+)")


class NotANumber(ValueError):
    """The text is no number that can be taken without guessing; says what to do."""


class OutOfRange(NotANumber):
    """A number, but one that cannot be true here."""


def read_number(text: str, low: float = -1e6, high: float = 1e6, unit: str = "") -> float:
    """The number in a text, in whatever unit it was typed.

    Raises NotANumber for letters, two separators, nan, inf, or one separator with exactly three digits behind and one
    to three in front of it (1,234 may be a thousand or one and a bit), and OutOfRange outside low..high.
    """
    typed = text.strip().replace("\u2212", "-").replace("\u00a0", "")
    if not typed:
        raise NotANumber("Enter a number.")
    if len(typed) > LONGEST:
        raise NotANumber(f"Enter a number of at most {LONGEST} characters.")
    if sum(typed.count(c) for c in ".,") > 1:
        raise NotANumber(f"“{typed}” has more than one comma or point. Enter it with one, such as 1234.5.")
    if not _NUMBER.fullmatch(typed) or not typed.isascii():
        raise NotANumber(f"“{typed}” is not a number. Enter digits with one comma or point, such as 24.8.")
    if re.fullmatch(r"[-+]?[1-9]\d{0,2}[.,]\d{3}", typed):
        whole, plain = typed.replace(",", "").replace(".", ""), typed.replace(",", ".")
        raise NotANumber(f"“{typed}” can be read two ways. Enter {whole} or {plain}0 to say which is meant.")
    value = float(typed.replace(",", "."))
    if not low <= value <= high:
        behind = f" {unit}" if unit else ""
        raise OutOfRange(f"{typed}{behind} cannot be: enter a value from {low:g} to {high:g}{behind}.")
    return value
