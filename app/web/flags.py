"""The shift's review: flags by priority and age, what was done about each, the sheet's completeness, the signature."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import Form, TextAreaField
from wtforms.validators import DataRequired, Length

from app import recording, reviewing
from app.entries import clean_text
from app.reviewing import SomebodyWasFaster
from app.sheets import LEFT, sheet_of
from app.store import flags, rounds
from app.store.flags import Flag
from app.store.people import HEAD_OPERATOR, OPERATOR
from app.store.rounds import Round
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.formatting import moment

bp = Blueprint("flags", __name__)


class WordsForm(Form):
    text = TextAreaField("What was done", filters=[lambda t: clean_text(t or "")], validators=[
        DataRequired("Write what was done, or who was told, when and how."),
        Length(max=1000, message="Keep it to 1,000 characters.")])


@bp.get("/review")
@allow(HEAD_OPERATOR)
def review() -> Any:
    """What stands in the unit now, and how complete this shift's sheet (or an earlier one) is."""
    opened = _round_asked_for()
    with reading() as session:
        opened = session.get_one(Round, opened.id)
        standing = flags.open_flags(session, unit().id)
        return render_template(
            "flags/review.html", round=opened, sheet=sheet_of(session, unit(), opened, now()), standing=standing,
            new=[f for f in standing if f.raised_at >= opened.starts_at], opened_flag=_opened_in_place(session),
            rounds=rounds.newest_rounds(session, unit().id), late=reviewing.after_signature(session, opened),
            shifts_open=shifts_open)


def _round_asked_for() -> Round:
    """The round in the address, else the present shift's (opened when it is not there yet)."""
    with reading() as session:
        if "round" in request.args:
            return found_or_404(rounds.round_by_id(session, unit().id, request.args.get("round", 0, type=int)))  # type: ignore[no-any-return]
        shift = unit().calendar.shift_of(now())
        there = rounds.round_of(session, unit().id, shift.date, shift.name)
    if there is not None:
        return there
    with writing() as session:
        opened = recording.open_sheet(session, unit(), now(), person())
        session.commit()
        return opened


def shifts_open(flag: Flag) -> int:
    """From the shift it was raised in to the one it was last seen in (or closed in), both included."""
    return unit().calendar.count(flag.raised_at, flag.closed_at or flag.last_seen_at)


def _opened_in_place(session: Session) -> dict[str, Any] | None:
    """The one flag that is opened on the page, with the readings behind it and what was said of it."""
    flag_id = request.args.get("open", type=int)
    flag = flags.flag_by_id(session, unit().id, flag_id) if flag_id else None
    return _detail(session, flag) if flag else None


def _detail(session: Session, flag: Flag) -> dict[str, Any]:
    seen = flags.sightings_of(session, flag.id)
    return {"flag": flag, "sightings": seen[-12:], "more": max(0, len(seen) - 12),
            "people": len({s.person_id for s in seen}), "notes": flags.notes_of(session, flag.id),
            "others": [f for f in flags.open_flags_of_motor(session, flag.motor_id) if f.id != flag.id],
            "latest": rounds.newest_readings(session, flag.motor_id, 6),
            "earlier": session.get(Flag, flag.before_id) if flag.before_id else None, "shifts": shifts_open(flag)}


@bp.get("/flags/<int:flag_id>")
@allow(OPERATOR)
def one(flag_id: int) -> Any:
    """One flag: to read for everybody, to act on for head operators."""
    with reading() as session:
        flag = found_or_404(flags.flag_by_id(session, unit().id, flag_id))
        return render_template("flags/one.html", detail=_detail(session, flag), shifts_open=shifts_open)


# acts ------------------------------------------------------------------------------------------------------


@bp.post("/flags/<int:flag_id>/seen")
@allow(HEAD_OPERATOR)
def seen(flag_id: int) -> Any:
    with writing() as session:
        flag = found_or_404(reviewing.take_flag(session, unit().id, flag_id, None))
        stood = flag.open
        if stood:
            reviewing.mark_seen(session, flag, person(), now())
        session.commit()
        returned = " It had returned to normal and is closed." if stood and not flag.open else ""
        flash(f"{flag.motor.tag}: seen.{returned}" if stood else f"{flag.motor.tag}: this flag is closed already.")
    return _back(flag_id)


@bp.post("/flags/<int:flag_id>/done")
@allow(HEAD_OPERATOR)
def done(flag_id: int) -> Any:
    """Notes what was done; the flag stands on."""
    return _with_words(flag_id, reviewing.note_action, "noted")


@bp.post("/flags/<int:flag_id>/close")
@allow(HEAD_OPERATOR)
def close(flag_id: int) -> Any:
    return _with_words(flag_id, reviewing.close, "closed")


def _with_words(flag_id: int, act: Any, word: str) -> Any:
    form = WordsForm(request.form)
    if not form.validate():
        with reading() as session:
            flag = found_or_404(flags.flag_by_id(session, unit().id, flag_id))
            return render_template("flags/one.html", detail=_detail(session, flag), form=form,
                                   shifts_open=shifts_open), 422
    try:
        with writing() as session:
            flag = found_or_404(reviewing.take_flag(session, unit().id, flag_id, request.form.get("version", type=int)))
            if not flag.open:
                raise SomebodyWasFaster("This flag is closed already.")
            act(session, flag, person(), now(), form.text.data)
            session.commit()
            flash(f"{flag.motor.tag}: {word}.")
    except SomebodyWasFaster as error:
        with reading() as session:
            flag = found_or_404(flags.flag_by_id(session, unit().id, flag_id))
            return render_template("flags/one.html", detail=_detail(session, flag), form=form, faster=str(error),
                                   shifts_open=shifts_open), 409
    return _back(flag_id)


def _back(flag_id: int) -> Any:
    """To the review, at the same flag; the round looked at stays."""
    round_id = request.form.get("round", type=int)
    extra = {"round": round_id} if round_id else {}
    return redirect(url_for("flags.review", **extra, open=flag_id, _anchor=f"flag-{flag_id}"), 303)


@bp.post("/rounds/<int:round_id>/sign")
@allow(HEAD_OPERATOR)
def sign(round_id: int) -> Any:
    """Signs the sheet as it stands. What was not seen is flagged, and the signature says so."""
    try:
        with writing() as session:
            opened = found_or_404(rounds.round_by_id(session, unit().id, round_id))
            shown = reviewing.sign(session, unit(), opened, person(), now())
            session.commit()
            flash(f"{opened.label} signed.{_not_seen(shown.count(LEFT))}")
    except SomebodyWasFaster:
        with reading() as session:
            signed = found_or_404(rounds.round_by_id(session, unit().id, round_id))
            by = signed.signed_by.name if signed.signed_by else "another head operator"
            flash(f"{signed.label} was signed before, {moment(signed.signed_at)} by {by}. That signature stands.")
    return redirect(url_for("flags.review", round=round_id), 303)


def _not_seen(left: int) -> str:
    if not left:
        return ""
    return f" {left} motor{' was' if left == 1 else 's were'} not seen and {'is' if left == 1 else 'are'} flagged."
