"""Before and after a first start: the pre-start check, each item by a named person, and the first-run watch."""

from __future__ import annotations

import uuid
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app import first_run, recording, start_records
from app.entries import BadEntry, clean_text, read_reading
from app.recording import OtherContent, Sender
from app.rules import prestart_items
from app.rules.cautions import caution_for
from app.rules.numbers import NotANumber, read_number
from app.rules.units import c_from_f, f_from_c
from app.store import flags, limits, motors, starts
from app.store.base import new_id
from app.store.motors import Motor
from app.store.people import OPERATOR
from app.store.rounds import Reading
from app.store.starts import Start
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.formatting import temperature_unit


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/motors/<int:motor_id>/prestart", "prestart", prestart)
    bp.add_url_rule("/motors/<int:motor_id>/prestart", "save_prestart", save_prestart, methods=["POST"])
    bp.add_url_rule("/starts/<uuid:key>/watch", "watch", watch)
    bp.add_url_rule("/starts/<uuid:key>/watch", "save_watch", save_watch, methods=["POST"])


# the pre-start check ---------------------------------------------------------------------------------------


@allow(OPERATOR)
def prestart(motor_id: int) -> Any:
    with reading() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        return _check_page(session, motor, str(new_id()), {}, {})


def _check_page(session: Session, motor: Motor, key: str, form: Any, errors: dict[str, str]) -> str:
    moment = now()
    return render_template("starts/prestart.html", motor=motor, key=key, form=form, errors=errors,
                           items=prestart_items.ITEMS, last=start_records.newest_check(session, motor, moment),
                           why=start_records.prestart_why(session, unit(), motor, moment))


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
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        if errors:
            return _check_page(session, motor, form.get("id", ""), form, errors), 422
        passed = start_records.keep_prestart(session, unit(), motor, form.get("id", ""), answers, person(), now())
        session.commit()
    flash(f"{motor.tag}: answers kept." if passed else
          f"{motor.tag}: answers kept. One is no: do not start it; put it right, then answer the check again.")
    return redirect(url_for("starts.page", motor_id=motor_id), 303)


# the first-run watch ---------------------------------------------------------------------------------------


@allow(OPERATOR)
def watch(key: uuid.UUID) -> Any:
    with reading() as session:
        return _watch_page(session, found_or_404(starts.start_by_id(session, unit().id, key)), {}, {})


def _watch_page(session: Session, start: Start, form: Any, errors: dict[str, str]) -> str:
    rows = first_run.looks(session, start)
    newest = flags.findings_of(session, [rows[-1].id]).get(rows[-1].id, []) if rows else []
    found = [f.as_rule() for f in newest if f.rule == "warming_fast"]
    most = limits.limits_at(session, unit().id, start.motor_id, now()).value("warming_fast_act_now_k_per_min")
    lines = first_run.lines(rows)
    return render_template("starts/watch.html", motor=start.motor, start=start, key=str(uuid.uuid4()), form=form,
                           errors=errors, lines=lines, most=most, prompts=first_run.prompts(start, rows, now()),
                           fast=bool(found) or bool(lines and lines[-1].above(most)),
                           found=[(f, caution_for(f)) for f in found])


@allow(OPERATOR)
def save_watch(key: uuid.UUID) -> Any:
    """A timed reading: judged like any other, but it is no round's check of the motor."""
    form = request.form
    with writing() as session:
        start = found_or_404(starts.start_by_id(session, unit().id, key))
        if _kept_before(session, start, form.get("id", "")):
            return redirect(url_for("starts.watch", key=key), 303)
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
            answer = recording.record_reading(session, Sender(unit(), now(), person=person()), read_reading(body),
                                              watch=True)
        except (BadEntry, OtherContent) as error:
            return _watch_page(session, start, form, {"ode": str(error)}), 422
        session.commit()
        if not any(f.rule == "warming_fast" for f in answer.findings):
            flash("Kept. Not warming faster than the limit.")
    return redirect(url_for("starts.watch", key=key), 303)


def _kept_before(session: Session, start: Start, key: str) -> bool:
    """The same page sent again."""
    try:
        there = session.get(Reading, uuid.UUID(key))
    except ValueError:
        return False
    return there is not None and there.motor_id == start.motor_id


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
