"""A person's own page: where they are signed in, a PIN and a secret of one's own choosing, out everywhere."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from flask import Blueprint, flash, g, redirect, render_template, request, url_for
from wtforms import Form, PasswordField
from wtforms.validators import InputRequired, Length

from app import guessing
from app.store import people
from app.store.changes import note_change
from app.store.people import OPERATOR, SUPERVISOR, Person, SignedIn
from app.web import access
from app.web.access import allow, now, reading, unit, writing
from app.web.places import name_of, own_list, where
from app.web.request_log import tell_access
from app.web.signing_in import count_try, wait_words

bp = Blueprint("own", __name__)


class NewSecret(Form):
    """The one that fits now, so that a tablet left lying open gives nobody a new one."""

    before = PasswordField("What you sign in with now", [InputRequired("Enter what you sign in with now."),
                                                         Length(max=200)])
    secret = PasswordField("The new one", [InputRequired("Enter the new one."), Length(max=200)])
    again = PasswordField("The new one once more", [Length(max=200)])


@bp.get("/me")
@allow(OPERATOR)
def page() -> Any:
    return _page(NewSecret(prefix="pin-"), NewSecret(prefix="own-"))


def _page(pin: NewSecret, phrase: NewSecret, status: int = 200) -> Any:
    with reading() as session:
        return render_template("own/page.html", pin=pin, phrase=phrase, found=own_list(session),
                               where=where, name_of=name_of, limits=access.settings()), status


@bp.post("/me/pin", endpoint="set_pin")
@allow(OPERATOR)
def set_pin() -> Any:
    form = NewSecret(request.form, prefix="pin-")
    who = access.person()
    if who.role == SUPERVISOR:
        form.secret.errors = ["A supervisor has no PIN: the pass-phrase counts everywhere."]
        return _page(form, NewSecret(prefix="own-"), 400)
    status = _check(form, who)
    if status:
        return _page(form, NewSecret(prefix="own-"), status)
    _store(who, "PIN", "pin_hash", guessing.hash_secret(form.secret.data))
    flash("Your PIN is changed. It counts on enrolled tablets only.")
    return redirect(url_for(".page"), 303)


@bp.post("/me/secret", endpoint="set_secret")
@allow(OPERATOR)
def set_secret() -> Any:
    form = NewSecret(request.form, prefix="own-")
    who = access.person()
    status = _check(form, who, phrase=True)
    if status:
        return _page(NewSecret(prefix="pin-"), form, status)
    _store(who, "secret", "secret_hash", guessing.hash_secret(form.secret.data))
    flash("Your pass-phrase is changed. You are signed out everywhere else.")
    return redirect(url_for(".page"), 303)


def _check(form: NewSecret, who: Person, *, phrase: bool = False) -> int:
    """0 when it may be stored; else the status, with what is wrong beside its field."""
    if not form.validate():
        return 400
    try:
        if phrase:
            guessing.check_own_phrase(form.secret.data, who.role, guessing.words_of(who))
        else:
            guessing.check_pin(form.secret.data, guessing.words_of(who))
    except guessing.WeakSecret as error:
        form.secret.errors = [str(error)]
        return 400
    if form.secret.data != form.again.data:
        form.again.errors = ["Enter the same twice: these two differ."]
        return 400
    wait = count_try(who.sign_in_key)
    if wait:
        form.before.errors = [wait_words(wait)]
        return 429
    # A PIN is for tablets: only the pass-phrase changes the pass-phrase.
    fits = guessing.secret_fits(who.secret_hash, form.before.data)
    if not fits and not phrase and who.pin_hash:
        fits = guessing.secret_fits(who.pin_hash, form.before.data)
    if not fits:
        tell_access("wrong secret", "own page", who.id)
        form.before.errors = ["This is not what you sign in with now." if not phrase else
                              "This is not your pass-phrase now. A PIN does not change it; a supervisor resets it."]
        return 401
    return 0


def _store(who: Person, field: str, column: str, hashed: str) -> None:
    """Stored, noted, and every other session of this person ended."""
    with writing() as session:
        me = session.get_one(Person, who.id)
        note_change(session, unit_id=unit().id, at=now(), person=me, subject="person", subject_id=me.id,
                    label=me.sign_in, field=field, before=None, after="changed by themselves")
        setattr(me, column, hashed)
        if column == "pin_hash":
            me.pin_given = False
        guessing.forgive(session, me.sign_in_key, request.remote_addr or "")
        session.execute(sa.update(people.SignedIn).where(
            SignedIn.person_id == me.id, SignedIn.ended_at.is_(None), SignedIn.key != g.signed_in.key)
            .values(ended_at=now()))
        session.commit()
    tell_access("person changed", field, who.id)
