"""The shift's review: what stands, what was done about each, the sheet's completeness, the signature."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app import flag_life, recording, review_list, reviewing, signatures
from app.flag_life import CannotDo, SomebodyWasFaster
from app.review_list import Group
from app.rules import accepting
from app.sheets import LEFT, sheet_of
from app.store import rounds
from app.store.flag_behind import behind
from app.store.flag_ground import flag_ground
from app.store.flags import Flag
from app.store.limits import BadLimit
from app.store.people import HEAD_OPERATOR, OPERATOR, SUPERVISOR
from app.store.rounds import Reading, Round
from app.store.sightings import open_flags_and_dips
from app.web import limit_scale
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.errors import key
from app.web.flag_detail import detail, way_of
from app.web.flag_forms import AcceptForm, ActForm, CloseForm, DoneForm, RunOnForm, ShelveForm, TextForm
from app.web.formatting import local, moment
from app.web.late import flag_what_is_late

bp = Blueprint("flags", __name__)


@bp.app_template_filter("sum_lines")
def sum_lines(groups: list[Group]) -> int:
    return sum(len(group.lines) for group in groups)


@bp.app_template_filter("starts")
def starts(shifts: list[datetime]) -> list[tuple[str, str]]:
    """Instants as a form offers them: Wed 25 Nov 2026, 06:00."""
    return [(at.isoformat(), f"{local(at):%a} {moment(at)}") for at in shifts]


@bp.app_template_filter("choices")
def choices(found: list[Reading]) -> list[tuple[str, str]]:
    """Readings as a form offers them."""
    return [(str(r.id), f"{moment(r.taken_at)}, {r.state}, {r.person.name}") for r in found]


@bp.get("/review")
@allow(HEAD_OPERATOR)
def review() -> Any:
    """What stands in the unit now, and how complete this shift's sheet (or an earlier one) is."""
    flag_what_is_late()
    page = _review_page()
    if page is None:
        _open_sheet()
        page = _review_page()
    return page


def _review_page() -> str | None:
    """The page, or None where nobody has opened the shift's sheet yet."""
    with reading() as session:
        newest, opened = _round_asked_for(session)
        if opened is None:
            return None
        standing, dips = open_flags_and_dips(session, unit().id)
        came = signatures.addenda(session, opened)
        return render_template(
            "flags/review.html", round=opened, sheet=sheet_of(session, unit(), opened, now(), with_findings=False),
            standing=standing, parts=review_list.parts(unit(), standing, dips, opened.starts_at, now()),
            new=[f for f in standing if f.raised_at >= opened.starts_at],
            opened_flag=_opened_in_place(session, standing), rounds=newest, late=came.late, on_duty=came.on_duty)


def _round_asked_for(session: Session) -> tuple[list[Round], Round | None]:
    """The newest rounds; and the one in the address, else the present shift's, which may not be opened yet."""
    asked = request.args.get("round", 0, type=key) if "round" in request.args else None
    newest, opened = rounds.newest_rounds_and(session, unit().id, asked)
    if asked is not None:
        return newest, found_or_404(opened)
    shift = unit().calendar.shift_of(now())
    return newest, next((r for r in newest if (r.shift_date, r.shift_name) == (shift.date, shift.name)), None)


def _open_sheet() -> None:
    """Looking at a shift's review opens its sheet where nobody has yet."""
    with writing() as session:
        recording.open_sheet(session, unit(), now(), person())
        session.commit()


def _opened_in_place(session: Session, standing: list[Flag]) -> dict[str, Any] | None:
    """The one flag that is opened on the page, with the readings behind it and what was said of it."""
    flag_id = request.args.get("open", type=key)
    ground = flag_ground(session, unit().id, flag_id) if flag_id else None
    return detail(session, ground, standing) if ground else None


@bp.get("/flags/<int:flag_id>")
@allow(OPERATOR)
def one(flag_id: int) -> Any:
    """One flag: to read for everybody, to act on for head operators."""
    with reading() as session:
        ground = found_or_404(flag_ground(session, unit().id, flag_id))
        return render_template("flags/one.html", detail=detail(session, ground))


# acts ------------------------------------------------------------------------------------------------------


@bp.post("/flags/<int:flag_id>/seen")
@allow(HEAD_OPERATOR)
def seen(flag_id: int) -> Any:
    with writing() as session:
        flag = found_or_404(flag_life.take_flag(session, unit().id, flag_id, None))
        stood = flag.open
        if stood:
            flag_life.mark_seen(session, flag, person(), now())
        session.commit()
        returned = " It had returned to normal and is closed." if stood and not flag.open else ""
        flash(f"{flag.motor.tag}: seen.{returned}" if stood else f"{flag.motor.tag}: this flag is closed already.")
    return _back(flag_id)


Act = Callable[[Session, Flag, Any], str]


def _act(flag_id: int, name: str, kind: type[ActForm], act: Act) -> Any:
    """Load, check, do, commit once, say so. What was typed stays where it cannot be done."""
    form = kind(request.form, unit(), now())
    if not form.validate():
        return _again(flag_id, name, form, 422)
    try:
        with writing() as session:
            flag = found_or_404(flag_life.take_flag(session, unit().id, flag_id, request.form.get("version", type=key)))
            if not flag.open:
                raise SomebodyWasFaster("This flag is closed already.")
            word = act(session, flag, form)
            session.commit()
            flash(f"{flag.motor.tag}: {word}.")
    except SomebodyWasFaster as error:
        return _again(flag_id, name, form, 409, str(error))
    except CannotDo as error:
        form[error.field if error.field in form else next(iter(form)).name].errors = [str(error)]
        return _again(flag_id, name, form, 422)
    return _back(flag_id)


