"""The last figures of a motor, asked for by its page once a new one is in.

Nothing of this is in the page before: who knows the last figure reads it again.
"""

from __future__ import annotations

import uuid
from typing import Any

from flask import Blueprint, jsonify, request

from app.last_values import COLUMNS, Last, last_values
from app.rules.facts import Show
from app.store import motors, rounds
from app.store.people import OPERATOR
from app.web.access import allow, found_or_404, now, reading, unit
from app.web.entry_filling import in_typed_unit

bp = Blueprint("last", __name__)


@bp.get("/motors/<int:motor_id>/last.json")
@allow(OPERATOR)
def figures(motor_id: int) -> Any:
    """Field -> its last figure and its usual one, in the units typed at the motor. ?entry: before that entry."""
    with reading() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        before = _before(session, request.args.get("entry", ""))
        past = last_values(session, motor, before or now())
    return jsonify(figures={name: _told(name, each, unit().show) for name, each in past.items()})


def _before(session: Any, key: str) -> Any:
    try:
        row = rounds.reading_by_id(session, unit().id, uuid.UUID(key))
    except ValueError:
        return None
    return row.taken_at if row else None


def _told(name: str, past: Last, show: Show) -> dict[str, Any]:
    last, usual = (None if value is None else round(in_typed_unit(value, COLUMNS[name], show), 6)
                   for value in (past.last, past.usual))
    return {"last": last, "usual": usual, "from_plate": past.from_plate}
