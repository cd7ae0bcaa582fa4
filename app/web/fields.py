"""What forms of the office share: fields that keep what was typed, and errors put beside them."""

from __future__ import annotations

import weakref
from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any

from werkzeug.datastructures import MultiDict
from wtforms import Form, SelectField
from wtforms.fields.choices import SelectChoice
from wtforms.validators import Optional


def picks(pairs: Iterable[tuple[str, str]]) -> list[SelectChoice]:
    """Choices of a field, from what is sent and how it reads."""
    return [SelectChoice(value, words) for value, words in pairs]


class WordField(SelectField):
    """A drop-down of words. Its template puts a blank line first, so that nothing is chosen in silence."""

    def __init__(self, label: str, words: Sequence[str], validators: Sequence[Any] = (), **kwargs: Any) -> None:
        choices = picks((word, word[:1].upper() + word[1:]) for word in words)
        super().__init__(label, list(validators), choices=choices, validate_choice=False, coerce=_text, **kwargs)


def _text(value: Any) -> str:
    return "" if value is None else str(value)


class BoundOnce(Form):
    """A form of many fields of which a few are filled in: put together once a process, copied for each request.

    A field of which nothing was sent is copied as it reads then; a default is asked for once. A field that may be blank
    and was left so passes unasked, as `Optional` would let it pass. `validate_<field>` and `filter_<field>` methods are
    not looked for.
    """

    def __init__(self, formdata: Any = None) -> None:
        blank = _bound(type(self), formdata is not None)
        # Fields that held their form would keep it, and themselves, until the next collection of garbage: at a change
        # of shift that is ten thousand of them, and each save then works in memory that is not at hand.
        form = weakref.proxy(self)
        own = {name: _copied(field, form) for name, field in blank._fields.items()}
        vars(self).update({**vars(blank), **own, "_fields": own, "form_errors": []})
        for name in own.keys() & formdata.keys() if formdata else ():
            _read(own[name], formdata.getlist(name))

    @classmethod
    def blank(cls) -> Any:
        """The form opened with nothing filled in: shared, to be looked at."""
        return _bound(cls, False)

    def validate(self, extra_validators: Any = None) -> bool:
        """Every field is asked, so that all errors are told at once."""
        optional = _optional(type(self))
        good = True
        for name, field in self._fields.items():
            if name in optional and (not field.raw_data or not field.raw_data[0]) and not field.process_errors:
                field.errors = ()
            else:
                good = field.validate(self) and good
        return good


@cache
def _bound(form: type[BoundOnce], posted: bool) -> Any:
    """The form with nothing filled in: opened, or posted so."""
    made = form.__new__(form)
    Form.__init__(made, MultiDict() if posted else None)
    return made


@cache
def _optional(form: type[BoundOnce]) -> frozenset[str]:
    return frozenset(name for name, field in _bound(form, False)._fields.items()
                     if any(isinstance(v, Optional) for v in field.validators))


def _copied(field: Any, form: Any) -> Any:
    """The field as bound, of another form. What it says of itself (label, choices, validators) stays shared."""
    own = object.__new__(type(field))  # a field's own __new__ gives what waits to be bound
    own.__dict__ = vars(field) | {"_form": form}
    return own


def _read(field: Any, sent: list[str]) -> None:
    """What was sent for a field that stands as blank: its `process` without what made it blank."""
    field.raw_data, field.process_errors = sent, []
    try:
        field.process_formdata(sent)
        for clean in field.filters:
            field.data = clean(field.data)
    except ValueError as error:
        field.process_errors.append(error.args[0])


def put_errors(form: Form, errors: Iterable[tuple[str, str]]) -> None:
    """Each error beside its field; one that has no field here is told in the summary."""
    for name, says in errors:
        if name in form:
            form[name].errors = [*form[name].errors, says]
        else:
            form.form_errors.append(says)