def _again(flag_id: int, name: str, form: ActForm, status: int, faster: str | None = None) -> Any:
    with reading() as session:
        ground = found_or_404(flag_ground(session, unit().id, flag_id))
        shown = detail(session, ground, **{name: form})
        return render_template("flags/one.html", detail=shown, form=form, faster=faster), status


@bp.post("/flags/<int:flag_id>/done")
@allow(HEAD_OPERATOR)
def done(flag_id: int) -> Any:
    """Notes what was done, and who will do what by when; the flag stands on."""

    def note(session: Session, flag: Flag, form: DoneForm) -> str:
        if form.owner.data:
            flag_life.plan(session, unit(), flag, person(), now(), form.owner.data, form.time_of("due_at"),
                           form.text.data)
        else:
            flag_life.note_action(session, flag, person(), now(), form.text.data)
        return "noted"

    return _act(flag_id, "done", DoneForm, note)


@bp.post("/flags/<int:flag_id>/run-on")
@allow(HEAD_OPERATOR)
def run_on(flag_id: int) -> Any:
    """The named decision to run on, with what to watch and when to look again."""

    def decide(session: Session, flag: Flag, form: RunOnForm) -> str:
        review_at = form.time_of("review_at")
        flag_life.run_on(session, unit(), flag, person(), now(), form.reason.data, form.watch.data, review_at)
        return f"runs on; look again {moment(review_at)}"

    return _act(flag_id, "run_on", RunOnForm, decide)


@bp.post("/flags/<int:flag_id>/end-run-on")
@allow(HEAD_OPERATOR)
def end_run_on(flag_id: int) -> Any:
    def decide(session: Session, flag: Flag, form: TextForm) -> str:
        flag_life.end_run_on(session, flag, person(), now(), form.text.data)
        return "runs on no longer; noted"

    return _act(flag_id, "end_run_on", TextForm, decide)


@bp.post("/flags/<int:flag_id>/shelve")
@allow(HEAD_OPERATOR)
def shelve(flag_id: int) -> Any:
    """Puts it aside until a shift begins; it wakes early when it worsens."""

    def put_aside(session: Session, flag: Flag, form: ShelveForm) -> str:
        until = form.until_at()
        if until is None:
            raise CannotDo("until", "Choose the shift it wakes at.")
        flag_life.shelve(session, unit(), flag, person(), now(), form.reason.data, form.watch.data, until)
        return f"shelved until {moment(until)}"

    return _act(flag_id, "shelve", ShelveForm, put_aside)


@bp.post("/flags/<int:flag_id>/wake")
@allow(HEAD_OPERATOR)
def wake(flag_id: int) -> Any:
    def woken(session: Session, flag: Flag, form: TextForm) -> str:
        flag_life.wake(session, flag, person(), now(), form.text.data)
        return "back in the list"

    return _act(flag_id, "wake", TextForm, woken)


@bp.post("/flags/<int:flag_id>/close")
@allow(HEAD_OPERATOR)
def close(flag_id: int) -> Any:
    """Closed with what was done and the reading that shows it."""

    def closed(session: Session, flag: Flag, form: CloseForm) -> str:
        shown = {str(r.id): r for r in behind(session, flag, now()).looks}
        chosen = shown.get(form.reading.data or next(iter(shown), ""))
        if chosen is None and shown:
            raise CannotDo("reading", "Choose one of the readings taken since it was last seen.")
        flag_life.close(session, flag, person(), now(), form.text.data, chosen)
        return "closed"

    return _act(flag_id, "close", CloseForm, closed)


@bp.post("/flags/<int:flag_id>/accept")
@allow(SUPERVISOR)
def accept(flag_id: int) -> Any:
    """Closed as this motor's normal: moves the motor's own limit, from now on."""

    def accepted(session: Session, flag: Flag, form: AcceptForm) -> str:
        _accept(session, flag, form)
        return "closed as this motor's normal; it judges what is entered from now on"

    return _act(flag_id, "accept", AcceptForm, accepted)


def _accept(session: Session, flag: Flag, form: AcceptForm) -> None:
    way, why = way_of(session, flag, behind(session, flag, now())), form.why.data
    if way is None:
        raise CannotDo("why", "This cannot be a motor's normal: act now never is, and some rules have no limit.")
    if way.kind == accepting.FEEL:
        flag_life.accept_feel(session, flag, person(), now(), why, way.feel)
    elif way.kind == accepting.NEW_NORMAL:
        flag_life.accept_new_normal(session, flag, person(), now(), why)
    else:
        typed = form.figure()
        if typed is None:
            raise CannotDo("value", str(form.value.errors[0]))
        try:
            flag_life.accept(session, unit(), flag, person(), now(), why, way.name,
                             limit_scale.stored(unit(), typed, way.unit), way.least)
        except BadLimit as error:
            raise CannotDo("value", str(error)) from error


def _back(flag_id: int) -> Any:
    """To the review, at the same flag; the round looked at stays."""
    round_id = request.form.get("round", type=key)
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
