"""`round-sheet export-week`: the page's own bytes, whole or not at all, and an exit code that a timer can trust."""

from __future__ import annotations

import csv
import errno
import io
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import IO

import pytest
from click import ClickException
from click.testing import CliRunner, Result
from flask.testing import FlaskClient

from app.cli import _write, main
from app.db import Database
from app.export.week import week_csv
from app.rules.shifts import next_week, week_of
from tests import factories
from tests.conftest import Clock, on_both
from tests.export.hand_made import TUESDAY, WEEK, make_flag
from tests.factories import Plant, sign_in


@pytest.fixture(autouse=True)
def _on_the_apps_database(app_database: Database, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("ROUND_SHEET_INSTANCE", str(tmp_path / "instance"))
    monkeypatch.setenv("ROUND_SHEET_DATABASE_URL", app_database.url.render_as_string(hide_password=False))


@pytest.fixture
def flagged(app_database: Database, plant: Plant) -> None:
    with app_database.writing() as session:
        motor = session.merge(plant.motor, load=False)
        reading = factories.make_reading(session, motor, plant.operator, TUESDAY, remarks='=1+1; "hot"')
        make_flag(session, motor, value=92.5, limit=90.0, unit_of_measure="°C", raised_cause_id=reading.id,
                  closed_at=TUESDAY + timedelta(hours=2))
        make_flag(session, factories.make_motor(session, plant.unit, "00123"), value=-2.5, closed_at=TUESDAY)
        session.commit()


def run(*arguments: str, unit: str = "Unit 2") -> Result:
    return CliRunner().invoke(main, ["export-week", "--unit", unit, *arguments])


@on_both
@pytest.mark.parametrize("style", ["", "continental"])
def test_the_command_writes_the_pages_own_bytes(client: FlaskClient, clock: Clock, plant: Plant, flagged: None,
                                                tmp_path: Path, style: str) -> None:
    clock.set(datetime.now(UTC))
    page = sign_in(client, plant.supervisor).get(f"/week/{WEEK}.csv?style={style}")
    out = tmp_path / "week.csv"
    done = run("--week", WEEK, "-o", str(out), *([f"--{style}"] if style else []))
    assert (done.exit_code, done.stdout) == (0, "")
    assert out.read_bytes() == page.data
    assert page.data.count(b"\r\n") == 3


def test_the_continental_file_has_semicolons_and_decimal_commas_and_else_the_same_cells(
        app_database: Database, plant: Plant, flagged: None) -> None:
    with app_database.reading() as session:
        plain, other = (b"".join(week_csv(session, plant.unit, WEEK, TUESDAY + timedelta(days=9), continental))
                        for continental in (False, True))
    assert other.startswith(b"\xef\xbb\xbfweek;unit;area;tag;")
    rows = list(csv.DictReader(io.StringIO(plain.decode("utf-8-sig"), newline="")))
    told = list(csv.DictReader(io.StringIO(other.decode("utf-8-sig"), newline=""), delimiter=";"))
    assert [(r["tag"], r["value"], r["percent_of_limit"]) for r in told] == [
        ("00123", "-2,5", ""), ("P-101A", "92,5", "102,8")]
    figures = {"value", "limit", "percent_of_limit", "hours_open"}
    for row, same in zip(rows, told, strict=True):
        assert {k: v for k, v in row.items() if k not in figures} == {k: v for k, v in same.items() if k not in figures}


def test_a_span_is_written_too_and_a_folder_gets_the_pages_file_name(plant: Plant, flagged: None,
                                                                      tmp_path: Path) -> None:
    folder = tmp_path / "meetings"
    folder.mkdir()
    assert run("--week", "2026-W47--2026-W48", "--format", "xlsx", "-o", str(folder)).exit_code == 0
    [written] = folder.iterdir()
    assert re.fullmatch(r"exceptions_unit-2_2026-W47--2026-W48_made-\d{8}T\d{4}Z\.xlsx", written.name)


def test_the_latest_week_is_the_last_that_is_over_in_the_units_own_time(plant: Plant, tmp_path: Path) -> None:
    out = tmp_path / "week.csv"
    done = run("--latest", "-o", str(out))
    expected = next_week(week_of(datetime.now(UTC), plant.unit.calendar.zone), -1)
    assert done.exit_code == 0
    assert f"Unit 2, {expected}." in done.stderr


@pytest.mark.parametrize(("arguments", "code", "said"), [
    (["--latest", "--week", WEEK], 2, "Give either"), ([], 2, "Give either"),
    (["--latest", "--format", "xlsx", "--continental"], 2, "--continental is for --format csv"),
    (["--latest", "--format", "pdf"], 2, "pdf"),
    (["--week", "2026-W54"], 1, "2026 has no week 54"), (["--week", "W48"], 1, "is not a week such as"),
    (["--week", "2026-W48--2026-W40"], 1, "ends before it begins"),
], ids=str)
def test_what_cannot_be_written_says_why_and_leaves_no_file(plant: Plant, tmp_path: Path, arguments: list[str],
                                                            code: int, said: str) -> None:
    out = tmp_path / "out" / "week.csv"
    out.parent.mkdir()
    done = run(*arguments, "-o", str(out))
    assert (done.exit_code, done.stdout, said in done.stderr) == (code, "", True), done.stderr
    assert list(out.parent.iterdir()) == []


def test_a_unit_that_is_not_there_and_a_folder_that_is_not_there_are_exit_1(plant: Plant, tmp_path: Path) -> None:
    assert run("--latest", "-o", str(tmp_path / "week.csv"), unit="Unit 9").exit_code == 1
    done = run("--latest", "-o", str(tmp_path / "nowhere" / "week.csv"))
    assert (done.exit_code, "cannot be written" in done.stderr) == (1, True)


@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, "No space left on device"), RuntimeError("a fault of ours")],
                         ids=["disk full", "fault"])
def test_what_fails_half_way_leaves_last_weeks_file_as_it_was(tmp_path: Path, error: Exception) -> None:
    out = tmp_path / "out" / "week.csv"
    out.parent.mkdir()
    out.write_bytes(b"last week's")

    def fill(file: IO[bytes]) -> None:
        file.write(b"half a fi")
        raise error

    with pytest.raises((ClickException, RuntimeError)):
        _write(str(out), fill)
    assert [(p.name, p.read_bytes()) for p in out.parent.iterdir()] == [("week.csv", b"last week's")]
