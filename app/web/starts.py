"""Start, stop and trip at the motor: may I, what happened, what opened, the pre-start check, the first-run watch."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app import recording, start_records
from app.entries import BadEntry, clean_text, read_reading, read_start, read_stop, read_trip
from app.recording import OtherContent, Sender
from app.rules import prestart_items, trips
from app.rules.cautions import caution_for
from app.rules.numbers import NotANumber, read_number
from app.rules.tables import MakesNoSense
from app.rules.units import c_from_f, f_from_c
from app.rules.warming import rate_k_per_min
from app.store import flags, limits, motors, starts
from app.store.base import new_id
from app.store.motors import Motor
from app.store.people import HEAD_OPERATOR, OPERATOR
from app.store.starts import PROTECTIONS, Start, Trip
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.formatting import moment_s, temperature_unit
from app.web.times import BadTime, time_seen

bp = Blueprint("starts", __name__)


def motor_or_404(session: Session, motor_id: int) -> Motor:
    return found_or_404(motors.motor_by_id(session, unit().id, motor_id))  # type: ignore[no-any-return]


def sender() -> Sender:
    return Sender(unit(), now(), person=person())


# may it be started -----------------------------------------------------------------------------------------


@bp.get("/motors/<int:motor_id>/start")
@allow(OPERATOR)
def page(motor_id: int) -> Any:
    with reading() as session:
        return _page(session, motor_or_404(session, motor_id))


def _page(session: Session, motor: Motor, error: str | None = None) -> str:
    given = start_records.permission(session, unit(), motor, now())
    in_force = limits.limits_at(session, unit().id, motor.id, now())
    turned, days = starts.last_turned(session, motor.id), in_force.value("spare_shaft_turn_days")
    standing = motor.condition == "standby"
    partner = start_records.partner_of(session, motor)
    return render_template(
        "starts/page.html", motor=motor, permission=given, error=error, key=str(uuid.uuid4()),
        seen_at=request.form.get("seen_at"), past=_past(session, motor), turned=turned, turn_days=f"{days:g}",
        turn_due=standing and (turned is None or now() - turned.at >= timedelta(days=days)),
        prestart_due=start_records.prestart_why(session, unit(), motor, now()),
        open_trip=start_records.open_trip(session, unit(), motor, now()), partner=partner,
        pair=[start_records.pair_line(session, m, now()) for m in ([motor, partner.motor] if partner else [])],
        needs_release=start_records.needs_release(given), watch=start_records.watch_now(session, motor, now()))


def _past(session: Session, motor: Motor) -> list[tuple[datetime, str]]:
    """The newest starts, stops and trips in one line of time."""
    told = [(s.at, f"start, {s.outcome}" + (f", {s.duration_s:g} s" if s.duration_s is not None else "")
             + f" ({s.person.name})") for s in starts.newest_starts(session, motor.id, 12)]
    told += [(s.at, f"stop ({s.person.name})") for s in starts.newest_stops(session, motor.id, 12)]
    told += [(t.at, f"trip, {t.protection} ({t.person.name})") for t in starts.newest_trips(session, motor.id, 12)]
    return sorted(told, reverse=True)[:16]


# records ---------------------------------------------------------------------------------------------------


@bp.post("/motors/<int:motor_id>/start")
@allow(OPERATOR)
def record(motor_id: int) -> Any:
    """One tap: a start with what came of it, or a stop. A trip goes on to which protection opened."""
    what, key = request.form.get("what", ""), request.form.get("id", "")
    with writing() as session:
        motor = motor_or_404(session, motor_id)
        try:
            at = time_seen(request.form.get("seen_at"), unit(), now())
        except BadTime as error:
            return _page(session, motor, str(error)), 422
        if what == "trip":
            return redirect(url_for("starts.trip_form", motor_id=motor.id, at=at.isoformat()), 303)
        body = {"id": key, "tag": motor.tag, "at": at.isoformat(), "by": person().sign_in}
        try:
            if what == "stop":
                answer = start_records.record_stop(session, sender(), read_stop(body))
            else:
                answer = start_records.record_start(session, sender(), read_start(
                    {**body, "outcome": what, "then_continuous": request.form.get("then_continuous") == "yes"}))
        except (BadEntry, OtherContent) as error:
            return _page(session, motor, str(error)), 422
        session.commit()
    _tell(motor, what, at, answer)
    if what == "tripped while starting":
        return redirect(url_for("starts.trip_form", motor_id=motor_id, at=at.isoformat()), 303)
    return redirect(url_for("starts.page", motor_id=motor_id), 303)


def _tell(motor: Motor, what: str, at: datetime, answer: recording.Recorded) -> None:
    apart = now() - at
    late = f", entered {int(apart.total_seconds() // 60)} min later" if apart >= timedelta(minutes=1) else ""
    flash(f"{motor.tag}: {what}, {moment_s(at)}{late}." if answer.stored else f"{motor.tag}: was recorded before.")
    for f in answer.findings:
        flash(f"{f.priority.capitalize()}: {f.says}")


@bp.get("/motors/<int:motor_id>/trip")
@allow(OPERATOR)
def trip_form(motor_id: int) -> Any:
    """Which protection opened: nothing is preselected."""
    with reading() as session:
        return _trip_form(motor_or_404(session, motor_id), str(uuid.uuid4()), request.args.get("at", ""), {}, {})


def _trip_form(motor: Motor, key: str, at: str, form: Any, errors: dict[str, str]) -> str:
    known = _instant(at)
    return render_template("starts/trip_form.html", motor=motor, key=key, at=at if known else "", form=form,
                           at_words=moment_s(known), errors=errors, protections=PROTECTIONS)


def _instant(text: str) -> datetime | None:
    try:
        known = datetime.fromisoformat(text)
    except ValueError:
        return None
    return known if known.tzinfo is not None else None


@bp.post("/motors/<int:motor_id>/trip")
@allow(OPERATOR)
def save_trip(motor_id: int) -> Any:
    form, key = request.form, request.form.get("id", "")
    with writing() as session:
        motor = motor_or_404(session, motor_id)
        errors: dict[str, str] = {}
        at = _instant(form.get("at", "")) or now()
        try:
            if form.get("seen_at", "").strip():
                at = time_seen(form.get("seen_at"), unit(), now())
        except BadTime as error:
            errors["seen_at"] = str(error)
        if form.get("protection") not in PROTECTIONS:
            errors["protection"] = "Choose which protection opened; “unknown” is an answer."
        if errors:
            return _trip_form(motor, key, form.get("at", ""), form, errors), 422
        try:
            answer = start_records.record_trip(session, sender(), read_trip({
                "id": key, "tag": motor.tag, "at": at.isoformat(), "protection": form["protection"],
                "cause": clean_text(form.get("cause", "")) or None, "by": person().sign_in}))
        except (BadEntry, OtherContent) as error:
            return _trip_form(motor, key, form.get("at", ""), form, {"protection": str(error)}), 422
        session.commit()
    return redirect(url_for("starts.trip", key=answer.id), 303)


# what happens after a trip ---------------------------------------------------------------------------------


@bp.get("/trips/<uuid:key>")
@allow(OPERATOR)
def trip(key: uuid.UUID) -> Any:
    with reading() as session:
        return _trip_page(session, found_or_404(starts.trip_by_id(session, unit().id, key)))


def _trip_page(session: Session, row: Trip, error: str | None = None) -> str:
    done = {act.kind for act in row.acts}
    return render_template(
        "starts/trip.html", trip=row, error=error, guide=start_records.guide(session, unit(), row),
        fault=trips.is_fault(row.protection), cleared=starts.CLEARED in done,
        reset=starts.RELAY_RESET in done, agreed=starts.HEAD_OPERATOR_AGREES in done,
        second=start_records.second_overload(session, unit(), row))


def _act(key: uuid.UUID, kind: str, needs: dict[str, str]) -> Any:
    """Keeps one act on a trip; what it needs in words must be there."""
    words = {name: clean_text(request.form.get(name, ""))[:500] for name in needs}
    with writing() as session:
        row = found_or_404(starts.trip_by_id(session, unit().id, key))
        missing = next((says for name, says in needs.items() if not words[name]), None)
        if missing:
            return _trip_page(session, row, missing), 422
        start_records.act_on_trip(session, unit(), row, kind, person(), now(),
                                  words.get("qualified_name"), words.get("found") or words.get("cause"))
        session.commit()
        flash(f"{row.motor.tag}: {kind}, on record.")
    return redirect(url_for("starts.trip", key=key), 303)


@bp.post("/trips/<uuid:key>/reset")
@allow(OPERATOR)
def reset(key: uuid.UUID) -> Any:
    return _act(key, starts.RELAY_RESET, {"cause": "Write the cause that was found before the relay was reset."})


@bp.post("/trips/<uuid:key>/agree")
@allow(HEAD_OPERATOR)
def agree(key: uuid.UUID) -> Any:
    return _act(key, starts.HEAD_OPERATOR_AGREES, {"found": "Write on what grounds another start is agreed."})


@bp.post("/trips/<uuid:key>/clear")
@allow(HEAD_OPERATOR)
def clear(key: uuid.UUID) -> Any:
    """On the word of a qualified person, by name: a head operator writes it down, an operator cannot."""
    return _act(key, starts.CLEARED, {"qualified_name": "Write the qualified person's name.",
                                      "found": "Write what was found and put right."})


@bp.post("/motors/<int:motor_id>/release")
@allow(HEAD_OPERATOR)
def release(motor_id: int) -> Any:
    cause = clean_text(request.form.get("cause", ""))[:500]
    with writing() as session:
        motor = motor_or_404(session, motor_id)
        if not cause:
            return _page(session, motor, "Write the cause that was found before it is tried again."), 422
        session.add(starts.Release(motor_id=motor.id, at=now(), person_id=person().id, cause=cause))
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


# the pre-start check ---------------------------------------------------------------------------------------


@bp.get("/motors/<int:motor_id>/prestart")
@allow(OPERATOR)
def prestart(motor_id: int) -> Any:
    with reading() as session:
        return _prestart_page(session, motor_or_404(session, motor_id), str(new_id()), {}, {})


def _prestart_page(session: Session, motor: Motor, key: str, form: Any, errors: dict[str, str]) -> str:
    return render_template("starts/prestart.html", motor=motor, key=key, form=form, errors=errors,
                           items=prestart_items.ITEMS,
                           why=start_records.prestart_why(session, unit(), motor, now()))


@bp.post("/motors/<int:motor_id>/prestart", endpoint="save_prestart")
@allow(OPERATOR)
def save_prestart(motor_id: int) -> Any:
    """Each item answered by a named person; one "no" stops the answer."""
    form = request.form
    answers = {item.key: {"answer": form.get(item.key, ""),
                          "by": clean_text(form.get(f"{item.key}_by", ""))[:120] or person().name}
               for item in prestart_items.ITEMS}
    errors = {item.key: f"Not answered: {item.asks}" for item in prestart_items.ITEMS
              if answers[item.key]["answer"] not in item.words}
    with writing() as session:
        motor = motor_or_404(session, motor_id)
        if errors:
            return _prestart_page(session, motor, form.get("id", ""), form, errors), 422
        passed = start_records.keep_prestart(session, unit(), motor, form.get("id", ""), answers, person(), now())
        session.commit()
    flash(f"{motor.tag}: answers kept." + ("" if passed else " One answer is no: that stands against a start."))
    return redirect(url_for("starts.page", motor_id=motor_id), 303)


# the first-run watch ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class WatchLine:
    at: datetime
    de: float | None
    ode: float | None
    de_rate: float | None
    ode_rate: float | None
    by: str


@bp.get("/starts/<uuid:key>/watch")
@allow(OPERATOR)
def watch(key: uuid.UUID) -> Any:
    with reading() as session:
        return _watch_page(session, found_or_404(starts.start_by_id(session, unit().id, key)), {}, {})


def _watch_page(session: Session, start: Start, form: Any, errors: dict[str, str]) -> str:
    rows = start_records.watch_rows(session, start)
    newest = flags.findings_of(session, [rows[-1].id]).get(rows[-1].id, []) if rows else []
    found = [f.as_rule() for f in newest if f.rule == "warming_fast"]
    most = limits.limits_at(session, unit().id, start.motor_id, now()).value("warming_fast_act_now_k_per_min")
    return render_template("starts/watch.html", motor=start.motor, start=start, key=str(uuid.uuid4()), form=form,
                           errors=errors, lines=_watch_lines(rows), next_at=start_records.next_prompt(start, now()),
                           found=[(f, caution_for(f)) for f in found], most=most)


def _watch_lines(rows: list[Any]) -> list[WatchLine]:
    lines, before = [], None
    for row in rows:
        lines.append(WatchLine(row.taken_at, row.bearing_temp_c_de, row.bearing_temp_c_ode,
                               _rate(before, row, "bearing_temp_c_de"), _rate(before, row, "bearing_temp_c_ode"),
                               row.person.name))
        before = row
    return lines


def _rate(before: Any, row: Any, name: str) -> float | None:
    if before is None or getattr(before, name) is None or getattr(row, name) is None:
        return None
    try:
        return rate_k_per_min(getattr(before, name), getattr(row, name),
                              (row.taken_at - before.taken_at).total_seconds() / 60)
    except MakesNoSense:
        return None


@bp.post("/starts/<uuid:key>/watch", endpoint="save_watch")
@allow(OPERATOR)
def save_watch(key: uuid.UUID) -> Any:
    """A timed reading: judged like any other, but it is no round's check of the motor."""
    form = request.form
    with writing() as session:
        start = found_or_404(starts.start_by_id(session, unit().id, key))
        errors: dict[str, str] = {}
        temps = {end: _temp(form.get(end.lower(), ""), end.lower(), errors) for end in ("DE", "ODE")}
        if not errors and all(t is None for t in temps.values()):
            errors["ode"] = "Enter at least one bearing."
        if errors:
            return _watch_page(session, start, form, errors), 422
        body = {"id": form.get("id", ""), "tag": start.motor.tag, "taken_at": now().isoformat(),
                "by": person().sign_in, "state": "running", "remarks": "first-run watch",
                "bearing_temp_c": {end: t for end, t in temps.items() if t is not None}}
        try:
            answer = recording.record_reading(session, sender(), read_reading(body), watch=True)
        except (BadEntry, OtherContent) as error:
            return _watch_page(session, start, form, {"ode": str(error)}), 422
        session.commit()
        if not any(f.rule == "warming_fast" for f in answer.findings):
            flash("Kept. Not warming faster than the limit.")
    return redirect(url_for("starts.watch", key=key), 303)


def _temp(text: str, name: str, errors: dict[str, str]) -> float | None:
    """A typed temperature in the unit's scale, in °C; blank is None."""
    if not text.strip():
        return None
    fahrenheit = temperature_unit() == "°F"
    low, high = (f_from_c(-60), f_from_c(400)) if fahrenheit else (-60.0, 400.0)
    try:
        typed = read_number(text, low, high, temperature_unit())
    except NotANumber as error:
        errors[name] = str(error)
        return None
    return c_from_f(typed) if fahrenheit else typed
