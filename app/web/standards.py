"""What is normal for one motor and what reports to the control room: the supervisor's word, noted with its reason."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app.entries import clean_text
from app.rules import facts
from app.store import changes, motors
from app.store.motors import Motor
from app.store.people import SUPERVISOR
from app.web.access import allow, found_or_404, now, person, reading, unit, writing

bp = Blueprint("standards", __name__)

#: Readings that can come from probes by themselves; what is ticked needs no typing at the motor.
BY_CONTROL_ROOM = (
    ("bearing_temp_c", "Bearing temperatures"), ("winding_temp_c", "Winding temperature"),
    ("vibration_mm_s", "Vibration"), ("current_a", "Amps"),
)
FEELS = facts.TEMPERATURE_FEEL[:-1]  # too hot to hold is nobody's normal


@bp.get("/motors/<int:motor_id>/standards")
@allow(SUPERVISOR)
def page(motor_id: int) -> Any:
    with reading() as session:
        return _page(session, found_or_404(motors.motor_by_id(session, unit().id, motor_id)))


def _page(session: Session, motor: Motor, error: str | None = None) -> str:
    chosen = set(request.form.getlist("by_control_room")) if request.form else set(motor.by_control_room.split(","))
    feel = request.form.get("accepted_normal_feel", motor.accepted_normal_feel or "")
    return render_template("standards/page.html", motor=motor, error=error, feels=FEELS, feel=feel, chosen=chosen,
                           probes=BY_CONTROL_ROOM, why=request.form.get("why", ""),
                           changes=[c for c in changes.changes_of(session, "motor", motor.id)
                                    if c.field in ("accepted_normal_feel", "by_control_room")])


@bp.post("/motors/<int:motor_id>/standards", endpoint="save")
@allow(SUPERVISOR)
def save(motor_id: int) -> Any:
    why = clean_text(request.form.get("why", ""))[:500]
    feel = request.form.get("accepted_normal_feel", "")
    known = [key for key, _ in BY_CONTROL_ROOM]
    probes = ",".join(key for key in known if key in request.form.getlist("by_control_room"))
    with writing() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        if feel not in ("", *FEELS):
            return _page(session, motor, "Choose one of the feels, or none."), 422
        if not why:
            return _page(session, motor, "Say why: it changes what is flagged."), 422
        _change(session, motor, "accepted_normal_feel", feel or None, why)
        _change(session, motor, "by_control_room", probes, why)
        session.commit()
        flash(f"{motor.tag}: kept. It judges what is entered from now on.")
    return redirect(url_for("motors.one", motor_id=motor_id), 303)


def _change(session: Session, motor: Motor, field: str, after: str | None, why: str) -> None:
    before = getattr(motor, field)
    if before != after:
        changes.note_change(session, unit_id=motor.unit_id, at=now(), person=person(), subject="motor",
                            subject_id=motor.id, label=motor.tag, field=field, before=before, after=after, why=why)
        setattr(motor, field, after)
