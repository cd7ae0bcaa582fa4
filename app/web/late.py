"""What the clock alone has made late since the round was opened: flagged with the first look at sheet or review."""

from __future__ import annotations

from flask import g
from sqlalchemy.orm import Session

from app import half_way
from app.web import banners
from app.web.access import now, reading, unit, writing


def something_is_late(session: Session) -> bool:
    """Whether there is something that nobody has flagged yet. The page's banner shows what it is found in."""
    banners.look_up(session)
    return bool(half_way.unflagged(session, unit(), g.half_way, now()))


def flag_what_is_late() -> None:
    with reading() as session:
        late = something_is_late(session)
    if late:
        with writing() as session:
            half_way.flag_late(session, unit(), now())
            session.commit()
