"""The one place that creates and edits a motor with its nameplate and both lines of the lubrication chart.

Page, file and seed all hand in plain cells by column name. What differs is planned first (an `Edit`), then written
with a change noted for each, in the same transaction: new plate figures with a later fitted_on are a swap and add a
plate, others correct the one fitted; a changed line of the chart closes the old row and adds a new one.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.rules import facts
from app.rules.shifts import local_instant
from app.store.changes import Change, note_change
from app.store.lubrication import Greasing
from app.store.motors import LubricationPoint, Motor, MotorRun, Nameplate, motor_by_tag, tag_key
from app.store.people import Person
from app.store.register_columns import (
    CHART_COLUMNS,
    COLUMNS,
    MOTOR,
    MOTOR_COLUMNS,
    PLATE,
    PLATE_COLUMNS,
    Entry,
    RegisterErrors,
    as_cell,
    read_cells,
)
from app.store.units import Unit

__all__ = ["COLUMNS", "Difference", "Edit", "RegisterErrors", "cells_of", "changes_of_motor", "confirm_plate",
           "greased_ends", "plan", "read_cells", "save_motor", "waits_for_second_person", "write"]

_STAMPED = {"hp": "hp", "volts": "volts", "amps": "amps", "service_factor_amps": "service_factor_amps"}


class Difference(NamedTuple):
    column: str
    before: str
    after: str


@dataclass
class Edit:
    """What saving an entry will do. No difference: nothing."""

    motor: Motor | None  # None until it is written, when it is new
    entry: Entry
    differences: list[Difference] = field(default_factory=list)
    new: bool = False
    swap: bool = False
    notices: list[tuple[str, str]] = field(default_factory=list)  # (column, what was not taken and why)

    def touches(self, part: str) -> list[Difference]:
        return [d for d in self.differences if COLUMNS[d.column].part == part]


# what is there ---------------------------------------------------------------------------------------------


def cells_of(motor: Motor) -> dict[str, str]:
    """The motor's cells as the export writes them and the form shows them."""
    cells = {c.name: as_cell(getattr(motor, c.attribute)) for c in MOTOR_COLUMNS}
    plate = motor.nameplate
    for column in PLATE_COLUMNS:
        value = getattr(plate, column.attribute) if plate else None
        if plate and value is None and column.name in _STAMPED:
            value = getattr(plate, _STAMPED[column.name])  # a figure that came without the plate's words
        cells[column.name] = as_cell(value)
    for end, columns in CHART_COLUMNS.items():
        point = motor.point(end)
        cells |= {c.name: as_cell(getattr(point, c.attribute) if point else None) for c in columns}
    return {name: cells[name] for name in COLUMNS}


def greased_ends(session: Session, motor_ids: Collection[int] | None, unit_id: int) -> set[tuple[int, str]]:
    """(motor, end) wherever a greasing is recorded; None: all of the unit's motors."""
    query = sa.select(Greasing.motor_id, Greasing.end).where(Greasing.unit_id == unit_id).distinct()
    if motor_ids is not None:
        query = query.where(Greasing.motor_id.in_(motor_ids))
    return {(motor_id, end) for motor_id, end in session.execute(query)}


def changes_of_motor(session: Session, motor: Motor, most: int = 50) -> list[Change]:
    """The newest changes of the motor, its plates and its chart."""
    points = sa.select(LubricationPoint.id).where(LubricationPoint.motor_id == motor.id)
    plates = sa.select(Nameplate.id).where(Nameplate.motor_id == motor.id)
    return list(session.scalars(
        sa.select(Change).where(sa.or_(
            sa.and_(Change.subject == "motor", Change.subject_id == motor.id),
            sa.and_(Change.subject == "nameplate", Change.subject_id.in_(plates)),
            sa.and_(Change.subject == "lubrication point", Change.subject_id.in_(points)),
        )).order_by(Change.at.desc(), Change.id.desc()).limit(most).options(sa.orm.joinedload(Change.person))))


# planning --------------------------------------------------------------------------------------------------


def plan(unit: Unit, motor: Motor | None, entry: Entry, greased: Collection[str] = (), *, keep_spelling: bool = False,
         another_machine: bool | None = None) -> Edit:
    """What saving this entry would change. Raises RegisterErrors for what must not be.

    greased: the ends with a recorded greasing, where the register's own date no longer counts.
    keep_spelling: the tag found the motor, and its spelling in the register stays. another_machine: what the person
    says of changed plate figures; None: as the dates say.
    """
    if motor is None:
        return Edit(None, entry, [Difference(n, "", c) for n, c in entry.cells().items() if c], new=True)
    before, after = cells_of(motor), entry.cells()
    edit = Edit(motor, entry)
    for name in _kept(before, after, greased, keep_spelling, edit):
        after[name] = before[name]
    edit.differences = [Difference(n, before[n], after[n]) for n in COLUMNS if before[n] != after[n]]
    _check_lock(motor, after["condition"])
    edit.swap = _is_swap(unit, motor.nameplate, edit, another_machine)
    _check_fitted(unit, motor, edit)
    return edit


