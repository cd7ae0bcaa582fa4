"""Shared tablets of the unit: enrolled, named, seen last, revoked; and the PINs that count only on them."""

from __future__ import annotations

import secrets
from typing import Any

import sqlalchemy as sa
from flask import Blueprint, flash, g, make_response, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import Form, IntegerField, PasswordField, StringField
from wtforms.validators import DataRequired, InputRequired, Length, NumberRange

from app import guessing
from app.store import devices, people
from app.store.changes import note_change
from app.store.devices import Device
from app.store.people import SUPERVISOR, Person, PersonUnit, SignedIn
from app.store.register_columns import clean
from app.web import access
from app.web.access import allow, found_or_404, now, reading, unit, writing
from app.web.request_log import tell_access

bp = Blueprint("tablets", __name__)

LEAST, MOST = devices.IDLE_BOUNDS_MIN


class Minutes(IntegerField):
    """Whole minutes, asked for in our own words."""

    def process_formdata(self, valuelist: list[Any]) -> None:
        try:
            super().process_formdata(valuelist)
        except ValueError:
            raise ValueError(f"Enter whole minutes, {LEAST} to {MOST}.") from None


class TabletForm(Form):
    name = StringField("Name of the tablet", [DataRequired("Enter a name, such as the one on its back."),
                                              Length(max=60, message="Keep it to 60 characters.")],
                       filters=[lambda text: clean(text or "")])
    idle_min = Minutes("Minutes untouched until it asks who is there", [
        InputRequired(f"Enter whole minutes, {LEAST} to {MOST}."),
        NumberRange(LEAST, MOST, f"Enter whole minutes, {LEAST} to {MOST}.")])


class PinForm(Form):
    secret = PasswordField("New PIN", [InputRequired("Enter a PIN."), Length(max=200)])
    again = PasswordField("The same once more", [Length(max=200)])


# the tablets -----------------------------------------------------------------------------------------------


@bp.get("/settings/tablets")
@allow(SUPERVISOR)
def index() -> Any:
    return _list(TabletForm(idle_min=devices.IDLE_MIN))


def _list(form: TabletForm, status: int = 200) -> Any:
    with reading() as session:
        crew = [p for p in people.people_of(session, unit()) if p.active and p.role != SUPERVISOR]
        return render_template("tablets/index.html", form=form, tablets=devices.devices_of(session, unit().id),
                               this=access.tablet(), crew=crew), status


@bp.post("/settings/tablets")
@allow(SUPERVISOR)
def enrol() -> Any:
    """Makes this very browser a tablet of the unit, in place of what it was enrolled as before."""
    form = TabletForm(request.form)
    value = secrets.token_urlsafe(32)
    with writing() as session:
        if not form.validate() or not _name_is_free(session, form, None):
            return _list(form, 400)
        by, before = _me(session), access.tablet()
        if before is not None:
            devices.revoke(session, session.get_one(Device, before.id), by, now())
        made = devices.enrol(session, unit(), form.name.data, access.hashed(value), form.idle_min.data, by, now())
        here = session.get_one(SignedIn, g.signed_in.key)
        here.device_id, here.touched_at, here.ended_at = made.id, now(), None
        _note(session, made, "enrolled", None, f"asks who is there after {made.idle_min} min untouched")
        session.commit()
    flash(f"This is now “{form.name.data}”. Give it out of your hands with “Not you?”: the names of the crew come up.")
    answer = make_response(redirect(url_for(".index"), 303))
    access.set_cookie(answer, access.tablet_cookie_name(), value, 24 * access.TABLET_DAYS)
    return answer


@bp.get("/settings/tablets/<int:device_id>")
@allow(SUPERVISOR)
def tablet(device_id: int) -> Any:
    with reading() as session:
        shown = found_or_404(devices.device_by_id(session, unit().id, device_id))
        return render_template("tablets/one.html", tablet=shown,
                               form=TabletForm(name=shown.name, idle_min=shown.idle_min))


@bp.post("/settings/tablets/<int:device_id>", endpoint="save_tablet")
@allow(SUPERVISOR)
def save(device_id: int) -> Any:
    form = TabletForm(request.form)
    with writing() as session:
        edited = found_or_404(devices.device_by_id(session, unit().id, device_id))
        if not form.validate() or not _name_is_free(session, form, edited):
            return render_template("tablets/one.html", tablet=edited, form=form), 400
        for field in ("name", "idle_min"):
            before, after = getattr(edited, field), form[field].data
            if before != after:
                _note(session, edited, field, before, after)
                setattr(edited, field, after)
        session.commit()
    flash(f"{form.name.data} is saved.")
    return redirect(url_for(".index"), 303)


