"""A trip at the motor: which protection opened, the guide that follows, and what people did about it by name."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app import start_records
from app.entries import BadEntry, clean_text, read_trip
from app.recording import OtherContent, Sender
from app.rules import trips
from app.store import motors, starts
from app.store.motors import Motor
from app.store.people import HEAD_OPERATOR, OPERATOR
from app.store.starts import PROTECTIONS, Trip
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.formatting import moment_s
from app.web.times import BadTime, time_seen


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/motors/<int:motor_id>/trip", "trip_form", trip_form)
    bp.add_url_rule("/motors/<int:motor_id>/trip", "save_trip", save_trip, methods=["POST"])
    bp.add_url_rule("/trips/<uuid:key>", "trip", trip)
    for name, view in (("reset", reset), ("agree", agree), ("clear", clear)):
        bp.add_url_rule(f"/trips/<uuid:key>/{name}", name, view, methods=["POST"])


# which protection opened -----------------------------------------------------------------------------------


@allow(OPERATOR)
def trip_form(motor_id: int) -> Any:
    """Which protection opened: nothing is preselected."""
    with reading() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        return _form(motor, str(uuid.uuid4()), request.args.get("at", ""), {}, {})


def _form(motor: Motor, key: str, at: str, form: Any, errors: dict[str, str]) -> str:
    known = _instant(at)
    return render_template("starts/trip_form.html", motor=motor, key=key, at=at if known else "", form=form,
                           at_words=moment_s(known), errors=errors, protections=PROTECTIONS, guides=_guides(motor),
                           by_itself=motor.interlock in trips.BY_ITSELF)


def _guides(motor: Motor) -> dict[str, Any]:
    """What a tablet without a network shows of a trip entered on it. Whether the shift has had an overload before is
    not known there: the step for a second one is always in it."""
    guides = {p: trips.trip_guide(p, motor.interlock, second_in_shift=True) for p in PROTECTIONS}
    return {p: {"cannot_wait": trips.cannot_wait(steps), "steps": [[step.does, step.who] for step in steps],
                "caution": trips.CAUTION} for p, steps in guides.items()}


def _instant(text: str) -> datetime | None:
    try:
        known = datetime.fromisoformat(text)
    except ValueError:
        return None
    return known if known.tzinfo is not None else None


@allow(OPERATOR)
def save_trip(motor_id: int) -> Any:
    form = request.form
    with writing() as session:
        motor = found_or_404(motors.motor_by_id(session, unit().id, motor_id))
        if there := _tapped_twice(session, motor, form):
            return redirect(url_for("starts.trip", key=there.id), 303)
        errors: dict[str, str] = {}
        at = _time(form, errors)
        if form.get("protection") not in PROTECTIONS:
            errors["protection"] = "Choose which protection opened; “unknown” is an answer."
        if errors:
            return _form(motor, form.get("id", ""), form.get("at", ""), form, errors), 422
        try:
            answer = start_records.record_trip(session, Sender(unit(), now(), person=person()), read_trip({
                "id": form.get("id", ""), "tag": motor.tag, "at": at.isoformat(), "by": person().sign_in,
                "protection": form["protection"], "cause": clean_text(form.get("cause", "")) or None}))
        except OtherContent:
            used = {"protection": "This page was used before. Nothing new is stored: look, then record it again."}
            return _form(motor, str(uuid.uuid4()), form.get("at", ""), form, used), 422
        except BadEntry as error:
            says = {_FIELD.get(p.field, "protection"): p.says for p in error.problems}
            return _form(motor, form.get("id") or str(uuid.uuid4()), form.get("at", ""), form, says), 422
        session.commit()
    return redirect(url_for("starts.trip", key=answer.id), 303)


_FIELD = {"at": "seen_at", "cause": "cause"}


def _time(form: Any, errors: dict[str, str]) -> datetime:
    """As typed, else as recorded with the start, else now."""
    try:
        if form.get("seen_at", "").strip():
            return time_seen(form.get("seen_at"), unit(), now())
    except BadTime as error:
        errors["seen_at"] = str(error)
    return _instant(form.get("at", "")) or now()


def _tapped_twice(session: Session, motor: Motor, form: Any) -> Trip | None:
    """The same page sent again with the same answer."""
    try:
        there = starts.trip_by_id(session, unit().id, uuid.UUID(form.get("id", "")))
    except ValueError:
        return None
    return there if there and there.motor_id == motor.id and there.protection == form.get("protection") else None


# what happens after it -------------------------------------------------------------------------------------


@allow(OPERATOR)
def trip(key: uuid.UUID) -> Any:
    with reading() as session:
        return _page(session, found_or_404(starts.trip_by_id(session, unit().id, key)))


def _page(session: Session, row: Trip, errors: dict[str, str] | None = None) -> str:
    done = {act.kind for act in row.acts}
    return render_template(
        "starts/trip.html", trip=row, errors=errors or {}, form=request.form,
        guide=start_records.guide(session, unit(), row), fault=trips.is_fault(row.protection), caution=trips.CAUTION,
        cleared=starts.CLEARED in done, reset=starts.RELAY_RESET in done, agreed=starts.HEAD_OPERATOR_AGREES in done,
        second=start_records.second_overload(session, unit(), row))


def _act(key: uuid.UUID, kind: str, needs: dict[str, str]) -> Any:
    """Keeps one act on a trip; what it needs in words must be there. An act the trip does not ask for is refused."""
    words = {name: clean_text(request.form.get(name, ""))[:500] for name in needs}
    errors = {name: says for name, says in needs.items() if not words[name]}
    with writing() as session:
        row = found_or_404(starts.trip_by_id(session, unit().id, key))
        if not start_records.fits(row, kind):
            return _page(session, row, {"": f"Nothing is stored: this trip does not wait for “{kind}”."}), 409
        if errors:
            return _page(session, row, errors), 422
        start_records.act_on_trip(session, unit(), row, kind, person(), now(),
                                  words.get("qualified_name"), words.get("found") or words.get("cause"))
        session.commit()
        flash(f"{row.motor.tag}: {kind}, on record.")
    return redirect(url_for("starts.trip", key=key), 303)


@allow(OPERATOR)
def reset(key: uuid.UUID) -> Any:
    return _act(key, starts.RELAY_RESET, {"cause": "Write the cause that was found before the relay was reset."})


@allow(HEAD_OPERATOR)
def agree(key: uuid.UUID) -> Any:
    return _act(key, starts.HEAD_OPERATOR_AGREES, {"found": "Write on what grounds another start is agreed."})


@allow(HEAD_OPERATOR)
def clear(key: uuid.UUID) -> Any:
    """On the word of a qualified person, by name: a head operator writes it down, an operator cannot."""
    return _act(key, starts.CLEARED, {"qualified_name": "Write the qualified person's name.",
                                      "found": "Write what was found and put right."})