def _kept(before: Mapping[str, str], after: Mapping[str, str], greased: Collection[str], keep_spelling: bool,
          edit: Edit) -> list[str]:
    """The columns that stay as they are whatever was typed."""
    kept = [] if after["condition"] else ["condition"]  # nothing said is no observation
    if keep_spelling and tag_key(before["tag"]) == tag_key(after["tag"]):
        kept.append("tag")
    for end in greased:
        name = f"{end.lower()}_last_greased"
        if before[name] != after[name]:
            kept.append(name)
            edit.notices.append((name, "Not taken: greasings are recorded here, and the newest of them counts."))
    return kept


def _check_lock(motor: Motor, condition: str) -> None:
    """Locked out is entered and ended only by a named act at the motor, with the lock's tag and owner."""
    if condition == (motor.condition or "") or facts.LOCKED_OUT not in (condition, motor.condition):
        return
    act = "End" if motor.condition == facts.LOCKED_OUT else "Enter"
    raise RegisterErrors([("condition", f"{act} the lock-out on the motor's own page, with its tag and owner; leave "
                                        "this as it is.")])


def _day_fitted(unit: Unit, plate: Nameplate) -> date:
    return plate.fitted_on or plate.fitted_from.astimezone(unit.calendar.zone).date()


def _is_swap(unit: Unit, plate: Nameplate | None, edit: Edit, said: bool | None) -> bool:
    fitted_on = edit.entry.values["fitted_on"]
    if plate is None or not edit.touches(PLATE):
        return False
    if said is not None:
        if said and (not fitted_on or fitted_on == plate.fitted_on):
            raise RegisterErrors([("fitted_on", "Enter the day on which the other machine was fitted.")])
        return said
    figures = [d for d in edit.touches(PLATE) if d.column != "fitted_on"]
    return bool(figures and fitted_on and fitted_on > _day_fitted(unit, plate))


def _check_fitted(unit: Unit, motor: Motor, edit: Edit) -> None:
    """A date may not pass the plate before: the newest by date is the one fitted."""
    fitted_on, plate = edit.entry.values["fitted_on"], motor.nameplate
    earlier = [_day_fitted(unit, p) for p in motor.nameplates if p is not plate]
    if edit.swap and plate is not None and plate.fitted_on:
        earlier.append(plate.fitted_on)
    if fitted_on and earlier and fitted_on <= max(earlier):
        raise RegisterErrors([("fitted_on", f"Enter a date after {max(earlier).isoformat()}: until then another "
                               "machine was fitted.")])


# writing ---------------------------------------------------------------------------------------------------


def save_motor(session: Session, unit: Unit, motor: Motor | None, cells: Mapping[str, str], person: Person | None,
               now: datetime, why: str | None = None, another_machine: bool | None = None) -> Edit:
    """Adds (motor None) or edits one motor from its cells, and flushes. Raises RegisterErrors; nothing is written then.

    A greased end's last_greased, where changed, is an error here: a person is there to be told.
    """
    entry = _read_with_own_tag(session, unit, motor, cells, now)
    greased = {end for _, end in greased_ends(session, [motor.id], unit.id)} if motor else set()
    edit = plan(unit, motor, entry, greased, another_machine=another_machine)
    if edit.notices:
        raise RegisterErrors(edit.notices)
    try:
        write(session, unit, [edit], person, now, why)
    except IntegrityError as error:
        raise RegisterErrors([("tag", "Enter another tag: somebody has just entered this one.")]) from error
    return edit


def _read_with_own_tag(session: Session, unit: Unit, motor: Motor | None, cells: Mapping[str, str],
                       now: datetime) -> Entry:
    """The entry; another motor's tag is told with whatever else is wrong."""
    same = motor_by_tag(session, unit.id, cells.get("tag", "")) if tag_key(cells.get("tag", "")) else None
    taken = [] if same is None or same is motor else [
        ("tag", f"Enter another tag: {same.tag} is in the register already.")]
    try:
        entry = read_cells(cells, now.astimezone(unit.calendar.zone).date())
    except RegisterErrors as error:
        raise RegisterErrors(taken + error.errors) from error
    if taken:
        raise RegisterErrors(taken)
    return entry


