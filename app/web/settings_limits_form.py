"""The form of a limit's change: for whom, to what, from when, why. Typed in the unit's scale, given on in SI."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import islice

from wtforms import Form, SelectField, StringField

from app.rules import wording
from app.rules.limits import Default
from app.rules.numbers import NotANumber, read_number
from app.rules.shifts import Shift
from app.store.units import Unit
from app.web import access, limit_scale
from app.web.access import now
from app.web.fields import put_errors
from app.web.times_ahead import BadTimeToCome, time_to_come

NOW, LATER = "now", "later"
SHIFTS_AHEAD = 6


class ChangeForm(Form):
    tag = SelectField("For", validate_choice=False)
    value = StringField("New limit")
    begins = SelectField("From when", validate_choice=False)
    at = StringField("Another time")
    why = StringField("Why")


def read_value(form: ChangeForm, default: Default) -> float | None:
    """SI, from what was typed in the unit's scale; None with the field's error set."""
    try:
        return round(limit_scale.stored(access.unit(), read_number(form.value.data or ""), default.unit),
                     wording.MOST_PLACES)
    except NotANumber as error:
        put_errors(form, [("value", str(error))])
        return None


def read_begin(form: ChangeForm) -> datetime:
    """From when it counts; an error beside the field where that cannot be read or has passed."""
    if form.begins.data in (NOW, "", None):
        return now()
    try:
        if form.begins.data == LATER:
            return time_to_come(form.at.data or "", access.unit(), now())
        at = datetime.fromisoformat(form.begins.data)
        if at.tzinfo is None or at not in [s.starts_at for s in coming_shifts(access.unit())]:
            raise BadTimeToCome("Choose once more: this shift has begun.")
        return at
    except BadTimeToCome as error:
        put_errors(form, [("at" if form.begins.data == LATER else "begins", str(error))])
    except ValueError:
        put_errors(form, [("begins", "Choose from when it counts.")])
    return now()


def coming_shifts(unit: Unit) -> list[Shift]:
    return list(islice(unit.calendar.between(now() + timedelta(seconds=1), now() + timedelta(days=14)), SHIFTS_AHEAD))
