"""The change record: who changed what in register, people and limits, before and after. Nothing of it can be edited."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, render_template, request

from app.entries import clean_text
from app.store import changes, people
from app.store.people import SUPERVISOR
from app.web.access import allow, reading, unit
from app.web.errors import key

bp = Blueprint("changes", __name__)

PAGE = 100


@bp.get("/changes")
@allow(SUPERVISOR)
def page() -> Any:
    """The newest first, narrowed by what, by whom and by words; paged by key."""
    what, words = clean_text(request.args.get("what", "")), clean_text(request.args.get("words", ""))
    by = request.args.get("by", 0, type=key) or None
    before = request.args.get("before", 0, type=key) or None
    with reading() as session:
        found = changes.newest_changes(session, unit().id, PAGE + 1, subject=what, person_id=by, words=words,
                                       before_id=before)
        return render_template(
            "changes/page.html", changes=found[:PAGE], older=found[PAGE - 1].id if len(found) > PAGE else None,
            subjects=changes.subjects_of(session, unit().id), people=people.people_of(session, unit()), what=what,
            by=by, words=words)
