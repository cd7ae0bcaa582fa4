"""What is sent in: the bodies of interfaces.md read strictly, whoever sends them (page, tablet, JSON door).

Each reader takes a plain dict and gives an entry, or raises BadEntry naming every field that is wrong. Nothing is
guessed and nothing unknown is dropped in silence.
"""

from __future__ import annotations

import hashlib
import json
import re
import unicodedata
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from typing import Any

from app.rules import facts

LONGEST_TEXT = 2000
LONGEST_NAME = 200
#: Outside these nothing can be true: refused at the field. (low, high, unit)
PLAUSIBLE = {
    "vibration_mm_s": (0.0, 200.0, "mm/s"), "bearing_temp_c": (-60.0, 400.0, "°C"),
    "winding_temp_c": (-60.0, 500.0, "°C"), "current_a": (0.0, 5000.0, "A"), "voltage_v": (0.0, 20000.0, "V"),
    "ambient_c": (-60.0, 80.0, "°C"),
    "grams": (0.0, 5000.0, "g"), "duration_s": (0.0, 86400.0, "s"),
}
#: More faults than this in one entry are not told one by one.
MOST_PROBLEMS = 50
#: What no text holds: the null character (a database refuses it) and half a character.
_NO_TEXT = re.compile("[\x00\ud800-\udfff]")
NO_VALUE = (facts.NOT_FITTED, facts.COULD_NOT_READ)
TEMPERATURE_WORDS = (*facts.TEMPERATURE_FEEL, facts.COULD_NOT_FEEL)
VIBRATION_WORDS = (*facts.VIBRATION_FEEL, facts.COULD_NOT_FEEL)

WORDS: dict[str, tuple[str, ...]] = {
    "smoke": facts.SMOKE, "guard": facts.IN_PLACE, "ground": facts.IN_PLACE, "leak": facts.LEAK,
    "winding_feel": TEMPERATURE_WORDS, "cleanliness": facts.CLEANLINESS, "method": facts.METHODS,
}
WORDS_BY_END = {"vibration_feel": VIBRATION_WORDS, "bearing_feel": TEMPERATURE_WORDS, "lubricant": facts.LUBRICANT}
NUMBERS = ("winding_temp_c", "ambient_c")
NUMBERS_BY_END = ("vibration_mm_s", "bearing_temp_c")
PHASES = ("current_a", "voltage_v")
#: The column of a value at an end, and what it is called where it is wrong.
_AT_END = {(name, end): (f"{name}_{end.lower()}", f"{name}.{end}")
           for name in (*WORDS_BY_END, *NUMBERS_BY_END) for end in facts.ENDS}
MEASURED = (*WORDS, *WORDS_BY_END, *NUMBERS, *NUMBERS_BY_END, *PHASES, "winding_method")
ABOUT = ("id", "tag", "taken_at", "device_now", "by", "state", "skip_reason", "entered_later", "remarks", "replaces",
         "replaces_why", "confirmed")
START_OUTCOMES = ("ran", "did not start", "tripped while starting", "automatic")
TRIP_PROTECTIONS = ("overload relay", "low voltage", "fuse", "circuit breaker", "unknown")
WINDING_METHODS = ("fitted", "contact", "infrared")
READING_FIELDS = (*ABOUT, *MEASURED)
GREASING_FIELDS = ("id", "tag", "end", "at", "device_now", "lubricant", "thickener", "grams", "by", "why")
START_FIELDS = ("id", "tag", "at", "device_now", "outcome", "duration_s", "then_continuous", "by")
STOP_FIELDS = ("id", "tag", "at", "device_now", "by")
TRIP_FIELDS = ("id", "tag", "at", "device_now", "protection", "cause", "by")
LONGEST_CAUSE = 1000


@dataclass(frozen=True)
class Problem:
    """One thing wrong: the field as sent ("bearing_temp_c.DE") and what to do about it."""

    field: str
    says: str


