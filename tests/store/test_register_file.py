"""The register's file: all rows or none, every bad row named, and what was exported changes nothing when it returns."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from datetime import timedelta

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.db import Database
from app.export.register import register_csv, register_rows
from app.store.base import new_id
from app.store.changes import Change
from app.store.lubrication import Greasing
from app.store.motors import Motor, motor_by_tag, motors_of
from app.store.people import SUPERVISOR
from app.store.register import cells_of, changes_of_motor
from app.store.register_columns import COLUMNS
from app.store.register_file import ImportReport, guarded, import_register, read_register, unguarded
from app.store.units import Unit
from tests.factories import NOW, make_person, make_unit

#: Tags that spreadsheets, addresses and programs like to change.
HARD_TAGS = ["1E05", "3-4", "007", "7", "P‑101A", "Pumpe №2", "a/b?c#d", "1/2", "MAR-1", "=1+1", "+cmd", "-2+3",
             "@SUM(1)", "'quoted", "''twice", "#12", "P;101", 'the "old" one', "Ümläut", "x" * 60]
FULL = {
    "service": "=brine", "area": "North, ground floor", "route_order": "1.2340", "checked_every": "day",
    "condition": "standby", "interlock": "automatic start", "ammeter": "control room", "standby_partner": "-2+3",
    "start_basis": "table", "hp": "7 1/2", "volts": "230/460", "amps": "24,8/12,4", "service_factor": "1.15",
    "service_factor_amps": "28/14", "phases": "3", "hz": "60", "rpm": "1785", "poles": "4", "code_letter": "G",
    "frame": "213T", "enclosure": "TEFC", "insulation_class": "F", "ambient_c": "-40.5", "serial": "00123",
    "fitted_on": "2020-05-04", "connected_volts": "460", "mounting": "flexible", "load_wk2_lbft2": "0.0047",
    "written_starts_per_hour": "2", "written_spacing_min": "20", "written_run_min": "15", "written_tries": "3",
    "de_bearing": "6312-2Z/C3", "de_lubrication": "sealed", "de_lubricant": "", "de_thickener": "",
    "de_grease_g": "", "de_interval_days": "", "de_interval_run_h": "", "de_last_greased": "",
    "ode_bearing": "sleeve", "ode_lubrication": "oil", "ode_lubricant": "@ISO VG 68", "ode_thickener": "",
    "ode_grease_g": "850", "ode_interval_days": "365", "ode_interval_run_h": "8000", "ode_last_greased": "2026-10-01",
    "remarks": "'one\nzwei, \"drei\"; 4",
}


@pytest.fixture
def session(database: Database) -> Iterator[Session]:
    with database.writing() as session:
        yield session


@pytest.fixture
def unit(session: Session) -> Unit:
    return make_unit(session)


def file_of(*rows: list[str], delimiter: str = ",", mark: bool = False) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter).writerows(rows)
    return out.getvalue().encode("utf-8-sig" if mark else "utf-8")


def full(*tags: str, **other: str) -> list[list[str]]:
    return [list(COLUMNS), *([guarded({"tag": tag, **FULL, **other}[c]) for c in COLUMNS] for tag in tags)]


def send(session: Session, unit: Unit, data: bytes, **options: bool) -> ImportReport:
    return import_register(session, unit, data, None, NOW, **options)


def told(report: ImportReport) -> list[tuple[int, str]]:
    return [(e.line, e.column) for e in report.errors]


# round trip ------------------------------------------------------------------------------------------------


def test_what_was_exported_changes_nothing_when_it_comes_back(session: Session, unit: Unit) -> None:
    assert len(send(session, unit, file_of(*full(*HARD_TAGS))).added) == len(HARD_TAGS)
    session.expire_all()
    assert {row["tag"] for row in register_rows(session, unit)} == set(HARD_TAGS)
    before = session.scalar(sa.select(sa.func.count()).select_from(Change))
    report = send(session, unit, register_csv(session, unit))
    assert (report.added, report.changed, report.errors, report.unchanged) == ([], [], [], len(HARD_TAGS))
    assert session.scalar(sa.select(sa.func.count()).select_from(Change)) == before


def test_every_cell_comes_back_to_the_last_digit(session: Session, unit: Unit) -> None:
    send(session, unit, file_of(*full("P-101A")))
    session.expire_all()
    assert register_rows(session, unit) == [{"tag": "P-101A", **FULL}]


def test_the_export_of_one_unit_fills_another(session: Session, unit: Unit) -> None:
    send(session, unit, file_of(*full(*HARD_TAGS)))
    other = make_unit(session, "Unit 3", "Europe/Berlin")
    send(session, other, register_csv(session, unit))
    session.expire_all()
    assert register_rows(session, other) == register_rows(session, unit)


def test_the_export_is_rfc_4180_with_mark_and_harmless(session: Session, unit: Unit) -> None:
    send(session, unit, file_of(*full("=1+1", "-2+3", "'quoted")))
    data = register_csv(session, unit)
    assert data.startswith(b"\xef\xbb\xbftag,service,area,") and data.endswith(b"\r\n")
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))
    assert sorted(row["tag"] for row in rows) == ["''quoted", "'-2+3", "'=1+1"]
    assert {row["service"] for row in rows} == {"'=brine"}
    assert {row["ambient_c"] for row in rows} == {"-40.5"}  # a number stays a number


@pytest.mark.parametrize(("text", "written"), [
    ("=1", "'=1"), ("+1", "'+1"), ("-1", "'-1"), ("@x", "'@x"), ("'x", "''x"), ("\tx", "'\tx"), ("\rx", "'\rx"),
    ("x=1", "x=1"), ("", "")])
def test_one_quote_is_put_on_and_exactly_one_taken_off(text: str, written: str) -> None:
    assert guarded(text) == written
    assert unguarded(written) == text


@pytest.mark.parametrize("cell", ["'x", "'", "'7", "x'"])
def test_a_quote_that_guards_nothing_stays(cell: str) -> None:
    assert unguarded(cell) == cell


# how a file may look ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("data", [
    b"tag,area,amps\nA,North,24.8\n",
    b"\xef\xbb\xbftag,area,amps\r\nA,North,24.8\r\n",
    b"tag;area;amps\r\nA;North;24,8\r\n",
    b"\n\nTag , AREA,Amps\nA,North,24.8\n,,\n\n",
    b'"tag","area","amps"\r"A","North","24.8"\r',
    b"area,amps,tag\nNorth,24.8,A",
    b"tag\tarea\tamps\nA\tNorth\t24,8\n",
    b"sep=;\r\ntag;area;amps\r\nA;North;24,8\r\n",
    "tag\tarea\tamps\r\nA\tNorth\t24.8\r\n".encode("utf-16"),
    b"tag,area,amps,,\nA,North,24.8,,\n,,,,\n , ,\n",
    b"tag,area,amps\nA,North,24.8,,,\n",
], ids=["plain", "mark and crlf", "semicolons", "blank lines and case", "old line ends", "other order, no last end",
        "tabs", "separator named", "utf-16", "empty columns and rows at the end", "empty cells at the end"])
def test_a_file_is_read_whichever_way_it_was_saved(session: Session, unit: Unit, data: bytes) -> None:
    assert send(session, unit, data).errors == []
    motor = motor_by_tag(session, unit.id, "A")
    assert motor is not None and motor.nameplate is not None
    assert (motor.tag, motor.area, motor.nameplate.amps) == ("A", "North", 24.8)


@pytest.mark.parametrize(("data", "line", "says"), [
    (b"", 1, "empty"),
    (b"\n\n", 1, "empty"),
    (b"\xff\xfet\x00a", 1, "UTF-16"),
    ("tag,area\nA,x\n".encode("utf-16-le"), 1, "UTF-16"),
    ("tag,area\nA,x\nPumpe für Öl,x\n".encode("cp1252"), 3, "UTF-8"),
    (b"PK\x03\x04rest of a workbook", 1, "workbook"),
    (b'tag,area\nA,"x\nB,y\n', 2, "quotes"),
    (b'tag,area\n"A"x,y\n', 2, "quotes"),
], ids=["nothing", "blank", "utf-16 cut off", "utf-16 without mark", "windows-1252", "workbook", "open quote",
        "bad quote"])
def test_a_file_that_cannot_be_read_says_how_to_save_it(session: Session, unit: Unit, data: bytes, line: int,
                                                        says: str) -> None:
    report = send(session, unit, data)
    assert [e.line for e in report.errors] == [line]
    assert says in report.errors[0].todo
    assert motors_of(session, unit.id) == []


@pytest.mark.parametrize(("header", "columns"), [
    ("tag,area,colour", ["colour"]), ("tag,area,amps,amps", ["amps"]), ("tag,area,Amps,AMPS", ["amps"]),
    ("tag,service", ["area"]), ("area", ["tag"]), ("tag,,area", [""]),
    ("tag,area,Route Order", ["Route Order"]), ("tag,area;amps", ["area;amps", "area"]),
])
def test_a_wrong_header_is_refused_by_name(header: str, columns: list[str]) -> None:
    found = read_register((header + "\n").encode())
    assert [(e.line, e.column) for e in found.errors] == [(1, c) for c in columns]


def test_columns_left_out_are_told() -> None:
    assert set(read_register(b"tag,area\nA,x\n").left_out) == set(COLUMNS) - {"tag", "area"}


# every bad row ---------------------------------------------------------------------------------------------


def test_every_bad_row_is_named_and_no_row_is_taken(session: Session, unit: Unit) -> None:
    report = send(session, unit, (
        b"tag,area,amps,fitted_on,remarks\n"
        b"GOOD,North,12.4,,\n"
        b',North,,,"two\nlines"\n'  # line 3 and 4
        b"B,,24;8,24/11/2026,\n"
        b"C,North,12.4\n"
        b"D,North,12.4,,,more\n"
        b"good,North,,,\n"))
    assert told(report) == [(3, "tag"), (5, "area"), (5, "amps"), (5, "fitted_on"), (6, ""), (7, ""), (8, "tag")]
    assert "line 2" in report.errors[-1].todo
    assert (report.added, report.changed, report.unchanged) == ([], [], 0)
    assert motors_of(session, unit.id) == []


def test_a_fault_is_one_line_with_the_line_number_first(session: Session, unit: Unit) -> None:
    report = send(session, unit, b'tag,area,amps\nA,x,"24\n8"\n')
    line = str(report.errors[0])
    assert line.startswith("2: column amps: “24 8” is not a number.") and "\n" not in line


@pytest.mark.parametrize(("column", "cell"), [
    ("tag", "1.00E+05"), ("tag", "1E+05"), ("tag", "7,39E+07"), ("tag", "04-Mar"), ("tag", "3-Apr"), ("tag", "#N/A"),
    ("tag", "####"), ("serial", "1.23E+11"), ("hp", "02-Jan"), ("hp", "2-Jan-26"), ("amps", "#VALUE!"),
    ("amps", "#DIV/0!"), ("service", "#REF!"), ("fitted_on", "46350"), ("fitted_on", "24-Nov-26"),
    ("fitted_on", "#NAME?"), ("volts", "1.00E+03"), ("area", "#N/A"),
])
def test_what_a_spreadsheet_spoiled_is_refused_by_name(session: Session, unit: Unit, column: str, cell: str) -> None:
    rows = {"tag": "A", "area": "North", column: cell}
    report = send(session, unit, file_of(list(rows), list(rows.values())))
    assert told(report) == [(2, column)]
    assert report.errors[0].read == cell


def test_a_tag_that_only_looks_spoiled_is_known_again(session: Session, unit: Unit) -> None:
    session.add(Motor(unit_id=unit.id, tag="3-APR", tag_key="3-apr", area="North", created_at=NOW))
    session.flush()
    assert send(session, unit, b"tag,area\n3-APR,South\n").errors == []


def test_words_in_remarks_are_nobodys_damage(session: Session, unit: Unit) -> None:
    assert send(session, unit, b"tag,area,remarks\nA,x,#N/A\n").errors == []


# what an import does ---------------------------------------------------------------------------------------


def test_a_dry_run_tells_all_and_writes_nothing(session: Session, unit: Unit) -> None:
    send(session, unit, b"tag,area,amps\nA,North,12\nB,North,13\n")
    report = send(session, unit, b"tag,area,amps\nA,North,14\nB,North,13\nC,South,\n", dry_run=True)
    assert report.added == [(4, "C")]
    assert [(c.line, c.tag, c.differences, c.swap) for c in report.changed] == [(2, "A", [("amps", "12", "14")], False)]
    assert report.unchanged == 1
    assert [m.tag for m in motors_of(session, unit.id)] == ["A", "B"]
    assert motor_by_tag(session, unit.id, "A").nameplate.amps == 12.0


def test_a_column_left_out_is_empty(session: Session, unit: Unit) -> None:
    send(session, unit, file_of(*full("A")))
    report = send(session, unit, b"tag,area\nA,\"North, ground floor\"\n", dry_run=True)
    emptied = {d.column for d in report.changed[0].differences if not d.after}
    assert emptied >= {"service", "amps", "interlock", "ode_lubricant"}
    assert "condition" not in emptied  # nothing said is no observation


def test_an_import_notes_who_and_why(session: Session, unit: Unit) -> None:
    supervisor = make_person(session, unit, SUPERVISOR)
    import_register(session, unit, b"tag,area\nA,North\n", supervisor, NOW)
    import_register(session, unit, b"tag,area\nA,South\n", None, NOW + timedelta(hours=1))
    session.expire_all()
    newest, first = changes_of_motor(session, motor_by_tag(session, unit.id, "A"))
    assert (first.by, first.field, first.after, first.why) == ("Supervisor", "tag", "A", "register file")
    assert (newest.by, newest.field, newest.before, newest.after) == ("command line", "area", "North", "South")


def test_another_spelling_finds_the_motor_and_leaves_its_tag(session: Session, unit: Unit) -> None:
    send(session, unit, b"tag,area\nP-101A,North\n")
    report = send(session, unit, "tag,area\np–101a,South\n".encode())
    motor = motor_by_tag(session, unit.id, "P-101A")
    assert (report.errors, motor.tag, motor.area) == ([], "P-101A", "South")


def test_later_plate_figures_are_a_swap_and_others_a_correction(session: Session, unit: Unit) -> None:
    head = "tag,area,amps,fitted_on\n"
    send(session, unit, f"{head}A,x,12,2020-05-04\nB,x,12,2020-05-04\n".encode())
    report = send(session, unit, f"{head}A,x,13,2026-11-20\nB,x,13,2020-05-04\n".encode())
    assert {c.tag: c.swap for c in report.changed} == {"A": True, "B": False}
    assert [len(m.nameplates) for m in motors_of(session, unit.id)] == [2, 1]


def test_no_file_enters_or_ends_a_lock_out(session: Session, unit: Unit) -> None:
    send(session, unit, b"tag,area,condition\nA,x,locked out\nB,x,running\n")
    report = send(session, unit, b"tag,area,condition\nA,x,running\nB,x,locked out\n")
    assert told(report) == [(2, "condition"), (3, "condition")]
    assert [m.condition for m in motors_of(session, unit.id)] == ["locked out", "running"]
    assert send(session, unit, b"tag,area,condition\nA,y,\nB,x,running\n").errors == []
    assert [m.condition for m in motors_of(session, unit.id)] == ["locked out", "running"]


def test_a_recorded_greasing_counts_more_than_the_files_date(session: Session, unit: Unit) -> None:
    head = "tag,area,de_grease_g,de_last_greased\n"
    send(session, unit, f"{head}A,x,12,2026-10-01\n".encode())
    motor = motor_by_tag(session, unit.id, "A")
    session.add(Greasing(id=new_id(), content="x", unit_id=unit.id, motor_id=motor.id, end="DE", at=NOW,
                         received_at=NOW, person_id=make_person(session, unit).id))
    session.flush()
    report = send(session, unit, f"{head}A,x,14,2026-11-01\n".encode())
    assert [(n.line, n.column) for n in report.notices] == [(2, "de_last_greased")]
    cells = cells_of(motor)
    assert (cells["de_grease_g"], cells["de_last_greased"]) == ("14", "2026-10-01")


def test_another_units_motors_stay_out_of_it(session: Session, unit: Unit) -> None:
    other = make_unit(session, "Unit 3")
    send(session, other, b"tag,area\nA,Boilers\n")
    assert len(send(session, unit, b"tag,area\nA,North\n").added) == 1
    assert motor_by_tag(session, other.id, "A").area == "Boilers"


@pytest.mark.slow
def test_five_thousand_rows_go_in_together(session: Session, unit: Unit) -> None:
    rows = [["tag", "area", "amps", "de_grease_g"], *([f"M-{i}", f"Area {i // 50}", "12", "14"] for i in range(5000))]
    assert len(send(session, unit, file_of(*rows)).added) == 5000
    assert send(session, unit, file_of(*rows)).unchanged == 5000
