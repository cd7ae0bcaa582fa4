"""The JSON door, /api/v1: who knocks, what the body is, and the routes of each noun."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import quote, urlencode

from flask import Blueprint, Flask, Response, current_app, g, jsonify, request
from sqlalchemy.exc import DBAPIError
from werkzeug.exceptions import HTTPException, InternalServerError
from werkzeug.routing import BaseConverter

from app import guessing, storage_faults
from app.api.problems import Refused, bad_parameter
from app.api.schema import Schema
from app.current import now, reading, writing
from app.rules.shifts import Calendar
from app.store import motors, people
from app.store.motors import Motor
from app.store.people import Token
from app.store.units import Unit

bp = Blueprint("api", __name__, url_prefix="/api/v1")

#: Wrong tokens from one address in a quarter of an hour before it is told to wait. A valid token never waits.
WRONG_TOKENS = 30
PAGE = 500
JSON = "application/json"
#: Entries in one list at most.
MOST = 500
USED_EVERY = timedelta(minutes=1)


class TagConverter(BaseConverter):
    """A tag exactly as typed: slashes, blanks and all, percent-encoded on the way."""

    regex = ".+?"
    part_isolating = False


def for_token(scope: str, *, query: tuple[str, ...] = (), needed: tuple[str, ...] = (), takes: Schema | None = None,
              gives: Schema | None = None, shapes: dict[str, Schema] | None = None) -> Callable[[Any], Any]:
    """Marks a route as the door's own: a token of this scope (record includes read) opens it.

    query: the parameters it knows, any other is refused; needed: those it cannot do without. takes, gives: the shape of
    one entry sent in, and of the answer; shapes: those of parameters that are not as elsewhere. The description is made
    from these.
    """

    def mark(view: Any) -> Any:
        view.allowed, view.scope, view.query, view.needed = "token", scope, query, needed
        view.takes, view.gives, view.shapes, view.most = takes, gives, shapes or {}, MOST
        return view

    return mark


def open_door() -> None:
    """Before every request here: a valid token, wide enough. Wrong ones are counted per address."""
    if request.endpoint is None:
        return
    view = current_app.view_functions[request.endpoint]
    scope = getattr(view, "scope", None)
    if scope is None:
        return
    kind, _, given = request.headers.get("Authorization", "").partition(" ")
    token = _known(given.strip()) if kind.lower() == "bearer" and given.strip() else None
    if token is None:
        _count_wrong(bool(given.strip()))
        raise Refused(401, "Send a valid token: Authorization: Bearer …", headers={"WWW-Authenticate": "Bearer"})
    if scope == "record" and token.scope != "record":
        raise Refused(403, "This token may read only.")
    g.token = token
    time.sleep(current_app.extensions["token_pace"].wait_s(token.id, time.monotonic()))
    _check_query(view.query, view.needed)


def _check_query(known: tuple[str, ...], needed: tuple[str, ...]) -> None:
    """A parameter that is not known, or given twice, would be ignored in silence: it is named instead."""
    for name in request.args:
        if name not in known:
            raise bad_parameter(name[:60], f"No such parameter here. Known: {', '.join(known) or 'none'}.")
        if len(request.args.getlist(name)) > 1:
            raise bad_parameter(name, "It is given twice.")
    for name in needed:
        if not request.args.get(name):
            raise bad_parameter(name, "This is needed.")


def _known(given: str) -> Token | None:
    with reading() as session:
        token = people.live_token(session, guessing.hash_token(given))
    if token is not None and (token.last_used_at is None or now() - token.last_used_at > USED_EVERY):
        with writing() as session:
            session.get_one(Token, token.id).last_used_at = now()
            session.commit()
    return token


def _count_wrong(given: bool) -> None:
    """Counted apart from people's wrong secrets: a system with an old token keeps nobody off the tablet beside it."""
    address = f"token from {request.remote_addr or ''}"
    with reading() as session:
        count, last = people.newest_failures(session, now() - guessing.WINDOW, address=address)
    if given and count < 10 * WRONG_TOKENS:  # enough to be told to wait; more would only fill the table
        with writing() as session:
            guessing.count_try(session, "token", address, now())
            session.commit()
    if count >= WRONG_TOKENS and last is not None and now() - last < timedelta(seconds=guessing.LONGEST_WAIT_S):
        raise Refused(429, "Too many wrong tokens from this address.",
                      headers={"Retry-After": str(guessing.LONGEST_WAIT_S)})


def unit() -> Unit:
    return g.token.unit  # type: ignore[no-any-return]


# bodies and parameters -------------------------------------------------------------------------------------


def _refuse_constant(word: str) -> float:
    raise ValueError(f"{word} is not a number here")


