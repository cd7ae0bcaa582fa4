"""The round: this shift's sheet, the page at the motor, what was found after saving."""

from __future__ import annotations

import uuid
from typing import Any

from flask import Blueprint, flash, g, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app import entries, limits_kept, recording
from app.check_order import order_of
from app.entries import BadEntry, read_reading
from app.last_values import COLUMNS, hot, last_values, values_of
from app.offline_facts import judge_facts, rules_version
from app.recording import NotAllowed, OtherContent, Sender
from app.rules.cautions import caution_for
from app.rules.shifts import Shift
from app.sheets import LEFT, Sheet, sheet_of
from app.store import flags, handovers, motors, rounds
from app.store.carried import carried
from app.store.entry_ground import Ground, motor_as_found
from app.store.entry_page import BeforeTheLook, before_the_look
from app.store.limits import limits_from
from app.store.motors import Motor
from app.store.people import HEAD_OPERATOR, OPERATOR
from app.store.rounds import Reading, Round
from app.store.sheet_ground import Opened
from app.web import rounds_undo
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.entry_changes import changes_since
from app.web.entry_filling import fill_from
from app.web.entry_form import SKIP_REASONS, EntryForm, form_field_of, without_empty
from app.web.late import flag_what_is_late, something_is_late

bp = Blueprint("rounds", __name__)
rounds_undo.add_to(bp)


# the sheet -------------------------------------------------------------------------------------------------


@bp.get("/sheet")
@allow(OPERATOR)
def sheet() -> Any:
    """This shift's sheet; opening it opens the round."""
    shift = unit().calendar.shift_of(now())
    with reading() as session:
        shown = sheet_of(session, unit(), shift, now())
        if shown.opened is not None and not something_is_late(session):
            return _present_sheet(session, shown, shown.opened)
    opened = _this_round()
    flag_what_is_late()
    with reading() as session:
        return _present_sheet(session, sheet_of(session, unit(), shift, now()), _told(session, opened.id))


def _present_sheet(session: Session, shown: Sheet, opened: Opened) -> str:
    standing = flags.standing_of(session, unit().id)
    return render_template("rounds/sheet.html", round=opened, sheet=shown, next=shown.next_after(None), present=True,
                           standing=standing, by_motor=_gravest_by_motor(standing),
                           last_handover=handovers.last_handover(session, unit().id))


@bp.get("/sheet/<int:round_id>")
@allow(OPERATOR)
def earlier_sheet(round_id: int) -> Any:
    """The sheet of an earlier shift, to read."""
    with reading() as session:
        opened = found_or_404(rounds.round_by_id(session, unit().id, round_id))
        shown = sheet_of(session, unit(), opened, now())
        return render_template("rounds/sheet.html", round=shown.opened or _told(session, round_id), sheet=shown,
                               next=None, present=False, standing=[], by_motor={})


def _told(session: Session, round_id: int) -> Opened:
    """The round as its sheet tells of it, where there is no row of a motor to tell it."""
    opened = found_or_404(rounds.round_by_id(session, unit().id, round_id))
    names = [who.name if who else None for who in (opened.opened_by, opened.signed_by)]
    return Opened(opened.id, opened.shift_name, opened.shift_date, opened.opened_at, names[0], opened.signed_at,
                  names[1], opened.signed_state is not None)


def _this_round() -> Round:
    """The round of the present shift; the first to ask opens it."""
    shift = unit().calendar.shift_of(now())
    with reading() as session:
        there = rounds.round_of(session, unit().id, shift.date, shift.name)
    if there is not None:
        return there
    with writing() as session:
        opened = recording.open_sheet(session, unit(), now(), person())
        session.commit()
        return opened


def _gravest_by_motor(standing: list[flags.Standing]) -> dict[int, str]:
    """Motor -> the gravest priority standing on it (the flags come gravest first)."""
    return {flag.motor_id: flag.priority for flag in reversed(standing)}


# at the motor ----------------------------------------------------------------------------------------------


@bp.get("/motors/<int:motor_id>/entry")
@allow(OPERATOR)
def entry(motor_id: int) -> Any:
    """An empty form: nothing that must be observed is filled in, and no earlier figure is in the page.

    ?again: an entry that this person took back a moment ago, to be saved otherwise.
    """
    with reading() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        form = EntryForm(None, motor, unit(), now())
        again = rounds_undo.just_taken_back(session, motor, request.args.get("again", ""))
        if again is not None:
            fill_from(form, again)
        return _entry_page(session, motor, form, str(uuid.uuid4()))


