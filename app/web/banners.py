"""What the banners of the page tell, looked up once a page; a page that asks for the same itself may put it there."""

from __future__ import annotations

from flask import g
from sqlalchemy.orm import Session

from app import lubricating
from app.store import banners
from app.web.access import now, reading, unit


def look_up(session: Session | None = None) -> None:
    """Sets g.half_way and g.greasing_overdue, where the page has not done so itself."""
    if session is None:
        with reading() as own:
            return look_up(own)
    found = banners.of_unit(session, unit().id)
    g.setdefault("half_way", found.half_way)
    if "greasing_overdue" not in g:
        g.greasing_overdue = lubricating.count_overdue(found.intervals, now())
