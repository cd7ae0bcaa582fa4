"""Who is asking, for which unit, and whether they may: sessions, forgery tokens, roles.

Every view decides who may call it, or is refused to everybody.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import secrets
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any, TypeVar
from urllib.parse import urlsplit

from flask import Response, abort, current_app, g, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app.current import database, now, reading, settings, writing
from app.store import devices, people
from app.store.devices import Device
from app.store.people import HEAD_OPERATOR, OPERATOR, SUPERVISOR, Person, SignedIn
from app.store.units import Unit
from app.web.browser_words import browser_words
from app.web.request_log import tell_access

View = TypeVar("View", bound=Callable[..., Any])

#: what a view may be: one of the roles, or one of these
ANYONE = "anyone"  # no session needed: sign-in, static files, health
TOKEN = "token"  # the JSON door, which has its own lock

#: A session is touched in the database at most so often.
TOUCH_EVERY = timedelta(minutes=1)
#: What is not offered again after a sign-in: names of fields, with or without their form's prefix.
NEVER_KEPT = ("csrf_token", "secret", "again", "before")
TABLET_DAYS = 400  # the longest a browser keeps a cookie; each sign-in renews it

__all__ = ["ANYONE", "HEAD_OPERATOR", "OPERATOR", "SUPERVISOR", "TOKEN", "database", "now", "reading", "settings",
           "writing"]


def allow(whom: str) -> Callable[[View], View]:
    """Says who may call a view: a role (and those above it), ANYONE or TOKEN. A view that says nothing is refused."""

    def mark(view: View) -> View:
        view.allowed = whom  # type: ignore[attr-defined]
        return view

    return mark


# what a view works with ------------------------------------------------------------------------------------


def person() -> Person:
    return g.signed_in.person  # type: ignore[no-any-return]


def unit() -> Unit:
    return g.signed_in.unit  # type: ignore[no-any-return]


def found_or_404(thing: Any) -> Any:
    """The thing, or 404: another unit's things do not exist for this one."""
    if thing is None:
        abort(404)
    return thing


# the cookie ------------------------------------------------------------------------------------------------


def bound_to_host(name: str) -> str:
    """The cookie's name over https, by which a browser takes it from this very host only."""
    return f"__Host-{name}" if request.is_secure else name


def cookie_name() -> str:
    return bound_to_host("rounds")


def tablet_cookie_name() -> str:
    return bound_to_host("tablet")


def tablet() -> Device | None:
    """The enrolled tablet that asks, by its own cookie; None for any other browser."""
    if "tablet" not in g:
        value = request.cookies.get(tablet_cookie_name())
        g.tablet = None
        if value:
            with reading() as session:
                g.tablet = devices.live_device(session, hashed(value))
    return g.tablet  # type: ignore[no-any-return]


def hashed(value: str) -> str:
    return hashlib.sha256(value.encode()).hexdigest()


def set_cookie(response: Response, name: str, value: str, hours: float) -> None:
    response.set_cookie(name, value, max_age=int(hours * 3600), httponly=True, samesite="Lax",
                        secure=request.is_secure, path="/")


def session_hours() -> float:
    """How long a session begun in this browser may last: an enrolled tablet keeps its shift."""
    return settings().session_hours if tablet() else settings().desk_hours


def desk_idle() -> timedelta:
    return timedelta(minutes=settings().desk_idle_minutes)


def start_session(session: Session, who: Person, unit: Unit, address: str) -> str:
    """A new session for this person: the value for the cookie, shown to nobody else. Ends the tablet's one before."""
    if g.signed_in:
        session.get_one(SignedIn, g.signed_in.key).ended_at = now()
    value = secrets.token_urlsafe(32)
    moment, on = now(), tablet()
    session.add(SignedIn(key=hashed(value), person_id=who.id, unit_id=unit.id, started_at=moment, address=address,
                         expires_at=moment + timedelta(hours=session_hours()), touched_at=moment,
                         device_id=on.id if on else None, browser=browser_words(request.user_agent.string)))
    if on:
        devices.touch(session, on.id, moment)
    return value


# forgery tokens --------------------------------------------------------------------------------------------


def csrf_token() -> str:
    """Lives as long as the session: a form left open all night still saves."""
    return _token_of(g.signed_in.key if g.get("signed_in") else g.visitor)


def _token_of(bound: str) -> str:
    return _made_token(settings().secret, bound)


@lru_cache(512)
def _made_token(secret: bytes, bound: str) -> str:
    """The same for every page and save of a session."""
    return hmac.digest(secret, b"form " + bound.encode(), "sha256").hex()


def draft_key() -> str:
    """What this person's half-typed entries are closed with on a tablet: 32 bytes in hex, in nobody else's pages."""
    return hmac.new(settings().secret, b"draft %d" % person().id, hashlib.sha256).hexdigest()


def token_fits() -> bool:
    return hmac.compare_digest(request.form.get("csrf_token", "").encode(), csrf_token().encode())


def foreign_origin() -> bool:
    origin = request.headers.get("Origin")
    return bool(origin) and origin != "null" and urlsplit(origin).netloc != request.host


# what was typed, kept over a sign-in -----------------------------------------------------------------------


def pack_form() -> str:
    """What was posted, signed, so that it can be offered again after signing in."""
    fields = [[k, v] for k in request.form for v in request.form.getlist(k) if k.rpartition("-")[2] not in NEVER_KEPT]
    body = json.dumps({"path": request.full_path.rstrip("?"), "fields": fields, "by": _typed_by()}).encode()
    seal = hmac.new(settings().secret, b"kept " + body, hashlib.sha256).digest()
    return base64.urlsafe_b64encode(seal + body).decode()


