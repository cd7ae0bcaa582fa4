"""Start and stop at the motor: may I, what happened, in one tap. Trips are in starts_trips, first runs in
starts_first_run."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app import first_run, recording, standby_pairs, start_records
from app.entries import BadEntry, Entry, clean_text, read_start, read_stop
from app.recording import OtherContent, Sender
from app.rules import prestart_items
from app.store import motors, start_ground, starts
from app.store.motors import Motor
from app.store.people import HEAD_OPERATOR, OPERATOR
from app.store.start_ground import Told
from app.store.starts import Start, Stop
from app.web import starts_first_run, starts_trips
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.formatting import moment_s
from app.web.times import BadTime, time_seen

bp = Blueprint("starts", __name__)
starts_trips.add_to(bp)
starts_first_run.add_to(bp)

#: A page sent again within this time is the same tap twice; later it is another start from a page left open.
SAME_TAP = timedelta(seconds=60)
USED = "Nothing new is stored: this page was used before. Look at the last starts and stops below, then tap again."


def motor_or_404(session: Session, motor_id: int) -> Motor:
    return found_or_404(motors.motor_by_id(session, unit().id, motor_id))  # type: ignore[no-any-return]


# may it be started -----------------------------------------------------------------------------------------


@bp.get("/motors/<int:motor_id>/start")
@allow(OPERATOR)
def page(motor_id: int) -> Any:
    with reading() as session:
        return _page(session, motor_or_404(session, motor_id))


def _page(session: Session, motor: Motor, error: str | None = None, at_field: str = "") -> str:
    moment = now()
    continuous = request.args.get("then") == "continuous"
    given, ahead = start_records.permission_and_ahead(session, unit(), motor, moment, then_continuous=continuous)
    mine, partner = standby_pairs.pair_lines(session, motor, moment)
    return render_template(
        "starts/page.html", motor=motor, permission=given, ahead=ahead, continuous=continuous, error=error,
        at_field=at_field,
        key=str(uuid.uuid4()), seen_at=request.form.get("seen_at"), past=_past(session, motor), asked=moment,
        prestart_due=start_records.prestart_why(session, unit(), motor, moment),
        refused=_refused(session, motor, moment), open_trip=start_records.open_trip(session, unit(), motor, moment),
        mine=mine, partner=partner, needs_release=start_records.needs_release(given),
        watch=first_run.watch_now(session, motor, start_records.newest_start(session, motor, moment), moment))


def _refused(session: Session, motor: Motor, moment: datetime) -> list[tuple[str, str]]:
    """The items of the newest pre-start check that were answered with no, and by whom."""
    newest = start_records.newest_check(session, motor, moment)
    if newest is None or newest.passed:
        return []
    return [(prestart_items.BY_KEY[key].asks if key in prestart_items.BY_KEY else key, said["by"])
            for key, said in newest.answers.items() if said["answer"] == prestart_items.NO]


def _past(session: Session, motor: Motor) -> list[tuple[datetime, str]]:
    """The newest starts, stops and trips in one line of time."""
    told = [(row.at, _words(row) + _by(row)) for row in start_ground.told(session, motor.id)]
    return sorted(told, reverse=True)[:16]


def _words(row: Told) -> str:
    lasted = f", {row.duration_s:g} s" if row.duration_s is not None else ""
    return f"{row.kind}, {row.word}{lasted}" if row.word else row.kind


def _by(row: Told) -> str:
    """Who, how much later it was entered, and how wrong the tablet's clock was."""
    late = _later(row.received_at - row.at)
    off_s = abs(int(row.clock_offset_s))
    clock = f", tablet's clock {_span(off_s)} {'slow' if row.clock_offset_s > 0 else 'fast'}" if off_s else ""
    return f" ({row.by}{late}{clock})"


def _later(apart: timedelta) -> str:
    return f", entered {_span(int(apart.total_seconds()))} later" if apart >= timedelta(minutes=1) else ""


def _span(seconds: int) -> str:
    if seconds < 60:
        return f"{seconds} s"
    minutes = seconds // 60
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


# records ---------------------------------------------------------------------------------------------------


