"""The first set-up in the browser: the code, the unit, the first supervisor; then what is left to do, step by step.

The first three are open to whoever holds the code that `serve` printed, until the first supervisor is there; then
they are gone for good. What is left stands on a page of the supervisor's that says what is done, so that each step
can be taken up again.
"""

from __future__ import annotations

import hmac
from typing import Any
from zoneinfo import available_timezones

import sqlalchemy as sa
from flask import Blueprint, abort, flash, make_response, redirect, render_template, request, url_for
from wtforms import Form, PasswordField, StringField

from app import guessing, set_up
from app.set_up import Closed
from app.store import people, rounds, units
from app.store.motors import Motor
from app.store.register_columns import clean
from app.unit_settings import SCALES, BadUnit
from app.web import access
from app.web.access import ANYONE, SUPERVISOR, allow, now, reading, writing
from app.web.fields import WordField, picks, put_errors
from app.web.request_log import tell_access
from app.web.settings_people import check_name, check_secret, check_sign_in
from app.web.settings_unit import LINES, PRESETS, SHOWN, typed_starts

bp = Blueprint("set_up", __name__)

COOKIE, HOURS = "set-up", 12
TOO_OLD = "The page was too old. It is fresh now: send it once more."


class CodeForm(Form):
    code = StringField("Code")


class UnitForm(Form):
    name = StringField("Name of the unit")
    time_zone = StringField("Time zone")
    temperature = WordField("Temperatures", SCALES["temperature"])
    power = WordField("Rated power", SCALES["power"])
    vibration = WordField("Vibration", SCALES["vibration"])
    grease = WordField("Grease and oil", SCALES["grease"])


for _i in LINES:
    setattr(UnitForm, f"name_{_i}", StringField(f"Shift {_i}"))
    setattr(UnitForm, f"at_{_i}", StringField(f"Shift {_i} begins at"))


class SupervisorForm(Form):
    sign_in = StringField("Sign-in name")
    name = StringField("Name")
    secret = PasswordField("Pass-phrase")
    again = PasswordField("The same once more")


# the door --------------------------------------------------------------------------------------------------


def admitted() -> bool:
    """Whether this browser gave the code that counts now. Once there is a supervisor there is nothing here."""
    with reading() as session:
        if not set_up.is_open(session):
            abort(404)
        wanted = set_up.pass_of(session, access.settings().secret)
    given = request.cookies.get(access.bound_to_host(COOKIE), "")
    return wanted is not None and hmac.compare_digest(given.encode(), wanted.encode())


def next_step() -> Any:
    with reading() as session:
        done = bool(units.all_units(session))
    return redirect(url_for(".supervisor" if done else ".unit"), 303)


@bp.get("/set-up")
@allow(ANYONE)
def code() -> Any:
    return next_step() if admitted() else render_template("set_up/code.html", form=CodeForm())


@bp.post("/set-up", endpoint="code_post")
@allow(ANYONE)
def code_post() -> Any:
    """One try at a time: each wrong one makes the next wait longer."""
    form, address = CodeForm(request.form), request.remote_addr or ""
    admitted()
    if not access.token_fits():
        return refuse(form, "set_up/code.html", [("code", TOO_OLD)])
    with writing() as session:
        wait = guessing.wait_s(session, set_up.WHO, address, now())
        fits = not wait and set_up.fits(session, form.code.data or "")
        if fits:
            guessing.forgive(session, set_up.WHO, address)
        elif not wait:
            guessing.count_try(session, set_up.WHO, address, now())
        given = set_up.pass_of(session, access.settings().secret) or ""
        session.commit()
    tell_access("told to wait" if wait else "set-up code taken" if fits else "wrong set-up code")
    if wait:
        page = refuse(form, "set_up/code.html", [("code", f"Too many wrong tries. Wait {wait} s and try again.")], 429)
        return (*page, {"Retry-After": str(wait)})
    if not fits:
        return refuse(form, "set_up/code.html", [(
            "code", "This is not the code. It stands where the server was started, and is new at each start.")], 403)
    answer = make_response(next_step())
    access.set_cookie(answer, access.bound_to_host(COOKIE), given, HOURS)
    return answer


def refuse(form: Form, template: str, errors: list[tuple[str, str]], status: int = 400, **more: Any) -> Any:
    put_errors(form, errors)
    return render_template(template, form=form, **more), status


# the unit, the first supervisor ----------------------------------------------------------------------------


