"""The crew on an enrolled tablet: tap the name, then the PIN. A change of hands in a few seconds."""

from __future__ import annotations

from typing import Any

from flask import flash, render_template, request
from sqlalchemy.orm import Session
from wtforms import Form, PasswordField
from wtforms.validators import InputRequired, Length

from app import guessing
from app.store import devices
from app.store.devices import Device
from app.store.people import Person
from app.web import access
from app.web.access import now, reading
from app.web.errors import key
from app.web.request_log import tell_access
from app.web.signing_in import count_try, let_in, wait_words

WRONG_PIN = "This does not fit {}. Check the name above and try again."


class PinForm(Form):
    """On an enrolled tablet, after the name was tapped."""

    secret = PasswordField("PIN", [InputRequired("Enter it first."), Length(max=200)])


def ask_who(person_id: int, fields: Any) -> Any:
    tablet, kept, next_path = access.tablet(), fields.get("kept"), fields.get("next", "")
    if tablet is None or "typed" in fields:
        return render_template("accounts/sign_in.html", form=None, next=next_path, kept=kept, tablet=tablet)
    with reading() as session:
        tapped = devices.crew_member(session, tablet, person_id) if person_id else None
        if tapped is not None:
            return _pin_page(tapped, PinForm())
        return _crew_page(session, tablet, kept, next_path)


def _crew_page(session: Session, tablet: Device, kept: str | None, next_path: str) -> str:
    lately = devices.here_lately(session, tablet, now())
    crew = devices.crew_of(session, tablet)
    return render_template("accounts/crew.html", tablet=tablet, kept=kept, next=next_path,
                           typed_by=_typed_by(session, kept),
                           here=[p for p in crew if p.id in lately], others=[p for p in crew if p.id not in lately])


def _typed_by(session: Session, kept: str | None) -> str | None:
    form = access.unpack_form(kept) if kept else None
    was = session.get(Person, form["by"]) if form and form["by"] else None
    return was.name if was else None


def _pin_page(tapped: Person, form: PinForm) -> str:
    return render_template("accounts/pin.html", person=tapped, form=form, tablet=access.tablet(),
                           next=request.values.get("next", ""), kept=request.values.get("kept"))


def by_pin(tablet: Device) -> Any:
    """The PIN counts here and nowhere else. Who has none yet types the secret; a supervisor is never listed."""
    with reading() as session:
        tapped = devices.crew_member(session, tablet, request.form.get("person", 0, type=key))
    form = PinForm(request.form)
    if tapped is None or "secret" not in request.form or not access.token_fits():
        return ask_who(tapped.id if tapped else 0, request.form)
    if not form.validate():
        return _pin_page(tapped, form), 400
    wait = count_try(tapped.sign_in_key)
    if wait:
        form.secret.errors = [wait_words(wait)]
        return _pin_page(tapped, form), 429, {"Retry-After": str(wait)}
    if not guessing.secret_fits(tapped.pin_hash or tapped.secret_hash, form.secret.data):
        tell_access("wrong secret", "tap and PIN", tapped.id)
        form.secret.errors = [WRONG_PIN.format(tapped.name)]
        return _pin_page(tapped, form), 401
    if tapped.pin_hash and tapped.pin_given:
        flash("Your PIN was set by a supervisor. Choose one that only you know: tap your name above.")
    return let_in(tapped, tablet.unit, "tap and PIN")
