"""The supervisor's page of numbers about the flags themselves: measure, target, now, met or not."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, render_template

from app import flag_numbers
from app.store.people import SUPERVISOR
from app.web.access import allow, now, reading, unit

bp = Blueprint("flag_numbers", __name__)


@bp.get("/flag-numbers")
@allow(SUPERVISOR)
def page() -> Any:
    with reading() as session:
        given = flag_numbers.gather(session, unit(), now())
        return render_template("flag_numbers/page.html", measures=flag_numbers.measures(given),
                               weeks=flag_numbers.WEEKS, words=flag_numbers)
