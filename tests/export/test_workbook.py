"""The workbook read back by two libraries that did not write it: openpyxl and pandas."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from zipfile import ZipFile

import openpyxl
import pandas
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.export.tables import NUMBER, TEXT, TIME, Column, Row, Table, local_iso
from app.export.workbook import IN_MEMORY, MOST_CHARACTERS, Book, new_book

MADE = datetime(2026, 11, 30, 6, 10, tzinfo=UTC)
COLUMNS = (Column("tag", TEXT, "The tag"), Column("value", NUMBER, "A figure"), Column("seen_at", TIME, "A time"),
           Column("remarks", TEXT, "Words"))


def written(*rows: Row, title: str = "Unit 2, week 2026-W48", made: datetime = MADE) -> bytes:
    file = io.BytesIO()
    with new_book(file, title, made) as book:
        book.add(Table("Exceptions", COLUMNS, rows))
    return file.getvalue()


def sheet_of(data: bytes, name: str = "Exceptions"):
    return openpyxl.load_workbook(io.BytesIO(data))[name]


@pytest.mark.parametrize("typed", [
    "=1+1", "+cmd", "-2+3", "@SUM(1)", "\t=1", "{=SUM(1)}", '=HYPERLINK("http://x.y/")', "http://x.y/",
    "internal:Sheet1!A1", "mailto:a@b.c", "#N/A", "#REF!", "TRUE", "00123", "1E05", "5E10", "73928E03", "007", "3-4",
    "1/2", "MAR-1", "2026-11-24", "-5", "'quoted'", "P\u2011101A", "№2",
], ids=repr)
def test_text_cells_are_text_as_typed(typed: str) -> None:
    cell = sheet_of(written((typed, 1.0, None, typed)))["A2"]
    assert (cell.value, cell.data_type, cell.hyperlink) == (typed, "s", None)


@pytest.mark.parametrize("value", [-2.5, -0.02, 0.0, 85.0, 0.0047, 1_048_576.0])
def test_numbers_are_number_cells(value: float) -> None:
    cell = sheet_of(written(("P-101A", value, None, "")))["B2"]
    assert (cell.value, cell.data_type) == (value, "n")


def test_a_time_is_iso_text_and_beside_it_the_local_date_and_time() -> None:
    # 01:30 comes twice on 1 November 2026 in Chicago: the text tells which, the date-time cell is the wall clock.
    sheet = sheet_of(written(("A", None, "2026-11-01T01:30:00-05:00", ""),
                             ("B", None, "2026-11-01T01:30:00-06:00", "")))
    assert [c.value for c in sheet[1]] == ["tag", "value", "seen_at", "seen_at_local", "remarks"]
    assert [c.value for c in sheet["C"][1:]] == ["2026-11-01T01:30:00-05:00", "2026-11-01T01:30:00-06:00"]
    assert [c.value for c in sheet["D"][1:]] == [datetime(2026, 11, 1, 1, 30)] * 2  # noqa: DTZ001 - a wall clock
    assert sheet["D2"].is_date


def test_nothing_is_an_empty_cell() -> None:
    assert [c.value for c in sheet_of(written(("P-101A", None, None, "")))[2]] == ["P-101A", None, None, None, None]


def test_pandas_reads_tags_as_text_and_figures_as_numbers() -> None:
    data = written(("00123", -2.5, "2026-11-24T08:00:00-06:00", "=1+1"), ("5E10", 85.0, None, "Müller"))
    # pandas would make numbers of a column of texts that all look like one; asked for text, it gives what is there.
    frame = pandas.read_excel(io.BytesIO(data), dtype={"tag": str})
    assert list(frame["tag"]) == ["00123", "5E10"]
    assert list(frame["value"]) == [-2.5, 85.0]
    assert frame["seen_at_local"][0] == pandas.Timestamp(2026, 11, 24, 8)
    assert list(frame["remarks"]) == ["=1+1", "Müller"]


def test_a_control_character_stops_nothing_and_shows_no_code() -> None:
    assert sheet_of(written(("P-101A", 1.0, None, "a\x0bb\x0cc\x1bd\x00e\r\nf")))["E2"].value == "abcde\nf"


def test_over_long_text_is_cut_and_says_so() -> None:
    cut = sheet_of(written(("P-101A", 1.0, None, "x" * 40_000)))["E2"].value
    # 32,767 characters is what a cell holds (published limit of the file format's first program).
    assert len(cut) == MOST_CHARACTERS == 32_767
    assert cut.endswith("[cut here: the text has 40,000 characters, a cell holds 32,767]")


def test_text_that_just_fits_is_whole() -> None:
    assert sheet_of(written(("P-101A", 1.0, None, "x" * MOST_CHARACTERS)))["E2"].value == "x" * MOST_CHARACTERS


def test_characters_beyond_the_first_plane_count_twice_and_are_not_halved() -> None:
    cut = sheet_of(written(("P-101A", 1.0, None, "x" + "\U0001f525" * 20_000)))["E2"].value
    assert len(cut.encode("utf-16-le")) // 2 <= MOST_CHARACTERS
    assert "\ufffd" not in cut
    assert "40,001 characters" in cut


def test_rows_past_a_full_sheet_go_on_to_the_next() -> None:
    file = io.BytesIO()
    book = Book(file, "t", MADE)
    rows = [(f"P-{i}", float(i), None, "") for i in range(7)]
    assert book.add(Table("Exceptions", COLUMNS, rows), most_rows=4) == 7  # heading and three rows a sheet
    book.close()
    read = openpyxl.load_workbook(io.BytesIO(file.getvalue()))
    assert read.sheetnames == ["Exceptions", "Exceptions 2", "Exceptions 3"]
    assert [s.max_row for s in read] == [4, 4, 2]
    assert [s["A2"].value for s in read] == ["P-0", "P-3", "P-6"]


@pytest.mark.parametrize("most_in_memory", [0, 1, 5, 16, 32, 36, 37, 10_000])
def test_a_workbook_reads_the_same_put_together_in_memory_and_through_files(most_in_memory: int) -> None:
    """4 cells a row, 4 rows and 5 rows: the memory ends before, in, between and after the tables."""
    def read(most: int) -> dict[str, list[tuple[object, ...]]]:
        file = io.BytesIO()
        book = Book(file, "t", MADE, most)
        for name, count in (("Exceptions", 4), ("Starts", 5), ("Trips", 0)):
            rows = ((f"P-{i}", i / 3, "2026-11-24T07:12:00-06:00", f"{name} & <{i}>\n") for i in range(count))
            assert book.add(Table(name, COLUMNS, rows), most_rows=4) == count
        book.close()
        made = openpyxl.load_workbook(io.BytesIO(file.getvalue()))
        return {sheet.title: [tuple((cell.value, cell.data_type, cell.number_format) for cell in row)
                              for row in sheet.iter_rows()] for sheet in made}

    whole = read(1_000_000)
    assert list(whole) == ["Exceptions", "Exceptions 2", "Starts", "Starts 2", "Trips"]
    assert [len(rows) for rows in whole.values()] == [4, 2, 4, 3, 1]
    assert read(most_in_memory) == whole


class LibraryAlone(Book):
    """The same workbook, its cells written by XlsxWriter too."""

    def _together(self) -> None:
        self._begin(self._file, IN_MEMORY)
        for table, most_rows in self._held:
            self._fill(table, most_rows)
        self._book.close()


TIMES = st.datetimes(datetime(1970, 1, 1), datetime(2999, 12, 31), timezones=st.just(UTC))  # noqa: DTZ001 - the zone is given
ROWS = st.lists(st.tuples(
    st.text(max_size=30) | st.sampled_from(["P-101A", "_x0041_", " a", "b\n", "<&>\"'", "=1+1", "\U0001f525"]),
    st.none() | st.floats(allow_nan=False, allow_infinity=False) | st.integers(-10**15, 10**15),
    st.none() | TIMES.map(lambda at: local_iso(at, UTC)), st.none() | st.text(max_size=30)), max_size=40)


@given(st.lists(ROWS, min_size=1, max_size=3), st.integers(2, 50))
def test_a_workbook_s_parts_have_every_byte_that_the_library_alone_would_write(
        tables: list[list[Row]], most_rows: int) -> None:
    made = []
    for kind in (Book, LibraryAlone):
        file = io.BytesIO()
        book = kind(file, "R&D unit <2>", MADE)
        for number, rows in enumerate(tables):
            columns = COLUMNS * 8 if number == 1 else COLUMNS  # beyond column Z
            book.add(Table(f"Sheet {number}", columns, [row * (len(columns) // 4) for row in rows]), most_rows)
        book.close()
        with ZipFile(file) as parts:
            made.append([(part.filename, part.date_time, parts.read(part)) for part in parts.infolist()])
    assert made[0] == made[1]


@pytest.mark.parametrize("most_in_memory", [10_000, 0], ids=["in memory", "through files"])
def test_text_that_looks_like_an_element_of_the_file_is_text(most_in_memory: int) -> None:
    file = io.BytesIO()
    book = Book(file, "t", MADE, most_in_memory)
    book.add(Table("Exceptions", COLUMNS, [("P-101A", 1.0, None, "<r>&</r>")]))
    book.close()
    assert sheet_of(file.getvalue())["E2"].value.strip() == "<r>&</r>"


@pytest.mark.parametrize("figure", [float("nan"), float("inf")])
def test_what_is_no_figure_stops_the_workbook(figure: float) -> None:
    with pytest.raises(ValueError, match="no figure"):
        written(("P-101A", figure, None, ""))


def test_a_sheet_is_laid_out_for_reading_and_for_paper() -> None:
    sheet = sheet_of(written(("P-101A", 1.0, None, ""), ("P-101B", 1.0, None, ""), title="R&D unit"))
    assert sheet.freeze_panes == "A2"
    assert sheet.auto_filter.ref == "A1:E3"
    assert sheet.page_setup.orientation == "landscape"
    assert sheet.sheet_properties.pageSetUpPr.fitToPage
    assert sheet.page_setup.fitToWidth in (None, 1)  # None: the format's default, 1
    assert sheet.page_setup.fitToHeight == 0  # as many pages as it takes
    assert sheet.print_title_rows == "$1:$1"
    assert (sheet.oddFooter.right.text, sheet.oddFooter.left.text) == ("Page &P of &N", "R&&D unit")
    assert sheet.column_dimensions["C"].width > 20
    assert not sheet.merged_cells.ranges


def test_an_empty_table_keeps_its_heading() -> None:
    sheet = sheet_of(written())
    assert [c.value for c in sheet[1]] == ["tag", "value", "seen_at", "seen_at_local", "remarks"]
    assert sheet.max_row == 1


def test_the_same_rows_make_the_same_bytes_but_for_the_time_made() -> None:
    rows = [("P-101A", 1.0, "2026-11-24T08:00:00-06:00", "x")]
    assert written(*rows) == written(*rows)
    assert written(*rows) != written(*rows, made=MADE.replace(minute=11))
