"""The week's files read back by others: openpyxl, pandas and LibreOffice see the same rows that we wrote."""

from __future__ import annotations

import csv
import io
import shutil
import subprocess
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from sqlalchemy.orm import Session

from app.export.week import NAMES, week_csv
from app.export.week_sheets import week_workbook
from tests import factories
from tests.conftest import SQLITE
from tests.export.hand_made import AFTERWARDS, TUESDAY, WEEK, make_flag, utc
from tests.factories import Plant

TAGS = ("00123", "5E10", "3-4", "MAR-1", "1/2", "TRUE", "-7", "+1", "P-101A")
LINK = '=HYPERLINK("http://x.example/","open")'
#: Comma, every sheet a file of its own, UTF-8, cells as they are shown.
AS_CSV = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"


@dataclass
class Files:
    xlsx: Path
    csv: bytes


@pytest.fixture
def files(session: Session, plant: Plant, tmp_path: Path) -> Files:
    """Motors with tags that spreadsheets spoil, one flag each, in an hour that comes twice, with words that run."""
    for i, tag in enumerate(TAGS):
        motor = plant.motor if tag == "P-101A" else factories.make_motor(session, plant.unit, tag, service="a;b,\"c\"")
        at = utc("2026-11-01T01:30:00-05:00") + timedelta(hours=i)  # 01:30 CDT, 01:30 CST, …
        reading = factories.make_reading(session, motor, plant.operator, at, ambient_c=-2.5,
                                         remarks=LINK if i % 2 else "two\nlines, \u00b5m\x0b")
        make_flag(session, motor, at, value=-2.5 if i == 0 else i / 7, limit=90.0, unit_of_measure="°C",
                  raised_cause_id=reading.id, raised_by_id=plant.operator.id,
                  closed_at=TUESDAY - timedelta(days=20 - i))
    path = tmp_path / "week.xlsx"
    with path.open("wb") as file:
        week_workbook(session, plant.unit, "2026-W44", AFTERWARDS, file)
    return Files(path, b"".join(week_csv(session, plant.unit, "2026-W44", AFTERWARDS)))


@pytest.fixture
def database(new_database):  # type: ignore[no-untyped-def]
    """One database: what is read back is a file."""
    return new_database(SQLITE)


def plain(cell: object) -> str:
    """A cell as text, whoever read it: nothing is nothing, a number has no trailing .0, a time is a wall clock."""
    if cell is None or cell is pd.NaT or (isinstance(cell, float) and cell != cell):
        return ""
    if isinstance(cell, datetime):  # pandas' own times too
        return cell.strftime("%Y-%m-%d %H:%M:%S")
    return f"{cell:.10g}" if isinstance(cell, (int, float)) else str(cell)


def by_openpyxl(path: Path) -> dict[str, list[list[str]]]:
    book = openpyxl.load_workbook(path)
    return {sheet.title: [[plain(cell) for cell in row] for row in sheet.iter_rows(values_only=True)] for sheet in book}


def by_pandas(path: Path) -> dict[str, list[list[str]]]:
    frames = pd.read_excel(path, sheet_name=None, keep_default_na=False, na_values=[""])
    return {name: [[str(c) for c in frame.columns],
                   *([plain(cell) for cell in row] for row in frame.astype(object).itertuples(index=False))]
            for name, frame in frames.items()}


def by_libreoffice(path: Path) -> dict[str, list[list[str]]]:
    program = shutil.which("soffice") or shutil.which("libreoffice")
    if program is None:
        pytest.skip("LibreOffice is not installed (Debian: apt-get install libreoffice-calc-nogui)")
    out = path.parent / "libreoffice"
    done = subprocess.run(
        [program, f"-env:UserInstallation={(path.parent / 'profile').as_uri()}", "--headless", "--convert-to", AS_CSV,
         "--outdir", str(out), str(path)], capture_output=True, text=True, timeout=180)
    assert done.returncode == 0, done.stdout + done.stderr
    return {found.stem.removeprefix(f"{path.stem}-"): list(csv.reader(io.StringIO(found.read_text("utf-8"),
                                                                                  newline="")))
            for found in out.glob("*.csv")}


