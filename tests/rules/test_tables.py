"""Every shipped figure carries its source and how far it is confirmed, and what is not listed is declined."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from app.rules import tables
from app.rules.limits import DEFAULTS

DATA = Path(tables.__file__).parent / "data"
NAMES = sorted(path.stem for path in DATA.glob("*.csv"))
#: the same figure stands as a limit and in its table; one of them changed alone would be a lie on the screen
ZONES = [(f"vibration_{key}_{grade}_mm_s", group, support, boundary)
         for key, group, support in (("group1_rigid", "group 1", "rigid"), ("group1_flexible", "group 1", "flexible"),
                                     ("group2_rigid", "group 2", "rigid"), ("group2_flexible", "group 2", "flexible"),
                                     ("class1", "class I", ""))
         for grade, boundary in (("this_shift", "B/C"), ("act_now", "C/D"))]


@pytest.mark.parametrize("name", NAMES)
def test_every_row_says_where_it_comes_from_and_how_it_is_confirmed(name: str) -> None:
    rows = tables.rows(name)
    assert rows
    for row in rows:
        assert row["source"].strip(), row
        confirmed = row.get("confirmed_how", row.get("confirmed"))
        assert confirmed is not None and (confirmed.strip() or name in ("starts_rules", "bearing_temperature")), row


@pytest.mark.parametrize("name", NAMES)
def test_a_table_is_read_as_a_csv_reader_reads_it(name: str) -> None:
    with (DATA / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        assert list(csv.DictReader(file)) == [dict(row) for row in tables.rows(name)]


def test_a_blank_cell_and_a_missing_row_are_declined_by_name() -> None:
    with pytest.raises(tables.NotInTable, match="hp 250"):
        tables.figure("full_load_amps", "amps_230V", hp="250")  # blank cell: not listed
    with pytest.raises(tables.NotInTable) as error:
        tables.row("full_load_amps", hp="80")
    assert (error.value.table, error.value.asked) == ("full_load_amps", "hp 80")


def test_an_empty_bound_is_no_bound_and_not_zero() -> None:
    assert tables.number("") is None and tables.number("0") == 0.0
    assert tables.within(-5.0, "", "10") and tables.within(1e9, "10", "") and not tables.within(10.0, "10", "")


@pytest.mark.parametrize("limit, group, support, boundary", ZONES, ids=lambda value: str(value))
def test_a_zone_limit_is_the_table_s_boundary(limit: str, group: str, support: str, boundary: str) -> None:
    assert DEFAULTS[limit].value == tables.figure("vibration_zones", "velocity_mm_s_rms", group=group,
                                                  support=support, boundary=boundary)


@pytest.mark.parametrize("letter", ["B", "F", "H"])
@pytest.mark.parametrize("factor, load", [("", "up to rated load"), ("sf_", "up to 1.15 service factor")])
def test_a_winding_limit_is_the_table_s_setting(letter: str, factor: str, load: str) -> None:
    row = tables.row("winding_settings", insulation_class=letter, load=load)
    assert DEFAULTS[f"winding_hot_{letter.lower()}_{factor}alarm_c"].value == float(row["alarm_c"])
    assert DEFAULTS[f"winding_hot_{letter.lower()}_{factor}limit_c"].value == float(row["trip_c"])
