"""Limits: all of them with default, source and who set them; one of them with its history, to change and to undo."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app import limit_hits
from app.entries import LONGEST_NAME, clean_text
from app.gathering import plate_facts
from app.rules import limit_groups, limit_sanity, limit_uses, wording
from app.rules.limits import DEFAULTS, Default, Limit
from app.store import limits, motors
from app.store.limits import BadLimit, LimitChange
from app.store.motors import Motor
from app.store.people import Person
from app.store.units import Unit
from app.web import access, limit_scale
from app.web.access import SUPERVISOR, allow, found_or_404, now, reading, writing
from app.web.fields import picks, put_errors
from app.web.formatting import moment
from app.web.settings_limits_form import LATER, NOW, ChangeForm, coming_shifts, read_begin, read_value


@dataclass(frozen=True)
class LimitLine:
    """One limit as the page shows it: as shipped, in force for the whole unit (or one motor), and for single motors."""

    default: Default
    in_force: Limit
    last: LimitChange | None  # the change that set the unit's value
    of_motors: list[LimitChange]
    coming: list[LimitChange]

    @property
    def set_here(self) -> bool:
        return bool(self.last or self.of_motors or self.coming)


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/settings/limits", "limits_page", limits_page)
    bp.add_url_rule("/settings/limits/<name>", "limit", limit_page)
    bp.add_url_rule("/settings/limits/<name>", "limit_post", limit_post, methods=["POST"])
    bp.add_url_rule("/settings/limits/<name>/undo", "limit_undo", limit_undo, methods=["POST"])


# all of them -----------------------------------------------------------------------------------------------


@allow(SUPERVISOR)
def limits_page() -> Any:
    tag = request.args.get("motor", "").strip()
    with reading() as session:
        unit = access.unit()
        motor = motors.motor_by_tag(session, unit.id, tag) if tag else None
        lines = limit_lines(session, unit, motor)
        used = limit_hits.uses(session, unit, now())
        grouped = [(heading, list(found)) for heading, found in groupby(
            lines, lambda line: limit_groups.heading(line.default.name))]
        return render_template(
            "settings/limits.html", lines=lines, grouped=grouped, kind=limit_groups.kind, told=told, used=used,
            set_here=[line for line in lines if line.set_here], motor=motor, tag=tag, weeks=limit_hits.WEEKS,
            always=limit_hits.always_passed(used.values()), never=limit_hits.never_passed(used.values()),
            register=motors.motors_of(session, unit.id), defaults=DEFAULTS), 404 if tag and motor is None else 200


def limit_lines(session: Session, unit: Unit, motor: Motor | None = None) -> list[LimitLine]:
    """Every limit (of a motor: those for its kind) with its default, its source, and who set it otherwise."""
    changes = limits.limit_changes(session, unit.id)
    in_force = limits.limits_from(changes, motor.id if motor else None, now())
    plate = plate_facts(motor.nameplate) if motor else None
    return [line_of(default, in_force[name], [c for c in changes if c.name == name])
            for name, default in DEFAULTS.items() if plate is None or limit_uses.applies(name, plate)]


def line_of(default: Default, in_force: Limit, changes: list[LimitChange]) -> LimitLine:
    newest = {c.motor_id: c for c in changes if c.at <= now()}
    last = newest.get(None)
    return LimitLine(default, in_force, last if last and last.value is not None else None,
                     [c for key, c in newest.items() if key is not None and c.value is not None],
                     [c for c in changes if c.at > now()])


def told(default: Default, value: float | None, places: int = wording.MOST_PLACES) -> str:
    """A limit's value in the unit's own scale; nothing of its own goes back to what lies under it."""
    return "back" if value is None else limit_sanity.told(default, value, access.unit().show, places)


# one of them -----------------------------------------------------------------------------------------------


@allow(SUPERVISOR)
def limit_page(name: str) -> Any:
    with reading() as session:
        found_or_404(DEFAULTS.get(name))
        return show_limit(session, name, ChangeForm(tag=request.args.get("motor", ""), begins=NOW))


@allow(SUPERVISOR)
def limit_post(name: str) -> Any:
    """A new value from an instant on, or back to what was shipped. Nothing that was judged before changes."""
    default, form = found_or_404(DEFAULTS.get(name)), ChangeForm(request.form)
    back = bool(request.form.get("back"))
    value = None if back else read_value(form, default)
    at = read_begin(form)
    why = clean_text(form.why.data or "")
    put_errors(form, [] if why else [("why", "Say why the limit is changed.")])
    put_errors(form, [("why", f"Keep it to {LONGEST_NAME} characters.")] if len(why) > LONGEST_NAME else [])
    with writing() as session:
        unit = session.get_one(Unit, access.unit().id)
        limits.hold(session, unit)
        if not form.errors and not looked_at_newest(session, unit, name):
            put_errors(form, [("", "Somebody changed this limit while you looked at it: see the history below, and "
                                   "send again if you still want this.")])
        if form.errors or form.form_errors:
            return show_limit(session, name, form, 409 if form.form_errors else 400)
        try:
            made = limits.change_limit(session, unit, name, value, form.tag.data or None, why, me(session), at,
                                       now=now(), show=unit.show)
        except BadLimit as error:
            put_errors(form, [(error.field, str(error))])
            return show_limit(session, name, form, 400)
        session.commit()
        flash(f"{default.says}: {in_words(session, unit, made)}.")
    return redirect(url_for(".limit", name=name), 303)


@allow(SUPERVISOR)
def limit_undo(name: str) -> Any:
    """The newest change of the unit's or a motor's value taken back by a new one, from now on."""
    found_or_404(DEFAULTS.get(name))
    why, key = clean_text(request.form.get("undo_why", ""))[:LONGEST_NAME], request.form.get("change", type=int)
    with writing() as session:
        unit = session.get_one(Unit, access.unit().id)
        change = found_or_404(next((c for c in limits.limit_changes(session, unit.id)
                                    if c.id == key and c.name == name), None))
        if not why:
            return show_limit(session, name, ChangeForm(begins=NOW), 400, undo=(change.id, "Say why it is undone."))
        if change not in undoable(limits.limit_changes(session, unit.id), name):
            return show_limit(session, name, ChangeForm(begins=NOW), 409, undo=(
                change.id, "Something newer stands there now. Undo that one, or enter the limit you want."))
        try:
            made = limits.undo_change(session, unit, change, why, me(session), now(), unit.show)
        except BadLimit as error:
            return show_limit(session, name, ChangeForm(begins=NOW), 400, undo=(change.id, str(error)))
        session.commit()
        flash(f"Undone. {DEFAULTS[name].says}: {in_words(session, unit, made)}.")
    return redirect(url_for(".limit", name=name), 303)


def show_limit(session: Session, name: str, form: ChangeForm, status: int = 200,
               undo: tuple[int, str] | None = None) -> Any:
    unit, default = access.unit(), DEFAULTS[name]
    changes = [c for c in limits.limit_changes(session, unit.id) if c.name == name]
    in_force = limits.limits_from(changes, None, now())[name]
    form.tag.choices = picks([("", f"the whole unit, {unit.name}"), *(
        (m.tag, m.tag) for m in motors.motors_of(session, unit.id))])
    form.begins.choices = picks([(NOW, "From now on"), *((s.starts_at.isoformat(), f"{s.name}, {moment(s.starts_at)}")
                                                        for s in coming_shifts(unit)), (LATER, "Another time, below")])
    used = limit_hits.uses(session, unit, now()).get(name)
    return render_template(
        "settings/limit.html", form=form, default=default, line=line_of(default, in_force, changes), told=told,
        kind=limit_groups.kind(name), heading=limit_groups.heading(name), history=list(reversed(changes)),
        undoable=undoable(changes, name), undo=undo, used=used, weeks=limit_hits.WEEKS,
        raises=limit_groups.RAISES_NOTHING.get(name), pairs=limit_sanity.pairs_of(name), defaults=DEFAULTS,
        scale=limit_scale.scale_of(unit, default.unit), newest=newest_id(changes, name)), status


def undoable(changes: list[LimitChange], name: str) -> list[LimitChange]:
    """The newest change of the unit's own value, and of each motor's."""
    newest = {c.motor_id: c for c in sorted((c for c in changes if c.name == name), key=lambda c: (c.at, c.id))}
    return list(newest.values())


# who changes it, and beside whom ---------------------------------------------------------------------------


def looked_at_newest(session: Session, unit: Unit, name: str) -> bool:
    """Whether nobody changed the limit since the page was made; a page that does not say is taken at its word."""
    seen = request.form.get("newest")
    return seen is None or seen == str(newest_id(limits.limit_changes(session, unit.id), name))


def newest_id(changes: list[LimitChange], name: str) -> int:
    newest = limits.newest_of(changes, name)
    return newest.id if newest else 0


def me(session: Session) -> Person:
    return session.get_one(Person, access.person().id)


def in_words(session: Session, unit: Unit, made: LimitChange) -> str:
    """What stands from when on, for whom."""
    stands = limits.limits_at(session, unit.id, made.motor_id, made.at)[made.name]
    begins = "now" if made.at == made.entered_at else moment(made.at)
    whom = f" for {made.motor.tag}" if made.motor else ""
    return f"{told(DEFAULTS[made.name], stands.value)}{whom} from {begins} on"