@pytest.mark.slow
def test_three_readers_see_the_same_rows_in_every_sheet(files: Files) -> None:
    ours, pandas, libreoffice = by_openpyxl(files.xlsx), by_pandas(files.xlsx), by_libreoffice(files.xlsx)
    assert list(ours) == list(pandas)
    assert sorted(libreoffice) == sorted(ours)
    for sheet, rows in ours.items():
        assert pandas[sheet] == rows, sheet
        assert [[plain_number(cell) for cell in row] for row in libreoffice[sheet]] == [
            [plain_number(cell) for cell in row] for row in rows], sheet
    tags = [row[ours["Exceptions"][0].index("tag")] for row in ours["Exceptions"][1:]]
    assert tags == list(TAGS)
    assert len(ours["Not seen"]) > 20  # rounds nobody made are in it


def plain_number(cell: str) -> str:
    """LibreOffice shows as many decimals as fit; whole texts and tags stay what they are."""
    whole, point, decimals = cell.partition(".")
    if point and decimals.isdigit() and whole.lstrip("-").isdigit():
        return f"{float(cell):.6g}"
    return cell


def test_text_is_text_numbers_are_numbers_and_times_are_times(files: Files) -> None:
    sheet = openpyxl.load_workbook(files.xlsx)["Exceptions"]
    at = {cell.value: cell.column - 1 for cell in sheet[1]}
    first = next(sheet.iter_rows(min_row=2))
    assert [(row[at["tag"]].value, row[at["tag"]].data_type) for row in sheet.iter_rows(min_row=2)] == [
        (tag, "s") for tag in TAGS]
    assert (first[at["value"]].value, first[at["value"]].data_type) == (-2.5, "n")
    assert {row[at["remarks"]].data_type for row in sheet.iter_rows(min_row=2)} == {"s"}  # none is a formula
    assert (first[at["first_raised"]].value, first[at["first_raised_local"]].is_date) == (
        "2026-11-01T01:30:00-05:00", True)
    second = next(sheet.iter_rows(min_row=3))
    assert second[at["first_raised"]].value == "2026-11-01T01:30:00-06:00"  # an hour later, the same wall clock
    assert first[at["first_raised_local"]].value == second[at["first_raised_local"]].value
    assert (sheet.freeze_panes, sheet.print_title_rows) == ("A2", "$1:$1")
    assert sheet.auto_filter.ref.startswith("A1:")
    assert (sheet.page_setup.orientation, sheet.sheet_properties.pageSetUpPr.fitToPage) == ("landscape", True)
    assert (sheet.page_setup.fitToWidth or 1, sheet.page_setup.fitToHeight) == (1, 0)  # as many pages down as it takes
    assert "&P" in sheet.oddFooter.right.text
    assert not sheet.merged_cells.ranges
    assert all(dimension.width for dimension in sheet.column_dimensions.values())


def test_the_csv_is_read_by_pandas_to_the_same_rows(files: Files) -> None:
    assert files.csv.startswith(b"\xef\xbb\xbfweek,unit,")
    told = list(csv.reader(io.StringIO(files.csv.decode("utf-8-sig"), newline="")))
    frame = pd.read_csv(io.BytesIO(files.csv), encoding="utf-8-sig", dtype=str, keep_default_na=False)
    assert list(frame.columns) == told[0] == list(NAMES)
    assert frame.to_numpy().tolist() == told[1:]
    assert len(told) - 1 == len(TAGS)
    assert files.csv.count(b"\r\n") == len(TAGS) + 1
    assert files.csv.endswith(b"\r\n")
    guarded = {tag: "'" + tag if tag[0] in "-+" else tag for tag in TAGS}
    assert frame["tag"].tolist() == [guarded[tag] for tag in TAGS]
    assert set(frame["remarks"]) == {"'" + LINK, "two\nlines, \u00b5m"}
    assert frame["value"].astype(float).tolist()[0] == -2.5


def test_a_second_export_differs_in_the_time_it_was_made_and_in_nothing_else(session: Session, plant: Plant,
                                                                             tmp_path: Path) -> None:
    make_flag(session, plant.motor, TUESDAY, closed_at=TUESDAY + timedelta(hours=3))
    books = []
    for i, now in enumerate((AFTERWARDS, AFTERWARDS + timedelta(days=3))):
        path = tmp_path / f"{i}.xlsx"
        with path.open("wb") as file:
            week_workbook(session, plant.unit, WEEK, now, file)
        books.append(by_openpyxl(path))
    different = [(sheet, one, other) for sheet in books[0]
                 for one, other in zip(books[0][sheet], books[1][sheet], strict=True) if one != other]
    assert [(sheet, one[:2]) for sheet, one, _ in different] == [("Summary", ["week", "exported"])]