def write(session: Session, unit: Unit, edits: Sequence[Edit], person: Person | None, now: datetime,
          why: str | None = None) -> None:
    """Writes planned edits and notes every change. A few flushes however many motors."""
    edits = [edit for edit in edits if edit.differences]
    pen = _Pen(session, unit, person, now, why)
    for edit in edits:
        pen.motor(edit)
        pen.plate(edit)
    session.flush()  # gives the new motors and plates their numbers
    for edit in edits:
        pen.first_plate(edit)
        pen.observe(edit)
        pen.close_lines(edit)
    session.flush()  # the old line of a bearing goes before the new one comes
    for edit in edits:
        pen.add_lines(edit)
    pen.insert_rows()
    session.flush()
    pen.note_all()
    session.flush()
    for edit in edits:
        if edit.motor is not None:
            session.expire(edit.motor, ["points", "nameplates"])


class _Pen:
    """Writes edits for one person at one instant."""

    def __init__(self, session: Session, unit: Unit, person: Person | None, now: datetime, why: str | None) -> None:
        self.session, self.unit, self.person, self.now, self.why = session, unit, person, now, why
        self.notes: list[tuple[Motor, str, Any, str, str | None, str | None]] = []
        #: rows of new motors, put in together: thousands of them come by one file
        self.runs: list[dict[str, Any]] = []
        self.plates: list[dict[str, Any]] = []
        self.lines: list[dict[str, Any]] = []

    def motor(self, edit: Edit) -> None:
        values = edit.entry.values
        if edit.motor is None:
            edit.motor = Motor(unit_id=self.unit.id, version=0, created_at=self.now, tag=values["tag"],
                               nameplates=[], **_facts_of(edit))
            self.session.add(edit.motor)
            self.notes.append((edit.motor, "motor", edit.motor, "tag", None, edit.entry.tag))
        motor = edit.motor
        for d in edit.touches(MOTOR):
            setattr(motor, COLUMNS[d.column].attribute, values[d.column])
            if d.column == "condition":
                motor.condition_at = self.now
            if not edit.new:
                self._note(motor, "motor", motor, d)
        motor.tag_key = tag_key(motor.tag)
        motor.version += 1

    def observe(self, edit: Edit) -> None:
        """A condition changed by hand is an observation like any other: running hours are counted from it on."""
        motor = edit.motor
        if motor is None or motor.condition is None or not any(d.column == "condition" for d in edit.differences):
            return
        run = None if edit.new else self.session.get(MotorRun, motor.id)
        if run is None:
            self.runs.append({"motor_id": motor.id, "first_observed_at": self.now, "observed_at": self.now,
                              "state": motor.condition, "run_s": 0.0})
        elif self.now >= run.observed_at:
            run.observe(motor.condition, self.now, exact=True)

    def plate(self, edit: Edit) -> None:
        motor, differences = edit.motor, edit.touches(PLATE)
        if motor is None or not differences:
            return
        fitted_on = edit.entry.values["fitted_on"]
        if edit.new:
            return  # written with the others, once the motor has its number
        plate = None if edit.swap else motor.nameplate
        if plate is None:
            plate = Nameplate(fitted_from=self.now, entered_by_id=self.person.id if self.person else None)
            motor.nameplates.append(plate)
            if edit.swap:
                self.notes.append((motor, "nameplate", plate, "swap", None, f"another machine from {fitted_on}"))
                self._new_normal(motor)
        elif waits_for_second_person(motor, plate):
            plate.entered_by_id = self.person.id if self.person else None  # who corrects it may not confirm it too
        if fitted_on:
            plate.fitted_from = local_instant(fitted_on, time(0), self.unit.calendar.zone)
            if edit.swap:  # the plate before has no day of its own, only the moment it was entered
                plate.fitted_from = max(plate.fitted_from, *(p.fitted_from for p in motor.nameplates if p is not plate))
        _fill_plate(plate, edit.entry)
        for d in differences:
            self._note(motor, "nameplate", plate, d)

    def _new_normal(self, motor: Motor) -> None:
        """Another machine begins a normal of its own: what a hand was to feel at the one before says nothing of it.
        Figures begin anew by themselves, because readings are compared under one plate only."""
        if motor.accepted_normal_feel is not None:
            self.notes.append((motor, "motor", motor, "accepted_normal_feel", motor.accepted_normal_feel, None))
            motor.accepted_normal_feel = None

    def first_plate(self, edit: Edit) -> None:
        """The plate of a new motor, where anything of it is known."""
        if not edit.new or edit.motor is None or not edit.touches(PLATE):
            return
        fitted_on = edit.entry.values["fitted_on"]
        self.plates.append({
            "motor_id": edit.motor.id, "entered_by_id": self.person.id if self.person else None,
            "fitted_from": local_instant(fitted_on, time(0), self.unit.calendar.zone) if fitted_on else self.now,
            **_plate_columns(edit.entry)})

    def close_lines(self, edit: Edit) -> None:
        assert edit.motor is not None
        for end in facts.ENDS:
            point = None if edit.new or not edit.touches(end) else edit.motor.point(end)
            if point is not None:
                point.replaced_at = self.now

    def add_lines(self, edit: Edit) -> None:
        assert edit.motor is not None
        for end, columns in CHART_COLUMNS.items():
            differences = edit.touches(end)
            if not differences:
                continue
            after: dict[str, Any] = {c.attribute: edit.entry.values[c.name] for c in columns}
            kept = {name for name, _ in edit.notices}
            old = None if edit.new else edit.motor.point(end)
            if old is not None and f"{end.lower()}_last_greased" in kept:
                after["last_greased"] = old.last_greased
            if old is not None:
                after |= _beside_the_file(old, after)
            line = self._line(edit.motor, end, after) if any(v is not None for v in after.values()) else None
            if edit.new:
                self.lines += [line] if line else []
                continue
            point = LubricationPoint(**line) if line else old
            self.session.add(point)
            for d in differences:
                self._note(edit.motor, "lubrication point", point, d)

    def _line(self, motor: Motor, end: str, columns: dict[str, Any]) -> dict[str, Any]:
        last = columns["last_greased"]
        return {"motor_id": motor.id, "end": end, "valid_from": self.now, "why": self.why, **columns,
                "person_id": self.person.id if self.person else None,
                "last_greased_at": local_instant(last, time(12), self.unit.calendar.zone) if last else None}

    def insert_rows(self) -> None:
        for model, rows in ((Nameplate, self.plates), (MotorRun, self.runs), (LubricationPoint, self.lines)):
            if rows:
                self.session.execute(sa.insert(model), rows)

    def _note(self, motor: Motor, subject: str, thing: Any, d: Difference) -> None:
        self.notes.append((motor, subject, thing, d.column, d.before or None, d.after or None))

    def note_all(self) -> None:
        rows = [{"unit_id": self.unit.id, "at": self.now, "person_id": self.person.id if self.person else None,
                 "subject": subject, "subject_id": thing.id, "label": motor.tag, "field": name, "before": before,
                 "after": after, "why": self.why}
                for motor, subject, thing, name, before, after in self.notes]
        if rows:
            self.session.execute(sa.insert(Change), rows)


