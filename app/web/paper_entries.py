"""The paper sheet typed in afterwards: its rows, its letters, each row judged as at the motor and marked entered later.

What can be stored is stored row by row; what cannot stays on the page with its fault beside the box. A row's id is
made with the page, so that the same page sent twice stores each row once.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.datastructures import MultiDict

from app import recording
from app.check_order import order_of
from app.entries import BadEntry, read_reading
from app.last_values import last_values
from app.paper_codes import BOX_OF, NAMES, SKIPPED, boxes_in, no_need, read_row
from app.recording import NotAllowed, OtherContent, Sender
from app.rules.shifts import Shift, local_instant
from app.sheets import DONE, NOT_DUE, Row, sheet_of
from app.sheets import SKIPPED as SKIPPED_ROW
from app.store import motors, rounds
from app.store.motors import Motor
from app.store.people import OPERATOR
from app.store.rounds import Round
from app.web.access import allow, now, person, reading, unit, writing
from app.web.entry_doubts import Question
from app.web.entry_form import EntryForm, form_field_of, without_empty

#: How many shifts back a paper sheet may be typed in here; what is older goes in at the motor's page.
MOST_BACK = 9


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/sheet/paper/entries", "entries", page)
    bp.add_url_rule("/sheet/paper/entries", "save", save, methods=["POST"])


@dataclass
class Typed:
    """One row of the page: what was typed, what is wrong with it, what is asked."""

    id: str
    boxes: dict[str, str] = field(default_factory=dict)
    wrong: dict[str, str] = field(default_factory=dict)
    asked: dict[str, tuple[str, Question]] = field(default_factory=dict)  # box -> (field, question)

    @property
    def anything(self) -> bool:
        return any(self.boxes.values())


@allow(OPERATOR)
def page() -> Any:
    return _page(_shift(), {})


@allow(OPERATOR)
def save() -> Any:
    """Stores every row that can be; the page comes back with those that cannot."""
    shift = _shift()
    typed = _typed(request.form)
    stored = 0
    for motor_id, row in typed.items():
        if row.anything:
            stored += _store(shift, motor_id, row)
    left = {key: row for key, row in typed.items() if row.wrong or row.asked}
    if stored:
        flash(f"{stored} row{'' if stored == 1 else 's'} stored, marked entered later.")
    if left:
        return _page(shift, left), 422
    if not stored:
        flash("Nothing was typed, or everything was stored before.")
    return redirect(url_for(".entries", shift=_key(shift)), 303)


# the page --------------------------------------------------------------------------------------------------


def _shift() -> Shift:
    """The shift asked for: this one, or one of the last few."""
    calendar, wanted = unit().calendar, request.values.get("shift", "")
    for shift in _shifts():
        if wanted in ("", _key(shift)):
            return shift
    if wanted.isascii() and wanted.isdigit():
        return calendar.shift_of(now())
    abort(404)


def _shifts() -> list[Shift]:
    found = [unit().calendar.shift_of(now())]
    while len(found) <= MOST_BACK:
        found.append(unit().calendar.before(found[-1]))
    return found


def _key(shift: Shift) -> str:
    return str(int(shift.starts_at.timestamp()))


def _page(shift: Shift, left: dict[int, Typed]) -> str:
    with reading() as session:
        opened = rounds.round_of(session, unit().id, shift.date, shift.name)
        shown = sheet_of(session, unit(), opened or _unopened(shift), now())
        rows = [(row, left.get(row.motor.id) or Typed(str(uuid.uuid4()))) for row in shown.rows
                if row.status != NOT_DUE or row.motor.id in left]
        return render_template(
            "paper/entries.html", shift=shift, shifts=[(_key(s), s) for s in _shifts()], key=_key(shift), rows=rows,
            round=opened, boxes=boxes_in(order_of(unit(), "")), where=_where, no_need=no_need, done=(DONE, SKIPPED_ROW),
            walked_by=request.form.get("walked_by", ""), has_routes=shown.has_routes,
            faults=sum(len(row.wrong) + len(row.asked) for row in left.values()), left=left)


def _unopened(shift: Shift) -> Round:
    return Round(unit_id=unit().id, shift_date=shift.date, shift_name=shift.name, starts_at=shift.starts_at,
                 ends_at=shift.ends_at)


def _where(row: Row, has_routes: bool) -> str:
    return f"{row.route or 'On no route'} · {row.motor.area}" if has_routes else row.motor.area


def _typed(form: Mapping[str, str]) -> dict[int, Typed]:
    """Motor -> its row as posted."""
    found = {}
    for name, value in form.items():
        kind, _, motor_id = name.partition("-")
        if kind == "id" and motor_id.isascii() and motor_id.isdigit():
            boxes = {box: form.get(f"{box}-{motor_id}", "").strip()[:2100] for box in NAMES}
            found[int(motor_id)] = Typed(value, boxes)
    return found


# one row ---------------------------------------------------------------------------------------------------


def _store(shift: Shift, motor_id: int, row: Typed) -> bool:
    """Reads, checks and stores one row by itself; False with what is wrong put beside its boxes."""
    with reading() as session:
        motor = motors.motor_by_id(session, unit().id, motor_id)
        if motor is None:
            row.wrong["state"] = "This motor is in the register no more."
            return False
        body, kept = _body(session, shift, motor, row)
    if row.wrong or row.asked:
        return False
    try:
        read = read_reading(without_empty(body))
        with writing() as session:
            answer = recording.record_reading(session, Sender(unit(), now(), person=person()), read, kept)
            session.commit()
            return answer.stored
    except BadEntry as error:
        for problem in error.problems:
            box = BOX_OF.get(form_field_of(problem.field), "state")
            row.wrong.setdefault(box, problem.says)
    except (OtherContent, NotAllowed) as error:
        row.wrong["state"] = f"Stored before with other content: correct it on its own page. {error}"
    return False


def _body(session: Session, shift: Shift, motor: Motor, row: Typed) -> tuple[dict[str, Any], dict[str, str]]:
    """The body of the entry, as the form at the motor makes it; faults and questions are put into the row."""
    seen_at = _seen_at(shift, row)
    fields, wrong = read_row(row.boxes)
    row.wrong |= wrong
    if row.boxes["state"].upper() == SKIPPED:
        return _skip(motor, row, seen_at), {}
    answers = {f"sure_{name}": request.form.get(f"sure_{name}-{motor.id}", "") for name in BOX_OF}
    posted = MultiDict({**fields, **{k: v for k, v in answers.items() if v}, "seen_at": "00:00"})
    form = EntryForm(posted, motor, unit(), now())
    form.past = last_values(session, motor, seen_at or now())
    if not form.validate():
        _put_beside(form, row)
    for name in fields.keys() & form.left_out():  # a letter is no more dropped in silence than a figure
        row.wrong[BOX_OF[name]] = (f"A motor {form.state.data} is not asked for this. Empty it, or correct the state."
                                   if form.state.data else "Enter the state first.")
    if row.wrong or row.asked or seen_at is None:
        return {}, {}
    body, kept = form.body(row.id, person().sign_in)
    return {**body, "taken_at": seen_at.isoformat(), "remarks": _remarks(row)}, kept


def _put_beside(form: EntryForm, row: Typed) -> None:
    for name, errors in form.errors.items():
        box = BOX_OF.get(name or "", "state")
        question = getattr(form[name], "question", None) if name else None
        if question is not None:
            row.asked[box] = (str(name), question)
        else:
            row.wrong.setdefault(box, str(errors[0]))


def _skip(motor: Motor, row: Typed, seen_at: datetime | None) -> dict[str, Any]:
    if not row.boxes["remarks"]:
        row.wrong["remarks"] = "Enter why it was skipped."
    others = [name for name in NAMES if name not in ("time", "state", "remarks") and row.boxes[name]]
    for name in others:
        row.wrong[name] = "A motor skipped has nothing here. Empty it, or enter its state."
    return {"id": row.id, "tag": motor.tag, "taken_at": seen_at.isoformat() if seen_at else "", "by": person().sign_in,
            "skip_reason": _remarks(row), "entered_later": True}


def _remarks(row: Typed) -> str:
    """The remarks, with who walked where that was another."""
    walked_by = " ".join(request.form.get("walked_by", "").split())[:100]
    return "; ".join(filter(None, (row.boxes["remarks"], f"on paper by {walked_by}" if walked_by else "")))


def _seen_at(shift: Shift, row: Typed) -> datetime | None:
    """The instant of a time of day within the shift; None with the fault at its box."""
    text = row.boxes["time"].replace(".", ":")
    if text.isascii() and text.isdigit() and len(text) in (3, 4):
        text = f"{text[:-2]}:{text[-2:]}"
    try:
        at = datetime.strptime(text, "%H:%M").time()  # noqa: DTZ007 - a wall clock time, placed below
    except ValueError:
        row.wrong["time"] = "Enter the time it was seen, such as 07:12." if not text else (
            f"“{row.boxes['time']}” is not a time such as 07:12.")
        return None
    zone = unit().calendar.zone
    day = shift.starts_at.astimezone(zone).date()
    instants = [local_instant(day + timedelta(days=i), at, zone) for i in (0, 1)]
    within = next((instant for instant in instants if shift.holds(instant)), None)
    if within is None or within > now():
        row.wrong["time"] = (f"{shift.name} ran from {shift.starts_at.astimezone(zone):%H:%M} to "
                             f"{min(shift.ends_at, now()).astimezone(zone):%H:%M}: enter a time in it.")
        return None
    return within
