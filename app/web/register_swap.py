"""Another machine at the same place: its plate is read afresh, nothing of the one before is filled in."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for

from app.store import register
from app.store.motors import Motor, motor_by_id
from app.store.register import COLUMNS, RegisterErrors, cells_of
from app.store.register_columns import PLATE_COLUMNS, clean
from app.web import access
from app.web.access import SUPERVISOR, allow, found_or_404, now, reading, writing
from app.web.fields import put_errors
from app.web.register_forms import (
    BLANK,
    HINTS,
    RegisterForm,
    cells_from,
    changed_meanwhile,
    form_of,
    opened_with,
    typed_fields,
)
from app.web.register_ground import fahrenheit, here, motor_to_edit

PLATE_NAMES = tuple(column.name for column in PLATE_COLUMNS)
#: In the order in which a plate is read, two beside each other.
ROWS = (("fitted_on", "serial"), ("hp", "volts"), ("amps", "connected_volts"),
        ("service_factor", "service_factor_amps"),
        ("phases", "hz"), ("rpm", "poles"), ("code_letter", "frame"), ("enclosure", "insulation_class"),
        ("ambient", "mounting"), ("de_bearing", "ode_bearing"), ("load_wk2_lbft2",))
EMPTY = dict.fromkeys(COLUMNS, "")


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/register/<int:motor_id>/swap", "swap", swap)
    bp.add_url_rule("/register/<int:motor_id>/swap", "swap_post", swap_post, methods=["POST"])


@allow(SUPERVISOR)
def swap(motor_id: int) -> Any:
    with reading() as session:
        motor = found_or_404(motor_by_id(session, access.unit().id, motor_id))
        return _page(motor, form_of(EMPTY, motor.version, fahrenheit()))


@allow(SUPERVISOR)
def swap_post(motor_id: int) -> Any:
    typed = {name: text for name, text in typed_fields(request.form).items()
             if name == "ambient" or name in PLATE_NAMES}
    why = clean(request.form.get("why", ""))[:200] or "another machine fitted"
    with writing() as session:
        unit, person = here(session)
        motor = found_or_404(motor_to_edit(session, unit, motor_id))
        stored = cells_of(motor)
        given = {**dict.fromkeys(PLATE_NAMES, ""), **cells_from(typed, EMPTY, fahrenheit())}
        form = form_of(EMPTY, motor.version, fahrenheit(), typed, why=request.form.get("why", ""))
        if motor.plate_waits and all(stored[name] == given[name].strip() for name in PLATE_NAMES):
            flash(f"This plate of {motor.tag} is stored.")  # the same form a second time
            return redirect(url_for(".plate", motor_id=motor_id), 303)
        if request.form.get("version") != str(motor.version):
            return _page(motor, form, theirs=changed_meanwhile(stored, opened_with(request.form.get("stood")))), 409
        try:
            edit = register.save_motor(session, unit, motor, {**stored, **given}, person, now(), why,
                                       another_machine=True)
        except RegisterErrors as error:
            put_errors(form, [("ambient" if name == "ambient_c" else name, says) for name, says in error.errors])
            return _page(motor, form), 400
        session.commit()
        flash(f"Another machine is fitted at {motor.tag} from {edit.entry.values['fitted_on']}." if edit.swap else
              f"The first plate of {motor.tag} is stored.")
    return redirect(url_for(".plate", motor_id=motor_id), 303)


def _page(motor: Motor, form: RegisterForm, **more: Any) -> str:
    return render_template("register/swap.html", motor=motor, plate=motor.nameplate, form=form, rows=ROWS, hints=HINTS,
                           blanks=BLANK, stood=cells_of(motor), **more)
