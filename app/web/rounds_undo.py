"""Undo for ten seconds after Save: the entry is taken back, stays readable, and is offered again to be put right."""

from __future__ import annotations

import uuid
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app import taking_back
from app.recording import NotAllowed, OtherContent, Sender
from app.store import rounds
from app.store.motors import Motor
from app.store.people import OPERATOR
from app.store.rounds import Reading
from app.web.access import allow, found_or_404, now, person, reading, unit, writing


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/entries/<uuid:key>/undo", view_func=undo, methods=["POST"])


@allow(OPERATOR)
def undo(key: uuid.UUID) -> Any:
    """Takes an entry back within ten seconds of saving it, and offers what was entered again."""
    with reading() as session:
        row = found_or_404(rounds.reading_by_id(session, unit().id, key))
        motor = row.motor
    try:
        with writing() as session:
            taking_back.take_back(session, Sender(unit(), now(), person=person()), key, _new_key())
            session.commit()
    except (NotAllowed, OtherContent) as error:
        return render_template("rounds/already.html", key=key, motor=motor, says=str(error)), 403
    flash(f"{motor.tag}: the entry is taken back and counts as no look.")
    return redirect(url_for("rounds.entry", motor_id=motor.id, again=None if row.skipped else key), 303)


def _new_key() -> uuid.UUID:
    try:
        return uuid.UUID(request.form.get("id", ""))
    except ValueError:
        return uuid.uuid4()


def undo_s(row: Reading) -> int:
    """For how many seconds an entry is offered to be taken back; 0 when it is no more, or is somebody else's."""
    if row.person_id != person().id or row.replaces_id is not None or row.taken_back:
        return 0
    return max(0, round((row.received_at + taking_back.UNDO - now()).total_seconds()))


def just_taken_back(session: Session, motor: Motor, key: str) -> Reading | None:
    """The entry behind ?again, while it is this person's, of this motor, and was taken back in this shift."""
    try:
        row, newer = rounds.entry_and_newer(session, unit().id, uuid.UUID(key))
    except ValueError:
        return None
    if row is None or row.motor_id != motor.id or row.person_id != person().id or row.skipped:
        return None
    in_this_shift = row.round.starts_at <= now() < row.round.ends_at
    return row if newer is not None and newer.taken_back and in_this_shift else None
