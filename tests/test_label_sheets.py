"""Labels lie on the paper where the pack says, and every letter of a tag stands on its label."""

from __future__ import annotations

from dataclasses import replace

import pytest

from app.label_drawing import amps_of, code_path, draw, lines_of, width_em
from app.label_sheets import GRIDS, PAPER_MM, Grid, faults, sheets, without_pitch
from app.store.motors import Motor, Nameplate

THREE_BY_SEVEN = GRIDS["a4-21"]


@pytest.mark.parametrize("grid", GRIDS.values(), ids=lambda g: g.name)
def test_a_standard_grid_lies_in_the_middle_of_its_paper(grid: Grid) -> None:
    across, down = PAPER_MM[grid.paper]
    last_x, last_y = grid.places()[-1]
    assert faults(grid) == []
    assert len(grid.places()) == grid.count
    assert across - (last_x + grid.width) == pytest.approx(grid.left, abs=0.11)  # both edges alike
    assert down - (last_y + grid.height) == pytest.approx(grid.top, abs=0.11)


def test_the_paper_is_iso_216_a4_and_asme_letter() -> None:
    assert PAPER_MM["A4"] == (210, 297)
    assert PAPER_MM["Letter"] == pytest.approx((8.5 * 25.4, 11 * 25.4))


@pytest.mark.parametrize(("place", "x", "y"), [
    (0, 7.25, 15.15), (1, 73.25, 15.15), (3, 7.25, 53.25), (20, 139.25, 243.75)])  # 15.15 + 6 × 38.1 = 243.75
def test_labels_are_filled_row_by_row_from_the_upper_left(place: int, x: float, y: float) -> None:
    assert THREE_BY_SEVEN.places()[place] == (x, y)


def test_a_part_used_sheet_is_filled_from_its_first_free_label() -> None:
    made = sheets([f"P-{i}" for i in range(1, 23)], THREE_BY_SEVEN, first=20)
    assert [len(sheet) for sheet in made] == [2, 20]
    assert [thing for _, _, thing in made[0]] == ["P-1", "P-2"]
    assert made[0][0][:2] == (73.25, 243.75)
    assert made[1][0] == (7.25, 15.15, "P-3")
    assert [len(sheet) for sheet in sheets(list(range(21)), THREE_BY_SEVEN)] == [21]
    assert sheets([], THREE_BY_SEVEN) == []


@pytest.mark.parametrize(("change", "field"), [
    ({"columns": 4}, "columns"), ({"rows": 8}, "rows"), ({"left": 14.6}, None), ({"left": 14.7}, "columns"),
    ({"top": 30.4}, None), ({"top": 30.5}, "rows"), ({"width": 66.2, "columns": 2}, "across"),
    ({"height": 38.3}, "down"), ({"width": 19.9}, "width"), ({"height": 11.9}, "height"),
    ({"width": 20.0, "height": 12.0}, None)], ids=str)
def test_a_grid_that_does_not_fit_its_paper_is_named_at_its_figure(change: dict[str, float], field: str | None) -> None:
    # 2 × 66 + 63.5 = 195.5, and 210 mm less that is 14.5; 7 × 38.1 = 266.7, and 297 mm less that is 30.3.
    # A printer's tenth of a millimetre is let pass.
    found = [name for name, _ in faults(replace(THREE_BY_SEVEN, **change))]  # type: ignore[arg-type]
    assert found == ([field] if field else [])


def test_a_step_left_empty_is_the_labels_own_size() -> None:
    grid = without_pitch(Grid("free", "A4", 2, 2, 70.0, 40.0, 10.0, 10.0, 0.0, 0.0))
    assert grid.places() == [(10, 10), (80, 10), (10, 50), (80, 50)]


# one label -------------------------------------------------------------------------------------------------

LONG = "Kühlwasser-Umwälzpumpe-Nord-Strang-2-P-1234567-B"


