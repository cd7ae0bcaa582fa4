"""Signing in and out, the change of hands on a shared tablet, choosing the unit."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, flash, g, make_response, redirect, render_template, request, url_for
from flask import session as session_of_flask
from wtforms import Form, PasswordField, StringField
from wtforms.validators import InputRequired, Length

from app import guessing
from app.store import people
from app.store.people import OPERATOR
from app.web import access
from app.web.access import ANYONE, allow, now, reading, writing
from app.web.crew import ask_who, by_pin
from app.web.errors import key
from app.web.request_log import tell_access
from app.web.signing_in import count_try, let_in, wait_words

bp = Blueprint("accounts", __name__)

WRONG = "This name and secret do not fit. Check both and try again."


class SignInForm(Form):
    sign_in = StringField("Sign-in name", [InputRequired("Enter your sign-in name."), Length(max=80)])
    secret = PasswordField("PIN or pass-phrase", [InputRequired("Enter your PIN or pass-phrase."), Length(max=200)])


# who is it -------------------------------------------------------------------------------------------------


@bp.get("/sign-in")
@allow(ANYONE)
def sign_in() -> Any:
    """On an enrolled tablet the crew by name, then the PIN; anywhere else, and for supervisors, name and secret."""
    if g.signed_in:
        return redirect(url_for("home.start"))
    return ask_who(request.args.get("person", 0, type=key), request.args)


@bp.post("/sign-in", endpoint="sign_in_post")
@allow(ANYONE)
def sign_in_post() -> Any:
    """The secret after the name, typed; or, on an enrolled tablet, the PIN after the name, tapped."""
    tablet = access.tablet()
    if tablet is not None and "person" in request.form:
        return by_pin(tablet)
    if "typed" in request.form:  # somebody who is not among the names, with what was typed before still kept
        return ask_who(0, request.form)
    form = SignInForm(request.form)
    if not access.token_fits():
        form.sign_in.errors = ["The page was too old. It is fresh now: enter your secret once more."]
        return _again(form, 400)
    if not form.validate():
        return _again(form, 400)
    who = form.sign_in.data.replace("\x00", "").strip().casefold()
    wait = count_try(who)
    if wait:
        form.secret.errors = [wait_words(wait)]
        return _again(form, 429, {"Retry-After": str(wait)})
    with reading() as session:
        found = people.person_by_sign_in(session, who)
    fits = guessing.secret_fits(found.secret_hash if found and found.active else None, form.secret.data)
    if not fits or found is None or not found.units:
        tell_access("wrong secret", "name and secret", found.id if found else None)
        form.secret.errors = [WRONG if not fits else "No unit is given to you yet. Ask your supervisor."]
        return _again(form, 401 if not fits else 403)
    here = next((u for u in found.units if tablet and u.id == tablet.unit_id), found.units[0])
    return let_in(found, here, "name and secret")


def _again(form: SignInForm, status: int, headers: dict[str, str] | None = None) -> Any:
    page = render_template("accounts/sign_in.html", form=form, next=request.form.get("next", ""),
                           kept=request.form.get("kept") or None, tablet=access.tablet())
    return page, status, headers or {}


# and who no longer -----------------------------------------------------------------------------------------


@bp.post("/sign-out")
@allow(OPERATOR)
def sign_out() -> Any:
    """Ends this person's sessions here and at every desk; asked to, on shared tablets too, which may be on a walk."""
    everywhere = "everywhere" in request.form
    with writing() as session:
        if everywhere:
            people.end_sessions(session, access.person(), now())
        else:
            people.end_at_desks(session, access.person().id, g.signed_in.key, now())
        session.commit()
    tell_access("signed out", "everywhere" if everywhere else "every desk")
    answer = _out(url_for("accounts.sign_in"))
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


@bp.post("/change-hands")
@allow(OPERATOR)
def change_hands() -> Any:
    """Ends the session on this tablet only; the next taps their name and goes on where this one was."""
    with writing() as session:
        session.get_one(people.SignedIn, g.signed_in.key).ended_at = now()
        session.commit()
    tell_access("signed out", "here")
    return _out(url_for("accounts.sign_in", next=access.local_path(request.form.get("next"))))


def _out(path: str) -> Response:
    answer = make_response(redirect(path, 303))
    answer.delete_cookie(access.cookie_name(), path="/", secure=request.is_secure, httponly=True, samesite="Lax")
    session_of_flask.clear()  # a sentence meant for this person is not for the next
    return answer


@bp.post("/still-here")
@allow(OPERATOR)
def still_here() -> Any:
    """The tablet was touched without a page being opened: the door has counted it already."""
    return "", 204


# unit and screen -------------------------------------------------------------------------------------------


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