@bp.post("/motors/<int:motor_id>/start")
@allow(OPERATOR)
def record(motor_id: int) -> Any:
    """One tap: a start with what came of it, or a stop. A trip goes on to which protection opened.

    What can be told before it is stored is told while only reading: so the page that comes back asks as little as it
    did at first, and keeps no writer waiting.
    """
    what, kind = request.form.get("what", ""), Stop if request.form.get("what") == "stop" else Start
    with reading() as session:
        motor, there = starts.motor_and_sent(session, unit().id, motor_id, kind, _key())
        motor = found_or_404(motor)
        try:
            at = time_seen(request.form.get("seen_at"), unit(), now())
            entry = None if what == "trip" else _entry(motor, what, at)
        except BadTime as error:
            return _page(session, motor, str(error), "seen_at"), 422
        except BadEntry as error:
            return _page(session, motor, _told(error)), 422
        if entry is None:
            return redirect(url_for("starts.trip_form", motor_id=motor_id, at=at.isoformat()), 303)
        if there is not None and there.content != entry.content and not _same_tap(there, motor, what):
            return _page(session, motor, USED), 422
    return _store(motor_id, what, kind, at, entry)


def _key() -> uuid.UUID | None:
    """The id that the page brought along."""
    try:
        return uuid.UUID(request.form.get("id", ""))
    except ValueError:
        return None


def _entry(motor: Motor, what: str, at: datetime) -> Entry:
    body = {"id": request.form.get("id", ""), "tag": motor.tag, "at": at.isoformat(), "by": person().sign_in}
    if what == "stop":
        return read_stop(body)
    return read_start({**body, "outcome": what, "then_continuous": request.form.get("then_continuous") == "yes"})


def _told(error: BadEntry) -> str:
    return "; ".join(p.says for p in error.problems)


def _same_tap(there: Start | Stop, motor: Motor, what: str) -> bool:
    """This page stored it a moment ago, by the same button."""
    return (there.motor_id == motor.id and now() - there.received_at <= SAME_TAP
            and (isinstance(there, Stop) or there.outcome == what))


def _store(motor_id: int, what: str, kind: type[Start] | type[Stop], at: datetime, entry: Entry) -> Any:
    """Stores it once, unless somebody was faster since the page was looked at."""
    store = start_records.record_stop if kind is Stop else start_records.record_start
    try:
        with writing() as session:
            motor = motor_or_404(session, motor_id)
            there = session.get(kind, entry.id)
            if there is not None and _same_tap(there, motor, what):
                at, answer = there.at, recording.Recorded(there.id, False)
            else:
                answer = store(session, Sender(unit(), now(), person=person()), entry)
                session.commit()
    except (OtherContent, BadEntry) as error:
        with reading() as session:
            told = _told(error) if isinstance(error, BadEntry) else USED
            return _page(session, motor_or_404(session, motor_id), told), 422
    _tell(motor, what, at, answer)
    if what == "tripped while starting":
        return redirect(url_for("starts.trip_form", motor_id=motor_id, at=at.isoformat()), 303)
    return redirect(url_for("starts.page", motor_id=motor_id), 303)


def _tell(motor: Motor, what: str, at: datetime, answer: recording.Recorded) -> None:
    told = f"{moment_s(at)}{_later(now() - at)}"
    flash(f"{motor.tag}: {what}, {told}." if answer.stored else f"{motor.tag}: {what}, {told}: is on record once.")
    for f in answer.findings:
        flash(f"{f.priority.capitalize()}: {f.says}")


@bp.post("/motors/<int:motor_id>/release")
@allow(HEAD_OPERATOR)
def release(motor_id: int) -> Any:
    cause = clean_text(request.form.get("cause", ""))[:500]
    with reading() as session:
        motor = motor_or_404(session, motor_id)
        if not start_records.needs_release(start_records.permission(session, unit(), motor, now())):
            return _page(session, motor, "Nothing is stored: no tries wait for a release."), 409
        if not cause:
            return _page(session, motor, "Write the cause that was found before it is tried again.", "cause"), 422
    with writing() as session:
        session.add(starts.Release(motor_id=motor_id, at=now(), person_id=person().id, cause=cause))
        session.commit()
        flash(f"{motor.tag}: released for another try; the start limits still decide.")
    return redirect(url_for("starts.page", motor_id=motor_id), 303)


@bp.post("/motors/<int:motor_id>/turned")
@allow(OPERATOR)
def turn(motor_id: int) -> Any:
    with writing() as session:
        motor = motor_or_404(session, motor_id)
        session.add(starts.ShaftTurn(motor_id=motor.id, at=now(), person_id=person().id))
        session.commit()
        flash(f"{motor.tag}: shaft turned by hand, on record.")
    return redirect(url_for("starts.page", motor_id=motor_id), 303)
