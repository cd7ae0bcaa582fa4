"""A register of 400 rows with faults of every kind: each is named at its line and column, and no row is taken."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

import pytest
from sqlalchemy.orm import Session

from app.db import Database
from app.store.motors import Motor, motor_by_tag, motors_of
from app.store.register_columns import COLUMNS
from app.store.register_file import import_register
from app.store.units import Unit
from tests.factories import NOW, make_unit

GOOD = {
    "service": "feed pump", "area": "North", "checked_every": "day", "condition": "standby", "ammeter": "one",
    "interlock": "low-voltage protection", "start_basis": "general practice", "hp": "7 1/2", "volts": "230/460",
    "amps": "24.8/12.4", "service_factor": "1.15", "phases": "3", "hz": "60", "rpm": "1750", "poles": "4",
    "code_letter": "G", "insulation_class": "F", "ambient_c": "40", "fitted_on": "2020-05-04",
    "connected_volts": "460", "mounting": "rigid", "de_bearing": "6312", "de_lubrication": "grease",
    "de_grease_g": "23", "de_interval_days": "90", "de_last_greased": "2026-10-01", "ode_bearing": "sleeve",
    "ode_lubrication": "oil", "remarks": "none",
}
#: (column, what stands there): one fault a row, none like another; the column is the one that must be named.
FAULTS = [
    ("tag", ""), ("tag", "M-3"), ("tag", "m–3"), ("tag", "1.00E+05"), ("tag", "3-Apr"), ("tag", '="007"'),
    ("tag", "P-1\n01"), ("tag", "P-1\x0001"), ("tag", "x" * 61), ("area", ""), ("area", "\ufffdl"), ("service", "#N/A"),
    ("service", "x" * 201), ("route_order", "first"), ("route_order", "1,234"), ("checked_every", "month"),
    ("condition", "off"), ("interlock", "LVR"), ("ammeter", "two"), ("start_basis", "mine"), ("hp", "45659"),
    ("hp", "7 1/0"), ("hp", "-5"), ("volts", "460 V"), ("amps", "12.4"), ("amps", "12.4/24.8"), ("amps", "nan"),
    ("service_factor", "115"), ("service_factor_amps", "28"), ("phases", "2"), ("hz", "6O"), ("rpm", "1.750,5"),
    ("poles", "5"), ("code_letter", "O"), ("insulation_class", "Z"), ("ambient_c", "400"), ("fitted_on", "45992"),
    ("fitted_on", "04/05/2020"), ("fitted_on", "2026-02-30"), ("fitted_on", "2027-01-01"), ("connected_volts", "480"),
    ("mounting", "soft"), ("load_wk2_lbft2", "0"), ("written_starts_per_hour", "0.0"), ("written_spacing_min", "07:30"),
    ("written_run_min", "inf"), ("written_tries", "2.5"), ("de_lubrication", "paste"), ("de_grease_g", "23 g"),
    ("de_interval_days", "0"), ("de_interval_run_h", "-1"), ("de_last_greased", "2026-10-01 00:00:00"),
    ("ode_bearing", "1.23E+11"), ("ode_grease_g", "1e309"), ("ode_last_greased", "24-Nov-26"), ("remarks", "x" * 2001),
    ("remarks", "bell\x07"), ("serial", "#VALUE!"),
]
#: Faults of a row's form, as they stand in the file.
SPOILED = ['M-,"North', 'M-"x,North', '"M"-7,North', "only one", "M," * (len(COLUMNS) + 2)]


@pytest.fixture
def session(database: Database) -> Iterator[Session]:
    with database.writing() as session:
        yield session


@pytest.fixture
def unit(session: Session) -> Unit:
    return make_unit(session)


def test_every_fault_of_400_rows_is_named_and_nothing_is_imported(session: Session, unit: Unit) -> None:
    lines: list[str] = []
    wanted: list[tuple[int, str]] = []
    faults = dict(zip(range(10, 400, 6), FAULTS, strict=False))
    spoiled = dict(zip(range(13, 400, 60), SPOILED, strict=False))
    line = 1
    for number in range(400):
        out = io.StringIO(newline="")
        writer = csv.writer(out)
        row = {"tag": f"M-{number}", **GOOD, "route_order": str(number)}
        if number in faults:
            column, cell = faults[number]
            row[column] = cell
            wanted.append((line + 1, column))
        if number in spoiled:
            lines.append(spoiled[number] + "\r\n")
            wanted.append((line + 1, ""))
        else:
            writer.writerow([row.get(column, "") for column in COLUMNS])
            lines.append(out.getvalue())
        line += lines[-1].count("\n")
    data = (",".join(COLUMNS) + "\r\n" + "".join(lines)).encode()
    assert len(wanted) == len(FAULTS) + len(SPOILED)
    report = import_register(session, unit, data, None, NOW)
    assert [(e.line, e.column) for e in report.errors] == wanted
    assert all("\n" not in str(e) and str(e).startswith(f"{e.line}:") and str(e).isprintable() for e in report.errors)
    assert motors_of(session, unit.id) == []


@pytest.mark.parametrize(("column", "cell", "line"), [
    ("amps", "24;8", "2: column amps: “24;8” is not a number. Enter digits with one comma or point, such as 24.8."),
    ("area", "", "2: column area: read nothing. Enter the area the motor is walked with: it may not be empty."),
    ("fitted_on", "45992", "2: column fitted_on: read “45992”. Enter the date as 2026-11-24. This is a date as a "
                           "spreadsheet counts days."),
    ("tag", "1.00E+05", "2: column tag: read “1.00E+05”. Enter it as it was before: a spreadsheet turned it into "
                        "powers of ten. Format the column as text."),
    ("tag", '="007"', '2: column tag: read “="007"”. Enter 007 itself: a spreadsheet wrote it as a formula.'),
    ("tag", "A\x00", "2: column tag: read “A\\x00”. Take out the character that cannot be seen here (code 0)."),
])
def test_a_fault_says_line_column_what_was_read_and_what_to_do(session: Session, unit: Unit, column: str, cell: str,
                                                               line: str) -> None:
    out = io.StringIO(newline="")
    row = {"tag": "A", "area": "x", column: cell}
    csv.writer(out).writerows([list(row), list(row.values())])
    assert [str(e) for e in import_register(session, unit, out.getvalue().encode(), None, NOW).errors] == [line]


@pytest.mark.parametrize(("rows", "wanted"), [
    ('A,"x\nB,y\nC,z\n', [(2, "")]), ('A,"x\nB,y\n,z\n', [(2, ""), (4, "tag")]),
    ('"A"x,y\nB,\n', [(2, ""), (3, "area")]),
    ('A,"two\nlines",x\nB,y\n', [(2, "")]), ('A,x\nB,y,24,8\n', [(3, "")]), ("A,x\nB\n,\nC,\n", [(3, ""), (5, "area")]),
], ids=["open quote", "open quote and more", "after a quote", "two lines too long", "decimal comma", "too few"])
def test_one_bad_row_hides_no_other(session: Session, unit: Unit, rows: str, wanted: list[tuple[int, str]]) -> None:
    report = import_register(session, unit, ("tag,area\n" + rows).encode(), None, NOW)
    assert [(e.line, e.column) for e in report.errors] == wanted


def test_a_missing_column_is_told_once_not_at_every_row(session: Session, unit: Unit) -> None:
    report = import_register(session, unit, b"tag,amps\nA,12\nB,x\n", None, NOW)
    assert [(e.line, e.column) for e in report.errors] == [(1, "area"), (3, "amps")]


@pytest.mark.parametrize(("there", "sent"), [("007", "7"), ("1E05", "100000"), ("3-4", "2026-04-03"), ("3-4", "46115")])
def test_a_tag_that_a_spreadsheet_ate_is_noticed_by_the_one_it_was(session: Session, unit: Unit, there: str,
                                                                   sent: str) -> None:
    import_register(session, unit, f"tag,area\n{there},x\n".encode(), None, NOW)
    report = import_register(session, unit, f"tag,area\n{sent},x\n".encode(), None, NOW)
    assert [(e.line, e.column, e.read) for e in report.errors] == [(2, "tag", sent)] and there in report.errors[0].todo
    both = import_register(session, unit, f"tag,area\n{sent},x\n{there},x\n".encode(), None, NOW)
    assert (both.errors, both.added) == ([], [(2, sent)])


def test_what_is_not_in_the_file_stays_and_is_told(session: Session, unit: Unit) -> None:
    import_register(session, unit, b"tag,area\nA,x\nB,x\n", None, NOW)
    report = import_register(session, unit, b"tag,area,standby_partner\nA,x,B\nC,x,Z-9\nD,x,d\n", None, NOW)
    assert report.not_in_file == ["B"] and motor_by_tag(session, unit.id, "B") is not None
    assert [(n.line, n.column, n.read) for n in report.notices] == [
        (3, "standby_partner", "Z-9"), (4, "standby_partner", "d")]


def test_a_guarded_formula_is_a_persons_own_words(session: Session, unit: Unit) -> None:
    report = import_register(session, unit, b"tag,area,service\nA,x,\"'=\"\"007\"\"\"\n", None, NOW)
    assert report.errors == []
    motor = motor_by_tag(session, unit.id, "A")
    assert isinstance(motor, Motor) and motor.service == '="007"'
