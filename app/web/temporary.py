"""Temporary states: what stands half-way, begun and ended by name, on every sheet and handover in between."""

from __future__ import annotations

import uuid
from typing import Any

from flask import Blueprint, flash, g, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import Form, RadioField, StringField
from wtforms.validators import InputRequired, Length, Optional

from app import half_way
from app.entries import clean_text
from app.rules.temporary import KINDS, OTHER
from app.store import motors, temporary
from app.store.motors import Motor
from app.store.people import OPERATOR
from app.store.temporary import TemporaryState
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.fields import picks
from app.web.times import BadTime, time_seen
from app.web.times_ahead import choices, read_until

bp = Blueprint("temporary", __name__)


def _words(label: str, most: int) -> StringField:
    return StringField(label, [Optional(), Length(max=most, message=f"Keep it to {most} characters.")],
                       filters=[lambda text: clean_text(text or "")])


class BeginForm(Form):
    """What is half-way, where, since when, until when. Nothing is chosen beforehand."""

    kind = RadioField("What is half-way", [InputRequired("Choose what is half-way.")],
                      choices=picks((kind, kind[:1].upper() + kind[1:]) for kind in KINDS))
    words = _words("In words", 200)
    end = RadioField("At which end", [Optional()], validate_choice=False, choices=picks([
        ("ODE", "Fan end (ODE)"), ("DE", "Coupling end (DE)"), ("", "At neither")]))
    since = StringField("Since")
    hours = RadioField("Expected to end", [Optional()], validate_choice=False, choices=choices("2", "8", "24"))
    at = StringField("Or at")

    def read(self, motor: Motor) -> dict[str, Any] | None:
        """The state's columns; None with an error at each field that cannot be taken."""
        self.validate()
        if self.kind.data == OTHER and not self.words.data:
            self.words.errors = [*self.words.errors, "Write what it is."]
        try:
            since = time_seen(self.since.data, unit(), now())
        except BadTime as error:
            since = None
            self.since.errors = [*self.since.errors, str(error)]
        until = read_until(unit(), now(), self.hours, self.at, "Say when it is expected to end.")
        if any(field.errors for field in self):
            return None
        return {"kind": self.kind.data, "words": self.words.data or "", "since": since, "expected_end": until,
                "end": self.end.data if self.end.data in ("DE", "ODE") else None}


class MoveForm(Form):
    hours = RadioField("New end", [Optional()], validate_choice=False, choices=choices("2", "8", "24"))
    at = StringField("Or at")
    why = StringField("Why it takes longer", [InputRequired("Write why it takes longer."),
                                              Length(max=200, message="Keep it to 200 characters.")],
                      filters=[lambda text: clean_text(text or "")])


def standing_now(session: Session) -> list[TemporaryState]:
    """What stands half-way; the banner shows the same."""
    g.half_way = temporary.standing(session, unit().id)
    return g.half_way


@bp.get("/temporary")
@allow(OPERATOR)
def index() -> Any:
    """What stands half-way in the unit, and what was ended lately."""
    with reading() as session:
        return render_template("temporary/index.html", standing=standing_now(session),
                               ended=temporary.newest_ended(session, unit().id))


@bp.get("/motors/<int:motor_id>/temporary")
@allow(OPERATOR)
def begin(motor_id: int) -> Any:
    with reading() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        return render_template("temporary/begin.html", motor=motor, form=BeginForm(), key=str(uuid.uuid4()))


@bp.post("/motors/<int:motor_id>/temporary", endpoint="save_begin")
@allow(OPERATOR)
def save_begin(motor_id: int) -> Any:
    form, key = BeginForm(request.form), request.form.get("id", "")
    with writing() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        given = form.read(motor)
        try:
            state_key = uuid.UUID(key)
        except ValueError:
            state_key, given = uuid.uuid4(), None
        if given is None:
            return render_template("temporary/begin.html", motor=motor, form=form, key=str(state_key)), 422
        state, new = half_way.begin(session, unit(), motor, person(), now(), key=state_key, **given)
        session.commit()
        flash(f"{motor.tag}: {state.what}, on record." if new else "This was stored before; here it is.")
    return redirect(url_for("temporary.one", state_id=state.id), 303)


@bp.get("/temporary/<int:state_id>")
@allow(OPERATOR)
def one(state_id: int) -> Any:
    with reading() as session:
        return _page(session, found_or_404(temporary.temporary_by_id(session, unit().id, state_id)), MoveForm())


def _page(session: Session, state: TemporaryState, form: MoveForm) -> str:
    return render_template("temporary/one.html", state=state, form=form, moves=temporary.moves_of(session, state))


@bp.post("/temporary/<int:state_id>/end")
@allow(OPERATOR)
def end(state_id: int) -> Any:
    """Ended by name. The second to say so is told who was first."""
    words = clean_text(request.form.get("words", ""))[:200]
    with writing() as session:
        state = found_or_404(temporary.temporary_by_id(session, unit().id, state_id))
        if half_way.finish(session, unit(), state, person(), now(), words):
            session.commit()
            flash(f"{state.motor.tag}: {state.what} is ended. That is a record, not a release.")
        else:
            flash(f"{state.motor.tag}: {state.what} was ended before"
                  + (f" by {state.ended_by.name}." if state.ended_by else "."))
    return redirect(url_for("temporary.one", state_id=state_id), 303)


@bp.post("/temporary/<int:state_id>/move")
@allow(OPERATOR)
def move(state_id: int) -> Any:
    form = MoveForm(request.form)
    with writing() as session:
        state = found_or_404(temporary.temporary_by_id(session, unit().id, state_id))
        form.validate()
        until = read_until(unit(), now(), form.hours, form.at, "Say when it is expected to end now.")
        if until is None or any(field.errors for field in form):
            return _page(session, state, form), 422
        if half_way.move_end(session, unit(), state, person(), now(), until, form.why.data or ""):
            session.commit()
            flash(f"{state.motor.tag}: new end kept.")
        else:
            flash(f"{state.motor.tag}: {state.what} was ended meanwhile.")
    return redirect(url_for("temporary.one", state_id=state_id), 303)
