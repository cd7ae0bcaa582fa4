"""Lubrication: what is due, and recording a greasing at the motor."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import Form, RadioField, StringField
from wtforms.validators import DataRequired, InputRequired, Length, Optional

from app import judging, recording
from app.entries import BadEntry, clean_text, read_greasing
from app.recording import OtherContent, Sender
from app.rules import greasing, tables
from app.rules.cautions import caution_for
from app.rules.numbers import NotANumber, read_number
from app.rules.units import g_from_oz
from app.store import flags, lubrication, motors
from app.store.motors import Motor
from app.store.people import OPERATOR
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.fields import WordField, picks, put_errors

bp = Blueprint("lubrication", __name__)


def thickeners() -> list[str]:
    """The thickeners that the published grid knows."""
    grid = tables.rows("grease_compatibility")
    return sorted({row[side] for row in grid for side in ("thickener_in_bearing", "thickener_to_add")} - {"any"})


class GreasingForm(Form):
    end = RadioField("Which bearing", [InputRequired("Choose the bearing that was greased.")],
                     choices=picks([("ODE", "Fan end (ODE)"), ("DE", "Coupling end (DE)")]))
    lubricant = StringField("Lubricant given", [
        DataRequired("Write which lubricant was given."), Length(max=200, message="Keep it to 200 characters.")],
        filters=[lambda text: clean_text(text or "")])
    thickener = WordField("Its thickener", thickeners(), [Optional()])
    grams = StringField("Amount given", [InputRequired("Enter the amount. 0 when none went in.")])
    why = StringField("Why, if it is sooner or more than the chart says", [
        Optional(), Length(max=200, message="Keep it to 200 characters.")],
        filters=[lambda text: clean_text(text or "")])

    def amount_g(self) -> float | None:
        """The amount in grams; None with an error at the field when it cannot be read."""
        ounces = unit().grease == "oz"
        try:
            typed = read_number(self.grams.data or "", 0, 170 if ounces else 5000, unit().grease)
        except NotANumber as error:
            self.grams.errors = [*self.grams.errors, str(error)]
            return None
        return g_from_oz(typed) if ounces else typed


@bp.get("/lubrication")
@allow(OPERATOR)
def index() -> Any:
    """Every bearing with an interval: overdue first, then never recorded, then by when it is due."""
    with reading() as session:
        lines = [(line, greasing.due(line.point, now())) for line in judging.greasing_due(session, unit(), now())]
        overdue = [x for x in lines if x[0].finding and x[0].point.last_greased_at]
        never = [x for x in lines if x[0].finding and not x[0].point.last_greased_at]
        coming = sorted((x for x in lines if not x[0].finding), key=lambda x: (x[1].due_at is None, x[1].due_at))
        return render_template("lubrication/index.html", overdue=overdue, never=never, coming=coming)


@bp.get("/motors/<int:motor_id>/grease")
@allow(OPERATOR)
def grease(motor_id: int) -> Any:
    """What was last done, by whom, and what the chart says; then what was given."""
    with reading() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        return _page(session, motor, GreasingForm(), str(uuid.uuid4()))


def _page(session: Session, motor: Motor, form: GreasingForm, key: str) -> str:
    done = lubrication.last_greasings(session, motor.id, now(), 10)
    last = {end: next((g for g in done if g.end == end), None) for end in ("ODE", "DE")}
    return render_template("lubrication/grease.html", motor=motor, form=form, key=key, last=last)


@bp.post("/motors/<int:motor_id>/grease", endpoint="save_greasing")
@allow(OPERATOR)
def save_greasing(motor_id: int) -> Any:
    form, key = GreasingForm(request.form), request.form.get("id", "")
    with reading() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        good = form.validate()
        grams = form.amount_g() if form.grams.data else None
        if not good or grams is None:
            return _page(session, motor, form, key), 422
        at = _first_sent_at(session, key) or now()
    try:
        answer = _record({"id": key, "tag": motor.tag, "end": form.end.data, "at": at.isoformat(),
                          "lubricant": form.lubricant.data, "thickener": form.thickener.data or None, "grams": grams,
                          "by": person().sign_in, "why": form.why.data or None})
    except BadEntry as error:
        with reading() as session:
            put_errors(form, [(p.field, p.says) for p in error.problems])
            return _page(session, session.merge(motor), form, key), 422
    except OtherContent:
        return render_template("lubrication/already.html", key=key, motor=motor), 409
    if not answer.stored:
        flash("This greasing was stored before; here it is.")
    return redirect(url_for("lubrication.greased", key=answer.id), 303)


def _first_sent_at(session: Session, key: str) -> datetime | None:
    """When this very page was saved before, the instant it told then: sent twice, it is the same greasing."""
    try:
        there = lubrication.greasing_by_id(session, unit().id, uuid.UUID(key))
    except ValueError:
        return None
    return there.at if there else None


def _record(body: dict[str, Any]) -> recording.Recorded:
    entry = read_greasing(body)
    with writing() as session:
        answer = recording.record_greasing(session, Sender(unit(), now(), person=person()), entry)
        session.commit()
        return answer


@bp.get("/greasings/<uuid:key>")
@allow(OPERATOR)
def greased(key: uuid.UUID) -> Any:
    """What was stored, what the rules say of it, when it is due again."""
    with reading() as session:
        row = found_or_404(lubrication.greasing_by_id(session, unit().id, key))
        found = [f.as_rule() for f in flags.findings_of(session, [row.id]).get(row.id, [])]
        line = next((x for x in judging.greasing_due(session, unit(), now())
                     if x.motor.id == row.motor_id and x.end == row.end), None)
        return render_template("lubrication/greased.html", row=row, found=[(f, caution_for(f)) for f in found],
                               due=greasing.due(line.point, now()) if line else None)
