"""The handover: read by everybody, given by the outgoing head operator, taken by the incoming, line by line."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, g, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import Form, TextAreaField
from wtforms.validators import Length

from app import handovers, lubricating, recording
from app.entries import clean_text
from app.handovers import KINDS, CannotHandOver, Held, NotAnswered, Thing
from app.store import rounds
from app.store.handovers import ANSWERS
from app.store.people import HEAD_OPERATOR, OPERATOR
from app.store.rounds import Round
from app.web.access import allow, found_or_404, now, person, reading, unit, writing

bp = Blueprint("handover", __name__)

MOST_LETTERS = 2000
YES, NO = "yes", "no"


def words(label: str) -> TextAreaField:
    return TextAreaField(label, [Length(max=MOST_LETTERS, message=f"Keep it to {MOST_LETTERS:,} characters.")],
                         filters=[lambda text: clean_text(text or "")])


class GiveForm(Form):
    """What the record does not know."""

    first = words("What the next shift does first")
    words = words("What else there is to say")


@bp.get("/handover")
@allow(OPERATOR)
def newest() -> Any:
    """The handover that is due: of the shift that ended, else of the present one, opened or not."""
    with reading() as session:
        return _page(session, handovers.held_now(session, unit(), now()))


@bp.post("/handover")
@allow(OPERATOR)
def begin() -> Any:
    """Opens the present shift's sheet where nobody has: a handover is given and taken with it."""
    with writing() as session:
        opened = recording.open_sheet(session, unit(), now(), person())
        session.commit()
        return redirect(url_for("handover.one", round_id=opened.id), 303)


@bp.get("/handover/<int:round_id>")
@allow(OPERATOR)
def one(round_id: int) -> Any:
    with reading() as session:
        return _page(session, _held_or_404(session, round_id))


def _held_or_404(session: Session, round_id: int) -> Held:
    return found_or_404(handovers.held_of(session, unit(), round_id))  # type: ignore[no-any-return]


def _page(session: Session, held: Held, form: GiveForm | None = None, error: str = "",
          missing: tuple[str, ...] = ()) -> str:
    there = held.there
    things, came = handovers.lines_of(there, [] if there and there.taken_at else _things_now(session, held))
    return render_template(
        "handover/page.html", round=held.opened if isinstance(held.opened, Round) else None, shift=held.shift,
        there=there, things=things, came=came, kinds=KINDS, error=error, form=form or GiveForm(),
        alone=request.args.get("take") == "alone" or bool(missing), missing=missing, typed=request.form,
        answers=ANSWERS, answered={item.key: item for item in there.items} if there else {}, earlier=held.earlier)


def _things_now(session: Session, held: Held) -> list[Thing]:
    """What stands; the banners of the page tell of the same half-way states and greasings."""
    found = handovers.stands(session, unit(), held.opened, now())
    g.half_way, g.greasing_overdue = found.half_way, lubricating.overdue_count(found.greasing)
    return handovers.things_of(unit(), found, now())


@bp.post("/handover/<int:round_id>/give")
@allow(HEAD_OPERATOR)
def give(round_id: int) -> Any:
    """The outgoing head operator signs; the lines are kept as they stand now."""
    form = GiveForm(request.form)
    if not form.validate():
        with reading() as session:
            return _page(session, _held_or_404(session, round_id), form), 422
    try:
        with writing() as session:
            opened = found_or_404(rounds.round_by_id(session, unit().id, round_id))
            made = handovers.give(session, unit(), opened, person(), now(), form.first.data, form.words.data)
            session.commit()
            flash(f"Handover of {opened.label} given, {len(made.items)} thing{'' if len(made.items) == 1 else 's'}. "
                  "Not face to face until the incoming head operator says so.")
    except CannotHandOver as error:
        return _refused(round_id, form, error)
    return redirect(url_for("handover.one", round_id=round_id), 303)


@bp.post("/handover/<int:round_id>/take")
@allow(HEAD_OPERATOR)
def take(round_id: int) -> Any:
    """The incoming head operator signs, once every line is answered understood or query."""
    answers = _answers()
    together = {YES: True, NO: False}.get(request.form.get("face_to_face", ""))
    try:
        with writing() as session:
            opened = found_or_404(rounds.round_by_id(session, unit().id, round_id))
            handovers.take(session, unit(), opened, person(), now(), answers, together)
            session.commit()
            flash(f"Handover of {opened.label} taken.")
    except CannotHandOver as error:
        return _refused(round_id, None, error)
    return redirect(url_for("handover.one", round_id=round_id), 303)


def _answers() -> dict[str, tuple[str, str]]:
    """Line -> understood or query, and what is asked."""
    return {name.removeprefix("answer "): (value, _asked(name.removeprefix("answer ")))
            for name, value in request.form.items() if name.startswith("answer ")}


def _asked(line: str) -> str:
    return clean_text(request.form.get(f"query {line}", ""))[:MOST_LETTERS]


def _refused(round_id: int, form: GiveForm | None, error: CannotHandOver) -> Any:
    """The page again, with everything that was typed; nothing was stored."""
    with reading() as session:
        missing = tuple(error.keys) if isinstance(error, NotAnswered) else ()
        return _page(session, _held_or_404(session, round_id), form, str(error), missing), 422
