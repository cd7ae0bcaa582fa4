"""The cells of a workbook, set into one that the library made without them.

The library takes 3 µs to hold a cell and to write its element, here it takes a half. So of a workbook that is put
together in memory the library makes all but the rows (sheets, widths, formats, filters, footers), and these are set in.
Part by part it is the workbook that the library alone would have made, which a test holds to the byte; one that goes
through files is the library's alone.

Elements by ECMA-376-1: 18.3.1.80 sheetData, 18.3.1.73 row, 18.3.1.4 c, 18.4.9 sst, 18.4.8 si; 22.9.2.19 ST_Xstring for
a text that looks like the code of a character.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime
from functools import lru_cache
from math import isfinite
from typing import IO, Any, NamedTuple
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from xlsxwriter.utility import xl_col_to_name

from app.export.tables import NUMBER, TEXT, TIME, Row

_CODE = re.compile("(_x[0-9a-fA-F]{4}_)")
_WITH_CARE = re.compile(r"[&<>]|_x|^\s|\s$").search
_PLACE = re.compile('<c r="([A-Z]+)')
_FORMAT = re.compile(' s="([0-9]+)"')
_DIMENSION = re.compile('(?<=<dimension ref=")[^"]*')
_WIDTHS = re.compile("<cols>.*</cols>")
_ROWS = re.compile("<sheetData>.*</sheetData>|<sheetData/>", re.DOTALL)
_TEXTS = re.compile("(?<=<sst ).*(?=</sst>)", re.DOTALL)
#: So many rows share the attribute that says which columns they fill.
BLOCK = 16
#: The library's 6 takes 2.5 times as long, for a file of a week that is a fifth shorter.
QUICKLY = 1
#: What every part of the file is dated: the first day that its format knows. The same rows make the same bytes.
FIRST_DAY = (1980, 1, 1, 0, 0, 0)
_DAY_0 = datetime(1899, 12, 31)  # noqa: DTZ001 - a wall clock


class Sheet(NamedTuple):
    """What a sheet holds. kinds: of the cells of a row; a time has two headings, of the text and of the local time.
    widths: of the columns, as the library tells them (18.3.1.17 cols)."""

    widths: str
    kinds: Sequence[str]
    headings: Sequence[str]
    rows: Iterable[Row]


def widths_of(made: IO[bytes]) -> str:
    """The widths of the columns of a workbook's first sheet, which has some, as set in elsewhere."""
    with ZipFile(made) as parts:
        found = _WIDTHS.search(parts.read("xl/worksheets/sheet1.xml").decode())
    assert found is not None
    return found[0]


def set_in(made: IO[bytes], file: IO[bytes], sheets: Sequence[Sheet], fit: Callable[[str], str],
           local: Callable[[str], datetime]) -> None:
    """Writes the workbook `made` into `file` with the rows of its sheets, in their order.

    fit: what makes a text fit a cell; local: the wall clock of a time's text. `made` shows in its first sheet which
    formats headings and local times have: its first cell is a heading, and its last a local time where any sheet has
    one. Raises ValueError for a figure that is none.
    """
    packed = io.BytesIO()  # a part is written in many small pieces
    with ZipFile(made) as parts, ZipFile(packed, "w", ZIP_DEFLATED) as whole:
        told = {name: parts.read(name).decode() for name in parts.namelist()}
        formats = _FORMAT.findall(told["xl/worksheets/sheet1.xml"])
        cells = _Cells(fit, local, heading=formats[0], date_time=formats[-1])
        for number, sheet in enumerate(sheets, 1):
            name = f"xl/worksheets/sheet{number}.xml"
            told[name] = cells.into(told[name], sheet)
        told["xl/sharedStrings.xml"] = cells.texts_into(told["xl/sharedStrings.xml"])
        for name, part in told.items():
            info = ZipInfo(name, FIRST_DAY)
            info.compress_type = ZIP_DEFLATED
            whole.writestr(info, part.encode(), compresslevel=QUICKLY)
    file.write(packed.getbuffer())


class _Texts(dict[str, int]):
    """The workbook's texts by their number. `held` has them as they are in its cells, each once, in their order."""

    def __init__(self, fit: Callable[[str], str]) -> None:
        super().__init__()
        self._fit = fit
        self.held: dict[str, int] = {}

    def __missing__(self, text: str) -> int:
        number = self[text] = self.held.setdefault(self._fit(text), len(self.held))
        return number


class _Times(dict[str, tuple[int, str]]):
    """ISO texts as the number of the text, and of the days that the wall clock beside it shows."""

    def __init__(self, texts: _Texts, local: Callable[[str], datetime]) -> None:
        super().__init__()
        self._texts, self._local = texts, local

    def __missing__(self, iso: str) -> tuple[int, str]:
        told = self[iso] = self._texts[iso], days(self._local(iso))
        return told


