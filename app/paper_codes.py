"""The paper sheet's letters: one list for the sheet that is printed and the page it is typed in afterwards.

>>> read_row({"state": "r", "look": "N", "vib_DE": "u", "heat_DE": "63 i", "amps": "78/79/77,5"})[0]["bearing_temp_DE"]
'63'
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from app.rules import facts
from app.store.motors import Motor

SKIPPED = "X"


@dataclass(frozen=True)
class Letter:
    """A letter on the sheet: what it stands for in an entry, and how the legend says it in a few letters."""

    letter: str
    word: str
    short: str = ""

    @property
    def says(self) -> str:
        return self.short or self.word


@dataclass(frozen=True)
class Box:
    """One box of a row: its name here, its heading, its letters; figure: what else may be written there."""

    name: str
    heading: str
    letters: tuple[Letter, ...] = ()
    figure: str = ""
    check: str = ""  # the check of the round it belongs to: vibration, heat, amps, lubricant, cleanliness


STATE = (Letter("R", facts.RUNNING), Letter("S", facts.STANDBY), Letter("O", facts.OUT_OF_SERVICE, "out of serv."),
         Letter("L", facts.LOCKED_OUT), Letter(SKIPPED, "skipped", "skipped: say why"))
LOOK = (Letter("N", "nothing wrong"), Letter("S", "smoke", "smoke, smell"), Letter("GM", "guard missing"),
        Letter("GL", "guard loose"), Letter("WM", "ground missing", "ground wire missing"),
        Letter("WL", "ground loose", "ground wire loose"), Letter("K", "leak"))
VIBRATION = (Letter("U", "as usual", "usual"), Letter("R", "rougher than usual", "rougher"), Letter("V", "severe"),
             Letter("X", facts.COULD_NOT_FEEL, "not felt"))
HEAT = (Letter("C", "cool"), Letter("W", "warm"), Letter("H", "hot"), Letter("T", "too hot to hold", "too hot"),
        Letter("X", facts.COULD_NOT_FEEL, "not felt"))
METHODS = (Letter("P", "contact", "probe"), Letter("I", "infrared"), Letter("G", "fitted", "fitted gauge"))
AMPS = (Letter("X", facts.COULD_NOT_READ, "not read"),)
LUBRICANT = (Letter("O", "ok"), Letter("L", "low"), Letter("E", "empty"), Letter("H", "high"), Letter("K", "leaking"),
             Letter("D", "discoloured", "off colour"), Letter("P", "purging"))
CLEAN = (Letter("C", "clean"), Letter("D", "dusty"), Letter("O", "oily"), Letter("B", "vents blocked", "blocked"))

FIRST = (Box("time", "Time"), Box("state", "State", STATE), Box("look", "Look", LOOK))
CHECKED = (
    Box("vib_ODE", "Vib. fan end", VIBRATION, check="vibration"),
    Box("vib_DE", "Vib. coupling end", VIBRATION, check="vibration"),
    Box("heat_ODE", "Bearing fan end", HEAT, "temperature", "heat"), Box("frame", "Frame", HEAT, "temperature", "heat"),
    Box("heat_DE", "Bearing coupling end", HEAT, "temperature", "heat"), Box("amps", "Amps", AMPS, "A", "amps"),
    Box("lube_ODE", "Lube fan end", LUBRICANT, check="lubricant"),
    Box("lube_DE", "Lube coupling end", LUBRICANT, check="lubricant"),
    Box("clean", "Clean", CLEAN, check="cleanliness"))
LAST = (Box("remarks", "Remarks, or why skipped"),)
NAMES = tuple(box.name for box in (*FIRST, *CHECKED, *LAST))


def boxes_in(order: tuple[str, ...]) -> tuple[Box, ...]:
    """The boxes of a row in the order in which the checks are walked."""
    return (*FIRST, *(box for check in order for box in CHECKED if box.check == check), *LAST)


def no_need(motor: Motor, box: Box) -> str:
    """Why nothing is to be written in a box; empty where something is."""
    reported = set(filter(None, motor.by_control_room.split(",")))
    end = box.name.rpartition("_")[2]
    fields = {"vibration": ("vibration_feel", "vibration_mm_s"), "amps": ("current_a",), "lubricant": ("lubricant",),
              "cleanliness": ("cleanliness",),
              "heat": ("winding_feel", "winding_temp_c") if box.name == "frame" else ("bearing_feel", "bearing_temp_c")}
    if box.check == "amps" and motor.ammeter in ("none", "control room"):
        return "no meter" if motor.ammeter == "none" else "control room"
    if any(key in reported for field in fields.get(box.check, ()) for key in (field, f"{field}.{end}")):
        return "control room"
    point = motor.point(end) if box.check == "lubricant" else None
    return "sealed" if point is not None and point.kind == "sealed" else ""


# what was written -> the fields of the form at the motor ------------------------------------------------------


def read_row(written: Mapping[str, str]) -> tuple[dict[str, str | list[str]], dict[str, str]]:
    """(fields of the form at the motor, box -> what is wrong) of one row as it was typed off the paper."""
    row = {name: (written.get(name) or "").strip() for name in NAMES}
    reader = _Row(row)
    reader.state()
    reader.look()
    for end in facts.ENDS:
        reader.word(f"vib_{end}", VIBRATION, f"vibration_feel_{end}")
        reader.word(f"lube_{end}", LUBRICANT, f"lubricant_{end}")
        reader.heat(f"heat_{end}", f"bearing_feel_{end}", f"bearing_temp_{end}", "method")
    reader.heat("frame", "winding_feel", "winding_temp", "winding_method")
    reader.word("clean", CLEAN, "cleanliness")
    reader.amps()
    reader.fields["remarks"] = row["remarks"]
    return reader.fields, reader.wrong


class _Row:
    def __init__(self, row: Mapping[str, str]) -> None:
        self.row = row
        self.fields: dict[str, str | list[str]] = {}
        self.wrong: dict[str, str] = {}

    def word(self, name: str, letters: tuple[Letter, ...], field: str) -> None:
        typed = self.row[name]
        if typed:
            found = _word(typed, letters)
            if found is None:
                self.wrong[name] = _one_of(letters)
            else:
                self.fields[field] = found

    def state(self) -> None:
        if not self.row["state"]:
            self.wrong["state"] = "Enter the state, " + _letters(STATE) + "."
        elif self.row["state"].upper() != SKIPPED:
            self.word("state", STATE, "state")

    def look(self) -> None:
        typed = re.split(r"[\s,;/+]+", self.row["look"].upper())
        found = [_word(letter, LOOK) for letter in typed if letter]
        if None in found:
            self.wrong["look"] = "Enter " + _letters(LOOK) + "; several with a blank between."
        elif found:
            self.fields["look"] = [word for word in found if word is not None]

    def heat(self, name: str, feel: str, figure: str, method: str) -> None:
        """A letter of the hand, or a figure and how it was measured: H, 63, 63 I."""
        typed = self.row[name]
        if not any(c.isdigit() for c in typed):
            self.word(name, HEAT, feel)
            return
        found = re.fullmatch(r"(.*?)\s*([A-Za-z]?)", typed)
        how = _word(found[2], METHODS) if found and found[2] else None
        if found is None or (found[2] and how is None):
            self.wrong[name] = "Behind the figure enter how it was measured, " + _letters(METHODS) + ", or nothing."
            return
        self.fields[figure] = found[1]
        if how is not None and self.fields.setdefault(method, how) != how:
            self.wrong[name] = "Both bearings by one method, or leave the letter off."

    def amps(self) -> None:
        typed = self.row["amps"]
        if typed.upper() == AMPS[0].letter:
            self.fields["amps_unread"] = [AMPS[0].word]
        elif typed:
            figures = [part for part in re.split(r"[\s/;]+", typed) if part]
            if len(figures) not in (1, 3):
                self.wrong["amps"] = "Enter one figure, or three with / between: 78/79/77,5."
            else:
                self.fields |= {f"amps_{i}": figure for i, figure in enumerate(figures, start=1)}


def _word(typed: str, letters: tuple[Letter, ...]) -> str | None:
    return next((each.word for each in letters if each.letter == typed.upper()), None)


def _letters(letters: tuple[Letter, ...]) -> str:
    *first, last = [each.letter for each in letters]
    return ", ".join(first) + f" or {last}"


def _one_of(letters: tuple[Letter, ...]) -> str:
    return "Enter " + _letters(letters) + "."


#: field of the form at the motor -> the box of the paper it was written in
BOX_OF = {
    "state": "state", "look": "look", "vibration_both": "vib_ODE", "lubricant_both": "lube_ODE", "method": "heat_ODE",
    "winding_feel": "frame", "winding_temp": "frame", "winding_method": "frame", "amps_1": "amps", "amps_2": "amps",
    "amps_3": "amps", "amps_unread": "amps", "cleanliness": "clean", "remarks": "remarks", "seen_at": "time",
    **{f"{field}_{end}": f"{box}_{end}" for end in facts.ENDS for field, box in (
        ("vibration_feel", "vib"), ("bearing_feel", "heat"), ("bearing_temp", "heat"), ("lubricant", "lube"))},
}
