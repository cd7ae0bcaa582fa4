"""What a nameplate says in its own words, kept as typed: `230/460`, `24.8/12.4`, `208-230/460`, `7 1/2`, `5.5 kW`.

A dual-voltage plate holds two pairs in the same order; the connected pair is chosen by the connected voltage. Taking
the wrong one halves or doubles the load, so until it is chosen there are no rated amps at all. How plates are written:
common practice of the trade, no published source.

>>> volts, amps = read_figures("230/460"), read_figures("24.8/12.4")
>>> connected(volts, amps, 460.0)
12.4
>>> connected(volts, amps, None) is None
True
>>> read_hp("7-1/2")
7.5
"""

from __future__ import annotations

import re
from itertools import pairwise

from app.rules.numbers import NotANumber, OutOfRange, read_number
from app.rules.units import hp_from_kw

#: One inner tuple a connection, in the plate's order: 208-230/460 is ((208, 230), (460,)).
Figures = tuple[tuple[float, ...], ...]

HIGHEST_HP = 30_000.0  # a date that a spreadsheet turned into a count of days (from 1982 on) is never taken for hp
MOST_CONNECTIONS = 3
_DASHES = re.compile("[\u2010-\u2015\u2212]")
_FRACTION = re.compile(r"(?:(\d{1,4})(?: ?- ?| ))?(\d{1,2}) ?/ ?(\d{1,2})")
_GLYPHS = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅓": "1/3", "⅔": "2/3", "⅛": "1/8", "⅙": "1/6"}


def read_figures(text: str, low: float = 0.0, high: float = 1e6, unit: str = "") -> Figures:
    """The figures of a plate's cell: one, or one a connection parted by `/`, a range in it by `-`.

    Raises NotANumber for what cannot be read without guessing, OutOfRange outside low..high.
    """
    groups = [part.split("-") for part in _DASHES.sub("-", text).split("/")]
    if len(groups) > MOST_CONNECTIONS or any(len(group) > 2 for group in groups):
        raise NotANumber(f"“{text.strip()}” has too many figures. Enter one, or one a connection, such as 230/460.")
    figures = tuple(tuple(read_number(typed, low, high, unit) for typed in group) for group in groups)
    flat = flatten(figures)
    if any(value <= 0 for value in flat):
        raise OutOfRange(f"“{text.strip()}” cannot be: every figure of a plate is above zero.")
    return figures


def flatten(figures: Figures) -> tuple[float, ...]:
    """All figures in the plate's order, whatever their connection."""
    return tuple(value for group in figures for value in group)


def read_hp(text: str) -> float:
    """Horsepower as stamped: 75, 7 1/2, 7-1/2, 1/2, ½; a plate in kW says so (5.5 kW, the electric horsepower).

    Raises NotANumber, for a fraction over zero too.
    """
    typed = " ".join(_DASHES.sub("-", text).split())
    for glyph, plain in _GLYPHS.items():
        typed = typed.replace(glyph, f" {plain}").strip()
    typed = " ".join(typed.split())
    in_kw = re.fullmatch(r"(.+?) ?kw", typed, re.IGNORECASE)
    if in_kw:
        hp = hp_from_kw(read_number(in_kw[1], 0.0, HIGHEST_HP, "kW"))
    elif "/" in typed:
        hp = _fraction(typed)
    else:
        hp = read_number(typed, 0.0, HIGHEST_HP, "hp")
    if hp <= 0:
        raise OutOfRange(f"“{typed}” hp cannot be: a motor has more than zero.")
    return hp


def _fraction(typed: str) -> float:
    found = _FRACTION.fullmatch(typed)
    if found is None:
        raise NotANumber(f"“{typed}” is not a size. Enter it as stamped, such as 75, 7 1/2 or 1/2.")
    whole, over, under = int(found[1] or 0), int(found[2]), int(found[3])
    if under == 0:
        raise NotANumber(f"“{typed}” divides by zero. Enter the size as stamped, such as 1/2.")
    if over >= under:
        raise NotANumber(f"“{typed}” is no part of a horsepower. Enter the size the motor runs at, such as 7 1/2.")
    return whole + over / under


def check_pairs(volts: Figures, amps: Figures, what: str = "amps") -> None:
    """Raises NotANumber unless each voltage has its amps in the same order, the higher voltage the smaller current."""
    if not _same_shape(volts, amps):
        raise NotANumber(f"Enter one figure of {what} for each voltage, in the same order: {len(volts)} "
                         f"connection{'' if len(volts) == 1 else 's'} of volts, {len(amps)} of {what}.")
    by_volts = sorted(zip(volts, amps, strict=True))
    for (_, larger), (_, smaller) in pairwise(by_volts):
        if max(smaller) >= min(larger):
            raise NotANumber(f"Check the order: these {what} give the higher voltage the larger current. "
                             "A plate has the smaller current at the higher voltage.")


def _same_shape(volts: Figures, amps: Figures) -> bool:
    if len(volts) != len(amps):
        return False
    return all(len(a) in (1, len(v)) for v, a in zip(volts, amps, strict=True))


def connected_volts(volts: Figures, chosen: float | None) -> float | None:
    """The rated voltage of the connection: the only one, or the one chosen. None until it is chosen.

    Raises NotANumber when the plate does not know the voltage chosen.
    """
    known = flatten(volts)
    if chosen is not None and chosen not in known:
        raise NotANumber(f"Choose one of the plate's voltages: {', '.join(f'{v:g}' for v in known)}.")
    return chosen if chosen is not None or len(known) > 1 else known[0]


def connected(volts: Figures, amps: Figures, chosen: float | None) -> float | None:
    """The amps stamped for the chosen voltage; None until one is chosen. Raises NotANumber as above."""
    check_pairs(volts, amps)
    at = connected_volts(volts, chosen)
    if at is None:
        return None
    for group, figures in zip(volts, amps, strict=True):
        if at in group:
            return figures[group.index(at) if len(figures) > 1 else 0]
    raise AssertionError("a connected voltage is always one of the plate's")