def days(local: datetime) -> str:
    """A wall clock since March 1900 as a sheet's number of days: 1 is 1 January 1900, and 60 a 29 February 1900 that
    never was (18.17.4.1, the 1900 date base).

    >>> days(datetime(2026, 11, 24, 12)), days(datetime(1900, 3, 1))
    ('46350.5', '61')
    """
    since = local - _DAY_0
    return f"{since.days + since.seconds / 86400 + 1:.16G}"


class _Cells:
    """Writes cells. heading, date_time: the numbers of the formats of headings and of local times."""

    def __init__(self, fit: Callable[[str], str], local: Callable[[str], datetime], heading: str,
                 date_time: str) -> None:
        self._texts = _Texts(fit)
        self._times = _Times(self._texts, local)
        self._heading, self._date_time, self._count = heading, date_time, 0

    def into(self, part: str, sheet: Sheet) -> str:
        """The part of a sheet with its rows, the headings first."""
        letters = _letters(len(sheet.headings))
        texts, heading, left = self._texts, self._heading, iter(letters)
        lines = ["".join([f'<c r="{letter}1" s="{heading}" t="s"><v>{texts[name]}</v></c>'
                          for letter, name in zip(letters, sheet.headings, strict=True)])]
        tells = [self._tell(kind, left) for kind in sheet.kinds]
        lines += ["".join([tell(cell, line) for tell, cell in zip(tells, row, strict=True)
                           if cell is not None and cell != ""])
                  for line, row in enumerate(sheet.rows, 2)]
        self._count += sum(cells.count(' t="s"') for cells in lines)
        last = max(line for line, cells in enumerate(lines, 1) if cells)
        corner = f"{letters[-1]}{last}"
        part = _DIMENSION.sub(corner if corner == "A1" else f"A1:{corner}", part, count=1)
        before, after = _ROWS.split(part, maxsplit=1)
        return "".join([before, sheet.widths, "<sheetData>", *_rows(lines, letters), "</sheetData>", after])

    def _tell(self, kind: str, left: Iterator[str]) -> Callable[[Any, int], str]:
        """What tells a cell that is not empty, given its line. left: the letters of the columns not yet taken."""
        start, texts = f'<c r="{next(left)}', self._texts

        def text(cell: str, line: int) -> str:
            return f'{start}{line}" t="s"><v>{texts[cell]}</v></c>'

        def number(cell: float, line: int) -> str:
            if not isfinite(cell):
                raise ValueError(f"{cell} is no figure of a cell")
            return f'{start}{line}"><v>{cell:.16G}</v></c>'

        if kind != TIME:
            return {TEXT: text, NUMBER: number}[kind]
        beside, times, shown = f'<c r="{next(left)}', self._times, f'" s="{self._date_time}"><v>'

        def time(cell: str, line: int) -> str:
            index, clock = times[cell]
            return f'{start}{line}" t="s"><v>{index}</v></c>{beside}{line}{shown}{clock}</v></c>'

        return time

    def texts_into(self, part: str) -> str:
        """The part of the workbook's texts with those that its cells refer to."""
        held = self._texts.held
        before, after = _TEXTS.split(part, maxsplit=1)
        head = re.sub(" count=.*", "", part[len(before):part.index(">", len(before))])
        return "".join([before, head, f' count="{self._count}" uniqueCount="{len(held)}">', *map(_item, held), after])


@lru_cache(64)  # every week's workbook has sheets of the same widths
def _letters(columns: int) -> list[str]:
    """What the first so many columns are called."""
    return [xl_col_to_name(at) for at in range(columns)]


def _rows(lines: list[str], letters: list[str]) -> Iterable[str]:
    """The rows that hold something."""
    places = {letter: at for at, letter in enumerate(letters, 1)}
    for first in range(0, len(lines), BLOCK):
        block = lines[first:first + BLOCK]
        ends = [places[letter] for cells in block for letter in _PLACE.findall(cells[:12] + cells[cells.rfind("<c "):])]
        if ends:
            spans = f'spans="{min(ends)}:{max(ends)}"'
            yield from (f'<row r="{line}" {spans}>{cells}</row>'
                        for line, cells in enumerate(block, first + 1) if cells)


def _item(text: str) -> str:
    if not _WITH_CARE(text):
        return f"<si><t>{text}</t></si>"
    kept = ' xml:space="preserve"' if text[:1].isspace() or text[-1:].isspace() else ""
    text = _CODE.sub(r"_x005F\1", text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return f"<si><t{kept}>{text}</t></si>"
