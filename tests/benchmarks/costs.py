"""What a worker costs: from nothing to the first answer, its memory at rest and at its peak; import; rehearsal."""

from __future__ import annotations

import csv
import os
import subprocess
import sys
import tempfile
import time
import urllib.request
import uuid
from collections.abc import Iterator
from pathlib import Path

from app import rehearsal
from app.export.register import register_csv
from app.store.register_file import import_register
from app.store.units import Unit
from tests import factories
from tests.benchmarks.ground import Ground
from tests.benchmarks.lines import Line, bests_ms, once_ms

REST_MB = 120.0


def a_worker(ground: Ground) -> Iterator[Line]:
    """`round-sheet serve` in a process of its own, on a new instance."""
    with tempfile.TemporaryDirectory(prefix="rounds-bench-") as folder:
        environment = {**os.environ, "ROUND_SHEET_INSTANCE": folder}
        environment.pop("ROUND_SHEET_DATABASE_URL", None)
        command = [sys.executable, "-m", "flask", "--app", "app", "serve", "--port", "0"]
        bare = once_ms(lambda: subprocess.run([sys.executable, "-c", "import flask, sqlalchemy.orm, wtforms"],
                                              check=True))
        begun = time.perf_counter()
        process = subprocess.Popen(command, env=environment, text=True, stdout=subprocess.PIPE,
                                   stderr=subprocess.STDOUT)
        try:
            url = _address(process)
            _get(url + "/healthz")
            yield Line("cold start with a new database", (time.perf_counter() - begun) * 1000, "ms", bare)
            for _ in range(20):
                _get(url + "/sign-in")
            yield Line("a worker at rest", _memory_mb(process.pid, "VmRSS"), "MB", goal=REST_MB)
            yield Line("a worker at its peak", _memory_mb(process.pid, "VmHWM"), "MB")
        finally:
            process.terminate()
            process.wait(timeout=20)


def _address(process: subprocess.Popen[str]) -> str:
    """The address the server prints."""
    assert process.stdout is not None
    for line in process.stdout:
        if "Serving on " in line:
            return line.split("Serving on ")[1].split()[0]
    raise RuntimeError("the server ended before it served")


def _get(url: str) -> None:
    with urllib.request.urlopen(url, timeout=20) as answer:
        answer.read()


def _memory_mb(pid: int, name: str) -> float:
    line = next(x for x in Path(f"/proc/{pid}/status").read_text().splitlines() if x.startswith(name + ":"))
    return int(line.split()[1]) / 1000


def register(ground: Ground) -> Iterator[Line]:
    """The unit's own register, exported and taken into a unit that has none; floor: the csv module reads it."""
    with ground.database.writing() as session:
        data = register_csv(session, session.get_one(Unit, ground.loaded.unit_id))

        def taken_in() -> None:
            empty = factories.make_unit(session, f"Unit {uuid.uuid4()}")
            report = import_register(session, empty, data, None, ground.clock.now, False)
            assert (len(report.added), report.errors) == (len(ground.loaded.motor_ids), [])
            session.rollback()

        figure, least = bests_ms(3, taken_in, lambda: list(csv.DictReader(data.decode("utf-8-sig").splitlines())))
    yield Line(f"import of {len(ground.loaded.motor_ids)} motors", figure, "ms", least)


def weeks_again(ground: Ground) -> Iterator[Line]:
    """Four weeks of the unit judged again under another limit; told for each reading."""
    with ground.database.reading() as session:
        unit = session.get_one(Unit, ground.loaded.unit_id)
        start, end = rehearsal.span(unit, 4, ground.clock.now)
        asked = [rehearsal.Asked("bearing_hot_grease_alarm_c", 85.0)]
        figure, = bests_ms(1, lambda: rehearsal.rehearse(session, unit, start, end, asked))
    yield Line(f"rehearsal of 4 weeks, {len(ground.loaded.motor_ids)} motors", figure, "ms")
