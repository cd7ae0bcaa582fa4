"""Greasing at the motor: what was last done, what to give, the warning before; then what was given, stored once."""

from __future__ import annotations

import uuid
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app import half_way, lubricating, recording
from app.entries import BadEntry, read_greasing
from app.lubricating import Bearing
from app.recording import OtherContent, Sender
from app.rules import facts, thickeners
from app.rules.cautions import caution_for
from app.rules.findings import Finding
from app.rules.greased import in_words
from app.rules.temporary import PLUG_OUT
from app.store import flags, guns, lubrication, motors
from app.store.guns import GreaseGun
from app.store.lubrication import Greasing
from app.store.motors import Motor
from app.store.people import OPERATOR
from app.web import lubrication_chart, lubrication_due, lubrication_guns, lubrication_line, lubrication_oil
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.fields import put_errors
from app.web.lubrication_form import Given, GreasingForm, strokes_of

bp = Blueprint("lubrication", __name__)
for _pages in (lubrication_due, lubrication_chart, lubrication_line, lubrication_guns, lubrication_oil):
    _pages.add_to(bp)


@bp.get("/motors/<int:motor_id>/grease")
@allow(OPERATOR)
def grease(motor_id: int) -> Any:
    """Which bearing, with how each stands; then, for the one chosen, what to give and the form."""
    with reading() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        here = lubricating.bearings(session, unit(), motor, now())
        bearing = here.get(request.args.get("end", ""))
        if bearing is None or (_closed(bearing) and "anyway" not in request.args):
            return render_template("lubrication/grease.html", motor=motor, bearings=here, only=bearing,
                                   shift_of=_shift_name)
        return _form_page(session, motor, bearing, GreasingForm(), str(uuid.uuid4()))


def _closed(bearing: Bearing) -> bool:
    """Nothing to record here by default: sealed, or in oil."""
    return bearing.sealed_by is not None or bearing.oil


def _shift_name(row: Greasing) -> str:
    return unit().calendar.shift_of(row.at).name


def _form_page(session: Session, motor: Motor, bearing: Bearing, form: GreasingForm, key: str,
               found: list[Finding] | None = None, given: Given | None = None) -> str:
    here = guns.guns_of(session, unit().id)
    return render_template(
        "lubrication/grease_end.html", motor=motor, bearing=bearing, form=form.offer(bearing, here), key=key,
        shift_of=_shift_name, found=[(f, caution_for(f)) for f in found or []], given=given,
        strokes=[(gun, strokes_of(bearing.amount_g, gun)) for gun in _fitting(here, bearing)],
        about=in_words(given.grams, bearing.amount_g) if given and bearing.amount_g and given.grams else None,
        mixes=thickeners.row_of(bearing.point.thickener) if bearing.point.thickener else [])


def _fitting(here: list[GreaseGun], bearing: Bearing) -> list[GreaseGun]:
    names = {g.name for g in lubricating.greasing_plan.fitting((gun.as_rule() for gun in here),
                                                               bearing.point.lubricant)}
    return [gun for gun in here if gun.name in names]


@bp.post("/motors/<int:motor_id>/grease", endpoint="save_greasing")
@allow(OPERATOR)
def save_greasing(motor_id: int) -> Any:
    """Asked for a reason where the rules would flag it; stored once; a plug left out becomes a temporary state."""
    form, key = GreasingForm(request.form), request.form.get("id", "")
    with writing() as session:
        motor = found_or_404(motors.motor_to_change(session, unit().id, motor_id))
        here, ours = lubricating.bearings(session, unit(), motor, now()), guns.guns_of(session, unit().id)
        bearing = here.get(form.end.data or "")
        good = form.offer(bearing, ours).validate()
        if bearing is None:
            return render_template("lubrication/grease.html", motor=motor, bearings=here, only=None, form=form,
                                   shift_of=_shift_name), 422
        given = form.read(bearing, ours, unit(), now()) if good else None
        if given is None:
            return _form_page(session, motor, bearing, form, key), 422
        before = _stored(session, key)
        found = [] if before else _asked_about(session, motor, bearing, given)
        if found is not None and (found or bearing.no_interval_soon) and not form.why.data and not before:
            form.wrong(form.why, "Say why it was greased all the same. The head operator sees it.")
            return _form_page(session, motor, bearing, form, key, found, given), 422
        return _store(session, motor, bearing, form, key, given, before)


def _asked_about(session: Session, motor: Motor, bearing: Bearing, given: Given) -> list[Finding]:
    return lubricating.would_find(session, unit(), motor, facts.Greasing(
        bearing.end, now(), given.lubricant, given.thickener, given.grams))


def _stored(session: Session, key: str) -> Greasing | None:
    """The greasing this very page saved before: sent twice, it is the same one."""
    try:
        return lubrication.greasing_by_id(session, unit().id, uuid.UUID(key))
    except ValueError:
        return None


def _store(session: Session, motor: Motor, bearing: Bearing, form: GreasingForm, key: str, given: Given,
           before: Greasing | None) -> Any:
    at = before.at if before else now()
    body = {"id": key, "tag": motor.tag, "end": bearing.end, "at": at.isoformat(), "lubricant": given.lubricant,
            "thickener": given.thickener, "grams": given.grams, "by": person().sign_in, "why": form.why.data or None}
    try:
        answer = recording.record_greasing(session, Sender(unit(), now(), person=person()), read_greasing(body),
                                           given.gun)
    except BadEntry as error:
        put_errors(form, [(p.field, p.says) for p in error.problems])
        return _form_page(session, motor, bearing, form, key), 422
    except OtherContent:
        return render_template("lubrication/already.html", key=key, motor=motor), 409
    if given.plug_until is not None and answer.stored:
        half_way.begin(session, unit(), motor, person(), now(), key=uuid.uuid5(answer.id, "plug"), kind=PLUG_OUT,
                       end=bearing.end, expected_end=given.plug_until, greasing_id=answer.id)
    session.commit()
    if not answer.stored:
        flash("This greasing was stored before; here it is.")
    return redirect(url_for("lubrication.greased", key=answer.id), 303)


@bp.get("/greasings/<uuid:key>")
@allow(OPERATOR)
def greased(key: uuid.UUID) -> Any:
    """What was stored, what the rules say of it, when it is due again."""
    with reading() as session:
        row = found_or_404(lubrication.greasing_with_motor(session, unit().id, key))
        found = [f.as_rule() for f in flags.findings_of(session, [row.id]).get(row.id, [])]
        bearing = lubricating.bearings(session, unit(), row.motor, now())[row.end]
        wanted = bearing.amount_g
        return render_template("lubrication/greased.html", row=row, found=[(f, caution_for(f)) for f in found],
                               bearing=bearing, about=in_words(row.grams, wanted) if row.grams and wanted else None)


@bp.get("/lubrication/thickeners")
@allow(OPERATOR)
def mixing() -> Any:
    """The grid of thickeners: what may meet in one bearing, as far as one published chart goes."""
    names = [name for name in thickeners.all_named() if name]
    return render_template("lubrication/thickeners.html", names=names,
                           grid={a: {b: thickeners.mixing(a, b) for b in names} for a in names})
