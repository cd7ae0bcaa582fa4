"""The register's CSV on the page: what it would do first, then all rows or none."""

from __future__ import annotations

import base64
import hashlib
import zlib
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for

from app.store.people import Person
from app.store.register import COLUMNS
from app.store.register_file import ImportReport, import_register
from app.store.units import Unit
from app.web import access
from app.web.access import SUPERVISOR, allow, now, reading, writing

MOST_SHOWN = 200
#: A packed file may not unpack to more than this, whoever packed it.
MOST_BYTES = 16 * 1024 * 1024


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/register/import", "import_page", import_page)
    bp.add_url_rule("/register/import", "try_import", try_import, methods=["POST"])
    bp.add_url_rule("/register/import/confirm", "confirm_import", confirm_import, methods=["POST"])


@allow(SUPERVISOR)
def import_page() -> Any:
    return render_template("register/import.html", columns=COLUMNS)


@allow(SUPERVISOR)
def try_import() -> Any:
    """The dry run: what would be added and changed, or every bad row."""
    sent = request.files.get("file")
    data = sent.read() if sent else b""
    if not data:
        return render_template("register/import.html", columns=COLUMNS, missing="Choose a CSV file first."), 400
    return dry_run(data)


@allow(SUPERVISOR)
def confirm_import() -> Any:
    """Writes the file that was shown, if it would still do what was shown."""
    data = unpack(request.form.get("file", ""))
    if data is None:
        return render_template("register/import.html", columns=COLUMNS, missing="Choose the file once more."), 400
    with writing() as session:
        unit = session.get_one(Unit, access.unit().id)
        planned = import_register(session, unit, data, None, now(), dry_run=True)
        if planned.errors or digest(planned) != request.form.get("shown"):
            stale = True
        else:
            stale = False
            import_register(session, unit, data, session.get_one(Person, access.person().id), now())
            session.commit()
    if stale:
        return dry_run(data, stale=True)
    flash(f"Imported: {len(planned.added)} added, {len(planned.changed)} changed, {planned.unchanged} unchanged.")
    return redirect(url_for("register.index"), 303)


def dry_run(data: bytes, stale: bool = False) -> Any:
    with reading() as session:
        report = import_register(session, access.unit(), data, None, now(), dry_run=True)
    status = 400 if report.errors else 409 if stale else 200
    return render_template("register/dry_run.html", report=report, packed=pack(data), shown=digest(report),
                           stale=stale, most=MOST_SHOWN), status


def digest(report: ImportReport) -> str:
    """What a report says will be done: the same for the same file on the same register."""
    return hashlib.sha256(repr((report.added, report.changed, report.unchanged)).encode()).hexdigest()


def pack(data: bytes) -> str:
    """The file as one form field, small enough to be sent back for the second step."""
    return base64.b64encode(zlib.compress(data, 9)).decode()


def unpack(packed: str) -> bytes | None:
    try:
        opened = zlib.decompressobj()
        data = opened.decompress(base64.b64decode(packed.encode(), validate=True), MOST_BYTES)
    except (ValueError, zlib.error):
        return None
    return data if data and opened.eof else None