class BadEntry(ValueError):
    """The body cannot be taken; `problems` names every field at fault."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        super().__init__("; ".join(f"{p.field}: {p.says}" for p in problems))


@dataclass(frozen=True)
class Entry:
    """What every kind of entry carries."""

    id: uuid.UUID
    tag: str
    by: str
    at_device: datetime
    device_now: datetime | None
    #: columns of the row to be stored, SI
    columns: dict[str, Any] = field(default_factory=dict)

    @property
    def content(self) -> str:
        """A digest of what was observed. `device_now` is left out: a re-sent entry carries a later one."""
        told = {"tag": self.tag, "by": self.by, "at": self.at_device.astimezone(UTC).isoformat()}
        for name, value in self.columns.items():  # nothing was sent: a blank is not zero
            if value is not None and value is not False and value != "" and value != {}:
                told[name] = value if isinstance(value, (dict, list, int, float, str)) else str(value)
        return hashlib.sha256(_TOLD.encode(told).encode()).hexdigest()


_TOLD = json.JSONEncoder(sort_keys=True, ensure_ascii=False)


@cache
def _set_of(names: tuple[str, ...]) -> frozenset[str]:
    return frozenset(names)


class _Reader:
    """Walks one body and collects what is wrong."""

    def __init__(self, body: Any, known: tuple[str, ...]) -> None:
        self.problems: list[Problem] = []
        if not isinstance(body, Mapping):
            raise BadEntry([Problem("", "Send one object with the fields of this entry.")])
        self.body = body
        strange = [] if body.keys() <= _set_of(known) else [key for key in body if key not in known]
        for key in strange[:MOST_PROBLEMS]:
            self.wrong(str(key)[:60], "No such field here.")
        if strange:
            self.wrong("", "The fields are: " + ", ".join(known) + ".")

    def wrong(self, name: str, says: str) -> None:
        self.problems.append(Problem(name, says))

    def finish(self) -> None:
        more = len(self.problems) - MOST_PROBLEMS
        if more > 0:
            self.problems = [*self.problems[:MOST_PROBLEMS], Problem("", f"And {more} more faults.")]
        if self.problems:
            raise BadEntry(self.problems)

    def text(self, name: str, *, need: bool = False, longest: int = LONGEST_NAME) -> str | None:
        value = self.body.get(name)
        if value is None or value == "":
            if need:
                self.wrong(name, "This is needed.")
            return None
        if not isinstance(value, str):
            self.wrong(name, "Send text here.")
            return None
        if _NO_TEXT.search(value):
            self.wrong(name, "This text holds a null character or half a character. Take it out.")
            return None
        value = clean_text(value)
        if need and not value:
            self.wrong(name, "This is needed.")
        if len(value) > longest:
            self.wrong(name, f"This has {len(value)} characters; {longest} is the most.")
            return None
        return value or None

    def word(self, name: str, words: tuple[str, ...], *, need: bool = False, value: Any = ...) -> str | None:
        given = self.body.get(name) if value is ... else value
        if given is None:
            if need:
                self.wrong(name, "This is needed: " + ", ".join(words) + ".")
            return None
        if not isinstance(given, str) or given not in words:
            self.wrong(name, f"{shorten(given)} is not one of: {', '.join(words)}.")
            return None
        return given

    def number(self, name: str, value: Any, kind: str) -> float | None:
        low, high, unit = PLAUSIBLE[kind]
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            words = f", or one of: {', '.join(NO_VALUE)}." if kind in MEASURED else "."
            self.wrong(name, f"Send a number in {unit}{words}")
            return None
        if not low <= value <= high:  # NaN is never between them
            self.wrong(name, f"{shorten(value)} {unit} cannot be: {low:g} to {high:g} {unit} is possible.")
            return None
        return float(value)

    def flag(self, name: str) -> bool:
        value = self.body.get(name)
        if value is None:
            return False
        if not isinstance(value, bool):
            self.wrong(name, "Send true or false.")
            return False
        return value

    def instant(self, name: str, *, need: bool = False) -> datetime | None:
        value = self.body.get(name)
        if value is None:
            if need:
                self.wrong(name, "This is needed: a time such as 2026-11-24T07:12:00-06:00.")
            return None
        try:
            if not isinstance(value, str) or len(value) > 40 or "T" not in value.upper():
                raise ValueError
            moment = datetime.fromisoformat(value)
        except ValueError:
            self.wrong(name, f"{shorten(value)} is not a time such as 2026-11-24T07:12:00-06:00.")
            return None
        if moment.tzinfo is None:
            self.wrong(name, "The time has no offset from UTC. Send one, such as 2026-11-24T07:12:00-06:00.")
            return None
        try:
            moment = moment.astimezone(UTC)
            if not 1970 <= moment.year <= 2200:
                raise OverflowError
        except (OverflowError, ValueError):
            self.wrong(name, f"{shorten(value)} is outside 1970 to 2200.")
            return None
        return moment

    def key(self, name: str, *, need: bool = False) -> uuid.UUID | None:
        value = self.body.get(name)
        if value is None:
            if need:
                self.wrong(name, "This is needed: a UUID made by the sender, the same each time it is sent again.")
            return None
        if not isinstance(value, str) or not re.fullmatch(r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}", value):
            self.wrong(name, f"{shorten(value)} is not a UUID.")
            return None
        return uuid.UUID(value)

    def by_end(self, name: str) -> dict[str, Any]:
        """{"DE": …, "ODE": …}; a single "not fitted" speaks for both ends."""
        value = self.body.get(name)
        if value is None:
            return {}
        if isinstance(value, str) and value in NO_VALUE:
            return dict.fromkeys(facts.ENDS, value)
        if not isinstance(value, Mapping):
            self.wrong(name, 'Send one value an end: {"DE": …, "ODE": …}.')
            return {}
        for end in value:
            if end not in facts.ENDS:
                self.wrong(f"{name}.{str(end)[:40]}", "The ends are DE and ODE.")
        return {end: value.get(end) for end in facts.ENDS if value.get(end) is not None}


def clean_text(text: str) -> str:
    """Text without control characters (line ends and tabs stay) and without blanks around it."""
    if text.isascii() and text.isprintable():
        return text.strip()
    text = unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n"))
    return "".join(c for c in text if c in "\n\t" or unicodedata.category(c) not in ("Cc", "Cs")).strip()


def shorten(value: Any) -> str:
    """A value as an error shows it."""
    if isinstance(value, (list, Mapping)):
        return "A list" if isinstance(value, list) else "An object"  # it may be too deep to print
    text = str(value)
    return f"“{text[:40]}…”" if len(text) > 40 else f"“{text}”"


def read_reading(body: Any) -> Entry:
    """A reading, or the reason a motor was skipped. Raises BadEntry."""
    r = _Reader(body, READING_FIELDS)
    columns: dict[str, Any] = {}
    unread: dict[str, str] = {}
    columns["skip_reason"] = r.text("skip_reason")
    columns["state"] = r.word("state", facts.STATES, need=not columns["skip_reason"])
    for name, words in WORDS.items():
        value = body.get(name)  # most are blank
        columns[name] = None if value is None else _word_or_unread(r, name, value, words, unread)
    for name, words in WORDS_BY_END.items():
        for end, value in r.by_end(name).items():
            column, at_end = _AT_END[name, end]
            columns[column] = _word_or_unread(r, at_end, value, words, unread)
    for name in NUMBERS:
        columns[name] = _number_or_unread(r, name, body.get(name), name, unread)
    for name in NUMBERS_BY_END:
        for end, value in r.by_end(name).items():
            column, at_end = _AT_END[name, end]
            columns[column] = _number_or_unread(r, at_end, value, name, unread)
    columns["winding_method"] = r.word("winding_method", WINDING_METHODS)
    for name in PHASES:
        for i, value in enumerate(_phases(r, name, body.get(name), unread), start=1):
            columns[f"{name}_{i}"] = value
    columns["unread"] = unread
    columns["entered_later"] = r.flag("entered_later")
    columns["remarks"] = r.text("remarks", longest=LONGEST_TEXT) or ""
    columns["confirmed"] = _confirmed(r, body.get("confirmed"))
    columns["replaces_id"] = r.key("replaces")
    columns["replaces_why"] = r.text("replaces_why")
    if columns["replaces_id"] and not columns["replaces_why"]:
        r.wrong("replaces_why", "Say why the earlier entry is corrected.")
    if columns["replaces_why"] and body.get("replaces") is None:
        r.wrong("replaces", "Name the entry that this one corrects.")
    return _finish(r, "taken_at", columns)


def _confirmed(r: _Reader, value: Any) -> dict[str, str] | None:
    """Figures that the sender was asked about and that stand as typed: field -> the question's words."""
    if value is None:
        return None
    if not isinstance(value, Mapping) or len(value) > MOST_PROBLEMS:
        r.wrong("confirmed", 'Send the words of the question by field: {"bearing_temp_c.DE": "158 °C, …"}.')
        return None
    for name, words in value.items():
        if not isinstance(name, str) or name.partition(".")[0] not in (*NUMBERS, *NUMBERS_BY_END, *PHASES):
            r.wrong("confirmed", f"{shorten(name)} is no measured figure.")
        elif not isinstance(words, str) or len(words) > LONGEST_NAME or _NO_TEXT.search(words):
            r.wrong(f"confirmed.{name}", f"Send text of {LONGEST_NAME} characters at most.")
    return dict(value)