def _typed_by() -> int | None:
    """Whose form this is: of the session in the cookie, ended or not. On a shared tablet nobody else is shown it."""
    if g.signed_in:
        return person().id
    value = request.cookies.get(cookie_name())
    if not value:
        return None
    with reading() as session:
        was = people.session_of_old(session, hashed(value))
        return was.person_id if was else None


def someone_elses_form() -> str | None:
    """The name of another person whose page this form was opened in, on the same tablet."""
    if g.signed_in.device_id is None:
        return None
    sent = request.form.get("csrf_token", "")
    with reading() as session:
        for was in people.newest_sessions_on(session, g.signed_in.device_id):
            if was.person_id != person().id and hmac.compare_digest(sent.encode(), _token_of(was.key).encode()):
                return was.person.name
    return None


def unpack_form(packed: str) -> dict[str, Any] | None:
    """The form as posted before, or None when it was not us who packed it."""
    try:
        raw = base64.urlsafe_b64decode(packed.encode())
    except ValueError:
        return None
    seal, body = raw[:32], raw[32:]
    if not hmac.compare_digest(seal, hmac.new(settings().secret, b"kept " + body, hashlib.sha256).digest()):
        return None
    return json.loads(body)  # type: ignore[no-any-return]


def local_path(text: str | None) -> str:
    """A path of ours to go on to, or the start page: odd slashes, other hosts and control characters are not ours."""
    if not text or not text.startswith("/") or text.startswith(("//", "/\\")) or not text.isprintable() or "\\" in text:
        return url_for("home.start")
    parts = urlsplit(text)
    if parts.scheme or parts.netloc:
        return url_for("home.start")
    return text


# the door --------------------------------------------------------------------------------------------------


def ask_to_sign_in() -> Any:
    """401 as data for scripts, a redirect for a page, and for a form a sign-in that keeps what was typed."""
    if request.is_json or request.accept_mimetypes.best == "application/json":
        abort(401)
    if request.method == "POST":
        from app.web.crew import ask_who  # the page of names stands on this module

        return ask_who(0, {"kept": pack_form()}), 401
    return redirect(url_for("accounts.sign_in", next=request.full_path.rstrip("?")))


def check_request() -> Any:
    """Before every request: who is it, may they, is the form ours. Returns a response to give instead, or None."""
    # Each name asked of flask's `request` and `g` is looked up anew: every save asks fifty times.
    asked, held = request._get_current_object(), g._get_current_object()  # type: ignore[attr-defined]
    held.signed_in = signed = None
    held.visitor = asked.cookies.get(bound_to_host("visitor"), "")
    endpoint, posted = asked.endpoint, asked.method == "POST"
    if endpoint is None:
        return None  # 404 and 405 answer for themselves
    if endpoint.endswith("static"):
        return None
    view = current_app.view_functions[endpoint]
    allowed = getattr(view, "allowed", None)
    if allowed is None:
        abort(403, "This page has not decided who may see it.")
    if allowed == TOKEN:
        return None
    if hasattr(view, "body_limit"):  # a page that takes files says how large they may be
        asked.max_content_length = asked.max_form_memory_size = view.body_limit
    if getattr(view, "without_session", False):
        return None
    if posted and foreign_origin():
        abort(403, "This form came from another site.")
    value = asked.cookies.get(cookie_name())
    if value:
        moment, idle = now(), desk_idle()
        signed = people.live_session(database().glance(), hashed(value), moment)
        if signed and (not signed.person.active or signed.locked(moment, idle)):
            signed = None
        held.signed_in = signed
        if signed:
            _touch(signed, endpoint, moment, idle)
    if not signed and not held.visitor:
        held.visitor = held.new_visitor = secrets.token_urlsafe(16)
    if allowed == ANYONE:
        return None
    if signed is None:
        return ask_to_sign_in()
    who = signed.person
    if not who.may(allowed):
        abort(403, f"This needs a {allowed}. You are signed in as {who.name}, {who.role}.")
    if posted and not asked.is_json and not token_fits():
        tell_access("form without its token")
        other = someone_elses_form()
        if other:
            abort(409, f"This page was opened by {other}, so nothing of it is stored under your name. What {other} "
                       f"typed is kept on this tablet and comes back when {other} signs in and opens the motor.")
        return render_template("accounts/send_again.html", kept=unpack_form(pack_form())), 409
    return None


def _touch(signed: SignedIn, endpoint: str, moment: datetime, idle: timedelta) -> None:
    """Somebody is there: opened a page, sent an entry, or a tablet said so. What a page asks for by itself does not
    count. Nor does a page wait or fail because this cannot be written just now."""
    often = TOUCH_EVERY if signed.device_id else max(TOUCH_EVERY, idle / 12)
    if moment - signed.last_used_at < often:
        return
    mode = request.headers.get("Sec-Fetch-Mode")  # only over https and on the machine itself
    opens_a_page = mode == "navigate" if mode else "text/html" in request.headers.get("Accept", "text/html")
    # At a desk no page says "still here": what is sent from it is somebody's. A tablet sends what waited by itself.
    by_hand = opens_a_page or endpoint == "accounts.still_here" or (not signed.device_id and request.method == "POST")
    if by_hand:
        database().noting(lambda session: people.touch(session, signed, moment))


def close_request(response: Response) -> Response:
    if g.get("new_visitor"):
        set_cookie(response, bound_to_host("visitor"), g.new_visitor, 24 * 365)
    return response
