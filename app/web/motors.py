"""A motor as everybody may see it: plate, lubrication chart, condition, flags, readings; the list of them all."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import Form, RadioField, StringField
from wtforms.validators import InputRequired, Length

from app import recording
from app.entries import clean_text
from app.rules import facts
from app.store import changes, flags, lubrication, motors, rounds
from app.store.motors import Motor
from app.store.people import HEAD_OPERATOR, OPERATOR
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.fields import picks

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

    def ends_lock_of(self, motor: Motor) -> bool:
        """Another condition ends it, and so does another lock in its place."""
        if motor.condition != facts.LOCKED_OUT:
            return False
        another = (self.lock_tag.data, self.lock_owner.data) != (motor.lock_tag, motor.lock_owner)
        return self.condition.data != facts.LOCKED_OUT or (motor.lock_tag is not None and another)


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
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        session.refresh(motor, with_for_update=True)
        if not form.validate() or not _lock_agrees(form, motor):
            return _page(session, motor, form), 422
        _change_condition(session, motor, form)
        session.commit()
        flash(f"{motor.tag} is on record as {motor.condition}. That is a record, not a release.")
    return redirect(url_for("motors.one", motor_id=motor_id), 303)


def _lock_agrees(form: ConditionForm, motor: Motor) -> bool:
    """Whether the lock asked for is named, and whether this person may end the one on record."""
    if form.condition.data == facts.LOCKED_OUT:
        if not form.lock_tag.data:
            form.lock_tag.errors = ["Enter the number on the lock-out tag."]
        if not form.lock_owner.data:
            form.lock_owner.errors = ["Enter whose lock it is."]
    if form.ends_lock_of(motor):
        if not person().may(HEAD_OPERATOR):
            form.condition.errors = ["A lock on record is ended by the head operator, on the word of the lock's owner."]
        elif not form.why.data:
            form.why.errors = ["Write who took the lock off, and when."]
    return not form.errors


def _change_condition(session: Session, motor: Motor, form: ConditionForm) -> None:
    before, wanted = _on_record(motor), form.condition.data
    locked = wanted == facts.LOCKED_OUT
    motor.lock_tag, motor.lock_owner = (form.lock_tag.data, form.lock_owner.data) if locked else (None, None)
    motor.condition, motor.condition_at = wanted, now()
    changes.note_change(session, unit_id=unit().id, at=now(), person=person(), subject="motor", subject_id=motor.id,
                        label=motor.tag, field="condition", before=before, after=_on_record(motor),
                        why=form.why.data or None)
    recording.observe(session, motor, wanted, now())


def _on_record(motor: Motor) -> str | None:
    if motor.condition != facts.LOCKED_OUT or not motor.lock_tag:
        return motor.condition
    return f"{motor.condition}, tag {motor.lock_tag}, {motor.lock_owner}"