def read_greasing(body: Any) -> Entry:
    """A greasing of one end. Raises BadEntry."""
    r = _Reader(body, GREASING_FIELDS)
    columns: dict[str, Any] = {
        "end": r.word("end", facts.ENDS, need=True), "lubricant": r.text("lubricant"),
        "thickener": r.text("thickener"), "why": r.text("why"),
        "grams": None if body.get("grams") is None else r.number("grams", body.get("grams"), "grams"),
    }
    return _finish(r, "at", columns)


def read_start(body: Any) -> Entry:
    """A start, whatever came of it: every energising counts. Raises BadEntry."""
    r = _Reader(body, START_FIELDS)
    columns: dict[str, Any] = {
        "outcome": r.word("outcome", START_OUTCOMES, need=True), "then_continuous": r.flag("then_continuous"),
        "duration_s": None if r.body.get("duration_s") is None else r.number(
            "duration_s", r.body.get("duration_s"), "duration_s"),
    }
    return _finish(r, "at", columns)


def read_stop(body: Any) -> Entry:
    """A stop. Raises BadEntry."""
    return _finish(_Reader(body, STOP_FIELDS), "at", {})


def read_trip(body: Any) -> Entry:
    """A trip: which protection opened, and the cause where it is known. Raises BadEntry."""
    r = _Reader(body, TRIP_FIELDS)
    columns: dict[str, Any] = {"protection": r.word("protection", TRIP_PROTECTIONS, need=True),
                               "cause": r.text("cause", longest=LONGEST_CAUSE)}
    return _finish(r, "at", columns)


