"""Errors told kindly: what happened, what to do. As a page for people; the JSON door has its own."""

from __future__ import annotations

from typing import Any

from flask import Flask, abort, g, render_template, request
from flask.globals import request_ctx
from sqlalchemy.exc import OperationalError
from werkzeug.exceptions import HTTPException

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
    503: ("The database cannot be reached", "Nothing was stored. Keep the page open and send again in a minute."),
}


def key(text: str) -> int:
    """A number out of an address as a key. Raises ValueError for what can be none."""
    number = int(text)
    if not 0 <= number <= LARGEST_KEY:
        raise ValueError(text)
    return number


def refuse_impossible_keys() -> None:
    """Not found, instead of a number too large for the database."""
    if any(isinstance(v, int) and v > LARGEST_KEY for v in (request.view_args or {}).values()):
        abort(404)


def show(code: int, detail: str | None = None) -> Any:
    if code >= 500:
        g.greasing_overdue = 0  # the page that tells of it must not ask the database again
    title, advice = WORDS.get(code, ("This did not work", "Go back and try once more."))
    if request.path.startswith("/api/"):
        return {"type": "about:blank", "title": title, "status": code, "detail": detail or advice}, code, {
            "Content-Type": "application/problem+json"}
    if request_ctx.url_adapter is None:  # a host name that is not ours: no page can be built for it
        return f"{title}. {advice}\n", code, {"Content-Type": "text/plain; charset=utf-8"}
    return render_template("errors/error.html", code=code, title=title, advice=advice, detail=detail), code


def register(app: Flask) -> None:
    app.before_request(refuse_impossible_keys)

    @app.errorhandler(HTTPException)
    def _http(error: HTTPException) -> Any:
        own_words = error.description if error.description != type(error).description else None
        return show(error.code or 500, own_words)

    @app.errorhandler(OperationalError)
    def _database(error: OperationalError) -> Any:
        app.logger.error("database: %s", error.orig)
        return show(503)