def body() -> Any:
    """The JSON body, read strictly: no NaN, no infinity, no twice-named keys."""
    if not request.is_json:
        raise Refused(415, "Send Content-Type: application/json.")
    try:
        return json.loads(request.get_data(), parse_constant=_refuse_constant, object_pairs_hook=_no_twins)
    except (ValueError, RecursionError) as error:
        raise Refused(400, f"The body is not JSON that can be taken: {error}") from error


def _no_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    read: dict[str, Any] = {}
    for key, value in pairs:
        if key in read:
            raise ValueError(f"{key[:60]!r} is named twice")
        read[key] = value
    return read


def after() -> int:
    text = request.args.get("after", "0")
    if not text.isascii() or not text.isdigit() or len(text) > 9:  # what PostgreSQL takes for a key
        raise not_from_next()
    return int(text)


def not_from_next() -> Refused:
    return bad_parameter("after", "Take it from `next` of the page before.")


def instant(name: str) -> datetime | None:
    """A time of the query, in UTC; None where it is not given."""
    text = request.args.get(name)
    if not text:
        return None
    try:
        # An unencoded + in an address arrives as a blank.
        moment = datetime.fromisoformat(text.replace(" ", "+"))
    except ValueError:
        raise bad_parameter(name, f"“{text[:40]}” is not a time such as 2026-11-24T07:12:00-06:00.") from None
    if moment.tzinfo is None:
        raise bad_parameter(name, "The time needs its offset from UTC.")
    if not 1970 < moment.year < 2200:
        raise bad_parameter(name, f"“{text[:40]}” is outside 1971 to 2199.")
    return moment.astimezone(UTC)


def motor_or_404(session: Any, tag: str) -> Motor:
    motor = motors.motor_by_tag(session, unit().id, tag) if "\0" not in tag else None
    if motor is None:
        raise Refused(404, "No motor of this unit has this tag.")
    return motor


def local_iso(value: datetime | None, calendar: Calendar) -> str | None:
    """The unit's local time with the offset it had then."""
    return None if value is None else value.astimezone(calendar.zone).isoformat(timespec="seconds")


def page(name: str, rows: list[Any], keys: list[Any], **parameters: str) -> Response:
    """One page of a list, and the address of the next one (null at the end)."""
    following = None
    if len(rows) > PAGE:
        rows = rows[:PAGE]
        args = {k: v for k, v in {**parameters, "after": keys[PAGE - 1]}.items() if v}
        following = f"{request.path}?{urlencode(args, quote_via=quote, safe='')}"
    return jsonify({name: rows, "next": following})


# On the blueprint once, however many apps this process makes of it.
bp.before_request(open_door)
bp.register_error_handler(Refused, lambda error: error.response())
bp.register_error_handler(HTTPException, lambda error: http_problem(error).response())
bp.register_error_handler(DBAPIError, lambda error: storage_problem(error).response())


def storage_problem(error: DBAPIError) -> Refused:
    """The database's own trouble: send again later, with the same id. What it refuses of ours is our fault."""
    current_app.logger.error("database: %s", error.orig)
    if not storage_faults.is_fault(error):
        return http_problem(InternalServerError())
    return Refused(503, ". ".join(storage_faults.told(error)), headers={"Retry-After": str(storage_faults.AGAIN_S)})


def http_problem(error: HTTPException) -> Refused:
    """What the server itself refuses, told like every other problem."""
    status = error.code or 500
    details = {404: "Nothing has this address.", 405: "This address is not used with this method.",
               413: f"The body is larger than {current_app.config['MAX_CONTENT_LENGTH']:,} bytes.",
               500: "The server failed. What you sent may not be stored: send it again with the same id."}
    allow = ", ".join(sorted(getattr(error, "valid_methods", None) or ()))
    detail = details.get(status) or error.description or ""
    return Refused(status, detail, headers={"Allow": allow} if allow else None)


def register(app: Flask) -> None:
    from app.api import entries, lists, openapi, starts, tablet  # noqa: F401 - they put their routes on the blueprint

    app.url_map.converters["tag"] = TagConverter
    app.register_blueprint(bp)
    app.register_blueprint(tablet.bp)
    pages = app.error_handler_spec[None][None].get(HTTPException)

    def outside(error: HTTPException) -> Any:
        """No route was reached: within the doors' paths a problem too, elsewhere the page for people."""
        data = request.path.startswith("/tablet/") and (request.is_json or request.accept_mimetypes.best == JSON)
        if request.path.startswith(f"{bp.url_prefix}/") or data or pages is None:
            return http_problem(error).response()
        return pages(error)

    for status in (404, 405):
        app.register_error_handler(status, outside)