def _beside_the_file(old: LubricationPoint, after: Mapping[str, Any]) -> dict[str, Any]:
    """What a line of the chart holds beside the register's columns stays; a figure changed by hand is computed no
    more."""
    computed = [name for name in sorted(old.computed_columns) if after[name] == getattr(old, name)]
    return {"greased_while": old.greased_while, "drain_plug": old.drain_plug, "computed": ",".join(computed) or None}


def _facts_of(edit: Edit) -> dict[str, Any]:
    """What a new motor cannot be without, typed or not."""
    return {name: edit.entry.values[name] for name in ("service", "area", "checked_every", "start_basis", "remarks")}


def _fill_plate(plate: Nameplate, entry: Entry) -> None:
    for attribute, value in _plate_columns(entry).items():
        if getattr(plate, attribute) != value:
            setattr(plate, attribute, value)


def _plate_columns(entry: Entry) -> dict[str, Any]:
    """The plate's figures for the connected voltage, and its own words."""
    hp = entry.values["hp"].value if entry.values["hp"] else None
    figures = {"hp": hp, "volts": entry.volts, "amps": entry.amps, "service_factor_amps": entry.service_factor_amps}
    for column in PLATE_COLUMNS:
        value = entry.values[column.name]
        figures[column.attribute] = as_cell(value) or None if column.name in _STAMPED else value
    return figures


# the second person after a swap ----------------------------------------------------------------------------


def waits_for_second_person(motor: Motor, plate: Nameplate | None) -> bool:
    """A machine swapped in has no load in percent until another person has confirmed its plate; a first plate has."""
    return plate is not None and plate.confirmed_at is None and plate is not motor.nameplates[0]


def confirm_plate(session: Session, motor: Motor, plate: Nameplate, person: Person, now: datetime) -> None:
    """Another person has read the plate and found it as entered. Raises RegisterErrors for the one who entered it."""
    if plate.entered_by_id == person.id:
        raise RegisterErrors([("", "Another person must confirm: you entered this plate yourself.")])
    plate.confirmed_by_id, plate.confirmed_at = person.id, now
    motor.version += 1
    note_change(session, unit_id=motor.unit_id, at=now, person=person, subject="nameplate", subject_id=plate.id,
                label=motor.tag, field="confirmed", before=None, after=person.name)
    session.flush()