@bp.post("/settings/tablets/<int:device_id>/revoke")
@allow(SUPERVISOR)
def revoke(device_id: int) -> Any:
    """Lost, lent or out of use: no names and no PIN there any more, and whoever is signed in on it is out."""
    with writing() as session:
        gone = found_or_404(devices.device_by_id(session, unit().id, device_id))
        if gone.revoked_at is None:
            devices.revoke(session, gone, _me(session), now())
            _note(session, gone, "revoked", "no", "yes")
        name = gone.name
        session.commit()
    flash(f"{name} is revoked: no names, no PIN there any more, and nobody is signed in on it.")
    return redirect(url_for(".index"), 303)


def _name_is_free(session: Session, form: TabletForm, itself: Device | None) -> bool:
    there = devices.in_use_under(session, unit().id, form.name.data)
    if there is None or (itself is not None and there.id == itself.id) or (itself is not None and itself.revoked_at):
        return True
    form.name.errors = [*form.name.errors, "Choose another name: a tablet in use has this one. Revoke it first if "
                                           "this is the same tablet."]
    return False


# PINs ------------------------------------------------------------------------------------------------------


@bp.get("/settings/people/<int:person_id>/pin")
@allow(SUPERVISOR)
def pin(person_id: int) -> Any:
    with reading() as session:
        return _pin_page(found_or_404(_crew_member(session, person_id)), PinForm())


def _pin_page(shown: Person, form: PinForm, status: int = 200) -> Any:
    return render_template("tablets/pin.html", person=shown, form=form), status


@bp.post("/settings/people/<int:person_id>/pin", endpoint="set_pin")
@allow(SUPERVISOR)
def set_pin(person_id: int) -> Any:
    """Sets or takes away a PIN; either way the person is signed out."""
    form, away = PinForm(request.form), "away" in request.form
    with reading() as session:
        shown = found_or_404(_crew_member(session, person_id))
        words = guessing.words_of(shown)
    if not away and not _pin_is_good(form, words):
        return _pin_page(shown, form, 400)
    hashed = None if away else guessing.hash_secret(form.secret.data)  # slow on purpose: before the write begins
    with writing() as session:
        edited = found_or_404(_crew_member(session, person_id))
        note_change(session, unit_id=unit().id, at=now(), person=_me(session), subject="person", subject_id=edited.id,
                    label=edited.sign_in, field="PIN", before="set" if edited.pin_hash else "none",
                    after="none" if away else "set by a supervisor")
        edited.pin_hash, edited.pin_given = hashed, not away
        people.end_sessions(session, edited, now())
        session.commit()
    tell_access("person changed", "PIN", person_id)
    flash(f"{shown.name} has no PIN any more." if away else
          f"{shown.name} has a new PIN. Tell it to nobody else; the tablet asks {shown.name} to choose another.")
    return redirect(url_for("settings.person", person_id=person_id), 303)


def _pin_is_good(form: PinForm, words: list[str]) -> bool:
    if not form.validate():
        return False
    try:
        guessing.check_pin(form.secret.data, words)
    except guessing.WeakSecret as error:
        form.secret.errors = [str(error)]
        return False
    if form.secret.data != form.again.data:
        form.again.errors = ["Enter the same twice: these two differ."]
        return False
    return True


def _crew_member(session: Session, person_id: int) -> Person | None:
    """One of this unit who may have a PIN and whose every unit is this supervisor's; a supervisor never has one."""
    found = session.scalar(sa.select(Person).join(PersonUnit, PersonUnit.person_id == Person.id).where(
        Person.id == person_id, PersonUnit.unit_id == unit().id, Person.role != SUPERVISOR))
    mine = {u.id for u in access.person().units}
    return found if found and all(u.id in mine for u in found.units) else None


def _me(session: Session) -> Person:
    return session.get_one(Person, access.person().id)


def _note(session: Session, about: Device, field: str, before: object, after: object) -> None:
    note_change(session, unit_id=about.unit_id, at=now(), person=_me(session), subject="tablet", subject_id=about.id,
                label=about.name, field=field, before=before, after=after)
    tell_access("tablet changed", field, about.id)
