"""What the server tells of its requests: one JSON line each on standard error, with an id that the answer carries.

No private text: the path without its question, numbers and times; no names, nothing typed, no secret, no token.
Statements are named by their SQL, which holds no values.
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
SLOW_REQUEST_S = 2.0
#: An id that a proxy of ours gave already.
_GIVEN = re.compile(r"[A-Za-z0-9-]{8,64}")
_EXTRA = ("request_id", "method", "path", "status", "ms", "queries", "person", "unit", "statement")


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


def request_id() -> str:
    """This request's id: a proxy's where one stands in front, else our own."""
    if "request_id" not in g:
        given = request.headers.get("X-Request-Id", "") if request.environ.get("werkzeug.proxy_fix.orig") else ""
        g.request_id = given if _GIVEN.fullmatch(given) else secrets.token_hex(8)
    return str(g.request_id)


def _begin() -> None:
    g.began, g.queries = time.monotonic(), 0


def _end(response: Response) -> Response:
    response.headers["X-Request-Id"] = request_id()
    if (request.endpoint or "").endswith("static"):
        return response
    spent = time.monotonic() - g.get("began", time.monotonic())
    level = logging.ERROR if response.status_code >= 500 else (
        logging.WARNING if spent > SLOW_REQUEST_S else logging.INFO)
    signed = g.get("signed_in")
    log.log(level, "request", extra={
        "request_id": request_id(), "method": request.method, "path": request.path, "status": response.status_code,
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
