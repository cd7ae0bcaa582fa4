"""What a tablet takes along: the worker that answers without a network, the shift with its ticket, and its pages."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

from flask import Blueprint, Response, current_app, g, jsonify, render_template, request, url_for
from sqlalchemy.orm import Session

from app import offline_pages, tickets
from app.offline_facts import rules_version
from app.offline_pages import Page
from app.releases import release
from app.sheets import Sheet, sheet_of
from app.store import rounds
from app.store.people import OPERATOR
from app.store.rounds import Round
from app.web import access
from app.web.access import ANYONE, allow, now, person, reading, settings, unit

bp = Blueprint("offline", __name__)

WORKER = Path(__file__).parents[1] / "static" / "js" / "offline" / "sw.js"
#: One answer holds so many pages at most, and begins no further one after so long: a weak network gets it in pieces.
PIECE, PIECE_S = 150, 4.0
#: What is kept: pages, and the figures that a page asks for once the new one is typed.
KEPT_AS = ("text/html", "application/json")
#: Cookies that a page's look does not depend on: the session, the forgery token's, the sentence of the last save.
NOT_THE_LOOK = ("rounds", "__Host-rounds", "visitor", "__Host-visitor", "said", "__Host-said")


# the worker and what makes it an app on the home screen ----------------------------------------------------------


@bp.get("/sw.js")
@allow(ANYONE)
def worker() -> Any:
    """At the root, so that its scope holds the tablet's pages; its text changes with each release, and only then."""
    kept = {"release": release(), "offline": url_for("offline.not_here"), "entries": url_for("offline.entries"),
            "assets": _assets()}
    text = f"const KEPT = {json.dumps(kept)};\n{WORKER.read_text('utf-8')}"
    return Response(text, mimetype="text/javascript", headers={"Service-Worker-Allowed": "/"})


def _assets() -> list[str]:
    """Every style, script and picture, as the pages name them."""
    root = Path(current_app.static_folder or "")
    names = sorted(p.relative_to(root).as_posix() for p in root.rglob("*") if p.suffix in (".css", ".js", ".svg"))
    return [*(url_for("static", filename=name) for name in names if not name.endswith("/sw.js")),
            url_for("judge.rules", v=rules_version())]


@bp.get("/manifest.webmanifest")
@allow(ANYONE)
def manifest() -> Any:
    icons = [{"src": url_for("static", filename=f"img/{name}.png"), "sizes": f"{size}x{size}",
              "type": "image/png", "purpose": purpose}
             for name, size, purpose in (("icon-192", 192, "any"), ("icon-512", 512, "any"),
                                         ("icon-512-round", 512, "maskable"))]
    return Response(json.dumps({
        "name": "Motor Round Sheet", "short_name": "Round sheet", "id": "/", "start_url": "/", "scope": "/",
        "display": "fullscreen", "display_override": ["fullscreen", "standalone"], "orientation": "any",
        "background_color": "#fbfaf6", "theme_color": "#16181a", "lang": "en", "icons": icons,
    }), mimetype="application/manifest+json")


@bp.get("/tablet/offline")
@allow(ANYONE)
def not_here() -> Any:
    """What is shown where a page is not on the tablet."""
    return render_template("offline/page.html")


@bp.get("/tablet/entries")
@allow(ANYONE)
def entries() -> Any:
    """What is kept on this tablet; the tablet fills it in, the server knows nothing of it."""
    return render_template("offline/entries.html")


# the shift and its pages -----------------------------------------------------------------------------------------


@bp.get("/tablet/shift")
@allow(OPERATOR)
def shift() -> Any:
    """The shift as the tablet counts it, the ticket for what is entered in it, and the addresses to keep."""
    here = unit().calendar.shift_of(now())
    with reading() as session:
        opened, sheet = _sheet(session)
        ticket = tickets.for_shift(person().id, unit().id, here, now())
        return jsonify({
            "now": now().isoformat(), "person": person().sign_in, "name": person().name, "unit": unit().name,
            "zone": unit().time_zone, "shift": here.label, "shift_name": here.name,
            "starts_at": here.starts_at.isoformat(), "ends_at": here.ends_at.isoformat(),
            "ticket": tickets.issue(settings().secret, ticket), "whose": _whose(), "release": release(),
            "stamp": offline_pages.stamp_of(session, unit(), sheet, release(), here.label, _whose(), _look()),
            "open": opened is not None, "motors": [
                {**row, "url": url_for("rounds.entry", motor_id=row["id"])} for row in offline_pages.rows_of(sheet)]})


@bp.get("/tablet/pages")
@allow(OPERATOR)
def pages() -> Any:
    """The pages themselves from a place in the list on, as many as fit one answer, and where to go on."""
    first = request.args.get("from", default=0, type=int)
    with reading() as session:
        wanted = offline_pages.pages_of(_sheet(session)[1])[max(0, first):]
    begun, kept, g.many_pages = time.monotonic(), [], {}
    for page in wanted[:PIECE]:
        kept.append(_kept(page))
        if time.monotonic() - begun > PIECE_S:
            break
    following = first + len(kept) if len(kept) < len(wanted) else None
    return jsonify({"whose": _whose(), "pages": [page for page in kept if page], "next": following})


def _sheet(session: Session) -> tuple[Round | None, Sheet]:
    here = unit().calendar.shift_of(now())
    opened = rounds.round_of(session, unit().id, here.date, here.name)
    return opened, sheet_of(session, unit(), opened, now(), with_findings=False) if opened else Sheet()


def _kept(page: Page) -> list[str] | None:
    """One page as this person sees it now: its address and its text. None where it is no page just now."""
    path = url_for(page.endpoint, **({"motor_id": page.motor_id} if page.motor_id else {}))
    cookies = "; ".join(f"{k}={v}" for k, v in request.cookies.items()
                        if k != access.bound_to_host("said"))
    signed_in = g.signed_in
    with current_app.test_request_context(path, base_url=request.host_url, headers={
            "Cookie": cookies, "Accept": "text/html", "Accept-Encoding": "identity",
            "Sec-Fetch-Mode": "cors"},  # nobody opened it by hand
            environ_overrides={"REMOTE_ADDR": request.remote_addr or ""}):
        answer = current_app.full_dispatch_request()
    g.signed_in = signed_in
    if answer.status_code != 200 or answer.mimetype not in KEPT_AS:
        return None
    return [path, answer.get_data(as_text=True), answer.content_type or ""]


def _look() -> str:
    """What this tablet chose for the look of its pages: the light, the size of hands."""
    return repr(sorted((k, v) for k, v in request.cookies.items() if k not in NOT_THE_LOOK))


def _whose() -> str:
    return offline_pages.whose(settings().secret, person().id, unit().id)


def mark_whose(response: Response) -> Response:
    """Every page of a signed-in person says whose it is: a tablet keeps no page of the person before. What only sends
    on to a page is none."""
    if g.get("signed_in") and response.location is None and response.mimetype in KEPT_AS:
        response.headers["Page-Of"] = _whose()
    return response
