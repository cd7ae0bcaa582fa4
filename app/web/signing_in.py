"""What every way of signing in ends in: the try counted, the session begun, back to where the person was."""

from __future__ import annotations

from typing import Any

from flask import current_app, flash, g, make_response, redirect, render_template, request, url_for
from werkzeug.exceptions import HTTPException
from werkzeug.routing import RequestRedirect

from app import guessing
from app.store import people
from app.store.people import Person
from app.store.units import Unit
from app.web import access
from app.web.access import now, reading, writing
from app.web.request_log import tell_access


def count_try(who: str) -> int:
    """Seconds that this name must still wait here; 0 when it may try, and then the try is counted."""
    address = request.remote_addr or ""
    with writing() as session:
        wait = guessing.wait_s(session, who, address, now())
        if not wait:
            guessing.count_try(session, who, address, now())
        session.commit()
    if wait:
        tell_access("told to wait")
    return wait


def wait_words(wait: int) -> str:
    return f"Too many wrong tries. Wait {wait} s and try again."


def let_in(found: Person, unit: Unit, by: str) -> Any:
    """by: with which secret, as the log says it."""
    address = request.remote_addr or ""
    with writing() as session:
        who = session.get_one(Person, found.id)
        who.last_sign_in_at = now()
        guessing.forgive(session, who.sign_in_key, address)
        value = access.start_session(session, who, session.get_one(Unit, unit.id), address)
        session.commit()
    tell_access("signed in", by, found.id)
    return _signed_in(value, found, request.form.get("kept", ""), request.form.get("next", ""))


def _signed_in(value: str, who: Person, kept: str, next_path: str) -> Any:
    """Goes on to where the person was; what that person typed before the sign-in is shown to be saved."""
    form = access.unpack_form(kept) if kept else None
    if form is None or form["by"] not in (None, who.id):
        if form is not None:
            flash("What was on this page was typed by somebody else: it is not stored and not shown to you. On a "
                  "tablet it comes back when that person signs in and opens the motor.")
        path = access.local_path(next_path)
        answer = make_response(redirect(_within_reach(who, path) if access.tablet() else path, 303))
    else:
        with reading() as session:
            g.signed_in = people.live_session(session, access.hashed(value), now())
        answer = make_response(render_template("accounts/send_again.html", kept=form))
    access.set_cookie(answer, access.cookie_name(), value, access.session_hours())
    tablet = access.tablet()
    if tablet is not None:  # renewed, so that a tablet in use stays enrolled
        access.set_cookie(answer, access.tablet_cookie_name(), request.cookies[access.tablet_cookie_name()],
                          24 * access.TABLET_DAYS)
    return answer


def _within_reach(who: Person, path: str) -> str:
    """The path, or the start page: what a tablet's last person had open may not be for the next."""
    try:
        endpoint, _ = current_app.url_map.bind("localhost").match(path.partition("?")[0], method="GET")
    except (HTTPException, RequestRedirect):
        return path
    allowed = getattr(current_app.view_functions[endpoint], "allowed", None)
    return path if allowed not in people.ROLES or who.may(allowed) else url_for("home.start")
