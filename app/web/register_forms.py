"""The register's form: one field a column of the register, in the order in which a plate is read."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from werkzeug.datastructures import MultiDict
from wtforms import Form, HiddenField, StringField, TextAreaField

from app.rules.numbers import NotANumber, read_number
from app.rules.units import c_from_f, f_from_c
from app.store.register import COLUMNS, Difference
from app.store.register_columns import exact
from app.web.fields import WordField

LABELS = {
    "tag": "Tag", "service": "Service: what it drives", "area": "Area", "route_order": "Place on the route",
    "checked_every": "Checked every", "condition": "Condition now", "interlock": "Interlock",
    "ammeter": "Ammeter", "standby_partner": "Standby partner's tag", "start_basis": "Start limits from",
    "hp": "Horsepower (hp)", "volts": "Volts (V)", "amps": "Rated amps (A)", "service_factor": "Service factor",
    "service_factor_amps": "Service-factor amps (A)", "phases": "Phases", "hz": "Frequency (Hz)",
    "rpm": "Speed (rpm)", "poles": "Poles", "code_letter": "Code letter", "frame": "Frame", "enclosure": "Enclosure",
    "insulation_class": "Insulation class", "ambient_c": "Rated ambient (°C)", "serial": "Serial number",
    "fitted_on": "Fitted on", "connected_volts": "Connected voltage (V)", "mounting": "Mounting",
    "load_wk2_lbft2": "Load inertia Wk² (lb·ft²)", "written_starts_per_hour": "Starts an hour",
    "written_spacing_min": "Time between starts (min)", "written_run_min": "Running between two starts (min)",
    "written_tries": "Tries when it does not start", "bearing": "Bearing number", "lubrication": "Lubricated by",
    "lubricant": "Lubricant", "thickener": "Thickener", "grease_g": "Amount (g)", "interval_days": "Interval (days)",
    "interval_run_h": "Interval (running hours)", "last_greased": "Last greased", "remarks": "Remarks",
}
HINTS = {
    "tag": "Exactly as it stands on the motor.", "area": "The part of the unit that is walked together.",
    "route_order": "A number; the round walks from low to high. 12.5 fits between 12 and 13.",
    "condition": "Changed here, it counts as seen now. Blank leaves what was seen last. A lock-out is entered and "
                 "ended on the motor's own page.",
    "interlock": "What happens when voltage returns after a dip. Low-voltage release restarts by itself.",
    "ammeter": "At the motor: one meter, or one a phase; or only in the control room.",
    "hp": "As stamped: 75, 7 1/2, 1/2. A plate in kW: 5.5 kW.",
    "volts": "As stamped, both for a dual-voltage plate: 230/460.",
    "amps": "As stamped, in the order of the volts: 24.8/12.4.",
    "connected_volts": "Dual-voltage plates: the voltage it is connected for. Until it is chosen there is no load in "
                       "percent.",
    "service_factor_amps": "As stamped, in the order of the volts. Leave blank when the plate has none.",
    "fitted_on": "Year-month-day, such as 2026-11-24. New plate figures with a later date mean another machine.",
    "standby_partner": "The motor that takes over when this one stops.",
    "load_wk2_lbft2": "At the motor shaft. Needed only where start limits come from the table.",
    "bearing": "As stamped, such as 6312-2Z/C3; or sleeve.",
    "last_greased": "Year-month-day. Counts only until a greasing is recorded here.",
    "start_basis": "Figures of a written procedure, below, win wherever it has them.",
}
CORRECTION, ANOTHER_MACHINE = "a correction: the same machine", "another machine was fitted"
SAID = {CORRECTION: False, ANOTHER_MACHINE: True}
#: What the blank first line of a drop-down says.
BLANK = {"checked_every": "not chosen: every shift", "start_basis": "not chosen: general practice",
         "condition": "nothing seen now", "another_machine": "as the date says: later is another machine"}
SECTIONS: tuple[tuple[str, str, tuple[tuple[str, ...], ...]], ...] = (
    ("Position", "", (("tag", "service"), ("area", "route_order"), ("checked_every", "condition"),
                      ("interlock", "ammeter"), ("standby_partner",))),
    ("Nameplate", "", (("hp", "volts"), ("amps", "connected_volts"), ("service_factor", "service_factor_amps"),
                       ("phases", "hz"), ("rpm", "poles"), ("code_letter", "frame"), ("enclosure", "insulation_class"),
                       ("ambient", "mounting"), ("serial", "fitted_on"))),
    ("Drive end (DE), coupling end", "", (
        ("de_bearing", "de_lubrication"), ("de_lubricant", "de_thickener"), ("de_grease_g", "de_last_greased"),
        ("de_interval_days", "de_interval_run_h"))),
    ("Opposite drive end (ODE), fan end", "", (
        ("ode_bearing", "ode_lubrication"), ("ode_lubricant", "ode_thickener"), ("ode_grease_g", "ode_last_greased"),
        ("ode_interval_days", "ode_interval_run_h"))),
    ("Start limits", "General practice, the table, or the unit's own written procedure.", (
        ("start_basis", "load_wk2_lbft2"), ("written_starts_per_hour", "written_spacing_min"),
        ("written_run_min", "written_tries"))),
    ("Remarks", "", (("remarks",),)),
)


def label_of(column: str) -> str:
    """A column in words: "DE amount (g)"."""
    if column in LABELS:
        return LABELS[column]
    end, _, rest = column.partition("_")
    words = LABELS.get(rest, rest)
    return f"{end.upper()} {words[:1].lower()}{words[1:]}"


class RegisterForm(Form):
    """Every column as typed text; what it means is read by the register itself, as for a file."""

    version = HiddenField()
    was = HiddenField()  # the cells as they were when the page was opened, so that only what was touched is written
    another_machine = WordField("Changed plate figures mean", (CORRECTION, ANOTHER_MACHINE))
    why = StringField("Why")


def _field(column: str) -> Any:
    kind, words = COLUMNS[column].kind, COLUMNS[column].words
    if kind == "word":
        return WordField(label_of(column), words)
    return (TextAreaField if kind == "remarks" else StringField)(label_of(column))


for _name in COLUMNS:
    setattr(RegisterForm, "ambient" if _name == "ambient_c" else _name, _field(_name))


# the rated ambient is the one figure of a plate that the unit may like in another scale ------------------------


def form_of(cells: Mapping[str, str], version: int | str, fahrenheit: bool, typed: Mapping[str, str] | None = None,
            why: str = "", another_machine: str = "") -> RegisterForm:
    """The form for these cells; `typed` (fields as posted) stands over them."""
    shown = {**_as_fields(cells, fahrenheit), **(typed or {})}
    form = RegisterForm(MultiDict({**shown, "version": str(version), "was": json.dumps(dict(cells)), "why": why,
                                   "another_machine": another_machine}))
    form.ambient.label.text = f"Rated ambient ({'°F' if fahrenheit else '°C'})"
    return form


def _as_fields(cells: Mapping[str, str], fahrenheit: bool) -> dict[str, str]:
    fields = dict(cells)
    fields["ambient"] = _shown_ambient(fields.pop("ambient_c", ""), fahrenheit)
    return fields


def _shown_ambient(cell: str, fahrenheit: bool) -> str:
    return exact(round(f_from_c(float(cell)), 4)) if cell and fahrenheit else cell


def typed_fields(posted: Mapping[str, str]) -> dict[str, str]:
    """The fields of the register that were posted, as typed. A field that was not posted was not answered."""
    names = ["ambient" if name == "ambient_c" else name for name in COLUMNS]
    return {name: posted[name] for name in names if name in posted}


def cells_from(typed: Mapping[str, str], was: Mapping[str, str], fahrenheit: bool) -> dict[str, str]:
    """The posted fields as cells. An untouched ambient keeps its stored figure to the last digit."""
    cells = {name: text.replace("\r\n", "\n") for name, text in typed.items() if name != "ambient"}
    if "ambient" in typed:
        cells["ambient_c"] = _ambient_cell(typed["ambient"], was.get("ambient_c", ""), fahrenheit)
    return cells


def _ambient_cell(typed: str, was: str, fahrenheit: bool) -> str:
    if not fahrenheit:
        return typed
    if typed.strip() == _shown_ambient(was, True):
        return was
    try:
        return exact(round(c_from_f(read_number(typed)), 6))
    except NotANumber:
        return typed  # refused where every figure is read, with what was typed


def opened_with(posted: str | None) -> dict[str, str]:
    """The cells as the page was opened with; nothing where the page did not say."""
    try:
        was = json.loads(posted or "{}")
    except ValueError:
        return {}
    if not isinstance(was, dict):
        return {}
    return {name: value for name, value in was.items() if name in COLUMNS and isinstance(value, str)}


def merged(stored: Mapping[str, str], was: Mapping[str, str], cells: Mapping[str, str]) -> dict[str, str]:
    """What is to be stored: what was touched as typed, all else as it is stored now, whoever changed it meanwhile."""
    return {name: cells[name] if name in cells and cells[name] != was.get(name) else stored[name] for name in stored}


def changed_meanwhile(stored: Mapping[str, str], was: Mapping[str, str]) -> list[Difference]:
    """What differs now from what the page was opened with."""
    return [Difference(name, was[name], stored[name]) for name in stored if name in was and was[name] != stored[name]]
