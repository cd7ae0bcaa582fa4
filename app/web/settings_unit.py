"""The unit's page: how figures are shown, its zone while nothing is entered, its shifts from a boundary to come."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from wtforms import Form, SelectField, StringField

from app import unit_settings
from app.entries import clean_text
from app.rules import shift_change
from app.rules.shifts import ShiftStart
from app.store.people import Person
from app.store.units import Unit
from app.unit_settings import SCALES, BadUnit
from app.web import access
from app.web.access import SUPERVISOR, allow, now, reading, writing
from app.web.fields import WordField, picks, put_errors
from app.web.formatting import moment

SHOWN = {"C": "°C", "F": "°F", "hp": "hp", "kW": "kW", "mm/s": "mm/s RMS", "in/s": "in/s peak", "g": "g, mL",
         "oz": "oz, fl oz"}
#: Patterns to begin from. A unit's own names and times win.
PRESETS = {
    "12": (("Day", "06:00"), ("Night", "18:00")),
    "8": (("Morning", "06:00"), ("Afternoon", "14:00"), ("Night", "22:00")),
}
LINES = range(1, shift_change.MOST_SHIFTS + 1)


class DisplayForm(Form):
    temperature = WordField("Temperatures are shown in", SCALES["temperature"])
    power = WordField("Rated power is shown in", SCALES["power"])
    vibration = WordField("Vibration is shown in", SCALES["vibration"])
    grease = WordField("Grease and oil are shown in", SCALES["grease"])
    time_zone = StringField("Time zone")


class ShiftsForm(Form):
    begins = SelectField("From when", validate_choice=False)
    why = StringField("Why")


for _i in LINES:
    setattr(ShiftsForm, f"name_{_i}", StringField(f"Shift {_i}"))
    setattr(ShiftsForm, f"at_{_i}", StringField(f"Shift {_i} begins at"))


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/settings/unit", "unit_page", unit_page)
    bp.add_url_rule("/settings/unit", "unit_post", unit_post, methods=["POST"])
    bp.add_url_rule("/settings/unit/shifts", "shifts_page", shifts_page)
    bp.add_url_rule("/settings/unit/shifts", "shifts_post", shifts_post, methods=["POST"])


# how figures are shown -------------------------------------------------------------------------------------


@allow(SUPERVISOR)
def unit_page() -> Any:
    unit = access.unit()
    return show_unit(DisplayForm(time_zone=unit.time_zone, **{name: getattr(unit, name) for name in SCALES}))


@allow(SUPERVISOR)
def unit_post() -> Any:
    """A field that was not sent stays as it is; the zone is taken only while nothing is entered."""
    form = DisplayForm(request.form)
    sent = {name: form[name].data for name in SCALES if name in request.form}
    if not sent and "time_zone" not in request.form:
        put_errors(form, [("temperature", "Choose °C or °F.")])
        return show_unit(form, 400)
    with writing() as session:
        unit, person = session.get_one(Unit, access.unit().id), session.get_one(Person, access.person().id)
        try:
            changed = unit_settings.show_in(session, unit, sent, person, now())
            if "time_zone" in request.form:
                unit_settings.move_zone(session, unit, clean_text(form.time_zone.data), person, now())
        except BadUnit as error:
            put_errors(form, [(error.field, str(error))])
            return show_unit(form, 400)
        session.commit()
    flash(f"Saved. {'Figures' if changed else 'Nothing differs: figures'} are shown in "
          f"{', '.join(SHOWN[getattr(unit, name)] for name in SCALES)}. What is stored does not change.")
    return redirect(url_for(".unit_page"), 303)


def show_unit(form: DisplayForm, status: int = 200) -> Any:
    unit = access.unit()
    for name in SCALES:
        form[name].choices = picks((word, SHOWN[word]) for word in SCALES[name])
        if form[name].data in (None, "") and request.method == "GET":
            form[name].data = getattr(unit, name)
    with reading() as session:
        fixed = unit_settings.has_entries(session, unit)
    return render_template("settings/unit.html", form=form, shift=unit.calendar.shift_of(now()), zone_fixed=fixed,
                           in_force=unit.calendar.pattern_at(now())), status


# shifts ----------------------------------------------------------------------------------------------------


@allow(SUPERVISOR)
def shifts_page() -> Any:
    unit, form = access.unit(), ShiftsForm()
    chosen = PRESETS.get(request.args.get("preset", ""))
    starts = chosen or [(s.name, s.at) for s in unit.calendar.pattern_at(now()).in_order()]
    for i, (name, at) in enumerate(starts, start=1):
        form[f"name_{i}"].data, form[f"at_{i}"].data = name, at
    return show_shifts(form)


@allow(SUPERVISOR)
def shifts_post() -> Any:
    """First what it would do; sent again as shown, it is done. The shift under way and all before it stay."""
    form = ShiftsForm(request.form)
    starts = typed_starts(form)
    with writing() as session:
        unit, person = session.get_one(Unit, access.unit().id), session.get_one(Person, access.person().id)
        try:
            at = chosen_boundary(form)
            unit_settings.change_shifts(session, unit, starts, at, clean_text(form.why.data or "")[:200], person, now())
        except BadUnit as error:
            put_errors(form, [(error.field, str(error))])
            return show_shifts(form, 400)
        planned = unit.calendar
        if request.form.get("shown") != shown_key(starts, at):
            session.rollback()
            return show_shifts(form, preview=shift_change.around(planned, at, now()), at=at,
                               shown=shown_key(starts, at))
        session.commit()
    flash(f"From {moment(at)} the shifts are {shift_change.told(starts)}. What came before stays as it is.")
    return redirect(url_for(".unit_page"), 303)


def typed_starts(form: Form) -> list[ShiftStart]:
    """The lines that hold anything, in the order typed; 6:00 and 6.00 mean 06:00. Blank lines between are closed up."""
    lines = [(clean_text(form[f"name_{i}"].data or ""), (form[f"at_{i}"].data or "").strip().replace(".", ":"))
             for i in LINES]
    filled = [(name, at.zfill(5) if at else "") for name, at in lines if name or at]
    for i, (name, at) in zip(LINES, [*filled, *[("", "")] * len(LINES)], strict=False):
        form[f"name_{i}"].data, form[f"at_{i}"].data = name, at
    return [ShiftStart(name, at) for name, at in filled]


def chosen_boundary(form: ShiftsForm) -> datetime:
    try:
        at = datetime.fromisoformat(form.begins.data or "")
    except ValueError:
        raise BadUnit("begins", "Choose from when the new shifts count.") from None
    if at.tzinfo is None:
        raise BadUnit("begins", "Choose from when the new shifts count.")
    return at


def shown_key(starts: list[ShiftStart], at: datetime) -> str:
    return f"{shift_change.told(starts)} {at.isoformat()}"


def show_shifts(form: ShiftsForm, status: int = 200, **shown: Any) -> Any:
    unit = access.unit()
    form.begins.choices = picks((at.isoformat(), moment(at)) for at in shift_change.boundaries(unit.calendar, now()))
    return render_template("settings/shifts.html", form=form, lines=LINES, presets=PRESETS, **shown), status
