"""The week as files: CSV, CSV for countries that write 24,8, workbook."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import IO

from flask import Blueprint, Response, request

from app.export import week as exceptions
from app.export.week_sheets import week_workbook
from app.store.people import SUPERVISOR
from app.web.access import allow, now, reading, unit
from app.web.week_span import known_span

IN_MEMORY = 1024 * 1024
KINDS = {"csv": "text/csv",
         "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}
#: ?style=continental: semicolons between the columns, commas in the figures.
CONTINENTAL = "continental"


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/week/<week>.csv", "csv_file", csv_file)
    bp.add_url_rule("/week/<week>.xlsx", "xlsx_file", xlsx_file)


@allow(SUPERVISOR)
def csv_file(week: str) -> Response:
    moment, continental = now(), request.args.get("style") == CONTINENTAL
    span = known_span(week)
    with new_file() as file, reading() as session:
        file.writelines(exceptions.week_csv(session, unit(), span.text, moment, continental))
        return as_download(file, exceptions.file_name(unit(), span.text, moment, "csv", continental), "csv")


@allow(SUPERVISOR)
def xlsx_file(week: str) -> Response:
    moment: datetime = now()
    span = known_span(week)
    with new_file() as file, reading() as session:
        week_workbook(session, unit(), span.text, moment, file)
        return as_download(file, exceptions.file_name(unit(), span.text, moment, "xlsx"), "xlsx")


@contextmanager
def new_file() -> Iterator[IO[bytes]]:
    """A file to be sent when it is whole (on disk when large), so that a failure is a page and never half a file."""
    file = tempfile.SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115 - closed when it is sent
    try:
        yield file
    except BaseException:
        file.close()
        raise


def as_download(file: IO[bytes], name: str, kind: str) -> Response:
    size = file.seek(0, 2)
    file.seek(0)
    answer = Response(pieces(file), mimetype=KINDS[kind])
    if size <= IN_MEMORY:
        answer.data = file.read()
        file.close()
    answer.call_on_close(file.close)
    answer.content_length = size
    answer.headers.set("Content-Disposition", "attachment", filename=name)
    return answer


def pieces(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        while piece := file.read(IN_MEMORY):
            yield piece
