"""The form at a motor is put together once and copied: it reads as the library's own form does, and keeps nothing."""

from __future__ import annotations

import gc
import weakref
from typing import Any

import pytest
from werkzeug.datastructures import MultiDict
from wtforms import Form, RadioField, SelectMultipleField, StringField, TextAreaField
from wtforms.validators import InputRequired, Length, Optional

from app.web.fields import BoundOnce, picks

FEEL = picks([("cool", "Cool"), ("hot", "Hot")])


def fields() -> dict[str, Any]:
    return {"state": RadioField("State", [InputRequired("Choose the state.")], choices=FEEL),
            "bearing": RadioField("Bearing", [Optional()], choices=FEEL),
            "look": SelectMultipleField("Look", [Optional()], choices=FEEL),
            "remarks": TextAreaField("Remarks", [Optional(), Length(max=5)], filters=[lambda t: (t or "").strip()]),
            "amps": StringField("Ammeter", [Optional()])}


Copied: Any = type("Copied", (BoundOnce,), fields())
Plain: Any = type("Plain", (Form,), fields())


@pytest.mark.parametrize("sent", [
    [], [("state", "hot")], [("state", "")], [("state", "molten"), ("bearing", "molten")],
    [("state", "cool"), ("bearing", ""), ("amps", ""), ("remarks", "")], [("state", "cool"), ("bearing", "cool")],
    [("state", "cool"), ("look", "cool"), ("look", "hot")], [("state", "cool"), ("look", "hot"), ("look", "green")],
    [("state", "cool"), ("look", "")], [("state", "cool"), ("look", ""), ("look", "hot")],
    [("state", "cool"), ("look", ""), ("look", "green")], [("state", "cool"), ("remarks", " smells ")],
    [("state", "cool"), ("remarks", "ok   "), ("amps", "12,5")], [("state", "cool"), ("amps", "  "), ("bearing", " ")],
])
def test_a_copied_form_reads_what_was_sent_as_the_librarys_own_form_does(sent: list[tuple[str, str]]) -> None:
    ours, theirs = Copied(MultiDict(sent)), Plain(MultiDict(sent))
    assert (ours.validate(), ours.data, ours.errors) == (theirs.validate(), theirs.data, theirs.errors)
    assert [str(field()) for field in ours] == [str(field()) for field in theirs]


def test_nothing_of_one_persons_form_is_in_the_next_ones() -> None:
    first = Copied(MultiDict([("state", "molten"), ("remarks", "far too long")]))
    assert not first.validate()
    first.state.errors = [*first.state.errors, "and more"]
    first.form_errors.append("of the whole")
    after = Copied(MultiDict([("state", "hot")]))
    assert after.validate() and after.errors == {} and after.remarks.data == ""
    assert first.state.data == "molten" and len(first.state.errors) == 2


def test_a_form_is_gone_with_its_request_and_waits_for_no_collection_of_garbage() -> None:
    gc.disable()
    try:
        form = Copied(MultiDict([("state", "hot"), ("amps", "12,5")]))
        assert form.validate()
        of_it = [weakref.ref(form), *(weakref.ref(field) for field in form)]
        del form
        assert [left() for left in of_it] == [None] * len(of_it)
    finally:
        gc.enable()