@bp.post("/motors/<int:motor_id>/entry", endpoint="save_entry")
@allow(OPERATOR)
def save_entry(motor_id: int) -> Any:
    return _save(motor_id, None)


@bp.get("/entries/<uuid:key>/correct")
@allow(OPERATOR)
def correct(key: uuid.UUID) -> Any:
    """The entry as it was, to be put right; the earlier one stays readable."""
    with reading() as session:
        old, _ = rounds.entry_and_newer(session, unit().id, key)
        form = EntryForm(None, found_or_404(old).motor, unit(), now(), correcting=old)
        fill_from(form, old)
        return _entry_page(session, old.motor, form, str(uuid.uuid4()), old)


@bp.post("/entries/<uuid:key>/correct", endpoint="save_correction")
@allow(OPERATOR)
def save_correction(key: uuid.UUID) -> Any:
    with reading() as session:
        old = found_or_404(rounds.reading_by_id(session, unit().id, key))
    return _save(old.motor_id, old)


def _save(motor_id: int, correcting: Reading | None) -> Any:
    """Reads the form, stores the entry once, goes on to what was found. On errors the page keeps what was typed."""
    key, at = request.form.get("id", ""), now()
    try:
        with writing() as session:
            ground = found_or_404(recording.look_at(session, unit(), motor_id, _as_id(key), at, correcting is None))
            form = _form_of(session, ground, correcting)
            if form.validate():
                body, typed = form.body(key, person().sign_in)
                answer = recording.record_reading(session, Sender(unit(), at, person=person()),
                                                  read_reading(without_empty(body)), typed, seen=ground)
                session.commit()
                return _stored(answer)
    except BadEntry as error:
        form = _with_problems(form, error)
    except OtherContent:
        return _already(motor_id, key), 409
    except NotAllowed as error:
        return _already(motor_id, key, str(error)), 403
    with reading() as session:
        return _entry_page(session, motor_as_found(ground), form, key, correcting, ground), 422


def _form_of(session: Session, ground: Ground, correcting: Reading | None) -> EntryForm:
    """What was tapped and typed, beside what the motor showed before."""
    motor, (key, at, *_), running = ground.motor, ground.asked, ground.running
    form = EntryForm(request.form, motor, unit(), at, correcting)
    if ground.known and key is not None:  # saved before and sent twice, it is the same entry
        form.first_sent_at = rounds.first_sent_at(session, unit().id, key)
    before = correcting.taken_at if correcting else form.first_sent_at or at
    if running is not None and before == at:
        form.past = values_of(motor, at, running, [f.name for f in form.figures() if f.name in COLUMNS])
    else:
        form.past = last_values(session, motor, before)
    return form


def _stored(answer: recording.Recorded) -> Any:
    if not answer.stored:
        flash("This entry was stored before; here it is.")
    return redirect(url_for("rounds.saved", key=answer.id), 303)


def _already(motor_id: int, key: str, says: str | None = None) -> str:
    with reading() as session:
        return render_template("rounds/already.html", key=key, motor=_motor(session, motor_id), says=says)


def _motor(session: Session, motor_id: int) -> Motor:
    return found_or_404(motors.motor_by_id(session, unit().id, motor_id))  # type: ignore[no-any-return]


def _as_id(key: str) -> uuid.UUID | None:
    try:
        return uuid.UUID(key)
    except ValueError:
        return None


def _record(body: dict[str, Any]) -> None:
    read = read_reading(body)
    with writing() as session:
        recording.record_reading(session, Sender(unit(), now(), person=person()), read)
        session.commit()


def _with_problems(form: EntryForm, error: BadEntry) -> EntryForm:
    for problem in error.problems:
        name = form_field_of(problem.field)
        field = form[name] if name in form else form.state  # noqa: SIM401 - a WTForms form has no get
        field.errors = [*field.errors, problem.says if name in form else f"{problem.field}: {problem.says}"]
    return form


def _entry_page(session: Session, motor: Motor, form: EntryForm, key: str, correcting: Reading | None = None,
                ground: Ground | None = None) -> str:
    """ground: what a save that comes back with what is wrong has found out of the motor; not asked again."""
    shift = unit().calendar.shift_of(now())
    shown = _places(session, shift)
    before = _before_the_look(session, motor, ground)
    changes = limits_kept.changes(session, unit().id, before.limits_at)
    return render_template(
        "rounds/entry.html", motor=motor, form=form, key=key, correcting=correcting, shift=shift, sheet=shown,
        plate=motor.nameplate, alarm=_bearing_alarm(motor, limits_from(changes, motor.id, now())),
        hot=hot(before.last), order=order_of(unit(), motor.area), standing=flags.open_flags_of_motor(session, motor.id),
        place=shown.place_of(motor.id),
        judge_facts={**judge_facts(session, unit(), motor, correcting.taken_at if correcting else now(), changes),
                     "rule_table": url_for("judge.rules", v=rules_version())},
        seen_here=[r for row in shown.rows if row.motor.id == motor.id for r in (row.reading, *row.also) if r])


