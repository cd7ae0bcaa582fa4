"""The register's columns, one line each: how a cell is read, what is kept, how it is written again.

The same columns serve the CSV, the form and the export, so that a cell means the same wherever it was typed.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Any

from app.rules import facts, tables
from app.rules.numbers import LONGEST, NotANumber, read_number
from app.rules.plate import check_pairs, connected, connected_volts, flatten, read_figures, read_hp
from app.store.motors import CHECKED_EVERY, LUBRICATION_KINDS, START_BASES, tag_key

LONGEST_TAG, LONGEST_TEXT, LONGEST_REMARKS = 60, 200, 2000
MOUNTINGS = ("rigid", "flexible")
SLEEVE = "sleeve"
MOTOR, PLATE, DE, ODE = "motor", "nameplate", "DE", "ODE"
#: What an empty cell stands for where the column always holds a word.
DEFAULTS = {"checked_every": "shift", "start_basis": "general practice"}


class RegisterErrors(ValueError):
    """Cells that cannot be taken: (column, what to do), every one of them."""

    def __init__(self, errors: list[tuple[str, str]]) -> None:
        self.errors = errors
        super().__init__("; ".join(f"{column}: {says}" for column, says in errors))


class BadCell(ValueError):
    """One cell that cannot be taken; says what to do."""


@dataclass(frozen=True)
class Stamped:
    """A plate's own words beside what they were read as."""

    text: str
    value: Any


@dataclass(frozen=True)
class Column:
    name: str
    part: str  # MOTOR, PLATE, or the end whose chart line it belongs to
    attribute: str  # on the model
    read: Callable[[str], Any]  # never called with an empty cell; raises BadCell or NotANumber
    kind: str = "text"  # text, number, word, date, plate, remarks
    words: tuple[str, ...] = ()
    unit: str = ""


