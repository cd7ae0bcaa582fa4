"""What the clock alone has made late since the round was opened: flagged with the first look at sheet or review."""

from __future__ import annotations

from flask import g

from app import half_way
from app.web import banners
from app.web.access import now, reading, unit, writing


def flag_what_is_late() -> None:
    banners.look_up()
    with reading() as session:
        late = half_way.unflagged(session, unit(), g.half_way, now())
    if late:
        with writing() as session:
            half_way.flag_late(session, unit(), now())
            session.commit()
