"""One motor's history on one line of time, narrowed to a kind, a page at a time."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, abort, render_template, request

from app import timeline
from app.store import flags, motors, rounds
from app.store.people import OPERATOR
from app.timeline import FILTERS, BadKey
from app.web.access import allow, found_or_404, reading, unit

bp = Blueprint("timeline", __name__)


@bp.get("/motors/<int:motor_id>/timeline")
@allow(OPERATOR)
def page(motor_id: int) -> Any:
    shown = request.args.get("kind", "")
    if shown not in ("", *FILTERS):
        abort(404, "There is no such kind of entry.")
    with reading() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        try:
            entries, older = timeline.page(session, motor, shown, request.args.get("before", ""))
        except BadKey:
            abort(404, "There is no such page of the history.")
        ids = [e.row.id for e in entries if isinstance(e.row, rounds.Reading)]
        return render_template(
            "timeline/page.html", motor=motor, entries=entries, older=older, shown=shown, filters=FILTERS,
            found=flags.findings_of(session, ids), corrected=rounds.corrected_of(session, ids))
