"""People of the unit: who signs in, with which role, to which units. Never deleted, only made inactive."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import sqlalchemy as sa
from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import Form, PasswordField, StringField

from app import guessing
from app.store import people
from app.store.changes import changes_of, note_change
from app.store.people import ROLES, Person, PersonUnit
from app.store.register_columns import clean
from app.store.units import Unit
from app.web import access
from app.web.access import SUPERVISOR, allow, found_or_404, now, reading, writing
from app.web.fields import WordField, put_errors
from app.web.request_log import tell_access

ACTIVE, INACTIVE = "active", "inactive"
LONGEST_SIGN_IN, LONGEST_NAME, LONGEST_SECRET = 80, 80, 200

Errors = list[tuple[str, str]]


class AddForm(Form):
    sign_in = StringField("Sign-in name")
    name = StringField("Name")
    role = WordField("Role", ROLES)
    secret = PasswordField("PIN or pass-phrase")
    again = PasswordField("The same once more")


class EditForm(Form):
    name = StringField("Name")
    role = WordField("Role", ROLES)
    state = WordField("May sign in", (ACTIVE, INACTIVE))
    secret = PasswordField("New PIN or pass-phrase")
    again = PasswordField("The same once more")


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/settings/people", "people_page", people_page)
    bp.add_url_rule("/settings/people/add", "add_person", add_person)
    bp.add_url_rule("/settings/people/add", "add_person_post", add_person_post, methods=["POST"])
    bp.add_url_rule("/settings/people/<int:person_id>", "person", person_page)
    bp.add_url_rule("/settings/people/<int:person_id>", "person_post", person_post, methods=["POST"])


@allow(SUPERVISOR)
def people_page() -> Any:
    with reading() as session:
        return render_template("settings/people.html", people=people.people_of(session, access.unit()))


# adding ----------------------------------------------------------------------------------------------------


@allow(SUPERVISOR)
def add_person() -> Any:
    return render_template("settings/add_person.html", form=AddForm())


@allow(SUPERVISOR)
def add_person_post() -> Any:
    form = AddForm(request.form)
    sign_in, name = clean(form.sign_in.data or ""), clean(form.name.data or "")
    errors = [*check_sign_in(sign_in), *check_name(name), *check_role(form.role.data),
              *check_secret(form.secret.data or "", form.again.data or "", form.role.data, needed=True,
                            words=[sign_in, name, access.unit().name])]
    if errors:
        return add_again(form, errors)
    hashed = guessing.hash_secret(form.secret.data)  # slow on purpose: before the write begins
    with writing() as session:
        if people.person_by_sign_in(session, sign_in) is not None:
            return add_again(form, [("sign_in", "Choose another sign-in name: this one is taken, here or in another "
                                                "unit. A person keeps one name for all units.")])
        unit = session.get_one(Unit, access.unit().id)
        made = people.add_person(session, sign_in, name, form.role.data, hashed, [unit], now())
        note(session, made, "added", None, f"{made.name}, {made.role}")
        session.commit()
    flash(f"{name} may sign in as {sign_in}.")
    return redirect(url_for(".people_page"), 303)


def add_again(form: AddForm, errors: Errors) -> Any:
    put_errors(form, errors)
    return render_template("settings/add_person.html", form=form), 400


# editing ---------------------------------------------------------------------------------------------------


@allow(SUPERVISOR)
def person_page(person_id: int) -> Any:
    with reading() as session:
        shown = found_or_404(one_of_ours(session, person_id))
        form = EditForm(name=shown.name, role=shown.role, state=ACTIVE if shown.active else INACTIVE)
        return show_person(session, form, shown)


@allow(SUPERVISOR)
def person_post(person_id: int) -> Any:
    form = EditForm(request.form)
    name, secret = clean(form.name.data or ""), form.secret.data or ""
    hashed = guessing.hash_secret(secret) if 0 < len(secret) <= LONGEST_SECRET else None  # before the write begins
    with writing() as session:
        hold_units(session, person_id)
        edited = found_or_404(one_of_ours(session, person_id, hold=True))
        errors = [] if may_edit(edited) else [("", not_yours(edited))]
        errors += [*check_name(name), *check_role(form.role.data), *check_state(form.state.data)]
        promoted = form.role.data == people.SUPERVISOR and edited.role != people.SUPERVISOR
        errors += check_secret(secret, form.again.data or "", form.role.data, needed=promoted,
                               words=[*guessing.words_of(edited), name])
        if not errors:
            given = chosen_units(session, edited)
            errors = check_supervisors(session, edited, form.role.data, form.state.data == ACTIVE, given)
        if errors:
            put_errors(form, errors)
            return show_person(session, form, edited, 400)
        ends = write_person(session, edited, name, form.role.data, form.state.data == ACTIVE, hashed, given)
        session.commit()
    flash(f"{name} is saved." + (f" {name} is signed out everywhere." if ends else ""))
    return redirect(url_for(".people_page"), 303)


def write_person(session: Session, edited: Person, name: str, role: str, active: bool, hashed: str | None,
                 given: list[Unit]) -> bool:
    """Writes what differs, each noted. True when the person's sessions ended with it."""
    for attribute, value in (("name", name), ("role", role)):
        before = getattr(edited, attribute)
        if before != value:
            note(session, edited, attribute, before, value)
    if edited.active != active:
        note(session, edited, "may sign in", *(("yes", "no") if edited.active else ("no", "yes")))
    if hashed:
        note(session, edited, "secret", None, "reset")
    before, after = (", ".join(sorted(u.name for u in units)) for units in (edited.units, given))
    if before != after:
        note(session, edited, "units", before, after)
    lost = [u for u in edited.units if u not in given]
    ends = bool(hashed or lost or edited.role != role or (edited.active and not active))
    edited.name, edited.role, edited.active, edited.units = name, role, active, given
    if hashed:
        edited.secret_hash = hashed
    if role == people.SUPERVISOR:
        edited.pin_hash = None  # a supervisor signs in with the pass-phrase only
    if ends:
        people.end_sessions(session, edited, now())
    return ends


