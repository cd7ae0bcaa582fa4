"""Oil: the level at its mark, top-ups with their amount, renewals; and the motors that drink."""

from __future__ import annotations

import uuid
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import Form, RadioField, StringField
from wtforms.validators import InputRequired, Length, Optional

from app import oil_records
from app.entries import clean_text
from app.oil_records import Given
from app.rules import wording
from app.rules.cautions import caution_for
from app.rules.numbers import NotANumber, read_number
from app.rules.units import ml_from_fl_oz
from app.store import motors, oil, sightings
from app.store.motors import Motor
from app.store.oil import LEVEL, RENEWED, TOP_UP
from app.store.people import OPERATOR
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.fields import picks


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/lubrication/oil", "oil", index)
    bp.add_url_rule("/motors/<int:motor_id>/oil", "motor_oil", motor_oil)
    bp.add_url_rule("/motors/<int:motor_id>/oil", "save_oil", save_oil, methods=["POST"])
    bp.add_app_template_filter(oil_amount, "oil")


def oil_amount(ml: float | None) -> str:
    """An amount of oil: mL, or fl oz where the unit counts ounces."""
    return "–" if ml is None else wording.figure(ml, wording.oil(unit().show))


class OilForm(Form):
    end = RadioField("Which bearing", [InputRequired("Choose the bearing.")],
                     choices=picks([("ODE", "Fan end (ODE)"), ("DE", "Coupling end (DE)")]))
    kind = RadioField("What was done", [InputRequired("Say what was done.")], choices=picks([
        (LEVEL, "Level looked at"), (TOP_UP, "Topped up"), (RENEWED, "Oil renewed")]))
    mark = RadioField("The shaft", [Optional()], validate_choice=False, choices=picks([
        (oil.MARKS[0], "Turns: running mark"), (oil.MARKS[1], "Stands: stopped mark")]))
    level = RadioField("Level found", [Optional()], validate_choice=False, choices=picks(
        (word, word[:1].upper() + word[1:]) for word in oil.LEVELS))
    amount = StringField("Amount put in", [Optional()])
    lubricant = StringField("Oil put in", [Optional(), Length(max=200, message="Keep it to 200 characters.")],
                            filters=[lambda text: clean_text(text or "")])
    remarks = StringField("Remarks", [Optional(), Length(max=500, message="Keep it to 500 characters.")],
                          filters=[lambda text: clean_text(text or "")])

    def read(self) -> Given | None:
        """What was done; None with an error at each field that cannot be taken."""
        good, amount_ml = self.validate(), None
        level = self.level.data if self.level.data in oil.LEVELS else None
        mark = self.mark.data if self.mark.data in oil.MARKS else None
        if self.kind.data in (TOP_UP, RENEWED):
            amount_ml, good = self._amount_ml(), good and not self.amount.errors
            if not self.lubricant.data:
                good = self._wrong(self.lubricant, "Write which oil was put in, as on the can.")
        if self.kind.data == LEVEL and level is None:
            good = self._wrong(self.level, "Choose the level, or “could not see”.")
        if level is not None and level != oil.LEVELS[-1] and mark is None:
            good = self._wrong(self.mark, "Choose the mark: the level is another one when the shaft turns.")
        return Given(self.end.data, self.kind.data, level, mark, amount_ml, self.lubricant.data or None,
                     self.remarks.data or "") if good and not self.amount.errors else None

    def _wrong(self, field: Any, says: str) -> bool:
        field.errors = [*field.errors, says]
        return False

    def _amount_ml(self) -> float | None:
        ounces = unit().grease == "oz"
        try:
            typed = read_number(self.amount.data or "", 0, 7000 if ounces else 200_000, oil_unit())
            if typed <= 0:
                raise NotANumber("Enter what went in, above 0.")
        except NotANumber as error:
            self._wrong(self.amount, str(error))
            return None
        return ml_from_fl_oz(typed) if ounces else typed


def oil_unit() -> str:
    return wording.oil(unit().show).unit


@allow(OPERATOR)
def index() -> Any:
    """Every bearing in oil, those that drink first."""
    with reading() as session:
        lines = oil_records.lines(session, unit(), now())
    return render_template("lubrication/oil.html", drinks=[x for x in lines if x.drinking.above_normal],
                           others=[x for x in lines if not x.drinking.above_normal])


@allow(OPERATOR)
def motor_oil(motor_id: int) -> Any:
    with reading() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        return _page(session, motor, OilForm(), str(uuid.uuid4()))


def _page(session: Session, motor: Motor, form: OilForm, key: str) -> str:
    entries = oil.entries_of(session, motor.id)
    saved = next((e for e in entries if str(e.id) == request.args.get("saved")), None)
    found = [s for _, s in sightings.sightings_by(session, saved.id)] if saved else []
    return render_template("lubrication/motor_oil.html", motor=motor, form=form, key=key, entries=entries,
                           drinking=oil_records.drinking_of(session, unit(), motor, now()), saved=saved,
                           found=[(s, caution_for(f)) for s, f in _with_rule(session, found)], oil_unit=oil_unit())


def _with_rule(session: Session, found: list[Any]) -> list[tuple[Any, Any]]:
    from app.store.flags import Flag

    return [(s, session.get_one(Flag, s.flag_id)) for s in found]


@allow(OPERATOR)
def save_oil(motor_id: int) -> Any:
    form, key = OilForm(request.form), request.form.get("id", "")
    with writing() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        given = form.read()
        try:
            entry_key = uuid.UUID(key)
        except ValueError:
            entry_key, given = uuid.uuid4(), None
        if given is None:
            return _page(session, motor, form, str(entry_key)), 422
        session.refresh(motor, with_for_update=True)
        row, new = oil_records.record(session, unit(), motor, person(), now(), entry_key, given)
        session.commit()
    flash(f"{motor.tag} {row.end}: {row.kind}, kept." if new else "This entry was stored before; here it is.")
    return redirect(url_for("lubrication.motor_oil", motor_id=motor_id, saved=row.id), 303)