def _finish(r: _Reader, at: str, columns: dict[str, Any]) -> Entry:
    key, tag, by = r.key("id", need=True), r.text("tag", need=True), r.text("by", need=True)
    moment, device_now = r.instant(at, need=True), r.instant("device_now")
    r.finish()
    assert key and tag and by and moment
    return Entry(key, tag, by, moment, device_now, columns)


def _word_or_unread(r: _Reader, name: str, value: Any, words: tuple[str, ...], unread: dict[str, str]) -> str | None:
    if isinstance(value, str) and value in NO_VALUE:
        unread[name] = value
        return None
    return r.word(name, words, value=value)


def _number_or_unread(r: _Reader, name: str, value: Any, kind: str, unread: dict[str, str]) -> float | None:
    if value is None:
        return None
    if isinstance(value, str) and value in NO_VALUE:
        unread[name] = value
        return None
    return r.number(name, value, kind)


def _phases(r: _Reader, name: str, value: Any, unread: dict[str, str]) -> list[float]:
    """One or three numbers: one phase gives no balance, three do."""
    if value is None:
        return []
    if isinstance(value, str) and value in NO_VALUE:
        unread[name] = value
        return []
    if not isinstance(value, list) or len(value) not in (1, 3):
        r.wrong(name, f"Send a list of one or of three numbers, or one of: {', '.join(NO_VALUE)}.")
        return []
    read = [r.number(f"{name}.{i}", phase, name) for i, phase in enumerate(value, start=1)]
    return [phase for phase in read if phase is not None]
