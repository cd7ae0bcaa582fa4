"""Cells: what a spreadsheet would run is shown instead, numbers stay numbers, and no character stops a file."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.export.csv_file import csv_bytes
from app.export.tables import NUMBER, TEXT, Column, digits, harmless, local_iso

COLUMNS = (Column("tag", TEXT, ""), Column("value", NUMBER, ""), Column("remarks", TEXT, ""))


def read_back(data: bytes) -> list[list[str]]:
    """As a standard reader of CSV sees it."""
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


@pytest.mark.parametrize("typed", [
    "=1+1", "+cmd", "-2+3", "@SUM(1)", "\t=1", "\r=1", '=HYPERLINK("http://x.y/")', "- belt worn", "-",
], ids=repr)
def test_text_a_spreadsheet_would_run_gets_one_quote_mark(typed: str) -> None:
    # The list of first characters is the one OWASP's page on CSV injection gives.
    assert harmless(typed) == "'" + typed


@pytest.mark.parametrize("typed", ["", "P-101A", "00123", "3-4", "1E05", "a=b", "5 - 3", "#N/A", "{=1}", "'quoted'"])
def test_other_text_stays_as_typed(typed: str) -> None:
    assert harmless(typed) == typed


def test_a_control_character_does_not_hide_a_formula() -> None:
    assert harmless("\x0b=1+1") == "'=1+1"


@pytest.mark.parametrize(("text", "kept"), [
    ("a\x00b\x0bc\x0cd\x1be", "abcde"), ("half \ud83d of one", "half  of one"), ("a\ufffeb\uffffc", "abc"),
    ("tab\there, line\nthere", "tab\there, line\nthere"), ("Müller µm 98 °C №2", "Müller µm 98 °C №2"),
], ids=["controls", "lone surrogate", "no characters", "tab and line stay", "letters of the world stay"])
def test_characters_that_stop_a_file_are_left_out(text: str, kept: str) -> None:
    assert harmless(text) == kept


@pytest.mark.parametrize(("value", "shown"), [
    (85.0, "85"), (-5.0, "-5"), (-0.02, "-0.02"), (0.0, "0"), (-0.0, "0"), (0.0047, "0.0047"), (0.000001, "0.000001"),
    (62.777778, "62.777778"), (5000.0, "5000"), (7, "7"), (2.5e-9, "0.0000000025"), (1e22, "1" + "0" * 22),
])
def test_numbers_are_plain_digits(value: float, shown: str) -> None:
    assert digits(value) == shown


def test_csv_has_mark_crlf_and_quoting() -> None:
    data = b"".join(csv_bytes(COLUMNS, [("00123", -2.5, 'says "hot", twice\r\nand again'), ("5E10", None, "")]))
    # RFC 4180: lines end with CRLF, a quote mark within quotes is doubled; the mark is UTF-8's (EF BB BF).
    assert data == (b'\xef\xbb\xbftag,value,remarks\r\n00123,-2.5,"says ""hot"", twice\r\nand again"\r\n5E10,,\r\n')


def test_csv_reads_back_with_a_standard_reader() -> None:
    typed = ["plain", "comma, and ; semicolon", 'quote "', "line\nbreak", "Müller, 98 °C"]
    rows = read_back(b"".join(csv_bytes(COLUMNS, [(t, 1.5, t) for t in typed])))
    assert rows == [["tag", "value", "remarks"], *([t, "1.5", t] for t in typed)]


@given(st.lists(st.tuples(st.text(max_size=80), st.none() | st.floats(-1e9, 1e9), st.text(max_size=5)), max_size=4))
def test_csv_is_quoted_as_by_the_library_s_own_writer(rows: list[tuple[str, float | None, str]]) -> None:
    for continental, apart in ((False, ","), (True, ";")):
        expected = io.StringIO(newline="")
        writer = csv.writer(expected, delimiter=apart)  # by default as RFC 4180 has it
        writer.writerow(["tag", "value", "remarks"])
        for tag, value, remarks in rows:
            figure = "" if value is None else digits(value).replace(".", "," if continental else ".")
            writer.writerow([harmless(tag), figure, harmless(remarks)])
        assert b"".join(csv_bytes(COLUMNS, rows, continental)) == expected.getvalue().encode("utf-8-sig")


def test_a_row_that_is_too_short_or_too_long_stops_the_file() -> None:
    for row in (("P-101A", 1.0), ("P-101A", 1.0, "", "")):
        with pytest.raises(ValueError, match="cells under 3 columns"):
            b"".join(csv_bytes(COLUMNS, [row]))


@pytest.mark.parametrize(("zone", "changes"), [
    # IANA time zone database: the clocks go back and forward at these instants
    ("America/Chicago", "2026-11-01T07:00 2027-03-14T08:00"), ("Europe/Berlin", "2026-10-25T01:00 2027-03-28T01:00"),
    ("Australia/Lord_Howe", "2026-10-03T15:30 2027-04-03T15:00"),  # by half an hour
    ("Asia/Kolkata", "2026-11-01T07:00"), ("Asia/Kathmandu", "2026-11-01T07:00"),  # 5:30 and 5:45 from UTC
])
def test_an_instant_is_told_as_the_zone_s_own_clocks_do_around_every_change(zone: str, changes: str) -> None:
    for change in changes.split():
        for s in (-5400, -3600, -1801, -1800, -1, 0, 0.999999, 1, 59, 61, 1799, 1800, 3599, 3600, 5400):
            at = datetime.fromisoformat(change).replace(tzinfo=UTC) + timedelta(seconds=s)
            expected = at.astimezone(ZoneInfo(zone)).isoformat(timespec="seconds")
            assert local_iso(at, ZoneInfo(zone)) == expected
            assert local_iso(at.astimezone(ZoneInfo("Asia/Tokyo")), ZoneInfo(zone)) == expected


def test_csv_comes_in_pieces() -> None:
    pieces = list(csv_bytes(COLUMNS, (("P-101A", float(i), "x" * 100) for i in range(5000))))
    assert len(pieces) > 5
    assert max(len(piece) for piece in pieces) < 100_000
    assert len(read_back(b"".join(pieces))) == 5001