@bp.get("/set-up/unit")
@allow(ANYONE)
def unit() -> Any:
    if not admitted():
        return redirect(url_for(".code"))
    form = UnitForm()
    for i, (name, at) in enumerate(PRESETS.get(request.args.get("preset", ""), PRESETS["12"]), start=1):
        form[f"name_{i}"].data, form[f"at_{i}"].data = name, at
    return show_unit(form)


@bp.post("/set-up/unit", endpoint="unit_post")
@allow(ANYONE)
def unit_post() -> Any:
    if not admitted():
        return redirect(url_for(".code"), 303)
    form = UnitForm(request.form)
    if not access.token_fits():
        return show_unit(form, [("name", TOO_OLD)])
    with writing() as session:
        try:
            set_up.first_unit(session, clean(form.name.data or ""), clean(form.time_zone.data or ""),
                              typed_starts(form), {name: form[name].data or "" for name in SCALES}, now())
        except BadUnit as error:
            return show_unit(form, [(error.field, str(error))])
        except Closed:
            abort(404)
        session.commit()
    return redirect(url_for(".supervisor"), 303)


def show_unit(form: UnitForm, errors: list[tuple[str, str]] | None = None) -> Any:
    for name in SCALES:
        form[name].choices = picks((word, SHOWN[word]) for word in SCALES[name])
    with reading() as session:
        there = units.all_units(session)
    more = {"lines": LINES, "presets": PRESETS, "there": there, "zones": sorted(
        zone for zone in available_timezones() if "/" in zone and not zone.startswith(("Etc/", "SystemV/")))}
    return refuse(form, "set_up/unit.html", errors, **more) if errors else render_template(
        "set_up/unit.html", form=form, **more)


@bp.get("/set-up/supervisor")
@allow(ANYONE)
def supervisor() -> Any:
    if not admitted():
        return redirect(url_for(".code"))
    return show_supervisor(SupervisorForm())


@bp.post("/set-up/supervisor", endpoint="supervisor_post")
@allow(ANYONE)
def supervisor_post() -> Any:
    """The first supervisor, signed in at once. From here on nothing is set up without signing in."""
    if not admitted():
        return redirect(url_for(".code"), 303)
    form = SupervisorForm(request.form)
    sign_in, name = clean(form.sign_in.data or ""), clean(form.name.data or "")
    with reading() as session:
        words = [sign_in, name, *(u.name for u in units.all_units(session))]
    errors = [*check_sign_in(sign_in), *check_name(name), *check_secret(
        form.secret.data or "", form.again.data or "", people.SUPERVISOR, needed=True, words=words)]
    if not access.token_fits():
        errors.append(("sign_in", TOO_OLD))
    if errors:
        return show_supervisor(form, errors)
    hashed = guessing.hash_secret(form.secret.data)  # slow on purpose: before the write begins
    with writing() as session:
        if people.person_by_sign_in(session, sign_in) is not None:
            return show_supervisor(form, [("sign_in", "Choose another sign-in name: this one is taken.")])
        if not units.all_units(session):
            return redirect(url_for(".unit"), 303)
        try:
            made = set_up.first_supervisor(session, sign_in, name, hashed, now())
        except Closed:
            abort(404)
        value = access.start_session(session, made, made.units[0], request.remote_addr or "")
        session.commit()
    tell_access("signed in", "first set-up", made.id)
    answer = make_response(redirect(url_for(".steps"), 303))
    access.set_cookie(answer, access.cookie_name(), value, access.session_hours())
    answer.delete_cookie(access.bound_to_host(COOKIE), path="/", secure=request.is_secure)
    flash(f"{name} may sign in as {sign_in}. The set-up by code is closed for good.")
    return answer


def show_supervisor(form: SupervisorForm, errors: list[tuple[str, str]] | None = None) -> Any:
    with reading() as session:
        there = units.all_units(session)
    if not there:
        return redirect(url_for(".unit"), 303)
    return refuse(form, "set_up/supervisor.html", errors, there=there) if errors else render_template(
        "set_up/supervisor.html", form=form, there=there)


# what is left ----------------------------------------------------------------------------------------------


@bp.get("/first-steps")
@allow(SUPERVISOR)
def steps() -> Any:
    """What is done and what comes next, read off the unit itself: it can be left and taken up at any time."""
    with reading() as session:
        here = access.unit()
        crew = [p for p in people.people_of(session, here) if p.active]
        motors = session.scalar(sa.select(sa.func.count()).where(Motor.unit_id == here.id)) or 0
        return render_template("set_up/steps.html", crew=crew, motors=motors,
                               sheet=bool(rounds.newest_rounds(session, here.id, 1)))
