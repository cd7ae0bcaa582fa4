"""Labels for the field: sheets to print, and what a scanned code or the last four of a tag leads to."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, abort, redirect, render_template, request, url_for
from wtforms import BooleanField, Form, RadioField, SelectField, StringField

from app.label_drawing import draw
from app.label_sheets import FREE, GRIDS, PAPER_MM, Grid, faults, sheets, without_pitch
from app.rules.numbers import NotANumber, read_number
from app.store import motors, search
from app.store.motors import Motor
from app.store.people import OPERATOR, SUPERVISOR
from app.web.access import allow, now, person, reading, settings, unit
from app.web.fields import picks, put_errors

bp = Blueprint("labels", __name__)

MOST = 1000  # labels at once: more would be a page that no browser prints well
ALL, AREA, CHOSEN = "all", "area", "chosen"
#: The figures of a grid typed by hand: what they are called, the least, the most, whole or not.
FREE_FIGURES = {
    "columns": ("Columns", 1, 20, True), "rows": ("Rows", 1, 40, True), "width": ("Label, width", 5, 300, False),
    "height": ("Label, height", 5, 300, False), "left": ("Left edge of the first", 0, 100, False),
    "top": ("Top edge of the first", 0, 100, False), "across": ("Step across", 5, 300, False),
    "down": ("Step down", 5, 300, False)}


class LabelForm(Form):
    which = RadioField("Motors", choices=picks([(ALL, "All"), (AREA, "One area"), (CHOSEN, "The ones ticked below")]),
                       default=ALL)
    area = SelectField("Area", validate_choice=False)
    grid = SelectField("Sheet", choices=picks([*((g.name, g.says) for g in GRIDS.values()),
                                               (FREE, "Another grid, typed below")]), default="a4-21")
    first = StringField("First free label of the sheet", default="1")
    outlines = BooleanField("With outlines, to try on plain paper first")
    paper = SelectField("Paper", choices=picks((p, p) for p in PAPER_MM), default="A4")
    columns, rows, width, height, left, top, across, down = (StringField(words) for words, *_ in FREE_FIGURES.values())


# printing --------------------------------------------------------------------------------------------------


@bp.get("/register/labels")
@allow(SUPERVISOR)
def choose() -> Any:
    return _choose(LabelForm(which=CHOSEN if request.args.get("motor") else ALL))


def _choose(form: LabelForm, status: int = 200) -> Any:
    with reading() as session:
        register = motors.motors_of(session, unit().id)
        form.area.choices = picks((a, a) for a in dict.fromkeys(m.area for m in register))
        return render_template("labels/choose.html", form=form, motors=register, address=settings().public_url,
                               ticked=_ticked(), free=FREE_FIGURES), status


def _ticked() -> set[int]:
    return {int(i) for i in request.args.getlist("motor") if i.isascii() and i.isdigit()}


@bp.get("/register/labels/sheet")
@allow(SUPERVISOR)
def sheet() -> Any:
    """The labels on their places, page by page, to print at 100 %."""
    form = LabelForm(request.args)
    errors: list[tuple[str, str]] = []
    grid = _grid(form, errors)
    first = _figure(form, "first", 1, grid.count if grid else 1, True, errors)
    with reading() as session:
        chosen = [m for m in motors.motors_of(session, unit().id) if _wanted(m, form)]
        if not chosen:
            errors.append(("which", "Choose at least one motor."))
        if len(chosen) > MOST:
            errors.append(("which", f"{len(chosen)} labels at once are too many to print: {MOST} is the most. Print "
                                    "area by area."))
        if errors or grid is None or first is None:
            put_errors(form, errors)
            return _choose(form, 400)
        drawn = [draw(m, grid.width, grid.height, address_of(m)) for m in chosen]
    return render_template("labels/sheet.html", grid=grid, sheets=sheets(drawn, grid, int(first)), count=len(drawn),
                           paper=PAPER_MM[grid.paper], outlines=form.outlines.data, address=settings().public_url,
                           printed=now())


def _wanted(motor: Motor, form: LabelForm) -> bool:
    if form.which.data == AREA:
        return motor.area == form.area.data
    return form.which.data == ALL or motor.id in _ticked()


def _grid(form: LabelForm, errors: list[tuple[str, str]]) -> Grid | None:
    if form.grid.data in GRIDS:
        return GRIDS[form.grid.data]
    if form.grid.data != FREE or form.paper.data not in PAPER_MM:
        errors.append(("grid", "Choose a sheet."))
        return None
    figures = {name: _figure(form, name, low, high, whole, errors, empty=name in ("across", "down"))
               for name, (_, low, high, whole) in FREE_FIGURES.items()}
    if errors:
        return None
    numbers = {name: int(v) if FREE_FIGURES[name][3] else v for name, v in figures.items() if v is not None}
    made = without_pitch(Grid(FREE, form.paper.data, **{"across": 0.0, "down": 0.0, **numbers}))  # type: ignore[arg-type]
    errors += faults(made)
    return made


def _figure(form: LabelForm, name: str, low: float, high: float, whole: bool, errors: list[tuple[str, str]],
            empty: bool = False) -> float | None:
    """A typed figure; what it cannot be is put beside its field. empty: it may be left out."""
    typed = (form[name].data or "").strip()
    if empty and not typed:
        return None
    try:
        value = read_number(typed, low, high, "" if whole else "mm")
        if not whole or value == int(value):
            return value
        errors.append((name, "Enter a whole number."))
    except NotANumber as error:
        errors.append((name, str(error)))
    return None


def address_of(motor: Motor) -> str | None:
    """What the code holds: the fixed public address from the settings, never the name the request came under."""
    public = settings().public_url.rstrip("/")
    return f"{public}{url_for('labels.scanned', label_key=motor.label_key)}" if public else None


# at the motor ----------------------------------------------------------------------------------------------


@bp.get("/m/<label_key>")
@allow(OPERATOR)
def scanned(label_key: str) -> Any:
    """The motor's page, which asks whether one stands at that motor: a label may hang on the wrong one."""
    with reading() as session:
        found = motors.motor_by_label(session, label_key.strip().upper())
        mine = {u.id: u.name for u in person().units}
        if found is None or found.unit_id not in mine:
            abort(404, "This code is of no motor here. Use the last four of the tag instead, and tell your supervisor.")
        if found.unit_id != unit().id:
            abort(404, f"This motor is in {mine[found.unit_id]}: choose that unit at the foot of the page, then scan "
                       "again.")
        return redirect(url_for("motors.one", motor_id=found.id, by="label"))


@bp.get("/m")
@allow(OPERATOR)
def by_tag() -> Any:
    """The motors whose tag ends so; a single one is asked about at once, nothing is chosen for anybody."""
    wanted = request.args.get("end", "").strip()[:80]
    with reading() as session:
        known = search.places(session, unit().id)
        found = search.by_end_of_tag(known, wanted) or search.by_tag(known, wanted)
    if len(found) == 1:
        return redirect(url_for("motors.one", motor_id=found[0].id, by="tag"))
    return render_template("labels/which.html", found=found, wanted=wanted)