def motor(tag: str, interlock: str | None = "low-voltage release", service: str = "feed pump of the northern train",
          amps: float | None = 87.0) -> Motor:
    made = Motor(tag=tag, service=service, interlock=interlock, area="Feed")
    made.nameplates = [Nameplate(fitted_from=None, id=1, amps=amps)] if amps is not None else []  # type: ignore[arg-type]
    return made


TAGS = ["P-101A", "1E05", "007", "P\u2011101A", "Pumpe №2", "a/b?c#d", LONG, "循環水泵-甲", "W" * 40]


@pytest.mark.parametrize("tag", TAGS)
@pytest.mark.parametrize("grid", GRIDS.values(), ids=lambda g: g.name)
def test_every_letter_of_a_tag_stands_on_the_label_and_nothing_runs_out_of_it(grid: Grid, tag: str) -> None:
    label = draw(motor(tag), grid.width, grid.height, "https://rounds.example/m/ABCD2345")
    size = label.words[0].size
    written = [w for w in label.words if w.heavy and w.size == size and not w.white]
    assert "".join(w.text for w in written).replace(" ", "") == tag.replace(" ", "")
    assert label.code is not None
    right_of_code = label.code[0] + label.code[2]
    for words in label.words:
        assert words.white or words.x > right_of_code
        assert words.x + width_em(words.text) * words.size <= grid.width + 0.01, words
        assert 0 < words.y <= grid.height, words
    assert label.band is not None
    assert max(w.y for w in label.words if not w.white) <= label.band[1]
    assert any(w.text == "restarts by itself" for w in label.words)


@pytest.mark.parametrize(("interlock", "mark"), [
    ("low-voltage release", "restarts by itself"), ("automatic start", "starts by itself"),
    ("low-voltage protection", None), (None, None)])
def test_a_motor_that_starts_with_nobody_near_says_so_on_its_label(interlock: str | None, mark: str | None) -> None:
    label = draw(motor("P-1", interlock), 63.5, 38.1, None)
    assert (label.band is not None) is (mark is not None)
    assert mark is None or [w.text for w in label.words if w.white] == [mark]
    assert (mark or "P-1") in label.says


@pytest.mark.parametrize(("amps", "says"), [
    (87.0, "rated 87 A"), (24.8, "rated 24.8 A"), (None, "rated amps not known")])
def test_rated_amps_stand_there_or_that_they_are_not_known(amps: float | None, says: str) -> None:
    assert amps_of(motor("P-1", amps=amps)) == says


def test_a_service_too_long_for_the_label_ends_in_dots_and_the_tag_never_does() -> None:
    label = draw(motor("P-1", service="pump " * 60), 38.1, 21.2, None)
    assert [w.text for w in label.words if "…" in w.text][-1].endswith("…")
    assert "…" not in label.words[0].text


@pytest.mark.parametrize("grid", GRIDS.values(), ids=lambda g: g.name)
@pytest.mark.parametrize(("tag", "lines"), [("P-101A", ["P-101A"]), ("Pumpe №2", ["Pumpe №2"]), ("007", ["007"])])
def test_an_ordinary_tag_stands_in_one_line(grid: Grid, tag: str, lines: list[str]) -> None:
    for interlock in ("low-voltage release", None):
        label = draw(motor(tag, interlock), grid.width, grid.height, "https://rounds.example/m/ABCD2345")
        assert [w.text for w in label.words if w.heavy and not w.white][:-1] == lines  # the last are the amps


def test_a_line_breaks_after_a_dash_and_within_a_word_only_when_it_must() -> None:
    assert lines_of("NORTH-PUMP-7", 10, 10 * width_em("NORTH-PUMP-")) == ["NORTH-PUMP-", "7"]
    assert lines_of("ABCDEF", 10, 10 * width_em("ABCD")) == ["ABCD", "EF"]


def test_the_code_has_four_modules_of_white_around_it() -> None:
    # ISO/IEC 18004: version 4 has 33 modules a side and holds 46 bytes at level Q; the address here has 33
    side, path = code_path("https://rounds.example/m/ABCD2345")
    assert side == 33 + 2 * 4
    assert path.startswith("M4 4h7")  # a finder pattern is seven modules wide
