"""The search of the foot of every page: by tag, service, maker's serial and remark, each with where it was found."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from flask import Blueprint, render_template, request

from app.store import search
from app.store.people import OPERATOR
from app.web.access import allow, reading, unit

bp = Blueprint("search", __name__)

LONGEST = 100
MOST = 50  # of one kind on the page; more ask for another word


@bp.get("/search")
@allow(OPERATOR)
def page() -> Any:
    """Grouped by where it was found; remarks of readings as far back as the page says, and further when asked."""
    wanted, before = request.args.get("q", "").strip()[:LONGEST], _before(request.args.get("before"))
    if not wanted:
        return render_template("search/page.html", q="", groups=None)
    with reading() as session:
        places = search.places(session, unit().id)
        written = search.remarks(session, unit().id, wanted, before)
        return render_template(
            "search/page.html", q=wanted, before=before, most=MOST, written=written,
            place_of={place.id: place for place in places},
            groups=None if before else {
                "tag": search.by_tag(places, wanted), "service": search.by_service(places, wanted),
                "serial": search.by_serial(session, unit().id, places, wanted),
                "register": search.by_register_remark(places, wanted),
                "notes": search.notes(session, unit().id, wanted)})


def _before(text: str | None) -> datetime | None:
    """An instant with its offset, as the page's own link gives it; anything else is none."""
    try:
        at = datetime.fromisoformat(text or "")
    except ValueError:
        return None
    return at if at.tzinfo else None
