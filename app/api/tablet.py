"""The tablet's door, /tablet/…: the bodies of /api/v1, by session or by ticket, from our own pages only.

Signed out is an answer here (401 as a problem), never a redirect; every answer about one entry repeats its id. The
author travels in the entry and is proved by the ticket, else by the session; who sent it is kept beside.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import Any
from urllib.parse import urlsplit

from flask import Blueprint, Response, g, request
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session
from werkzeug.exceptions import HTTPException

from app import recording, start_records, tickets
from app.api.door import body, http_problem, storage_problem
from app.api.entries import answer_entries, key_of
from app.api.problems import Refused
from app.current import now, settings
from app.entries import (
    BadEntry,
    Entry,
    Problem,
    clean_text,
    read_greasing,
    read_reading,
    read_start,
    read_stop,
    read_trip,
)
from app.recording import Recorded, Sender
from app.store.carried import CarriedEntry
from app.store.people import Person
from app.store.units import Unit
from app.tickets import BadTicket, Ticket

bp = Blueprint("tablet_door", __name__, url_prefix="/tablet")

Read, Store = Callable[[Any], Entry], Callable[[Session, Sender, Entry], Recorded]
KINDS: dict[str, tuple[Read, Store]] = {
    "greasings": (read_greasing, recording.record_greasing), "starts": (read_start, start_records.record_start),
    "stops": (read_stop, start_records.record_stop), "trips": (read_trip, start_records.record_trip)}
#: What was typed where it was converted: so many fields, so long each, at most.
MOST_TYPED, LONGEST_TYPED = 40, 60


@bp.post("/readings")
def post_readings() -> Any:
    """Readings and skips. Beside the fields of /api/v1, `typed` may say what was typed where it was converted."""
    kept: dict[str, dict[str, str]] = {}

    def read(item: Any) -> Entry:
        plain, typed = _without_typed(item)
        entry = read_reading(plain)
        kept[str(entry.id)] = typed
        return entry

    return _answer(read, lambda session, sender, entry: recording.record_reading(
        session, sender, entry, kept[str(entry.id)]))


def _without_typed(item: Any) -> tuple[Any, dict[str, str]]:
    if not isinstance(item, dict) or "typed" not in item:
        return item, {}
    typed = item["typed"]
    good = isinstance(typed, dict) and len(typed) <= MOST_TYPED and all(
        isinstance(text, str) and max(len(name), len(text)) <= LONGEST_TYPED for name, text in typed.items())
    if not good:
        raise BadEntry([Problem("typed", "Send what was typed as text, field by field.")])
    plain = {name: value for name, value in item.items() if name != "typed"}
    return plain, {clean_text(name): clean_text(text) for name, text in typed.items()}


def _answer(read: Read, store: Store) -> Any:
    _from_our_own_pages()
    sent = body()
    g.about = key_of(sent)
    ticket = _ticket()
    if ticket is None and g.signed_in is None:
        raise _sign_in("Sign in, or send the ticket that came with the sheet.")
    return answer_entries(read, lambda session, entry: _record(session, store, entry, ticket))


def _record(session: Session, store: Store, entry: Entry, ticket: Ticket | None) -> Recorded:
    sender = _by_session(entry) if ticket is None else None
    sender = sender or _by_ticket(session, entry, ticket)
    answer = store(session, sender, entry)
    signed = g.signed_in.person if g.signed_in else None
    assert sender.person is not None
    if answer.stored and ticket is not None and (signed is None or signed.id != sender.person.id):
        session.add(CarriedEntry(entry_id=answer.id, unit_id=sender.unit.id, person_id=signed.id if signed else None,
                                 ticket_issued_at=ticket.issued_at, at=sender.received_at))
        session.flush()
    return answer


# whose it is -----------------------------------------------------------------------------------------------


def _same(sign_in: str, person: Person) -> bool:
    return sign_in.strip().casefold() == person.sign_in_key


def _by_session(entry: Entry) -> Sender | None:
    """The author themself is signed in, in the unit they work in now; a ticket could name another one of theirs."""
    if g.signed_in is None or not _same(entry.by, g.signed_in.person):
        return None
    return Sender(g.signed_in.unit, now(), person=g.signed_in.person)


def _by_ticket(session: Session, entry: Entry, ticket: Ticket | None) -> Sender:
    """Raises Refused: 401 where signing in as the author would help, 403 where it would not."""
    if ticket is None:
        raise _sign_in(f"This entry was made by “{entry.by}”. Sign in with that name to send it.")
    author, unit = session.get(Person, ticket.person_id), session.get(Unit, ticket.unit_id)
    if author is None or unit is None or not _same(entry.by, author):
        raise Refused(403, f"The ticket is not that of “{entry.by}”.", [Problem("by", "Not whose ticket this is.")])
    if not author.active or unit.id not in {u.id for u in author.units}:
        raise Refused(403, f"{author.name} no longer works in this unit. Show this entry to the head operator.",
                      [Problem("by", "No person of this unit signs in with this name.")])
    at, _ = recording.corrected_time(entry, "taken_at", now())
    if not ticket.covers(at):
        if g.signed_in is not None and g.signed_in.person.id == author.id:
            return Sender(unit, now(), person=author)
        raise _sign_in(f"The ticket of {ticket.shift} does not reach to this time. Sign in as {author.name}.")
    return Sender(unit, now(), person=author)


def _ticket() -> Ticket | None:
    """The ticket of the header, where it is still taken; a bad one is as good as none when the author is signed in."""
    text = request.headers.get("Ticket", "")
    if not text:
        return None
    try:
        return tickets.read(settings().secret, text, now())
    except BadTicket as error:
        if g.signed_in is None:
            raise _sign_in(f"{error} Sign in to send this entry.") from error
        return None


def _sign_in(says: str) -> Refused:
    return Refused(401, says, headers={"WWW-Authenticate": "Ticket"})


# the door --------------------------------------------------------------------------------------------------


def _from_our_own_pages() -> None:
    """A browser tells where a post comes from; another site's page, or one without an origin, is not ours."""
    origin = request.headers.get("Origin")
    if origin is not None and urlsplit(origin).netloc != request.host:
        raise Refused(403, "This entry came from another site.")
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        raise Refused(403, "This entry came from another site.")


def _told(refused: Refused) -> Response:
    """A problem that repeats the id it is about: only so the tablet knows that it was our server that refused."""
    refused.about = g.get("about")
    if refused.status == 401:
        refused.title = "Sign in first"
    return refused.response()


def _away(error: DBAPIError) -> Response:
    """The database may be away before it is known who is asking; what was sent is read all the same, for its id."""
    if "about" not in g:
        with suppress(Refused, HTTPException):
            g.about = key_of(body())
    return _told(storage_problem(error))


def _with_time(response: Response) -> Response:
    """The tablet shows when the server had it, by the server's clock."""
    response.headers["Received-At"] = now().isoformat(timespec="seconds")
    return response


bp.register_error_handler(Refused, _told)
bp.register_error_handler(HTTPException, lambda error: _told(http_problem(error)))
bp.register_error_handler(DBAPIError, _away)
bp.after_request(_with_time)
post_readings.allowed = "anyone"  # type: ignore[attr-defined] # session or ticket: asked entry by entry, told as data
for _kind, _ways in KINDS.items():
    _view = partial(_answer, *_ways)
    _view.allowed = "anyone"  # type: ignore[attr-defined]
    bp.add_url_rule(f"/{_kind}", f"post_{_kind}", _view, methods=["POST"])
