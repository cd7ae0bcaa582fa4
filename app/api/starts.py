"""Starts, stops and trips through the door, and the question "may it be started?"."""

from __future__ import annotations

from typing import Any

from flask import jsonify, request

from app import start_records
from app.api.door import bp, for_token, instant, local_iso, motor_or_404, unit
from app.api.entries import answer_entries, by_token
from app.api.problems import bad_parameter
from app.api.schema import ref
from app.current import now, reading
from app.entries import read_start, read_stop, read_trip


@bp.post("/starts")
@for_token("record", takes=ref("Start"))
def post_starts() -> Any:
    """Stores one start, whatever came of it, or a list of them, each answered on its own."""
    return answer_entries(read_start, by_token(start_records.record_start))


@bp.post("/stops")
@for_token("record", takes=ref("Stop"))
def post_stops() -> Any:
    """Stores one stop, or a list of them, each answered on its own."""
    return answer_entries(read_stop, by_token(start_records.record_stop))


@bp.post("/trips")
@for_token("record", takes=ref("Trip"))
def post_trips() -> Any:
    """Stores one trip, or a list of them, each answered on its own."""
    return answer_entries(read_trip, by_token(start_records.record_trip))


@bp.get("/motors/<tag:tag>/start-permission")
@for_token("read", query=("at", "then"), gives=ref("StartPermission"))
def get_start_permission(tag: str) -> Any:
    """Advice on the start limits at an instant (now where none is given); it clears nobody and releases nothing."""
    then = request.args.get("then", "")
    if then not in ("", "continuous"):
        raise bad_parameter("then", "Send continuous, or leave it out.")
    at = instant("at") or now()
    with reading() as session:
        motor = motor_or_404(session, tag)
        given = start_records.permission(session, unit(), motor, at, then_continuous=then == "continuous")
    return jsonify({
        "answer": given.answer, "not_before": local_iso(given.not_before, unit().calendar),
        "decided_by": given.decided_by, "source": given.source, "starts_last_60_min": given.starts_last_60_min,
        "tries_left": given.tries_left, "says": given.says})
