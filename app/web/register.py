"""The register: list, add and edit motors with their nameplates and lubrication charts."""

from __future__ import annotations

from dataclasses import replace
from itertools import groupby
from typing import Any

from flask import Blueprint, Response, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app import judging, plates
from app.export.register import register_csv
from app.rules.nameplate import questions
from app.store import limits, register, routes
from app.store.motors import Motor, motor_by_id, motor_by_tag, motor_whole, motors_of
from app.store.register import COLUMNS, Edit, RegisterErrors, cells_of
from app.store.register_columns import clean, exact
from app.store.register_reading import visible
from app.store.units import Unit
from app.web import access, register_import, register_plate, register_swap
from app.web.access import SUPERVISOR, allow, found_or_404, now, reading, writing
from app.web.fields import put_errors
from app.web.register_forms import (
    BLANK,
    HINTS,
    SAID,
    SECTIONS,
    RegisterForm,
    cells_from,
    changed_meanwhile,
    form_of,
    label_of,
    merged,
    opened_with,
    typed_fields,
)
from app.web.register_ground import earlier_plates, fahrenheit, here, motor_to_edit, pairs

bp = Blueprint("register", __name__)
for part in (register_import, register_plate, register_swap):
    part.add_to(bp)

EMPTY = dict.fromkeys(COLUMNS, "")


bp.add_app_template_filter(exact, "stored")
bp.add_app_template_filter(visible, "seen")


@bp.app_template_filter()
def register_label(column: str) -> str:
    """A column of the register in words, for the list of changes."""
    return label_of(column) if column in COLUMNS else column


# looking ---------------------------------------------------------------------------------------------------


@bp.get("/register")
@allow(SUPERVISOR)
def index() -> Any:
    with reading() as session:
        motors = motors_of(session, access.unit().id)
    areas = [(area, list(group)) for area, group in groupby(motors, key=lambda m: m.area)]
    waiting = [m for m in motors if register.waits_for_second_person(m, m.nameplate)]
    return render_template("register/index.html", areas=areas, motors=motors, waiting=waiting)


@bp.get("/register/<int:motor_id>")
@allow(SUPERVISOR)
def motor(motor_id: int) -> Any:
    with reading() as session:
        shown = found_or_404(motor_whole(session, access.unit().id, motor_id))
        return render_template(
            "register/motor.html", motor=shown, plate=shown.nameplate, pairs=pairs, asks=asked(session, shown),
            waits=register.waits_for_second_person(shown, shown.nameplate), on=routes.on_which(session, shown),
            changes=register.changes_of_motor(session, shown), earlier=earlier_plates(shown),
            reminds=plates.reminds(session, shown, shown.nameplate))


@bp.get("/register/register.csv")
@allow(SUPERVISOR)
def export() -> Any:
    with reading() as session:
        data = register_csv(session, access.unit())
    return Response(data, content_type="text/csv; charset=utf-8",
                    headers={"Content-Disposition": 'attachment; filename="register.csv"'})


def asked(session: Session, motor: Motor) -> list[Any]:
    """What looks wrong about the plate as entered: asked, never refused."""
    plate = motor.nameplate
    if plate is None:
        return []
    given = replace(judging.plate_facts(plate), rated_amps=plate.amps, service_factor_amps=plate.service_factor_amps)
    return questions(given, limits.limits_at(session, motor.unit_id, motor.id, now()))


# adding and editing ----------------------------------------------------------------------------------------


@bp.get("/register/add")
@allow(SUPERVISOR)
def add() -> Any:
    return show_form(form_of(EMPTY, 0, fahrenheit()))


@bp.post("/register/add", endpoint="add_post")
@allow(SUPERVISOR)
def add_post() -> Any:
    typed = typed_fields(request.form)
    cells = {**EMPTY, **cells_from(typed, EMPTY, fahrenheit())}
    with writing() as session:
        unit, person = here(session)
        there = motor_by_tag(session, unit.id, cells["tag"]) if cells["tag"].strip() else None
        if there is not None and sent_twice(unit, there, cells):
            flash(f"{there.tag} is stored.")
            return redirect(url_for(".motor", motor_id=there.id), 303)
        try:
            edit = register.save_motor(session, unit, None, cells, person, now())
        except RegisterErrors as error:
            return again(form_of(EMPTY, 0, fahrenheit(), typed), error)
        session.commit()
        return saved(edit, f"{edit.entry.tag} is in the register.")


