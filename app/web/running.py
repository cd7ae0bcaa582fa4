"""How the program runs: a page of counts for the supervisor, and Prometheus text for whoever watches the machine."""

from __future__ import annotations

import time
from typing import Any

from flask import Blueprint, Flask, Response, abort, current_app, g, render_template, request

from app import VERSION, guessing, running_state
from app.config import BadSetting
from app.store import people
from app.web import access
from app.web.access import ANYONE, SUPERVISOR, allow, now, reading, settings

bp = Blueprint("running", __name__)


@bp.get("/settings/running")
@allow(SUPERVISOR)
def page() -> Any:
    with reading() as session:
        state = running_state.state_of(session, access.unit(), now(), settings().instance)
    return render_template("settings/running.html", state=state, waited=running_state.WAITED,
                           clock_off=running_state.CLOCK_OFF, program=VERSION)


@bp.get("/metrics")
@allow(ANYONE)
def metrics() -> Any:
    """Off unless the settings say so; then for a token of scope read, as Prometheus sends one."""
    watched = current_app.extensions.get("metrics")
    if watched is None:
        abort(404)
    kind, _, given = request.headers.get("Authorization", "").partition(" ")
    with reading() as session:
        token = people.live_token(session, guessing.hash_token(given.strip())) if kind.lower() == "bearer" else None
        if token is None:
            return "Send a token: Authorization: Bearer …\n", 401, {"WWW-Authenticate": "Bearer"}
        state = running_state.state_of(session, token.unit, now(), settings().instance)
    return Response(watched.text(state, now()), content_type="text/plain; version=0.0.4; charset=utf-8")


GAUGES = {
    "entries_24h": "Entries received in 24 hours.", "entries_waited_24h": "Of these, over 30 min on the way.",
    "longest_wait_seconds": "The longest of them.", "clocks_off_24h": "Entries by clocks over 2 min off.",
    "signed_in": "People signed in.", "wrong_secrets_24h": "Wrong secrets in 24 hours.",
    "database_bytes": "Size of the database.", "last_copy_age_seconds": "Since the last whole copy; -1: none.",
}


class Metrics:
    """Counts of this process, and the stored state when asked. The library is an extra: BadSetting without it."""

    def __init__(self) -> None:
        try:
            from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram
        except ImportError as error:
            raise BadSetting("metrics = true needs the extra `metrics`: pip install '.[metrics]'") from error
        self.registry = CollectorRegistry()
        self.requests = Counter("round_sheet_requests", "Requests answered.", ["method", "status"],
                                registry=self.registry)
        self.seconds = Histogram("round_sheet_request_seconds", "Time to answer.", registry=self.registry)
        self.gauges = {name: Gauge(f"round_sheet_{name}", says, registry=self.registry)
                       for name, says in GAUGES.items()}

    def answered(self, response: Response) -> Response:
        self.requests.labels(request.method, str(response.status_code)).inc()
        self.seconds.observe(time.monotonic() - g.get("began", time.monotonic()))
        return response

    def text(self, state: running_state.State, at: Any) -> bytes:
        from prometheus_client import generate_latest

        values = {"entries_24h": state.entries, "entries_waited_24h": state.waited,
                  "longest_wait_seconds": state.longest_wait.total_seconds() if state.longest_wait else 0,
                  "clocks_off_24h": state.clocks_off, "signed_in": state.signed_in,
                  "wrong_secrets_24h": state.wrong_secrets, "database_bytes": state.database_bytes,
                  "last_copy_age_seconds": (at - state.last_copy).total_seconds() if state.last_copy else -1}
        for name, value in values.items():
            self.gauges[name].set(value)
        return bytes(generate_latest(self.registry))


def register(app: Flask) -> None:
    if app.extensions["settings"].metrics:
        app.extensions["metrics"] = watched = Metrics()
        app.after_request(watched.answered)
