"""Errors told kindly: what happened, what to do. As a page for people; the JSON door has its own."""

from __future__ import annotations

from typing import Any

from flask import Flask, abort, g, render_template, request
from flask.globals import request_ctx
from sqlalchemy.exc import DBAPIError
from werkzeug.exceptions import HTTPException

from app import storage_faults
from app.web import request_log

#: No key of the database is larger; a number in an address beyond it names nothing.
LARGEST_KEY = 2**31 - 1
WORDS = {
    400: ("This request could not be read", "Go back and try once more."),
    401: ("Sign in first", "Your sign-in has ended. What you typed is kept on the page before."),
    403: ("Not for this role", "Ask the person whose job it is."),
    404: ("There is nothing here", "It may belong to another unit, or the address is mistyped."),
    405: ("Not this way", "Go back and use the buttons of the page."),
    409: ("Somebody else was faster", "Look at what changed and decide again."),
    413: ("That is too much at once", "Send less in one go: 2 MB is the most."),
    429: ("Too many wrong tries", "Wait a little and try once more."),
    500: ("The server failed", "What you entered may not be stored. Go back, check, and send it again."),
    503: storage_faults.AWAY,
}


def key(text: str) -> int:
    """A number out of an address as a key. Raises ValueError for what can be none."""
    number = int(text)
    if not 0 <= number <= LARGEST_KEY:
        raise ValueError(text)
    return number


def refuse_impossible_keys() -> None:
    """Not found, instead of a number too large for the database or a text that PostgreSQL takes for no text."""
    if any(v > LARGEST_KEY if isinstance(v, int) else "\x00" in str(v) for v in (request.view_args or {}).values()):
        abort(404)


def show(code: int, detail: str | None = None, words: tuple[str, str] | None = None) -> Any:
    if code >= 500:
        g.greasing_overdue, g.half_way = 0, []  # the page that tells of it must not ask the database again
    title, advice = words or WORDS.get(code, ("This did not work", "Go back and try once more."))
    if request.path.startswith("/api/"):
        return {"type": "about:blank", "title": title, "status": code, "detail": detail or advice}, code, {
            "Content-Type": "application/problem+json"}
    if request_ctx.url_adapter is None:  # a host name that is not ours: no page can be built for it
        return f"{title}. {advice}\n", code, {"Content-Type": "text/plain; charset=utf-8"}
    return render_template("errors/error.html", code=code, title=title, advice=advice, detail=detail,
                           typed=typed_form() if code >= 500 else None,
                           request_id=request_log.request_id() if code >= 500 else None), code


def typed_form() -> dict[str, Any] | None:
    """What was posted when the server or its database failed, to be sent again as it was. Never a secret."""
    if request.method != "POST" or not request.form:
        return None
    if any("secret" in name or "pin" in name.split("_") for name in request.form):
        return None
    fields = [(name, value) for name in request.form for value in request.form.getlist(name) if name != "csrf_token"]
    return {"path": request.full_path.rstrip("?"), "fields": fields, "files": bool(request.files),
            "csrf_token": request.form.get("csrf_token", "")}


def register(app: Flask) -> None:
    app.before_request(refuse_impossible_keys)

    @app.errorhandler(HTTPException)
    def _http(error: HTTPException) -> Any:
        own_words = error.description if error.description != type(error).description else None
        return show(error.code or 500, own_words)

    @app.errorhandler(DBAPIError)
    def _database(error: DBAPIError) -> Any:
        """The database's own trouble is told as such; a statement of ours that it refuses is our fault: 500."""
        app.logger.error("database: %s", error.orig)
        if not storage_faults.is_fault(error):
            return show(500)
        page, code = show(503, words=storage_faults.told(error))
        return page, code, {"Retry-After": str(storage_faults.AGAIN_S)}
