"""What forms of the office share: fields that keep what was typed, and errors put beside them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from wtforms import Form, SelectField
from wtforms.fields.choices import SelectChoice


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


def put_errors(form: Form, errors: Iterable[tuple[str, str]]) -> None:
    """Each error beside its field; one that has no field here is told in the summary."""
    for name, says in errors:
        if name in form:
            form[name].errors = [*form[name].errors, says]
        else:
            form.form_errors.append(says)
