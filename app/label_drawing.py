"""One label, drawn in mm: the code, the tag, rated amps, service, and whether the motor restarts by itself.

Nothing is cut: the tag is what the label is for, so it is made smaller or broken over lines until all of it stands
there. Only the service may end in "…".
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

import segno

from app.store.motors import Motor

#: Rough widths of bold letters in a plain sans serif, in ems; rather too wide than a word out of the label.
WIDE_EM, NARROW_EM, LETTER_EM = 1.02, 0.42, 0.71
NARROW = frozenset("-./:,;!|'iljtfI1()[] ")
QUIET = 4  # modules of white around the code, as ISO/IEC 18004 asks
SMALLEST_MM = 1.5
MARKS = {"low-voltage release": "restarts by itself", "automatic start": "starts by itself"}


@dataclass(frozen=True)
class Words:
    """A line of text: where its baseline begins, the size of its letters."""

    x: float
    y: float
    size: float
    text: str
    heavy: bool = False
    white: bool = False


@dataclass(frozen=True)
class Drawing:
    """code: x, y, side and modules of the square (None: no code). band: the black bar behind the restart words."""

    width: float
    height: float
    says: str
    words: list[Words]
    code: tuple[float, float, float, int, str] | None
    band: tuple[float, float, float, float] | None


def width_em(text: str) -> float:
    return sum(WIDE_EM if unicodedata.east_asian_width(c) in "WF" or c in "WM@№" else NARROW_EM if c in NARROW
               else LETTER_EM for c in text)


def lines_of(text: str, size: float, room: float) -> list[str]:
    """Broken at blanks and after dashes where that is possible, anywhere else where it is not."""
    lines, line = [], ""
    for piece in _pieces(text):
        if line and width_em(line + piece.rstrip()) * size > room:
            lines.append(line.rstrip())
            line = ""
        for letter in piece if width_em(piece) * size > room else [piece]:
            if line and width_em(line + letter) * size > room:
                lines.append(line.rstrip())
                line = ""
            line += letter
    return [*lines, line.rstrip()] if line.strip() else lines


def _pieces(text: str) -> list[str]:
    made = [""]
    for c in text:
        made[-1] += c
        if c in " -/" or unicodedata.category(c) == "Pd":
            made.append("")
    return [p for p in made if p]


def code_path(url: str) -> tuple[int, str]:
    """Modules a side with the quiet zone, and the dark ones as one path. Level Q: a quarter may be under paint."""
    code = segno.make(url, error="q", micro=False)
    rows, path = [list(row) for row in code.matrix_iter(border=QUIET)], []
    for y, row in enumerate(rows):
        x = 0
        while x < len(row):
            run = x
            while run < len(row) and row[run]:
                run += 1
            if run > x:
                path.append(f"M{x} {y}h{run - x}v1h-{run - x}z")
            x = run + 1
    return len(rows), "".join(path)


def draw(motor: Motor, width: float, height: float, url: str | None) -> Drawing:
    """url: what the code holds; None leaves the code out."""
    edge = min(2.0, height * 0.06)
    side = min(height - 2 * edge, width * 0.46) if url else 0.0
    x, room = edge + (side + edge if url else 0.0), width - (side + 3 * edge if url else 2 * edge)
    mark = MARKS.get(motor.interlock or "", "")
    band_size = min(height * 0.115, room / width_em(mark)) if mark else 0.0
    band_height = band_size * 1.5 if mark else 0.0
    space = height - 2 * edge - band_height
    words, y = _tag(motor.tag, x, edge, room, space * 0.52)
    amps_size = min(height * 0.12, space * 0.17, room / width_em(amps_of(motor)))
    y += amps_size * 1.35
    words.append(Words(x, round(y, 2), round(amps_size, 2), amps_of(motor), heavy=True))
    words += _service(motor.service, x, y, room, edge + space, max(SMALLEST_MM, amps_size * 0.8))
    band = None
    if mark:
        top = height - edge - band_height
        band = (x, round(top, 2), round(room, 2), round(band_height, 2))
        words.append(Words(round(x + band_size * 0.25, 2), round(top + band_height * 0.72, 2),
                           round(band_size * 0.94, 2), mark, heavy=True, white=True))
    code = (edge, round((height - side) / 2, 2), round(side, 2), *code_path(url)) if url else None
    says = ", ".join(filter(None, (motor.tag, motor.service, amps_of(motor), mark)))
    return Drawing(width, height, says, words, code, band)


def amps_of(motor: Motor) -> str:
    plate = motor.nameplate
    return f"rated {plate.amps:g} A" if plate and plate.amps is not None else "rated amps not known"


def _tag(tag: str, x: float, top: float, room: float, most: float) -> tuple[list[Words], float]:
    """The largest letters at which the whole tag stands within its share of the height."""
    size = most
    while True:
        lines = lines_of(tag, size, room)
        if len(lines) * size * 1.08 <= most or size < 0.4:
            break
        size *= 0.94
    words = [Words(x, round(top + size * (0.85 + 1.08 * i), 2), round(size, 2), line, heavy=True)
             for i, line in enumerate(lines)]
    return words, top + len(lines) * size * 1.08


def _service(service: str, x: float, y: float, room: float, bottom: float, size: float) -> list[Words]:
    """As many lines as fit above the bottom; what is left over ends in "…"."""
    lines = lines_of(service, size, room)
    fit = max(0, int((bottom - y) / (size * 1.25)))
    if len(lines) > fit and fit:
        lines = [*lines[:fit - 1], lines[fit - 1][:max(1, int(room / size / LETTER_EM) - 2)].rstrip() + "…"]
    return [Words(x, round(y + size * 1.25 * (i + 1), 2), round(size, 2), line) for i, line in enumerate(lines[:fit])]
