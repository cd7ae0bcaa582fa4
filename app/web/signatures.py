"""A signed sheet to read and to print: what the signature covers, its code in groups, what came afterwards."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, render_template

from app import signatures
from app.signatures import in_groups
from app.store import flags, rounds
from app.store import signatures as stored
from app.store.people import OPERATOR
from app.web.access import allow, found_or_404, reading, unit

bp = Blueprint("signatures", __name__)


@bp.get("/sheet/<int:round_id>/signed")
@allow(OPERATOR)
def sheet(round_id: int) -> Any:
    """The sheet as signed. A sheet that nobody signed, or signed before sheets had a code, has no such page."""
    with reading() as session:
        signed = found_or_404(stored.signed_sheet(session, unit().id, round_id))
        entries = rounds.readings_as_signed(session, round_id)
        found = flags.findings_of(session, [r.id for r in entries])
        return render_template(
            "signatures/sheet.html", round=signed.round, signed=signed, rows=signed.covers["rows"],
            entry={str(r.id): r for r in entries}, findings=signed.covers["findings"], groups=in_groups(signed.code),
            previous=in_groups(signed.previous) if signed.previous else None,
            addenda=signatures.addenda_to(session, signed.round, signed), found=found,
            fault=signatures.fault_of(session, signed, found))
