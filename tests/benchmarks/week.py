"""The week at a bad week's size: 2,000 exceptions opened and exported, 100,000 rows in how much memory.

Measured, never asserted: the aims are under 1 s to open, under 3 s to export, and under 150 MB for 100,000 rows.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path

import sqlalchemy as sa

from app.config import Settings
from app.db import Database
from app.store.flags import Flag
from tests import factories
from tests.benchmarks.lines import Line
from tests.export.hand_made import AFTERWARDS, TUESDAY, WEEK

MOTORS, EXCEPTIONS, MANY = 400, 2_000, 100_000


def filled(folder: Path, flags: int, motors: int = MOTORS, rounds: int = 14) -> Database:
    """A unit of 400 motors, each read in every round of the week, with so many flags that stood in it."""
    database = Database(f"sqlite:///{folder / 'round-sheet.sqlite3'}")
    database.upgrade()
    with database.writing() as session:
        plant = factories.make_plant(session)
        made = [factories.make_motor(session, plant.unit, f"M-{i:04}", area=f"Area {i % 8}", greased=False)
                for i in range(motors - 1)]
        monday = TUESDAY - timedelta(hours=24)
        for i in range(rounds):
            for j, motor in enumerate([plant.motor, *made]):
                factories.make_reading(session, motor, plant.operator,
                                       monday + timedelta(hours=12 * i, seconds=30 * j), current_a_1=80.0)
        key = factories.make_reading(session, plant.motor, plant.operator, TUESDAY).id
        for first in range(0, flags, 5_000):
            session.execute(sa.insert(Flag), [{
                "unit_id": plant.unit.id, "motor_id": made[i % len(made)].id, "rule": f"rule_{i % 30}", "end": "",
                "priority": ("act now", "this shift", "watch")[i % 3], "raised_at": TUESDAY + timedelta(seconds=i),
                "raised_cause": "reading", "raised_cause_id": key, "last_seen_at": TUESDAY + timedelta(seconds=i),
                "times_seen": 2, "value": i / 7, "limit": 90.0, "unit_of_measure": "°C", "source": "general practice",
                "says": "Above its limit. Check lubrication and every level at once.", "good_rounds": 0,
                "arrived_late": False, "version": 1, "closed_at": AFTERWARDS - timedelta(hours=1),
                "raised_by_id": plant.operator.id} for i in range(first, min(first + 5_000, flags))])
        session.commit()
    return database


def _best(work, times: int = 3) -> float:
    spans = []
    for _ in range(times):
        begun = time.perf_counter()
        work()
        spans.append(time.perf_counter() - begun)
    return min(spans)


def two_thousand_exceptions() -> Iterable[Line]:
    """Seconds to open the page, the one for the meeting and the motors by weeks, and to export both files."""
    from app import create_app

    with tempfile.TemporaryDirectory() as folder:
        filled(Path(folder), EXCEPTIONS).close()
        app = create_app(Settings(instance=Path(folder)), clock=lambda: AFTERWARDS)
        client = app.test_client()
        factories.try_sign_in(client, "supervisor", factories.SECRET)
        for name, path, goal in (
                ("page", f"/week/{WEEK}", 1.0), ("one page for the meeting", f"/week/{WEEK}/meeting", 1.0),
                ("CSV", f"/week/{WEEK}.csv", 3.0), ("workbook", f"/week/{WEEK}.xlsx", 3.0),
                ("motors by weeks", "/trends", 1.0)):
            seconds = _best(lambda path=path: client.get(path).get_data())
            yield Line(f"a week of 2,000 exceptions, 400 motors: {name}", seconds, "s", goal=goal)
        app.extensions["database"].close()


def hundred_thousand_rows() -> Iterable[Line]:
    """Peak memory of 100,000 exceptions as CSV and as workbook, each in a process of its own, and the seconds."""
    with tempfile.TemporaryDirectory() as folder:
        filled(Path(folder), MANY, rounds=1).close()
        for kind in ("csv", "xlsx"):
            done = subprocess.run([sys.executable, "-m", "tests.benchmarks.week", folder, kind], capture_output=True,
                                  text=True, check=True)
            seconds, peak_mb = (float(word) for word in done.stdout.split())
            yield Line(f"100,000 exceptions as {kind}: peak memory", peak_mb, "MB", goal=150.0)
            yield Line(f"100,000 exceptions as {kind}", seconds, "s")


def _one(folder: str, kind: str) -> None:
    from app.export.week import week_csv
    from app.export.week_sheets import week_workbook
    from app.store.units import all_units

    database = Database(f"sqlite:///{Path(folder) / 'round-sheet.sqlite3'}")
    with database.reading() as session:
        [unit] = all_units(session)
        begun = time.perf_counter()
        if kind == "csv":
            for _ in week_csv(session, unit, WEEK, AFTERWARDS):
                pass
        else:
            with tempfile.TemporaryFile() as file:
                week_workbook(session, unit, WEEK, AFTERWARDS, file)
        seconds = time.perf_counter() - begun
    print(seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


if __name__ == "__main__":
    _one(*sys.argv[1:])
