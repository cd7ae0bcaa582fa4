"""Where somebody is signed in, and ending it there: one's own, and by a supervisor. Nothing ends at the first tap: the
page before says what becomes of a tablet on the walk and of the entries that wait on it."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, g, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app.store import people
from app.store.changes import note_change
from app.store.people import OPERATOR, SUPERVISOR, Person, SignedIn
from app.web import access
from app.web.access import allow, found_or_404, now, reading, unit, writing
from app.web.places import in_hand, name_of, own_list, where
from app.web.request_log import tell_access

bp = Blueprint("sessions", __name__)

OTHERS = "others"


def named(found: list[SignedIn], name: str) -> list[SignedIn]:
    """Those that an address means: all of them, or one."""
    return found if name == OTHERS else [found_or_404(next((s for s in found if name_of(s) == name), None))]


def chosen(meant: list[SignedIn]) -> list[SignedIn]:
    """With “desks” the shared tablets are left alone."""
    return [s for s in meant if s.device is None] if request.form.get("which") == "desks" else meant


def words(ended: list[SignedIn]) -> str:
    return "; ".join(where(s) for s in ended)


@bp.context_processor
def _helpers() -> dict[str, Any]:
    return {"where": where, "name_of": name_of, "in_hand": in_hand}


# one's own -------------------------------------------------------------------------------------------------


def _mine_elsewhere(session: Session) -> list[SignedIn]:
    return [s for s in own_list(session) if s.key != g.signed_in.key]


@bp.get("/me/sessions/<name>/end")
@allow(OPERATOR)
def ask_own(name: str) -> Any:
    with reading() as session:
        return render_template("sessions/end.html", meant=named(_mine_elsewhere(session), name), name=name, whose=None,
                               back=url_for("own.page"))


@bp.post("/me/sessions/<name>/end", endpoint="end_own")
@allow(OPERATOR)
def end_own(name: str) -> Any:
    with writing() as session:
        ended = chosen(named(_mine_elsewhere(session), name))
        people.end_these(session, ended, now())
        session.commit()
    tell_access("signed out", "elsewhere")
    flash(f"You are signed out there: {words(ended)}." if ended else "You were signed in nowhere else. Nothing ended.")
    return redirect(url_for("own.page"), 303)


# somebody else's -------------------------------------------------------------------------------------------


def _theirs(session: Session, person_id: int) -> tuple[Person, list[SignedIn]]:
    """One of this unit, and where they are signed in to a unit that this supervisor has too."""
    shown = found_or_404(people.one_of_unit(session, unit().id, person_id))
    mine = {u.id for u in access.person().units}
    found = people.live_sessions_of(session, shown.id, now(), access.desk_idle())
    return shown, [s for s in found if s.unit_id in mine and s.key != g.signed_in.key]


@bp.get("/settings/people/<int:person_id>/sessions")
@allow(SUPERVISOR)
def of_person(person_id: int) -> Any:
    with reading() as session:
        shown, found = _theirs(session, person_id)
        return render_template("sessions/of_person.html", person=shown, found=found)


@bp.get("/settings/people/<int:person_id>/sessions/<name>/end")
@allow(SUPERVISOR)
def ask_theirs(person_id: int, name: str) -> Any:
    with reading() as session:
        shown, found = _theirs(session, person_id)
        return render_template("sessions/end.html", meant=named(found, name), name=name, whose=shown,
                               back=url_for(".of_person", person_id=person_id))


@bp.post("/settings/people/<int:person_id>/sessions/<name>/end", endpoint="end_theirs")
@allow(SUPERVISOR)
def end_theirs(person_id: int, name: str) -> Any:
    with writing() as session:
        shown, found = _theirs(session, person_id)
        ended = chosen(named(found, name))
        people.end_these(session, ended, now())
        by = session.get_one(Person, access.person().id)
        for one in ended:
            note_change(session, unit_id=one.unit_id, at=now(), person=by, subject="person", subject_id=shown.id,
                        label=shown.sign_in, field="signed in", before=where(one), after="ended by a supervisor")
        session.commit()
    tell_access("signed out", "by a supervisor", person_id)
    flash(f"{shown.name} is signed out there: {words(ended)}." if ended else
          f"{shown.name} was signed in nowhere any more. Nothing ended.")
    return redirect(url_for(".of_person", person_id=person_id), 303)
