"""A plate to be read and confirmed by a second person, and what its overload relay is set to on record."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import Form, StringField
from wtforms.validators import DataRequired, Length

from app import plates
from app.entries import clean_text
from app.rules.numbers import NotANumber, read_number
from app.store import register
from app.store.motors import Motor, motor_by_id
from app.store.people import OPERATOR
from app.store.register import RegisterErrors
from app.web import access
from app.web.access import allow, found_or_404, now, reading, writing
from app.web.register_ground import earlier_plates, here, motor_to_edit, pairs

MOST_A = 6000.0


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/register/<int:motor_id>/plate", "plate", plate)
    bp.add_url_rule("/register/<int:motor_id>/confirm", "confirm", confirm, methods=["POST"])
    bp.add_url_rule("/register/<int:motor_id>/overload", "overload", overload, methods=["POST"])


class SettingForm(Form):
    setting = StringField("Overload setting now (A)", [DataRequired("Enter the amps it is set to.")])
    set_by = StringField("Set by: the qualified person's name",
                         [DataRequired("Enter who set it."), Length(max=200, message="Keep it to 200 characters.")],
                         filters=[lambda text: clean_text(text or "")])

    def amps(self) -> float | None:
        """What was typed; None with the error at its field."""
        good = self.validate()
        try:
            value = read_number(self.setting.data or "", 0, MOST_A, "A")
            if value <= 0:
                raise NotANumber("Enter a setting above 0 A.")
        except NotANumber as error:
            self.setting.errors = self.setting.errors or [str(error)]
            return None
        return value if good else None


@allow(OPERATOR)
def plate(motor_id: int) -> Any:
    """The plate as entered, to be compared with the one on the machine; the plates of machines before it."""
    with reading() as session:
        return _page(session, found_or_404(motor_by_id(session, access.unit().id, motor_id)))


def _page(session: Session, motor: Motor, form: SettingForm | None = None) -> str:
    shown = motor.nameplate
    return render_template(
        "register/plate.html", motor=motor, plate=shown, pairs=pairs, earlier=earlier_plates(motor),
        waits=register.waits_for_second_person(motor, shown), form=form or SettingForm(),
        setting=plates.setting_on_record(session, shown) if shown else None,
        reminds=plates.reminds(session, motor, shown), rule=plates.overload_rule(shown) if shown else None)


@allow(OPERATOR)
def confirm(motor_id: int) -> Any:
    """A second person has read the plate of a machine swapped in."""
    with writing() as session:
        unit, person = here(session)
        motor = found_or_404(motor_to_edit(session, unit, motor_id))
        shown = motor.nameplate
        if shown is None or str(shown.id) != request.form.get("plate") or request.form.get(
                "version") != str(motor.version):
            flash("The plate was changed meanwhile. Read it again before you confirm.")
        elif register.waits_for_second_person(motor, shown):
            try:
                plates.confirm(session, unit, motor, shown, person, now())
                session.commit()
                flash(f"Plate confirmed. Load in percent counts again at {motor.tag}.")
            except RegisterErrors as error:
                flash(error.errors[0][1])
    return redirect(url_for(".plate", motor_id=motor_id), 303)


@allow(OPERATOR)
def overload(motor_id: int) -> Any:
    """What a qualified person set the overload relay to, put on record; never checked here on the relay itself."""
    form = SettingForm(request.form)
    amps = form.amps()
    with writing() as session:
        unit, person = here(session)
        motor = found_or_404(motor_to_edit(session, unit, motor_id))
        shown = motor.nameplate
        if shown is None or str(shown.id) != request.form.get("of_plate"):
            flash("Another plate is fitted by now. Look at it before you record its setting.")
            return redirect(url_for(".plate", motor_id=motor_id), 303)
        if amps is None:
            return _page(session, motor, form), 422
        plates.record_setting(session, motor, shown, amps, form.set_by.data or "", person, now())
        asks = plates.overload_rule(shown).above(amps)
        session.commit()
    flash(f"Overload setting of {motor.tag} on record: {amps:g} A. {asks}".strip())
    return redirect(url_for(".plate", motor_id=motor_id), 303)
