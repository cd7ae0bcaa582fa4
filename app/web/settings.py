"""The unit's settings and its tokens. The unit itself, limits and people have modules of their own."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, redirect, render_template, url_for

from app.rules.limits import DEFAULTS
from app.store.changes import note_change
from app.store.people import Person, Token, people_of, tokens_of
from app.web import access, settings_limits, settings_order, settings_people, settings_unit
from app.web.access import SUPERVISOR, allow, found_or_404, now, reading, writing
from app.web.request_log import tell_access

bp = Blueprint("settings", __name__)
settings_people.add_to(bp)
settings_limits.add_to(bp)
settings_unit.add_to(bp)
settings_order.add_to(bp)


@bp.get("/settings")
@allow(SUPERVISOR)
def index() -> Any:
    with reading() as session:
        unit = access.unit()
        set_here = [line for line in settings_limits.limit_lines(session, unit) if line.set_here]
        live = [token for token in tokens_of(session, unit) if token.revoked_at is None]
        return render_template("settings/index.html", people=people_of(session, unit), limits=DEFAULTS,
                               set_here=set_here, tokens=live, in_force=unit.calendar.pattern_at(now()))


# tokens ----------------------------------------------------------------------------------------------------


@bp.get("/settings/tokens")
@allow(SUPERVISOR)
def tokens_page() -> Any:
    with reading() as session:
        return render_template("settings/tokens.html", tokens=tokens_of(session, access.unit()))


@bp.post("/settings/tokens/<int:token_id>/revoke")
@allow(SUPERVISOR)
def revoke(token_id: int) -> Any:
    """What came in by the token stays; nothing more comes in by it."""
    with writing() as session:
        token = session.get(Token, token_id)
        token = found_or_404(token if token and token.unit_id == access.unit().id else None)
        if token.revoked_at is None:
            token.revoked_at = now()
            note_change(session, unit_id=token.unit_id, at=now(), person=session.get_one(Person, access.person().id),
                        subject="token", subject_id=token.id, label=token.name, field="revoked", before="no",
                        after="yes")
            tell_access("token changed", "revoked", token.id)
        session.commit()
        flash(f"{token.name} is revoked: nothing can be read or sent with it any more.")
    return redirect(url_for(".tokens_page"), 303)