@lru_cache(maxsize=20_000)
def exact(value: float | None) -> str:
    """A stored number to the last digit, as the strict reader takes it back: 0.0047, 87, 1.2340.

    Three digits behind the point could be taken for thousands, so a zero is added there.
    """
    if value is None:
        return ""
    text = format(Decimal(repr(float(value))), "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    if re.fullmatch(r"-?[1-9]\d{0,2}\.\d{3}", text):
        text += "0"
    return text.replace("0.", ".", 1) if len(text) > LONGEST and text.lstrip("-").startswith("0.") else text


def clean(text: str, lines: bool = False) -> str:
    """Text without control characters and without blanks around it; line ends stay only where lines may be."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if not lines:
        text = text.replace("\n", " ").replace("\t", " ")
    if text.isprintable():
        return text.strip()
    return "".join(c for c in text if c == "\n" or unicodedata.category(c) not in ("Cc", "Cs")).strip()


# how cells are read ----------------------------------------------------------------------------------------


def _text(longest: int = LONGEST_TEXT, lines: bool = False) -> Callable[[str], str]:
    def read(typed: str) -> str:
        text = clean(typed, lines)
        if len(text) > longest:
            raise BadCell(f"Shorten this to {longest} characters; it has {len(text)}.")
        return text

    return read


def _tag(typed: str) -> str:
    text = _text(LONGEST_TAG)(typed)
    if not tag_key(text):
        raise BadCell("Enter a tag that can be seen.")
    return text


def _word(words: tuple[str, ...]) -> Callable[[str], str]:
    by_key = {word.casefold(): word for word in words}

    def read(typed: str) -> str:
        found = by_key.get(" ".join(typed.split()).casefold())
        if found is None:
            raise BadCell(f"Enter one of: {', '.join(words)}.")
        return found

    return read


def _number(low: float, high: float, unit: str = "", above: bool = False) -> Callable[[str], float]:
    def read(typed: str) -> float:
        value = read_number(typed, low, high, unit)
        if above and value <= low:
            raise BadCell(f"Enter a value above {low:g}, or leave it empty when it is not known.")
        return value

    return read


def _whole(low: int, high: int) -> Callable[[str], int]:
    def read(typed: str) -> int:
        value = read_number(typed, low, high)
        if value != int(value):
            raise BadCell(f"Enter a whole number from {low} to {high}.")
        return int(value)

    return read


def _poles(typed: str) -> int:
    value = _whole(2, 72)(typed)
    if value % 2:
        raise BadCell("Enter an even number of poles, such as 4.")
    return value


def _date(typed: str) -> date:
    typed = typed.strip()
    if re.fullmatch(r"\d{5}([.,]\d+)?", typed):
        raise BadCell("Enter the date as 2026-11-24. This is a date as a spreadsheet counts days.")
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", typed) or not typed.isascii():
        raise BadCell("Enter the date as 2026-11-24: year, month, day.")
    try:
        value = date.fromisoformat(typed)
    except ValueError:
        raise BadCell("Enter a date that the calendar has, such as 2026-11-24.") from None
    if value.year < 1900:
        raise BadCell("Enter a date from 1900 on.")
    return value


def _hp(typed: str) -> Stamped:
    return Stamped(clean(typed), read_hp(typed))


def _figures(high: float, unit: str) -> Callable[[str], Stamped]:
    def read(typed: str) -> Stamped:
        return Stamped(clean(typed), read_figures(typed, 0.0, high, unit))

    return read


def _bearing(typed: str) -> str:
    text = _text(60)(typed)
    return SLEEVE if text.casefold() == SLEEVE else text


CODE_LETTERS = tuple(row["code_letter"] for row in tables.rows("locked_rotor_code"))
INSULATION_CLASSES = tuple(row["insulation_class"] for row in tables.rows("insulation_class"))


# the columns, in the order of the file ---------------------------------------------------------------------


def _of_text(name: str, part: str = PLATE, longest: int = LONGEST_TEXT, attribute: str = "") -> Column:
    return Column(name, part, attribute or name, _text(longest))


def _of_words(name: str, words: tuple[str, ...], part: str = MOTOR, attribute: str = "") -> Column:
    return Column(name, part, attribute or name, _word(words), "word", words)


def _of_number(name: str, low: float, high: float, unit: str = "", part: str = PLATE, above: bool = False,
               attribute: str = "") -> Column:
    return Column(name, part, attribute or name, _number(low, high, unit, above), "number", unit=unit)


def _chart(end: str) -> list[Column]:
    before = end.lower() + "_"
    return [
        Column(before + "bearing", PLATE, before + "bearing", _bearing),
        _of_words(before + "lubrication", LUBRICATION_KINDS, end, "kind"),
        _of_text(before + "lubricant", end, attribute="lubricant"),
        _of_text(before + "thickener", end, attribute="thickener"),
        _of_number(before + "grease_g", 0, 5000, "g", end, True, "grease_g"),
        _of_number(before + "interval_days", 0, 7300, "days", end, True, "interval_days"),
        _of_number(before + "interval_run_h", 0, 200_000, "h", end, True, "interval_run_h"),
        Column(before + "last_greased", end, "last_greased", _date, "date"),
    ]


COLUMNS: dict[str, Column] = {column.name: column for column in (
    Column("tag", MOTOR, "tag", _tag),
    _of_text("service", MOTOR),
    _of_text("area", MOTOR),
    _of_number("route_order", 0, 999_999, part=MOTOR),
    _of_words("checked_every", CHECKED_EVERY),
    _of_words("condition", facts.STATES),
    _of_words("interlock", facts.INTERLOCKS),
    _of_words("ammeter", facts.AMMETERS),
    _of_text("standby_partner", MOTOR, LONGEST_TAG),
    _of_words("start_basis", START_BASES),
    Column("hp", PLATE, "hp_stamped", _hp, "plate", unit="hp"),
    Column("volts", PLATE, "volts_stamped", _figures(20_000, "V"), "plate", unit="V"),
    Column("amps", PLATE, "amps_stamped", _figures(5000, "A"), "plate", unit="A"),
    _of_number("service_factor", 1, 2),
    Column("service_factor_amps", PLATE, "sfa_stamped", _figures(6000, "A"), "plate", unit="A"),
    Column("phases", PLATE, "phases", lambda typed: int(_word(("1", "3"))(typed)), "word", ("1", "3")),
    _of_number("hz", 10, 400, "Hz"),
    _of_number("rpm", 10, 30_000, "rpm"),
    Column("poles", PLATE, "poles", _poles, "number"),
    _of_words("code_letter", CODE_LETTERS, PLATE),
    _of_text("frame"),
    _of_text("enclosure"),
    _of_words("insulation_class", INSULATION_CLASSES, PLATE),
    _of_number("ambient_c", -60, 120, "°C"),
    _of_text("serial"),
    Column("fitted_on", PLATE, "fitted_on", _date, "date"),
    _of_number("connected_volts", 0, 20_000, "V", above=True),
    _of_words("mounting", MOUNTINGS, PLATE),
    _of_number("load_wk2_lbft2", 0, 999_999, "lb·ft²", above=True),
    _of_number("written_starts_per_hour", 0, 60, part=MOTOR, above=True),
    _of_number("written_spacing_min", 0, 1440, "min", MOTOR),
    _of_number("written_run_min", 0, 1440, "min", MOTOR),
    Column("written_tries", MOTOR, "written_tries", _whole(1, 20), "number"),
    *_chart(DE),
    *_chart(ODE),
    Column("remarks", MOTOR, "remarks", _text(LONGEST_REMARKS, lines=True), "remarks"),
)}
PLATE_COLUMNS = tuple(c for c in COLUMNS.values() if c.part == PLATE)
MOTOR_COLUMNS = tuple(c for c in COLUMNS.values() if c.part == MOTOR)
CHART_COLUMNS = {end: tuple(c for c in COLUMNS.values() if c.part == end) for end in facts.ENDS}


def as_cell(value: Any) -> str:
    """A value as the export writes it and the import reads it back."""
    if value is None:
        return ""
    if isinstance(value, Stamped):
        return value.text
    if isinstance(value, date):
        return value.isoformat()
    return exact(value) if isinstance(value, float) else str(value)


# one motor's cells, read together --------------------------------------------------------------------------


@dataclass(frozen=True)
class Entry:
    """One motor as typed: values by column (None: not known), and the plate's figures for the connected voltage."""

    values: Mapping[str, Any]
    volts: float | None
    amps: float | None
    service_factor_amps: float | None

    @property
    def tag(self) -> str:
        return str(self.values["tag"])

    def cells(self) -> dict[str, str]:
        return {name: as_cell(value) for name, value in self.values.items()}


def read_cells(cells: Mapping[str, str], today: date) -> Entry:
    """One motor's cells by column name; a column left out is empty. Raises RegisterErrors naming each column at fault.

    today: the unit's own date; what is said to have happened later cannot be.
    """
    errors = [(name, "There is no such column.") for name in cells if name not in COLUMNS]
    values: dict[str, Any] = {}
    for column in COLUMNS.values():
        try:
            values[column.name] = _read_cell(column.name, cells.get(column.name) or "", today)
        except (BadCell, NotANumber) as error:
            errors.append((column.name, str(error)))
    for name in ("tag", "area"):
        if name in values and not values[name]:
            errors.append((name, "Enter a tag: it may not be empty." if name == "tag"
                           else "Enter the area the motor is walked with: it may not be empty."))
    errors += _contradictions(values)
    volts, amps, sfa = _connected_pair(values, errors)
    if errors:
        order = list(COLUMNS)
        raise RegisterErrors(sorted(errors, key=lambda e: order.index(e[0]) if e[0] in order else -1))
    return Entry(values, volts, amps, sfa)


@lru_cache(maxsize=20_000)  # thousands of rows repeat the same words and sizes
def _read_cell(name: str, typed: str, today: date) -> Any:
    column = COLUMNS[name]
    if not typed.strip():
        return DEFAULTS.get(column.name, "" if column.name in ("service", "remarks", "tag", "area") else None)
    value = column.read(typed)
    if isinstance(value, date) and value > today:
        raise BadCell(f"Enter a date that has come: today is {today.isoformat()}.")
    return (value or None) if column.name not in ("service", "remarks", "tag", "area") else value


def _contradictions(values: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Cells that are fine each by itself and cannot both be true."""
    found = []
    for before in ("de_", "ode_"):
        if values.get(before + "lubrication") == "sealed":
            found += [(before + name, "Empty this, or correct the lubrication: a sealed bearing gets no grease.")
                      for name in ("grease_g", "interval_days", "interval_run_h") if values.get(before + name)]
    return found


def _connected_pair(values: Mapping[str, Any],
                    errors: list[tuple[str, str]]) -> tuple[float | None, float | None, float | None]:
    """Rated volts, amps and service-factor amps for the connected voltage; None where it is not chosen or not known."""
    if {name for name, _ in errors} & {"volts", "amps", "service_factor_amps", "connected_volts"}:
        return None, None, None
    stamped, chosen = values["volts"], values["connected_volts"]
    figures = {name: values[name].value for name in ("amps", "service_factor_amps") if values[name]}
    if stamped is None:
        return None, *_without_volts(figures, chosen, errors)
    try:
        volts = connected_volts(stamped.value, chosen)
    except NotANumber as error:
        errors.append(("connected_volts", str(error)))
        return None, None, None
    picked: dict[str, float | None] = {}
    for name, given in figures.items():
        try:
            check_pairs(stamped.value, given, name.replace("_", " "))
            picked[name] = connected(stamped.value, given, chosen)
        except NotANumber as error:
            errors.append((name, str(error)))
    return volts, picked.get("amps"), picked.get("service_factor_amps")


def _without_volts(figures: Mapping[str, Any], chosen: float | None,
                   errors: list[tuple[str, str]]) -> tuple[float | None, float | None]:
    """The only current stamped is the rated one; two belong to two voltages, which must be known."""
    if chosen is not None:
        errors.append(("connected_volts", "Enter the plate's volts too, such as 230/460."))
    for name, given in figures.items():
        if len(flatten(given)) > 1:
            errors.append((name, "Enter the plate's volts too: two currents belong to two voltages."))
    one = {name: flatten(given)[0] for name, given in figures.items() if len(flatten(given)) == 1}
    return one.get("amps"), one.get("service_factor_amps")