def _before_the_look(session: Session, motor: Motor, ground: Ground | None) -> BeforeTheLook:
    if ground is None or ground.running is None:
        return before_the_look(session, unit().id, motor.id, now())
    return BeforeTheLook(ground.limits_at, next((past.row for past in ground.running), None))


def _places(session: Session, shift: Shift) -> Sheet:
    """Where each motor stands on the walk, once somebody began it. A tablet that takes all pages along asks for it
    once."""
    many: dict[Shift, Sheet] = g.get("many_pages", {})
    if shift not in many:
        shown = sheet_of(session, unit(), shift, now(), with_findings=False)
        many[shift] = shown if shown.opened else Sheet()
    return many[shift]


def _bearing_alarm(motor: Motor, in_force: Any) -> float:
    """The lower of the two ends' alarm limits, for the strip at the top."""
    plate = motor.nameplate
    sleeve = plate is not None and "sleeve" in (plate.de_bearing, plate.ode_bearing)
    return float(in_force.value(f"bearing_hot_{'sleeve' if sleeve else 'grease'}_alarm_c"))


# skipping --------------------------------------------------------------------------------------------------


@bp.get("/motors/<int:motor_id>/skip")
@allow(OPERATOR)
def skip(motor_id: int) -> Any:
    with reading() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        return _skip_page(motor, str(uuid.uuid4()))


@bp.post("/motors/<int:motor_id>/skip", endpoint="save_skip")
@allow(OPERATOR)
def save_skip(motor_id: int) -> Any:
    with reading() as session:
        key = request.form.get("id", "")
        known, first_sent_at = rounds.motor_and_first_sent(session, unit().id, motor_id, _as_id(key))
        motor, at = found_or_404(known), first_sent_at or now()
    reason = entries.clean_text(request.form.get("words", "")) or entries.clean_text(request.form.get("reason", ""))
    if not reason:
        return _skip_page(motor, key, "Choose a reason, or write one."), 422
    try:
        _record({"id": key, "tag": motor.tag, "taken_at": at.isoformat(), "by": person().sign_in,
                 "skip_reason": reason})
    except BadEntry as error:
        return _skip_page(motor, key, error.problems[0].says), 422
    except OtherContent:
        return render_template("rounds/already.html", key=key, motor=motor), 409
    flash(f"{motor.tag} skipped: {reason}.")
    return redirect(_next_page(motor), 303)


def _skip_page(motor: Motor, key: str, error: str | None = None) -> str:
    return render_template("rounds/skip.html", motor=motor, reasons=SKIP_REASONS, key=key, error=error,
                           words=request.form.get("words", ""))


def _next_page(motor: Motor) -> str:
    opened = _this_round()
    with reading() as session:
        after = sheet_of(session, unit(), session.get_one(Round, opened.id), now(), False).next_after(motor.id)
    return url_for("rounds.entry", motor_id=after.id) if after else url_for("rounds.sheet")


# after saving ----------------------------------------------------------------------------------------------


@bp.get("/entries/<uuid:key>")
@allow(OPERATOR)
def saved(key: uuid.UUID) -> Any:
    """What the rules found, what to do, what was understood; then on to the next motor."""
    with reading() as session:
        row, newer = rounds.entry_and_newer(session, unit().id, key)
        found = [f.as_rule() for f in flags.findings_of(session, [found_or_404(row).id]).get(row.id, [])]
        shown = sheet_of(session, unit(), row.round, now(), with_findings=False)
        return render_template(
            "rounds/saved.html", row=row, motor=row.motor, found=[(f, caution_for(f)) for f in found], sheet=shown,
            next=shown.next_after(row.motor_id), may_correct=_may_correct(row), left=shown.count(LEFT),
            corrected=newer, undo_s=rounds_undo.undo_s(row), undo_key=uuid.uuid4(),
            brought=carried(session, unit().id, row.id),
            changes=changes_since(row, last_values(session, row.motor, row.taken_at), unit().show))


def _may_correct(row: Reading) -> bool:
    if person().may(HEAD_OPERATOR):
        return True
    return row.person_id == person().id and row.round.signed_at is None