def show_person(session: Session, form: EditForm, shown: Person, status: int = 200) -> Any:
    return render_template(
        "settings/person.html", form=form, person=shown, may_edit=may_edit(shown), why_not=not_yours(shown),
        mine=access.person().units, given={u.id for u in shown.units}, changes=changes_of(session, "person", shown.id),
        itself=shown.id == access.person().id), status


# who may be edited, and what must stay true ----------------------------------------------------------------


def one_of_ours(session: Session, person_id: int, hold: bool = False) -> Person | None:
    """A person of this unit; another unit's does not exist here. hold: kept from other editors until the commit."""
    query = sa.select(Person).join(PersonUnit, PersonUnit.person_id == Person.id).where(
        Person.id == person_id, PersonUnit.unit_id == access.unit().id)
    return session.scalar(query.with_for_update(of=Person) if hold else query)


def hold_units(session: Session, person_id: int) -> None:
    """Two supervisors who take each other's role at once come one after the other, and the later is refused. What
    points at the unit meanwhile (a reading, a round) does not wait."""
    session.scalars(sa.select(Unit.id).join(PersonUnit, PersonUnit.unit_id == Unit.id).where(
        PersonUnit.person_id == person_id).order_by(Unit.id).with_for_update(of=Unit, key_share=True)).all()


def may_edit(edited: Person) -> bool:
    """Only a supervisor of all of a person's units: a role and a secret count in every one of them."""
    mine = {unit.id for unit in access.person().units}
    return all(unit.id in mine for unit in edited.units)


def not_yours(edited: Person) -> str:
    mine = {unit.id for unit in access.person().units}
    others = sum(1 for unit in edited.units if unit.id not in mine)
    return (f"Ask a supervisor of all their units: {edited.name} also works in {others} unit"
            f"{'' if others == 1 else 's'} that you do not have, and role and secret count there too.")


def chosen_units(session: Session, edited: Person) -> list[Unit]:
    """The units as ticked, among those that the page could show; boxes that were not shown change nothing."""
    offered = {u.id for u in access.person().units} & {int(i) for i in request.form.getlist("offered") if i.isdigit()}
    ticked = {int(i) for i in request.form.getlist("units") if i.isdigit()} & offered
    kept = {u.id for u in edited.units} - offered
    return list(session.scalars(sa.select(Unit).where(Unit.id.in_(ticked | kept)).order_by(Unit.name)))


def check_supervisors(session: Session, edited: Person, role: str, active: bool, given: list[Unit]) -> Errors:
    """Every unit keeps a supervisor who may sign in: nobody locks the last one out."""
    if not given:
        return [("units", "Leave at least one unit. To keep somebody out, set them inactive.")]
    if edited.role != people.SUPERVISOR or not edited.active:
        return []
    stays = role == people.SUPERVISOR and active
    for unit in edited.units:
        others = session.scalars(
            sa.select(Person).join(PersonUnit, PersonUnit.person_id == Person.id)
            .where(PersonUnit.unit_id == unit.id, Person.role == people.SUPERVISOR, Person.active,
                   Person.id != edited.id)).all()
        if not others and not (stays and unit in given):
            at = "units" if stays else "role" if role != people.SUPERVISOR else "state"
            return [(at, f"Make somebody else supervisor of {unit.name} first: this is the last one.")]
    return []


def check_sign_in(sign_in: str) -> Errors:
    if not sign_in:
        return [("sign_in", "Enter a sign-in name.")]
    if len(sign_in) > LONGEST_SIGN_IN:
        return [("sign_in", f"Shorten the sign-in name to {LONGEST_SIGN_IN} characters.")]
    return []


def check_name(name: str) -> Errors:
    if not name:
        return [("name", "Enter the name that stands beside their entries.")]
    return [("name", f"Shorten the name to {LONGEST_NAME} characters.")] if len(name) > LONGEST_NAME else []


def check_role(role: str | None) -> Errors:
    return [] if role in ROLES else [("role", f"Choose a role: {', '.join(ROLES)}.")]


def check_state(state: str | None) -> Errors:
    return [] if state in (ACTIVE, INACTIVE) else [("state", "Choose active or inactive.")]


def check_secret(secret: str, again: str, role: str | None, *, needed: bool,
                 words: Iterable[str] = ()) -> Errors:
    if not secret and not again:
        return [("secret", "Enter a new pass-phrase: a supervisor's has 12 characters or more."
                 if role == people.SUPERVISOR else "Enter a PIN of 6 digits or more.")] if needed else []
    if len(secret) > LONGEST_SECRET:
        return [("secret", f"Shorten it to {LONGEST_SECRET} characters.")]
    if role not in ROLES:
        return []  # said beside the role; how strong it must be depends on it
    try:
        guessing.check_strength(secret, role, words)
    except guessing.WeakSecret as error:
        return [("secret", str(error))]
    return [] if secret == again else [("again", "Enter the same twice: these two differ.")]


def note(session: Session, about: Person, field: str, before: str | None, after: str | None) -> None:
    by = session.get_one(Person, access.person().id)
    note_change(session, unit_id=access.unit().id, at=now(), person=by, subject="person", subject_id=about.id,
                label=about.sign_in, field=field, before=before, after=after)
    tell_access("person changed", field, about.id)
