"""The register's CSV on the page: what it would do first, then all rows or none.

A long file's answer is written as the work goes on, so that the page shows how far it is without any script.
"""

from __future__ import annotations

import base64
import hashlib
import zlib
from collections.abc import Iterator
from itertools import chain
from typing import Any

from flask import Blueprint, Response, flash, redirect, render_template, request, stream_template, url_for
from sqlalchemy.orm import Session
from werkzeug.datastructures import FileStorage

from app.store.people import Person
from app.store.register import COLUMNS
from app.store.register_file import FileImport, ImportReport, Step
from app.store.units import Unit
from app.web import access
from app.web.access import SUPERVISOR, allow, now, reading, writing

MOST_SHOWN = 200
#: A register file may be this large, sent or unpacked, whoever packed it.
MOST_BYTES = 16 * 1024 * 1024
#: From so many rows on the page is written while the work goes on.
LONG_ROWS = 1000


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
    data = _sent(request.files.get("file"))
    if not data:
        return render_template("register/import.html", columns=COLUMNS, missing="Choose a CSV file first."), 400
    return _answer(_Work(data))


@allow(SUPERVISOR)
def confirm_import() -> Any:
    """Writes the file that was shown, if it would still do what was shown."""
    data = unpack(request.form.get("file", ""))
    if data is None:
        return render_template("register/import.html", columns=COLUMNS, missing="Choose the file once more."), 400
    return _answer(_Work(data, request.form.get("shown", "")))


for _view in (try_import, confirm_import):
    _view.body_limit = 2 * MOST_BYTES  # type: ignore[attr-defined]


def _sent(file: FileStorage | None) -> bytes:
    if file is None:
        return b""
    try:
        return file.read()
    finally:
        file.close()


class _Work:
    """One file looked at, and written where a person has seen what it does. shown: what they have seen; None: nothing.
    """

    report: ImportReport
    stale = stored = False

    def __init__(self, data: bytes, shown: str | None = None) -> None:
        self.data, self.shown = data, shown

    def steps(self) -> Iterator[Step]:
        with reading() if self.shown is None else writing() as session:
            unit = session.get_one(Unit, access.unit().id)
            running = FileImport(session, unit, self.data, now())
            yield from running.look()
            self.report = running.report
            if self.shown is not None:
                yield from self._write(session, running)

    def _write(self, session: Session, running: FileImport) -> Iterator[Step]:
        self.stale = bool(self.report.errors) or digest(self.report) != self.shown
        if not self.stale:
            yield from running.write(session.get_one(Person, access.person().id))
            session.commit()
            self.stored = True

    @property
    def status(self) -> int:
        return 400 if self.report.errors else 409 if self.stale else 200

    @property
    def says(self) -> str:
        added, changed = len(self.report.added), len(self.report.changed)
        return f"Imported: {added} added, {changed} changed, {self.report.unchanged} unchanged."

    def page(self) -> dict[str, Any]:
        """What the page shows of it, once it is done."""
        return {"report": self.report, "packed": "" if self.stored else pack(self.data), "shown": digest(self.report),
                "stale": self.stale, "stored": self.stored, "says": self.says, "most": MOST_SHOWN}


def _answer(work: _Work) -> Any:
    """A short file is done before it is answered. A long one is answered while it is done."""
    steps = work.steps()
    first = next(steps)
    if first.total >= LONG_ROWS:
        answer = Response(stream_template("register/import_long.html", steps=chain([first], steps), done=work.page),
                          content_type="text/html; charset=utf-8")
        answer.headers["X-Accel-Buffering"] = "no"  # a proxy in front passes on what there is
        return answer
    for _ in steps:
        pass
    if work.stored:
        flash(work.says)
        return redirect(url_for("register.index"), 303)
    return render_template("register/dry_run.html", **work.page()), work.status


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
