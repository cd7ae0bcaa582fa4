"""What the server tells of its requests: one JSON line each on standard error, with an id that the answer carries.

No private text: the path without its question, numbers and times; no names, nothing typed, no secret, no token.
Statements are named by their SQL, which holds no values.

Who came in, who was refused and what changed about who may is told always, with the address it came from: `says` is
"access", `event` one of `EVENTS`, `about` the number of whom or what it is about, where that is known.
"""

from __future__ import annotations

import json
import logging
import re
import secrets
import time
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from flask import Flask, Response, g, has_request_context, request

from app.config import Settings
from app.db import Database

log = logging.getLogger("round_sheet")
access_log = logging.getLogger("round_sheet.access")
#: Every kind of event about who may come in. `how` says more: by which secret, which field, which status.
EVENTS = ("signed in", "wrong secret", "told to wait", "signed out", "refused", "form without its token",
          "person changed", "tablet changed", "token changed", "set-up code taken", "wrong set-up code")
SLOW_REQUEST_S = 2.0
#: An id that a proxy of ours gave already.
_GIVEN = re.compile(r"[A-Za-z0-9-]{8,64}")
_EXTRA = ("request_id", "method", "path", "status", "ms", "queries", "person", "unit", "statement",
          "event", "how", "about", "from")


class JsonLine(logging.Formatter):
    """A record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        told: dict[str, Any] = {"at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
                                "level": record.levelname.lower(), "says": record.getMessage()}
        told |= {name: getattr(record, name) for name in _EXTRA if hasattr(record, name)}
        if "request_id" not in told and has_request_context():
            told["request_id"] = request_id()
        if record.exc_info:
            told["trace"] = self.formatException(record.exc_info)
        return json.dumps(told, ensure_ascii=False)


def to_standard_error(settings: Settings) -> None:
    """For the served program: JSON lines; every request where the settings ask for it, else what went wrong or slow."""
    handler = logging.StreamHandler()
    handler.setFormatter(JsonLine())
    logging.basicConfig(handlers=[handler], level=logging.WARNING, force=True)
    log.setLevel(logging.INFO if settings.log_requests else logging.WARNING)
    access_log.setLevel(logging.INFO)


def request_id() -> str:
    """This request's id: a proxy's where one stands in front, else our own."""
    known: str | None = g.get("request_id")
    if known is None:
        given = request.headers.get("X-Request-Id", "") if request.environ.get("werkzeug.proxy_fix.orig") else ""
        g.request_id = known = given if _GIVEN.fullmatch(given) else secrets.token_hex(8)
    return known


def tell_access(event: str, how: str = "", about: int | None = None) -> None:
    """One line about who may: now, by this request. how: a word of ours, never what was typed."""
    assert event in EVENTS
    g.access_told = True
    signed = g.get("signed_in")
    access_log.info("access", extra={
        "request_id": request_id(), "event": event, "method": request.method, "path": request.path,
        "from": request.remote_addr or "", **({"how": how} if how else {}),
        **({"about": about} if about is not None else {}),
        **({"person": signed.person_id, "unit": signed.unit_id} if signed else {})})


def _begin() -> None:
    g.began, g.queries = time.monotonic(), 0


def _end(response: Response) -> Response:
    asked = request._get_current_object()  # type: ignore[attr-defined]
    response.headers["X-Request-Id"] = request_id()
    if (asked.endpoint or "").endswith("static"):
        return response
    if response.status_code in (401, 403, 429) and not g.get("access_told"):
        tell_access("refused", str(response.status_code))
    spent = time.monotonic() - g.get("began", time.monotonic())
    level = logging.ERROR if response.status_code >= 500 else (
        logging.WARNING if spent > SLOW_REQUEST_S else logging.INFO)
    if not log.isEnabledFor(level):
        return response
    signed = g.get("signed_in")
    log.log(level, "request", extra={
        "request_id": request_id(), "method": asked.method, "path": asked.path, "status": response.status_code,
        "ms": round(spent * 1000, 1), "queries": g.get("queries", 0),
        **({"person": signed.person_id, "unit": signed.unit_id} if signed else {})})
    return response


def _watch_statements(database: Database, slow_s: float) -> None:
    @sa.event.listens_for(database.engine, "before_cursor_execute")
    def _before(connection: sa.Connection, *_: object) -> None:
        connection.info["began"] = time.monotonic()

    @sa.event.listens_for(database.engine, "after_cursor_execute")
    def _after(connection: sa.Connection, cursor: object, statement: str, *_: object) -> None:
        if has_request_context():
            g.queries = g.get("queries", 0) + 1
        spent = time.monotonic() - connection.info.get("began", time.monotonic())
        if spent > slow_s:
            log.warning("slow statement", extra={"ms": round(spent * 1000, 1),
                                                 "statement": " ".join(statement.split())[:300]})


def register(app: Flask) -> None:
    app.before_request_funcs.setdefault(None, []).insert(0, _begin)
    app.after_request(_end)


def watch(app: Flask) -> None:
    """The served program only: every statement is timed."""
    settings: Settings = app.extensions["settings"]
    _watch_statements(app.extensions["database"], settings.slow_statement_ms / 1000)
