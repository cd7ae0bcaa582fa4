"""The blank paper sheet, for the day the tablet fails or may not enter."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from flask import Blueprint, redirect, render_template, request, url_for
from sqlalchemy.orm import Session

from app.check_order import order_of
from app.paper_codes import METHODS, Box, boxes_in, no_need
from app.rules.shifts import Shift
from app.sheets import LEFT, NOT_DUE, Row, Sheet, sheet_of
from app.store import rounds
from app.store.people import OPERATOR
from app.store.rounds import Round
from app.web import paper_entries
from app.web.access import allow, now, reading, unit

bp = Blueprint("paper", __name__)
paper_entries.add_to(bp)

PAPERS = {"a4": "A4", "letter": "Letter"}
WHICH = {"due": "every motor due in the shift", "left": "only those not seen yet"}


@dataclass(frozen=True)
class Part:
    """Rows that stand together under one heading of areas, with their boxes in walking order."""

    boxes: tuple[Box, ...]
    rows: list[tuple[str, Row]]  # (where it is walked, row)


@bp.get("/sheet/paper")
@allow(OPERATOR)
def sheet() -> Any:
    """The sheet of this shift or the next, ready to print: the same route, order and checks."""
    paper, which = request.args.get("paper", ""), request.args.get("which", "due")
    if (paper and paper not in PAPERS) or which not in WHICH:
        return redirect(url_for(".sheet"))
    present = unit().calendar.shift_of(now())
    shift = unit().calendar.after(present) if request.args.get("shift") == "next" else present
    with reading() as session:
        shown = paper_sheet(session, shift, now())
        rows = [row for row in shown.rows if row.status != NOT_DUE and (which == "due" or row.status == LEFT)]
        return render_template(
            "paper/sheet.html", paper=paper, papers=PAPERS, which=which, whiches=WHICH, shift=shift, present=present,
            following=unit().calendar.after(present), methods=METHODS, parts=_parts(shown, rows), count=len(rows),
            not_due=shown.count(NOT_DUE), no_need=no_need, zone=unit().time_zone)


def paper_sheet(session: Session, shift: Shift, at: datetime) -> Sheet:
    """The shift's sheet as it stands; a shift that nobody has opened is shown without opening it."""
    opened = rounds.round_of(session, unit().id, shift.date, shift.name) or Round(
        unit_id=unit().id, shift_date=shift.date, shift_name=shift.name, starts_at=shift.starts_at,
        ends_at=shift.ends_at)
    return sheet_of(session, unit(), opened, at, with_findings=False)


def _parts(shown: Sheet, rows: list[Row]) -> list[Part]:
    """One table for as long as the order of the checks stays the same."""
    def where(row: Row) -> str:
        return f"{row.route or 'On no route'} · {row.motor.area}" if shown.has_routes else row.motor.area

    return [Part(boxes_in(order), [(where(row), row) for row in group])
            for order, group in groupby(rows, key=lambda row: order_of(unit(), row.motor.area))]
