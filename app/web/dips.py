"""After a power dip: who stays clear of what, what needs Start, what was ticked off. One page, to print as well."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app import power_dips
from app.entries import clean_text
from app.rules.numbers import NotANumber, read_number
from app.store import changes, dips, motors
from app.store.dips import AFTER_DIP
from app.store.people import HEAD_OPERATOR, OPERATOR
from app.store.units import Unit, restart_spacing_s
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.times import BadTime, time_seen

bp = Blueprint("dips", __name__)
#: After this a dip is opened by its own link only.
DEALT_WITH = timedelta(hours=12)


@bp.get("/dips")
@allow(OPERATOR)
def page() -> Any:
    with reading() as session:
        return _page(session)


def _page(session: Session, error: str | None = None, chosen: dips.Dip | None = None) -> str:
    there = dips.newest_dips(session, unit().id)
    wanted = request.args.get("dip", type=int)
    if chosen is None:
        chosen = dips.dip_by_id(session, unit().id, wanted) if wanted else _just_now(there)
    groups = power_dips.groups(session, unit(), now())
    return render_template("dips/page.html", dips=there, dip=chosen, groups=groups, error=error,
                           answers=chosen.newest_answers() if chosen else {}, form=request.form,
                           unit_spacing=restart_spacing_s(session, unit().id))


def _just_now(there: list[dips.Dip]) -> dips.Dip | None:
    """The newest dip, while people are still dealing with it: an old one's ticks must not be taken for a new one's."""
    return there[0] if there and now() - there[0].at <= DEALT_WITH else None


@bp.post("/dips")
@allow(OPERATOR)
def log() -> Any:
    with writing() as session:
        try:
            at = time_seen(request.form.get("seen_at", ""), unit(), now())
        except BadTime as error:
            return _page(session, str(error)), 422
        made = power_dips.log_dip(session, unit(), at, now(), person(),
                                  clean_text(request.form.get("remarks", ""))[:500])
        session.commit()
        flash("Dip logged. Say of each motor what it did: nothing is assumed.")
        return redirect(url_for("dips.page", dip=made.id), 303)


@bp.post("/dips/<int:dip_id>/motors/<int:motor_id>")
@allow(OPERATOR)
def answer(dip_id: int, motor_id: int) -> Any:
    """What one motor did: an automatic restart and a restart by hand both count as starts."""
    word = request.form.get("answer", "")
    with writing() as session:
        dip = found_or_404(dips.dip_by_id(session, unit().id, dip_id))
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        if word not in AFTER_DIP:
            return _page(session, f"{motor.tag}: say what it did.", dip), 422
        power_dips.answer(session, unit(), dip, motor, word, person(), now())
        session.commit()
        flash(f"{motor.tag}: {word}.")
    return redirect(url_for("dips.page", dip=dip_id), 303)


@bp.post("/dips/order")
@allow(HEAD_OPERATOR)
def order() -> Any:
    """The order of starting again, and the spacing, as the unit's procedure has them."""
    with writing() as session:
        try:
            _keep_spacing(session)
            for motor in motors.motors_of(session, unit().id):
                _keep_order(session, motor)
        except NotANumber as error:
            return _page(session, str(error)), 422
        session.commit()
    flash("Order kept.")
    return redirect(url_for("dips.page"), 303)


def _keep_spacing(session: Session) -> None:
    text = request.form.get("spacing", "").strip()
    seconds = int(read_number(text, 0, 3600, "s")) if text else None
    kept = session.get_one(Unit, unit().id)
    if seconds != kept.restart_spacing_s:
        changes.note_change(session, unit_id=kept.id, at=now(), person=person(), subject="unit", subject_id=kept.id,
                            label=kept.name, field="restart_spacing_s", before=kept.restart_spacing_s, after=seconds)
        kept.restart_spacing_s = seconds


def _keep_order(session: Session, motor: motors.Motor) -> None:
    text = request.form.get(f"order-{motor.id}")
    if text is None:
        return
    place = read_number(text, 0, 100_000) if text.strip() else None
    if place != motor.restart_order:
        changes.note_change(session, unit_id=motor.unit_id, at=now(), person=person(), subject="motor",
                            subject_id=motor.id, label=motor.tag, field="restart_order", before=motor.restart_order,
                            after=place)
        motor.restart_order = place
