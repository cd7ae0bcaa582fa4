"""A motor as everybody may see it: plate, lubrication chart, condition, flags, readings; the list of them all."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import Form, RadioField, StringField
from wtforms.validators import InputRequired, Length

from app import conditions
from app.conditions import Wanted
from app.entries import clean_text
from app.rules import facts
from app.store import flags, lubrication, motors, rounds
from app.store.motors import Motor
from app.store.people import OPERATOR
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.fields import picks, put_errors

bp = Blueprint("motors", __name__)


def words(label: str, most: int) -> StringField:
    return StringField(label, [Length(max=most, message=f"Keep it to {most} characters.")],
                       filters=[lambda text: clean_text(text or "")])


class ConditionForm(Form):
    """Where the motor stands, by a named act. Nothing is chosen beforehand."""

    condition = RadioField("Condition", [InputRequired("Choose the condition.")],
                           choices=picks((state, state[:1].upper() + state[1:]) for state in facts.STATES))
    lock_tag = words("Lock-out tag number", 60)
    lock_owner = words("Whose lock", 200)
    why = words("Why, or who took the lock off and when", 200)


@bp.get("/motors")
@allow(OPERATOR)
def index() -> Any:
    """Every motor in walking order; `q` finds by tag or service, forgiving of dashes, case and spaces."""
    wanted = request.args.get("q", "").strip()
    with reading() as session:
        register = motors.motors_of(session, unit().id)
        shown = [m for m in register if not wanted or _fits(m, wanted)]
        standing = {f.motor_id: f.priority for f in reversed(flags.open_flags(session, unit().id))}
        return render_template("motors/index.html", motors=shown, q=wanted, total=len(register), standing=standing)


def _fits(motor: Motor, wanted: str) -> bool:
    key = _plain(wanted)
    return key in _plain(motor.tag) or wanted.casefold() in (motor.service or "").casefold()


def _plain(text: str) -> str:
    return motors.tag_key(text).replace("-", "").replace(" ", "")


@bp.get("/motors/<int:motor_id>")
@allow(OPERATOR)
def one(motor_id: int) -> Any:
    with reading() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        return _page(session, motor)


def _page(session: Session, motor: Motor, form: ConditionForm | None = None) -> str:
    return render_template(
        "motors/one.html", motor=motor, plate=motor.nameplate, form=form or ConditionForm(),
        standing=flags.open_flags_of_motor(session, motor.id),
        readings=rounds.newest_readings(session, motor.id, 30),
        corrected=rounds.corrected_among(session, motor.id),
        greasings=lubrication.last_greasings(session, motor.id, now(), 10))


@bp.post("/motors/<int:motor_id>/condition")
@allow(OPERATOR)
def set_condition(motor_id: int) -> Any:
    """A named act: the only way a lock on record is entered with its tag, or ended."""
    form = ConditionForm(request.form)
    with writing() as session:
        motor = found_or_404(motors.motor_to_change(session, unit().id, motor_id))
        wanted = Wanted(form.condition.data, form.lock_tag.data, form.lock_owner.data, form.why.data)
        if form.validate():
            put_errors(form, conditions.faults(motor, wanted, person()))
        if form.errors:
            return _page(session, motor, form), 422
        conditions.change(session, motor, wanted, person(), now())
        session.commit()
        flash(f"{motor.tag} is on record as {motor.condition}. That is a record, not a release.")
    return redirect(url_for("motors.one", motor_id=motor_id), 303)
