"""The way in: where each of the three starts, and whether the server is up."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from flask import Blueprint, redirect, url_for

from app.store.motors import Motor
from app.store.people import HEAD_OPERATOR, OPERATOR, SUPERVISOR
from app.web.access import ANYONE, allow, person, reading, unit

bp = Blueprint("home", __name__)


@bp.get("/")
@allow(OPERATOR)
def start() -> Any:
    """The operator's sheet, the head operator's review, the supervisor's week; while there is no motor, first steps."""
    if person().may(SUPERVISOR) and not _any_motor():
        return redirect(url_for("set_up.steps"))
    first = {OPERATOR: "rounds.sheet", HEAD_OPERATOR: "flags.review", SUPERVISOR: "week.this_week"}
    return redirect(url_for(first[person().role]))


def _any_motor() -> bool:
    with reading() as session:
        return bool(session.scalar(sa.select(sa.exists().where(Motor.unit_id == unit().id))))


@bp.get("/healthz")
@allow(ANYONE)
def healthz() -> Any:
    """200 when the server can answer and the database can be read."""
    with reading() as session:
        session.execute(sa.text("SELECT 1"))
    return {"status": "ready"}


@bp.get("/livez")
@allow(ANYONE)
def livez() -> Any:
    """200 while the program runs, whatever its database does: a restart would not help."""
    return {"status": "alive"}


livez.without_session = True  # type: ignore[attr-defined] # the database is not asked who this is


@bp.get("/help")
@allow(ANYONE)
def help_page() -> Any:
    from flask import render_template

    return render_template("home/help.html")
