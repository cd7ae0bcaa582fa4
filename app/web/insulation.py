"""Insulation-resistance tests of one motor: written down by head operators, measured by competent people."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import Form, SelectField, StringField
from wtforms.validators import InputRequired, Length, Optional

from app.entries import clean_text
from app.rules import insulation_resistance as rules
from app.rules.numbers import NotANumber, read_number
from app.rules.tables import MakesNoSense, NotInTable
from app.rules.units import c_from_f
from app.store import motors
from app.store.insulation import InsulationTest, insulation_tests
from app.store.motors import Motor
from app.store.people import HEAD_OPERATOR, OPERATOR
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.fields import picks
from app.web.formatting import temperature_unit

bp = Blueprint("insulation", __name__)


@dataclass(frozen=True)
class Judged:
    """What IEEE 43 makes of a test: None where it cannot be said, and then why."""

    r40_mohm: float | None = None
    minimum_mohm: float | None = None
    below: bool | None = None
    pi: float | None = None
    minimum_pi: float | None = None
    pi_below: bool | None = None
    notes: tuple[str, ...] = ()


def judged(test: InsulationTest) -> Judged:
    """Correction to 40 °C, minimum by winding kind and date, polarization index; each with what is missing for it."""
    notes: list[str] = []
    r40 = minimum = pi = minimum_pi = None
    if test.temp_c is None:
        notes.append("No winding temperature: not corrected to 40 °C.")
    else:
        r40 = rules.at_40_c_mohm(test.r1_mohm, test.temp_c)
    volts = test.nameplate.volts if test.nameplate else None
    try:
        if volts is None or test.winding is None:
            raise MakesNoSense("rated volts or the kind of winding not known: no minimum can be named")
        minimum = rules.minimum_mohm(volts / 1000, test.winding, test.wound_year)
    except (MakesNoSense, NotInTable) as error:
        notes.append(f"{error}.".capitalize())
    if test.r10_mohm is not None:
        if not rules.pi_applies(test.r1_mohm):
            notes.append("Above 5,000 MΩ the polarization index means nothing.")
        else:
            pi, minimum_pi = _index(test, notes)
    return Judged(r40, minimum, None if r40 is None or minimum is None else r40 < minimum, pi, minimum_pi,
                  None if pi is None or minimum_pi is None else pi < minimum_pi, tuple(notes))


def _index(test: InsulationTest, notes: list[str]) -> tuple[float | None, float | None]:
    try:
        pi = rules.polarization_index(test.r1_mohm, test.r10_mohm or 0.0)
        letter = test.nameplate.insulation_class if test.nameplate else None
        if not letter:
            notes.append("Insulation class not known: no least polarization index.")
            return pi, None
        return pi, rules.minimum_pi(letter)
    except (MakesNoSense, NotInTable) as error:
        notes.append(f"{error}.")
        return None, None


class TestForm(Form):
    __test__ = False  # not a test of pytest's

    r1 = StringField("After 1 minute, MΩ", [InputRequired("Enter the resistance after one minute."), Length(max=12)])
    r10 = StringField("After 10 minutes, MΩ", [Optional(), Length(max=12)])
    temp = StringField("Winding temperature", [Optional(), Length(max=12)])
    winding = SelectField("Kind of winding", [Optional()], validate_choice=True, choices=picks([
        ("random", "random-wound"), ("form", "form-wound")]))
    wound_year = StringField("Wound in the year", [Optional(), Length(max=4)])
    test_volts = StringField("Test volts", [Optional(), Length(max=12)])
    measured_by = StringField("Measured by (a competent person)", [
        InputRequired("Write who measured: a competent person, with the motor isolated and locked out."),
        Length(max=120)])
    remarks = StringField("Remarks", [Optional(), Length(max=500)])

    def figure(self, name: str, low: float, high: float, unit_word: str) -> float | None:
        """A typed figure; None when blank or wrong, and then the error stands at the field."""
        field = self[name]
        if not (field.data or "").strip():
            return None
        try:
            return read_number(field.data, low, high, unit_word)
        except NotANumber as error:
            field.errors = [*field.errors, str(error)]
            return None

    def row(self) -> dict[str, Any] | None:
        """The columns to store, or None with errors at the fields."""
        good = self.validate()
        temp = self.figure("temp", -60, 500, temperature_unit())
        year = self.figure("wound_year", 1880, date.today().year + 1, "")  # noqa: DTZ011 - a year, not a moment
        columns = {
            "r1_mohm": self.figure("r1", 0, 1_000_000, "MΩ"), "r10_mohm": self.figure("r10", 0, 1_000_000, "MΩ"),
            "temp_c": c_from_f(temp) if temp is not None and temperature_unit() == "°F" else temp,
            "winding": self.winding.data or None, "wound_year": None if year is None else int(year),
            "test_volts": self.figure("test_volts", 0, 20_000, "V"),
            "measured_by": clean_text(self.measured_by.data or ""), "remarks": clean_text(self.remarks.data or ""),
        }
        return columns if good and not any(field.errors for field in self) else None


@bp.get("/motors/<int:motor_id>/insulation")
@allow(OPERATOR)
def index(motor_id: int) -> Any:
    with reading() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        return _page(session, motor, TestForm(), str(uuid.uuid4()))


def _page(session: Session, motor: Motor, form: TestForm, key: str) -> str:
    tests = [(t, judged(t)) for t in insulation_tests(session, motor.id)]
    return render_template("insulation/index.html", motor=motor, form=form, key=key, tests=tests)


@bp.post("/motors/<int:motor_id>/insulation", endpoint="save")
@allow(HEAD_OPERATOR)
def save(motor_id: int) -> Any:
    """Stores a test once, however often the form is sent."""
    form, key = TestForm(request.form), request.form.get("id", "")
    columns = form.row()
    with writing() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        try:
            test_id = uuid.UUID(key)
        except ValueError:
            test_id = uuid.uuid4()
        if columns is None:
            return _page(session, motor, form, key), 422
        if session.get(InsulationTest, test_id) is None:
            plate = motor.nameplate
            session.add(InsulationTest(id=test_id, unit_id=unit().id, motor_id=motor.id, at=now(),
                                       nameplate_id=plate.id if plate else None, person_id=person().id, **columns))
            session.commit()
        flash(f"{motor.tag}: insulation test kept. It is a record, not a release.")
    return redirect(url_for("insulation.index", motor_id=motor_id), 303)
