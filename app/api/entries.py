"""Entries through the door: one object or a list, each answered on its own, each stored once."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from flask import g, jsonify
from sqlalchemy.orm import Session

from app import recording
from app.api.door import MOST, body, bp, for_token, unit
from app.api.problems import Refused, bad_fields
from app.api.schema import ref
from app.current import now, writing
from app.entries import BadEntry, Entry, read_greasing, read_reading
from app.export.tables import figure
from app.recording import NotAllowed, OtherContent, Recorded, Sender
from app.rules.findings import Finding


def told(answer: Recorded) -> dict[str, Any]:
    return {"id": str(answer.id), "stored": answer.stored, "findings": [finding_told(f) for f in answer.findings]}


def finding_told(found: Finding) -> dict[str, Any]:
    return dict(vars(replace(found, value=figure(found.value), limit=figure(found.limit))))


#: Stores one entry in the session of one transaction.
Record = Callable[[Session, Entry], Recorded]


def by_token(record: Callable[[Session, Sender, Entry], Recorded]) -> Record:
    """The token brings it in, for the person it names."""
    return lambda session, entry: record(session, Sender(unit(), now(), token=g.token), entry)


def _take(item: Any, read: Callable[[Any], Entry], record: Record) -> Recorded:
    """Stores one item in a transaction of its own. Raises Refused."""
    try:
        entry = read(item)
        with writing() as session:
            answer = record(session, entry)
            session.commit()
            return answer
    except BadEntry as error:
        raise bad_fields(error) from error
    except OtherContent as error:
        raise Refused(409, str(error), error.problems) from error
    except NotAllowed as error:
        raise Refused(403, str(error)) from error


def answer_entries(read: Callable[[Any], Entry], record: Record) -> Any:
    """One object: 201 stored, 200 already had. A list: 200 and one answer an item, in order."""
    sent = body()
    if not isinstance(sent, list):
        answer = _take(sent, read, record)
        return jsonify(told(answer)), 201 if answer.stored else 200
    if len(sent) > MOST:
        raise Refused(413, f"A list has {MOST} entries at most; this one has {len(sent)}.")
    return jsonify([_one_of_many(item, read, record) for item in sent])


def _one_of_many(item: Any, read: Callable[[Any], Entry], record: Record) -> dict[str, Any]:
    try:
        return told(_take(item, read, record))
    except Refused as refused:
        return {"id": key_of(item), "stored": False, "problem": refused.body()}


def key_of(item: Any) -> str | None:
    """The id that an item says it has, where that can be one."""
    key = item.get("id") if isinstance(item, dict) else None
    return key if _is_key(key) else None


def _is_key(value: Any) -> bool:
    try:
        return isinstance(value, str) and bool(uuid.UUID(value))
    except ValueError:
        return False


@bp.post("/readings")
@for_token("record", takes=ref("Reading"))
def post_readings() -> Any:
    """Stores one reading, or a list of them, each answered on its own."""
    return answer_entries(read_reading, by_token(recording.record_reading))


@bp.post("/greasings")
@for_token("record", takes=ref("Greasing"))
def post_greasings() -> Any:
    """Stores one greasing of one bearing, or a list of them, each answered on its own."""
    return answer_entries(read_greasing, by_token(recording.record_greasing))
