"""The ticket that a tablet is given with the sheet: it ties entries to a person, a unit and a shift.

Entries wait on the tablet while there is no network. When they are sent, the session of the person who made them may
have ended, or somebody else may hold the tablet. The ticket still says whose they are. It opens nothing else: it reads
no page and speaks only for entries observed in and around its shift.

>>> from datetime import UTC, datetime, timedelta
>>> begun = datetime(2026, 11, 24, 12, tzinfo=UTC)
>>> given = Ticket(7, 2, "Day 2026-11-24", begun, begun + timedelta(hours=12), begun, begun + ACCEPTED_FOR)
>>> read(b"secret", issue(b"secret", given), begun) == given
True
>>> read(b"another", issue(b"secret", given), begun)
Traceback (most recent call last):
    ...
app.tickets.BadTicket: This ticket is not from this server.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from app.rules.shifts import Shift

#: How long after it was given a ticket is taken: a tablet may lie in a locker between two turns of duty.
ACCEPTED_FOR = timedelta(days=42)
#: So long before its shift began and after it ended an entry may be observed: a walk that ran over, one entered later.
AROUND = timedelta(hours=12)
#: A real ticket is about 300 characters.
LONGEST = 2000
_TIMES = ("starts_at", "ends_at", "issued_at", "expires_at")


class BadTicket(ValueError):
    """A ticket that is not taken, with the words to show."""


@dataclass(frozen=True)
class Ticket:
    """Whose entries, of which unit, of which shift; all instants in UTC, to the second."""

    person_id: int
    unit_id: int
    shift: str
    starts_at: datetime
    ends_at: datetime
    issued_at: datetime
    expires_at: datetime

    def covers(self, at: datetime) -> bool:
        return self.starts_at - AROUND <= at < self.ends_at + AROUND


def for_shift(person_id: int, unit_id: int, shift: Shift, now: datetime) -> Ticket:
    now = now.replace(microsecond=0)
    return Ticket(person_id, unit_id, shift.label, shift.starts_at, shift.ends_at, now, now + ACCEPTED_FOR)


def issue(secret: bytes, ticket: Ticket) -> str:
    """The ticket as text that travels in a header: its content, a point, its seal."""
    told = {k: int(v.timestamp()) if k in _TIMES else v for k, v in asdict(ticket).items()}
    body = json.dumps(told, separators=(",", ":"), sort_keys=True).encode()
    return f"{_text(body)}.{_text(_seal(secret, body))}"


def read(secret: bytes, text: str, now: datetime) -> Ticket:
    """The ticket in a text of ours. Raises BadTicket."""
    body, seal = _parts(text)
    if not hmac.compare_digest(seal, _seal(secret, body)):
        raise BadTicket("This ticket is not from this server.")
    told: dict[str, Any] = json.loads(body)
    ticket = Ticket(**{k: datetime.fromtimestamp(v, UTC) if k in _TIMES else v for k, v in told.items()})
    if now >= ticket.expires_at:
        raise BadTicket("This ticket has run out.")
    return ticket


def _seal(secret: bytes, body: bytes) -> bytes:
    return hmac.new(secret, b"ticket " + body, hashlib.sha256).digest()


def _text(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).decode().rstrip("=")


def _parts(text: str) -> tuple[bytes, bytes]:
    body, _, seal = text.partition(".")
    try:
        if len(text) > LONGEST:
            raise ValueError
        return tuple(base64.urlsafe_b64decode((part + "=" * (-len(part) % 4)).encode("ascii"))  # type: ignore[return-value]
                     for part in (body, seal))
    except ValueError:
        raise BadTicket("This is not a ticket.") from None