@bp.get("/register/<int:motor_id>/edit")
@allow(SUPERVISOR)
def edit(motor_id: int) -> Any:
    with reading() as session:
        shown = found_or_404(motor_by_id(session, access.unit().id, motor_id))
        return show_form(form_of(cells_of(shown), shown.version, fahrenheit()), shown)


@bp.post("/register/<int:motor_id>/edit", endpoint="edit_post")
@allow(SUPERVISOR)
def edit_post(motor_id: int) -> Any:
    typed, was = typed_fields(request.form), opened_with(request.form.get("was"))
    why, machine = clean(request.form.get("why", ""))[:200], request.form.get("another_machine", "")
    with writing() as session:
        unit, person = here(session)
        motor = found_or_404(motor_to_edit(session, unit, motor_id))
        stored = cells_of(motor)
        cells = merged(stored, was, cells_from(typed, was, fahrenheit()))
        if request.form.get("version") != str(motor.version):
            return ask_again(motor, stored, was, cells, typed, why, machine)
        try:
            edit = register.save_motor(session, unit, motor, cells, person, now(), why or None, SAID.get(machine))
        except RegisterErrors as error:
            form = form_of(stored, motor.version, fahrenheit(), typed, why, machine)
            return again(form, error, motor)
        session.commit()
        return saved(edit, said(edit))


# helpers of the views --------------------------------------------------------------------------------------


def sent_twice(unit: Unit, there: Motor, cells: dict[str, str]) -> bool:
    """The same form came a second time: everything in it is stored already."""
    try:
        entry = register.read_cells(cells, now().astimezone(unit.calendar.zone).date())
    except RegisterErrors:
        return False
    stored = cells_of(there)
    return all(stored[name] == cell for name, cell in entry.cells().items() if name != "condition" or cell)


def show_form(form: RegisterForm, motor: Motor | None = None, status: int = 200, **more: Any) -> Any:
    return render_template("register/form.html", form=form, motor=motor, sections=SECTIONS, hints=HINTS, blanks=BLANK,
                           **more), status


def again(form: RegisterForm, error: RegisterErrors, motor: Motor | None = None) -> Any:
    put_errors(form, [("ambient" if name == "ambient_c" else name, says) for name, says in error.errors])
    return show_form(form, motor, 400)


def ask_again(motor: Motor, stored: dict[str, str], was: dict[str, str], cells: dict[str, str],
              typed: dict[str, str], why: str, machine: str) -> Any:
    """Somebody saved this motor meanwhile: theirs stands, what was typed here is shown over it, and the page asks."""
    theirs = changed_meanwhile(stored, was)
    mine = [register.Difference(n, stored[n], cells[n]) for n in cells if cells[n] != stored[n]]
    touched = {"ambient" if d.column == "ambient_c" else d.column for d in mine}
    form = form_of(stored, motor.version, fahrenheit(), {n: typed[n] for n in touched}, why, machine)
    return show_form(form, motor, 409, theirs=theirs, mine=mine)


def said(edit: Edit) -> str:
    if not edit.differences:
        return f"{edit.entry.tag}: nothing was changed."
    if edit.swap:
        return (f"Another machine is fitted at {edit.entry.tag} from {edit.entry.values['fitted_on']}. Another person "
                "must confirm its plate before load in percent counts again.")
    return f"{edit.entry.tag} is saved: {len(edit.differences)} change{'' if len(edit.differences) == 1 else 's'}."


def saved(edit: Edit, says: str) -> Any:
    assert edit.motor is not None
    flash(says)
    return redirect(url_for(".motor", motor_id=edit.motor.id), 303)
