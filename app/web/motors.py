"""A motor as everybody may see it: plate, lubrication chart, condition, flags, readings; the list of them all."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app import recording
from app.entries import clean_text
from app.rules import facts
from app.store import changes, flags, lubrication, motors, rounds
from app.store.motors import Motor
from app.store.people import HEAD_OPERATOR, OPERATOR
from app.web.access import allow, found_or_404, now, person, reading, unit, writing

bp = Blueprint("motors", __name__)


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


def _page(session: Session, motor: Motor, error: str | None = None) -> str:
    return render_template(
        "motors/one.html", motor=motor, plate=motor.nameplate, error=error,
        standing=flags.open_flags_of_motor(session, motor.id),
        readings=rounds.newest_readings(session, motor.id, 30),
        corrected=rounds.corrected_among(session, motor.id),
        greasings=lubrication.last_greasings(session, motor.id, now(), 10), states=facts.STATES)


@bp.post("/motors/<int:motor_id>/condition")
@allow(OPERATOR)
def set_condition(motor_id: int) -> Any:
    """A named act: the only way a lock on record is entered with its tag, or ended."""
    wanted, owner = request.form.get("condition", ""), clean_text(request.form.get("lock_owner", ""))[:200]
    tag, why = clean_text(request.form.get("lock_tag", ""))[:60], clean_text(request.form.get("why", ""))[:200]
    with writing() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        error = _refusal(motor, wanted, tag, owner, why)
        if error:
            return _page(session, motor, error), 422
        _change_condition(session, motor, wanted, tag, owner, why)
        session.commit()
        flash(f"{motor.tag} is on record as {wanted}. That is a record, not a release.")
    return redirect(url_for("motors.one", motor_id=motor_id), 303)


def _refusal(motor: Motor, wanted: str, tag: str, owner: str, why: str) -> str | None:
    if wanted not in facts.STATES:
        return "Choose the condition."
    if wanted == facts.LOCKED_OUT and not (tag and owner):
        return "Enter the number on the lock-out tag and whose lock it is."
    if motor.condition == facts.LOCKED_OUT and wanted != facts.LOCKED_OUT:
        if not person().may(HEAD_OPERATOR):
            return "A lock on record is ended by the head operator, on the word of the lock's owner."
        if not why:
            return "Write who took the lock off, and when."
    return None


def _change_condition(session: Session, motor: Motor, wanted: str, tag: str, owner: str, why: str) -> None:
    before = motor.condition
    changes.note_change(session, unit_id=unit().id, at=now(), person=person(), subject="motor", subject_id=motor.id,
                        label=motor.tag, field="condition", before=before, after=wanted, why=why or None)
    motor.lock_tag, motor.lock_owner = (tag, owner) if wanted == facts.LOCKED_OUT else (None, None)
    motor.condition, motor.condition_at = wanted, now()
    recording.observe(session, motor, wanted, now())
