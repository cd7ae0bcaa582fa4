"""One label, drawn in mm: the code, the tag, rated amps, service, and whether the motor restarts by itself.

Nothing is cut: the tag is what the label is for, so it is made smaller or broken over lines until all of it stands
there. Only the service may end in "…".
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

import segno

from app.store.motors import Motor

#: Widths of bold letters in ems, as in the widest of the plain sans serifs that a printer's machine may have
#: (measured with DejaVu Sans Bold); rather too wide than a letter off the label.
WIDEST_EM, WIDE_EM, CAPITAL_EM, LETTER_EM, NARROW_EM = 1.12, 1.02, 0.86, 0.74, 0.49
WIDEST, NARROW = frozenset("WM@№mw%"), frozenset("-./:,;!|'iljtfrI()[] ")
QUIET = 4  # modules of white around the code, as ISO/IEC 18004 asks
SMALLEST_MM = 1.5
LINE = 1.08  # from line to line, in sizes of letters
WORTH_ONE_LINE = 0.6  # of the size that two lines would allow
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


def _em(letter: str) -> float:
    if letter in WIDEST:
        return WIDEST_EM
    if unicodedata.east_asian_width(letter) in "WF":
        return WIDE_EM
    return NARROW_EM if letter in NARROW else CAPITAL_EM if letter.isupper() else LETTER_EM


def width_em(text: str) -> float:
    return sum(_em(letter) for letter in text)


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
    mark = MARKS.get(motor.interlock or "", "")
    band = (edge, round(height * 0.82 - edge, 2), round(width - 2 * edge, 2), round(height * 0.18, 2)) if mark else None
    bottom = band[1] - edge / 2 if band else height - edge
    side = min(bottom - edge, width * 0.46) if url else 0.0
    x = edge + (side + edge / 2 if url else 0.0)
    room = width - x - edge
    words, y = _tag(motor.tag, x, edge, room, (bottom - edge) * 0.54)
    size = min(height * 0.12, (bottom - edge) * 0.18, room / width_em(amps_of(motor)))
    y += size * 1.3
    words.append(Words(x, round(y, 2), round(size, 2), amps_of(motor), heavy=True))
    words += _service(motor.service, x, y, room, bottom, max(SMALLEST_MM, size * 0.8))
    if band:
        words.append(_in_band(mark, band))
    code = (edge, round((edge + bottom - side) / 2, 2), round(side, 2), *code_path(url)) if url else None
    says = ", ".join(filter(None, (motor.tag, motor.service, amps_of(motor), mark)))
    return Drawing(width, height, says, words, code, band)


def _in_band(mark: str, band: tuple[float, float, float, float]) -> Words:
    """The largest thing after the tag: it is read before a hand goes near."""
    x, y, width, height = band
    size = min(height * 0.72, (width - height * 0.4) / width_em(mark))
    return Words(round(x + height * 0.2, 2), round(y + height / 2 + size * 0.34, 2), round(size, 2), mark, heavy=True,
                 white=True)


def amps_of(motor: Motor) -> str:
    plate = motor.nameplate
    return f"rated {plate.amps:g} A" if plate and plate.amps is not None else "rated amps not known"


def _tag(tag: str, x: float, top: float, room: float, most: float) -> tuple[list[Words], float]:
    """In one line where that can be read; else broken at its joints; within a word only when nothing else is left."""
    one = min(most / LINE, room / width_em(tag))
    size = _largest(tag, room, most, within_words=False)
    if size < SMALLEST_MM:
        size = _largest(tag, room, most, within_words=True)
    if one >= WORTH_ONE_LINE * size:
        lines, size = [tag], one
    else:
        lines = lines_of(tag, size, room)
    words = [Words(x, round(top + size * (0.85 + LINE * i), 2), round(size, 2), line, heavy=True)
             for i, line in enumerate(lines)]
    return words, top + len(lines) * size * LINE


def _largest(tag: str, room: float, most: float, *, within_words: bool) -> float:
    """The largest letters at which the whole tag stands within its share of the height."""
    size = most / LINE
    while size > 0.4:
        whole = within_words or all(width_em(piece.rstrip()) * size <= room for piece in _pieces(tag))
        if whole and len(lines_of(tag, size, room)) * size * LINE <= most:
            break
        size *= 0.95
    return size


def _service(service: str, x: float, y: float, room: float, bottom: float, size: float) -> list[Words]:
    """As many lines as fit above the bottom; what is left over ends in "…"."""
    lines = lines_of(service, size, room)
    fit = max(0, int((bottom - y) / (size * 1.25)))
    if len(lines) > fit and fit:
        lines = [*lines[:fit - 1], lines[fit - 1][:max(1, int(room / size / LETTER_EM) - 2)].rstrip() + "…"]
    return [Words(x, round(y + size * 1.25 * (i + 1), 2), round(size, 2), line) for i, line in enumerate(lines[:fit])]
