"""Signing in and out, choosing the unit, the screen's theme."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, g, make_response, redirect, render_template, request, url_for
from flask import session as session_of_flask
from wtforms import Form, PasswordField, StringField
from wtforms.validators import InputRequired, Length

from app import guessing
from app.store import people
from app.store.people import OPERATOR
from app.web import access
from app.web.access import ANYONE, allow, now, reading, writing

bp = Blueprint("accounts", __name__)

WRONG = "This name and secret do not fit. Check both and try again."


class SignInForm(Form):
    sign_in = StringField("Sign-in name", [InputRequired("Enter your sign-in name."), Length(max=80)])
    secret = PasswordField("PIN or pass-phrase", [InputRequired("Enter your PIN or pass-phrase."), Length(max=200)])


@bp.get("/sign-in")
@allow(ANYONE)
def sign_in() -> Any:
    if g.signed_in:
        return redirect(url_for("home.start"))
    return render_template("accounts/sign_in.html", form=None, next=request.args.get("next", ""), kept=None)


@bp.post("/sign-in", endpoint="sign_in_post")
@allow(ANYONE)
def sign_in_post() -> Any:
    form = SignInForm(request.form)
    if not access.token_fits():
        form.sign_in.errors = ["The page was too old. It is fresh now: enter your secret once more."]
        return _again(form, 400)
    if not form.validate():
        return _again(form, 400)
    who, address = form.sign_in.data.replace("\x00", "").strip().casefold(), request.remote_addr or ""
    with writing() as session:
        wait = guessing.wait_s(session, who, address, now())
        if not wait:
            guessing.count_try(session, who, address, now())
        session.commit()
    if wait:
        form.secret.errors = [f"Too many wrong tries. Wait {wait} s and try again."]
        return _again(form, 429, {"Retry-After": str(wait)})
    with reading() as session:
        found = people.person_by_sign_in(session, who)
    fits = guessing.secret_fits(found.secret_hash if found and found.active else None, form.secret.data)
    if not fits or found is None or not found.units:
        form.secret.errors = [WRONG if not fits else "No unit is given to you yet. Ask your supervisor."]
        return _again(form, 401 if not fits else 403)
    with writing() as session:
        who_is_it = session.get_one(people.Person, found.id)
        who_is_it.last_sign_in_at = now()
        guessing.forgive(session, who, address)
        value = access.start_session(session, who_is_it, who_is_it.units[0], address)
        session.commit()
    return _signed_in(value, request.form.get("kept", ""), request.form.get("next", ""))


def _again(form: SignInForm, status: int, headers: dict[str, str] | None = None) -> Any:
    page = render_template("accounts/sign_in.html", form=form, next=request.form.get("next", ""),
                           kept=request.form.get("kept") or None)
    return page, status, headers or {}


def _signed_in(value: str, kept: str, next_path: str) -> Any:
    """Goes on to where the person was; what was typed before the sign-in is shown to be saved."""
    form = access.unpack_form(kept) if kept else None
    if form is None:
        answer = make_response(redirect(access.local_path(next_path), 303))
    else:
        with reading() as session:
            g.signed_in = people.live_session(session, access.hashed(value), now())
        answer = make_response(render_template("accounts/send_again.html", kept=form))
    access.set_cookie(answer, access.cookie_name(), value, access.settings().session_hours)
    return answer


@bp.post("/sign-out")
@allow(OPERATOR)
def sign_out() -> Any:
    """Ends this person's sessions everywhere."""
    with writing() as session:
        people.end_sessions(session, access.person(), now())
        session.commit()
    answer = make_response(redirect(url_for("accounts.sign_in"), 303))
    answer.delete_cookie(access.cookie_name(), path="/", secure=request.is_secure, httponly=True, samesite="Lax")
    answer.headers["Clear-Site-Data"] = '"cache"'
    session_of_flask.clear()  # a sentence meant for this person is not for the next
    return answer


@bp.post("/unit")
@allow(OPERATOR)
def choose_unit() -> Any:
    """Goes over to another of the person's own units; one that is not theirs does not exist for them."""
    unit_id = request.form.get("unit_id", type=int)
    chosen = access.found_or_404(next((u for u in access.person().units if u.id == unit_id), None))
    with writing() as session:
        session.get_one(people.SignedIn, g.signed_in.key).unit_id = chosen.id
        session.commit()
    flash(f"You are now in {chosen.name}.")
    return redirect(url_for("home.start"))


@bp.get("/screen/<name>")
@allow(ANYONE)
def set_theme(name: str) -> Any:
    """The theme is kept on the device, not with the person: the sun is where the tablet is."""
    answer = make_response(redirect(access.local_path(request.args.get("next"))))
    if name in ("sun", "indoor", "night"):
        access.set_cookie(answer, "theme", name, 24 * 365)
    return answer
