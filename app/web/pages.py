"""Puts the pages together: every blueprint, what each template can use, the headers each answer carries."""

from __future__ import annotations

import re
from typing import Any

from flask import Flask, Response, current_app, g, request
from flask.sessions import SecureCookieSessionInterface

from app.releases import release
from app.web import access, banners, compressing, errors, formatting, request_log, screen

#: No inline script, no inline style, nothing from elsewhere, no frame around us.
CONTENT_POLICY = ("default-src 'self'; img-src 'self' data:; style-src 'self'; script-src 'self'; object-src 'none'; "
                  "base-uri 'none'; form-action 'self'; frame-ancestors 'none'; "
                  "worker-src 'self'; manifest-src 'self'; connect-src 'self'")
THEMES = tuple(word for word, _, _ in screen.CHOICES[0].words)


class SaidCookie(SecureCookieSessionInterface):
    """Flask's own cookie, which carries the sentence shown after a save: secure wherever the page came by https."""

    def get_signing_serializer(self, app: Flask) -> Any:
        """Made once: the key stays what it is while the program runs, and every request asks."""
        if "said" not in app.extensions:
            app.extensions["said"] = super().get_signing_serializer(app)
        return app.extensions["said"]

    def get_cookie_secure(self, app: Flask) -> bool:
        return request.is_secure

    def get_cookie_name(self, app: Flask) -> str:
        return access.bound_to_host(super().get_cookie_name(app))


#: Carried by each answer that does not say otherwise itself.
HEADERS = (
    ("Content-Security-Policy", CONTENT_POLICY), ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "same-origin"), ("Cross-Origin-Opener-Policy", "same-origin"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
    ("Permissions-Policy", "geolocation=(), microphone=(), camera=()"),
)
OVER_HTTPS = ("Strict-Transport-Security", "max-age=31536000")


def with_headers(response: Response) -> Response:
    headers = response.headers
    said = {name.lower() for name, _ in headers}
    for name, value in (*HEADERS, OVER_HTTPS) if request.is_secure else HEADERS:
        if name.lower() not in said:
            headers.add(name, value)
    kept = "cache-control" in said and response.cache_control.public
    if not kept and not (request.endpoint or "").endswith("static"):
        # A shared tablet: what one person saw must not come back for the next from any cache.
        headers["Cache-Control"] = "no-store"
    return response


#: How the paths of the walk begin: their pages keep a line for what waits on the tablet from the first, so that nothing
#: moves under a finger when it is filled in.
OF_THE_WALK = frozenset({"", "sheet", "motors", "entries", "tablet", "dips", "lubrication", "greasings", "starts",
                         "trips", "temporary", "handover"})


def page_context() -> dict[str, object]:
    signed = g.get("signed_in")
    context: dict[str, object] = {
        **screen.chosen(), "version": release(), "csrf_token": access.csrf_token,
        "draft_key": access.draft_key, "on_walk": bool(signed) and request.path.split("/")[1] in OF_THE_WALK,
        "signed_in": signed, "me": signed.person if signed else None, "unit": signed.unit if signed else None,
        "now": access.now(), "nobody_yet": nobody_yet,
    }
    if signed and "greasing_overdue" not in g:
        banners.look_up()
    context["greasing_overdue"] = g.get("greasing_overdue", 0)
    context["half_way"] = standing_half_way
    return context


def nobody_yet() -> bool:
    """Whether nobody at all can sign in: only the sign-in page asks."""
    from app import set_up

    with access.reading() as session:
        return set_up.nobody_yet(session)


def standing_half_way() -> list[Any]:
    """What stands half-way in the unit, for banner, sheet, review and motor."""
    if g.get("signed_in") and "half_way" not in g:
        banners.look_up()
    return g.get("half_way", [])  # type: ignore[no-any-return]


def one_name(endpoint: str, values: dict[str, Any]) -> None:
    """The release stands in the path, where a script's own imports keep it: behind it as well, the same script would
    have two names and run twice."""
    if endpoint == "static":
        values.pop("v", None)


def any_static(filename: str) -> Response:
    """A style or script asked for without a release, or by a page of an earlier one that is still open."""
    return current_app.send_static_file(re.sub(r"^[0-9a-f]{10}/", "", filename))


def register(app: Flask) -> None:
    from app.web import (
        accounts,
        changes,
        dips,
        entry_last,
        flag_numbers,
        flags,
        handover,
        home,
        insulation,
        judge,
        labels,
        lubrication,
        motors,
        offline,
        own,
        paper,
        register,
        rehearsal,
        rounds,
        routes,
        running,
        screen,
        search,
        sessions,
        set_up,
        settings,
        signatures,
        standards,
        starts,
        tablets,
        temporary,
        timeline,
        trends,
        week,
    )

    for module in (home, accounts, screen, rounds, entry_last, motors, starts, dips, flags, lubrication, insulation,
                   week, register, settings, standards, signatures, handover, temporary, timeline, trends, changes,
                   flag_numbers, judge, tablets, own, rehearsal, running, set_up, offline,
                   routes, labels, search, paper, sessions):
        app.register_blueprint(module.bp)
    app.add_url_rule("/static/<path:filename>", "any_static", any_static)
    for name in ("static", "any_static"):
        app.view_functions[name].allowed = access.ANYONE  # type: ignore[attr-defined]
    app.url_defaults(one_name)
    app.session_interface = SaidCookie()
    app.before_request(access.check_request)
    compressing.register(app)
    app.after_request(offline.mark_whose)
    app.after_request(access.close_request)
    app.after_request(with_headers)
    app.context_processor(page_context)
    formatting.register(app)
    request_log.register(app)
    running.register(app)
    errors.register(app)
