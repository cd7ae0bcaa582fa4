"""The rehearsal as a page: choose weeks and limits, see how far it is and what would have been raised beside what was.

It plays in a thread of the server; the page asks again by itself, script or not. The address keeps what was asked, so
that a rehearsal that is gone can be begun again.
"""

from __future__ import annotations

from typing import Any

from flask import Blueprint, current_app, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import Form, SelectField, StringField

from app import rehearsal
from app.rehearsal import Asked, BadRehearsal
from app.rehearsing import OneIsRunning, Rehearsals, Running
from app.rules import limit_groups, limit_sanity, wording
from app.rules.limits import DEFAULTS
from app.rules.numbers import NotANumber, read_number
from app.rules.shifts import next_week, week_of
from app.store import limits, motors
from app.web import access, limit_scale
from app.web.access import SUPERVISOR, allow, database, found_or_404, now, person, reading, unit
from app.web.fields import picks, put_errors

bp = Blueprint("rehearsal", __name__)

WEEKS = (1, 2, 4, 8, 12, 26)
LINES = 4
WEEKS_BACK = 26
#: The page asks again after so many seconds.
ASK_AGAIN_S = 2


class AskForm(Form):
    weeks = SelectField("How many weeks", validate_choice=False)
    until = SelectField("Up to", validate_choice=False)
    tag = SelectField("The limits are those of", validate_choice=False)


for _i in range(1, LINES + 1):
    setattr(AskForm, f"limit_{_i}", SelectField(f"Limit {_i}", validate_choice=False))
    setattr(AskForm, f"value_{_i}", StringField(f"New value {_i}"))


def held() -> Rehearsals:
    """The rehearsals of this server."""
    return current_app.extensions.setdefault("rehearsals", Rehearsals())  # type: ignore[no-any-return]


# asking ----------------------------------------------------------------------------------------------------


@bp.get("/rehearsal")
@allow(SUPERVISOR)
def page() -> Any:
    """Empty, or filled from a limit's page."""
    given = request.args
    form = AskForm(data={"weeks": given.get("weeks", str(rehearsal.WEEKS)), "tag": given.get("tag", ""),
                         "until": given.get("until", ""),
                         "limit_1": given.get("limit", ""), "value_1": given.get("value", ""),
                         **{k: v for k, v in given.items() if k.startswith(("limit_", "value_"))}})
    return show_form(form)


@bp.post("/rehearsal", endpoint="begin")
@allow(SUPERVISOR)
def begin() -> Any:
    """Reads what is asked, refuses what cannot stand, and starts it."""
    form = AskForm(request.form)
    with reading() as session:
        asked = read_asked(session, form)
        if not form.errors and not form.form_errors:
            try:
                start, end = rehearsal.span(unit(), int(form.weeks.data), now(), form.until.data or None)
                rehearsal.check(unit().show, tuple(asked), rehearsal.plan(
                    limits.limit_changes(session, unit().id), tuple(asked)), end)
            except BadRehearsal as error:
                put_errors(form, [(_field(form, error), str(error))])
    if form.errors or form.form_errors:
        return show_form(form, 400)
    try:
        made = held().begin(database(), unit().id, person().name, now(), start, end, [
            (a.name, a.value, a.motor.id if a.motor else None) for a in asked])
    except OneIsRunning as other:
        flash("A rehearsal of this unit is under way: here it is. Begin yours when it is through, or stop it.")
        return redirect(url_for(".shown", key=other.key), 303)
    return redirect(url_for(".shown", key=made.key, **asked_again(form)), 303)


def read_asked(session: Session, form: AskForm) -> list[Asked]:
    """The lines that were filled; errors beside those that cannot be read."""
    motor = motors.motor_by_tag(session, unit().id, form.tag.data) if form.tag.data else None
    if form.tag.data and motor is None:
        put_errors(form, [("tag", "No motor of this unit has this tag.")])
    if not (form.weeks.data or "").isdigit() or int(form.weeks.data) not in WEEKS:
        put_errors(form, [("weeks", "Choose how many weeks.")])
    asked: dict[str, Asked] = {}
    for i in range(1, LINES + 1):
        name, typed = form[f"limit_{i}"].data or "", (form[f"value_{i}"].data or "").strip()
        if not name and not typed:
            continue
        if name not in DEFAULTS or name in asked:
            put_errors(form, [(f"limit_{i}", "This limit is chosen twice." if name in asked else "Choose the limit.")])
            continue
        try:
            si = limit_scale.stored(unit(), read_number(typed), DEFAULTS[name].unit)
            asked[name] = Asked(name, round(si, wording.MOST_PLACES), motor)
        except NotANumber as error:
            put_errors(form, [(f"value_{i}", str(error))])
    if not asked and not form.errors:
        put_errors(form, [("limit_1", "Choose a limit and enter its new value.")])
    return list(asked.values())


def _field(form: AskForm, error: BadRehearsal) -> str:
    """The line whose limit the refusal begins with."""
    return next((f"value_{i}" for i in range(1, LINES + 1)
                 if form[f"limit_{i}"].data and str(error).startswith(f"{form[f'limit_{i}'].data}:")), error.field)


def asked_again(form: AskForm) -> dict[str, str]:
    return {name: field.data for name, field in form._fields.items() if field.data}


def show_form(form: AskForm, status: int = 200) -> Any:
    form.weeks.choices = picks((str(n), "1 week" if n == 1 else f"{n} weeks") for n in WEEKS)
    this_week = week_of(now(), unit().calendar.zone)
    form.until.choices = picks([("", "now"), *((w, f"the end of {w}") for w in (
        next_week(this_week, -back) for back in range(1, WEEKS_BACK + 1)))])
    with reading() as session:
        in_force = limits.limits_at(session, unit().id, None, now())
        form.tag.choices = picks([("", f"the whole unit, {unit().name}"), *(
            (m.tag, f"{m.tag} alone") for m in motors.motors_of(session, unit().id))])
    for i in range(1, LINES + 1):
        form[f"limit_{i}"].choices = picks(
            (name, f"{limit_groups.heading(name)}: {d.says}, now "
                   f"{limit_sanity.told(d, in_force.value(name), unit().show)}")
            for name, d in DEFAULTS.items() if name not in limit_groups.RAISES_NOTHING)
    return render_template("rehearsal/ask.html", form=form, lines=range(1, LINES + 1)), status


# how far it is, and what came of it ------------------------------------------------------------------------


@bp.get("/rehearsal/<key>")
@allow(SUPERVISOR)
def shown(key: str) -> Any:
    running = held().get(unit().id, key)
    if running is None:
        return render_template("rehearsal/gone.html", again=request.args.to_dict()), 404
    if not running.over.is_set():
        page = render_template("rehearsal/running.html", running=running, again=request.args.to_dict())
        return page, 200, {"Refresh": str(ASK_AGAIN_S)}
    if running.found is None:
        return render_template("rehearsal/failed.html", running=running, again=request.args.to_dict())
    return show_found(running)


def show_found(running: Running) -> Any:
    found = running.found
    assert found is not None
    return render_template("rehearsal/found.html", running=running, found=found, again=request.args.to_dict(),
                           told=[(DEFAULTS[a.name], limit_sanity.told(DEFAULTS[a.name], a.value, unit().show), a.motor)
                                 for a in found.asked])


@bp.post("/rehearsal/<key>/stop")
@allow(SUPERVISOR)
def stop(key: str) -> Any:
    running = found_or_404(held().get(access.unit().id, key))
    running.stop = True
    running.over.wait(5)
    return redirect(url_for(".shown", key=key), 303)
