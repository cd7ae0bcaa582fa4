"""Where a person is signed in, as pages call it."""

from __future__ import annotations

import hashlib
from datetime import timedelta

from flask import g
from sqlalchemy.orm import Session

from app.store import people
from app.store.people import SignedIn
from app.web import access
from app.web.access import now

#: A tablet touched within this time is taken to be in somebody's hands; common practice, no published source.
IN_HAND = timedelta(minutes=30)


def where(signed: SignedIn) -> str:
    """The tablet by its name, or the browser in plain words."""
    return signed.device.name if signed.device else signed.browser or "a browser"


def name_of(signed: SignedIn) -> str:
    """What an address calls it: nothing that a cookie could be made of."""
    return hashlib.sha256(f"shown {signed.key}".encode()).hexdigest()[:16]


def in_hand(signed: SignedIn) -> bool:
    return signed.device is not None and now() - signed.last_used_at < IN_HAND


def own_list(session: Session) -> list[SignedIn]:
    """Where this person is signed in, this browser first."""
    found = people.live_sessions_of(session, access.person().id, now(), access.desk_idle())
    return sorted(found, key=lambda s: s.key != g.signed_in.key)
