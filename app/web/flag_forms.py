"""The forms of the acts on a flag."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from wtforms import Form, StringField, TextAreaField
from wtforms.fields import SelectField
from wtforms.validators import DataRequired, Length, ValidationError

from app.entries import clean_text
from app.rules.numbers import NotANumber, read_number
from app.store.units import Unit
from app.web.times_ahead import BadTimeToCome, time_to_come

MOST = 1000
SAY = "Write what was done, or who was told, when and how."


def words(label: str, needed: str | None = None) -> TextAreaField:
    checks: list[Any] = [Length(max=MOST, message=f"Keep it to {MOST:,} characters.")]
    return TextAreaField(label, filters=[lambda t: clean_text(t or "")],
                         validators=[DataRequired(needed), *checks] if needed else checks)


def line(label: str, needed: str | None = None, most: int = 120) -> StringField:
    checks: list[Any] = [Length(max=most, message=f"Keep it to {most} characters.")]
    return StringField(label, filters=[lambda t: clean_text(t or "")],
                       validators=[DataRequired(needed), *checks] if needed else checks)


class ActForm(Form):
    """A form that knows the unit and its clock; what was typed stays in it."""

    def __init__(self, given: Any, unit: Unit, now: datetime, **data: Any) -> None:
        self.unit, self.now = unit, now
        super().__init__(given, data=data)

    def time_of(self, name: str) -> datetime:
        return time_to_come(self[name].data, self.unit, self.now)

    def _check_time(self, field: Any) -> None:
        if field.data:
            try:
                time_to_come(field.data, self.unit, self.now)
            except BadTimeToCome as error:
                raise ValidationError(str(error)) from error


class DoneForm(ActForm):
    text = words("What was done, or who was told, when and how")
    owner = line("Who will do what comes next")
    due_at = line("By when", most=30)

    def validate_text(self, field: Any) -> None:
        if not field.data and not self.owner.data:
            raise ValidationError(SAY)

    def validate_owner(self, field: Any) -> None:
        if self.due_at.data and not field.data:
            raise ValidationError("Say who will.")

    def validate_due_at(self, field: Any) -> None:
        if self.owner.data and not field.data:
            raise ValidationError("Say by when.")
        self._check_time(field)


class TextForm(ActForm):
    text = words("Why", "Write why.")


class RunOnForm(ActForm):
    reason = words("Why it runs on with this", "Say why it runs on.")
    watch = line("Value to watch, and where it must stop", "Say which value to watch, and where to stop.", 300)
    review_at = line("Look again at", "Say when to look again.", 30)

    def validate_review_at(self, field: Any) -> None:
        self._check_time(field)


class ShelveForm(ActForm):
    reason = words("Why it is put aside", "Say why it is put aside.")
    watch = line("Condition to watch meanwhile", "Say what to watch meanwhile.", 300)
    until = SelectField("Until the shift that begins", validate_choice=False,
                        validators=[DataRequired("Choose the shift it wakes at.")])

    def until_at(self) -> datetime | None:
        try:
            at = datetime.fromisoformat(self.until.data)
        except ValueError:
            return None
        return at if at.tzinfo is not None else None


class CloseForm(ActForm):
    text = words("What was done", SAY)
    reading = SelectField("The reading that shows it", validate_choice=False)


class AcceptForm(ActForm):
    why = words("Why this is normal here", "Say why this is this motor's normal.")
    value = line("New limit for this motor", most=20)

    def figure(self) -> float | None:
        """The typed limit in the unit's own scale; None with the field's error set."""
        try:
            return read_number(self.value.data or "")
        except NotANumber as error:
            self.value.errors = [str(error)]
            return None
