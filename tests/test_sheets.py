"""One round's sheet: done, skipped, left, not due; what makes a motor read, and in which rounds it is due."""

from __future__ import annotations

import pytest

from app import sheets
from app.db import Database
from app.sheets import DONE, LEFT, NOT_DUE, SKIPPED
from app.store import rounds
from tests import factories
from tests.entering import TAG, Crew, day, night


@pytest.fixture
def crew(database: Database) -> Crew:
    return Crew(database)


def test_a_motor_is_left_until_somebody_reads_or_skips_it(crew: Crew) -> None:
    for tag in ("P-102", "P-103"):
        crew.motor(tag)
    assert set(crew.sheet(day(0)).values()) == {LEFT}
    crew.read(day(0))
    crew.skip(day(0), "P-102")
    assert crew.sheet(day(0, hours=1)) == {TAG: DONE, "P-102": SKIPPED, "P-103": LEFT}
    assert set(crew.sheet(night(0)).values()) == {LEFT}


def test_a_motor_skipped_and_then_read_is_done_and_read_then_skipped_too(crew: Crew) -> None:
    crew.skip(day(0))
    crew.read(day(0, hours=1))
    crew.skip(day(0, hours=2))
    assert crew.sheet(day(0, hours=3)) == {TAG: DONE}


TOKENS = [("amps alone", {"current_a": [78.0]}, LEFT), ("smoke answered", {"smoke": "none"}, DONE),
          ("smoke could not be seen", {"smoke": "could not read"}, LEFT)]


@pytest.mark.parametrize(("seen", "status"), [c[1:] for c in TOKENS], ids=[c[0] for c in TOKENS])
def test_an_entry_by_token_makes_it_read_only_if_it_answers_smoke(crew: Crew, seen: dict[str, object],
                                                                  status: str) -> None:
    crew.by_token(day(0), **seen)
    assert crew.sheet(day(0, hours=1)) == {TAG: status}


def test_the_walk_is_shown_before_values_that_came_after_it(crew: Crew) -> None:
    walked = crew.read(day(0))
    crew.by_token(day(0, hours=1), current_a=[78.0])
    with crew.database.reading() as session:
        opened = rounds.newest_rounds(session, crew.unit.id, 1)[0]
        (row,) = sheets.sheet_of(session, crew.unit, opened, day(0, hours=2)).rows
        assert row.reading is not None and row.reading.id == walked.id
        assert [r.token_id for r in row.also] == [crew.token_row.id]


def test_a_corrected_entry_is_not_on_the_sheet(crew: Crew) -> None:
    slip = crew.read(day(0), current_a=[92.0])
    good = crew.correct(slip, day(0))
    with crew.database.reading() as session:
        opened = rounds.newest_rounds(session, crew.unit.id, 1)[0]
        (row,) = sheets.sheet_of(session, crew.unit, opened, day(0, hours=2)).rows
        assert row.reading is not None and (row.reading.id, row.also, row.flagged) == (good.id, (), {})


def test_a_motor_added_later_is_on_no_earlier_sheet(crew: Crew) -> None:
    crew.open_sheet(day(0))
    with crew.writing() as session:
        factories.make_motor(session, crew.unit, "P-102", greased=False).created_at = night(0)
    assert set(crew.sheet(day(0))) == {TAG}
    assert set(crew.sheet(night(0))) == {TAG, "P-102"}


# checked every day or week ----------------------------------------------------------------------------------

#: 24 November 2026 is a Tuesday. When it was read; in which later rounds it is due.
SELDOM = [
    ("day, not read yet", "day", None, {day(0): LEFT, night(0): LEFT, day(1): LEFT}),
    ("day, read by day", "day", day(0), {day(0): DONE, night(0): NOT_DUE, day(1): LEFT}),
    ("day, read in the evening", "day", night(0), {night(0): DONE, day(1): LEFT}),
    # 02:12 of the 25th lies in the night of the 24th, and in the date of the 25th
    ("day, read after midnight", "day", night(0, hours=7), {night(0): DONE, day(1): NOT_DUE, night(1): NOT_DUE,
                                                            day(2): LEFT}),
    ("week, read on Tuesday", "week", day(0), {night(0): NOT_DUE, day(5): NOT_DUE, night(5): NOT_DUE, day(6): LEFT}),
    ("week, read on Sunday", "week", day(5), {day(5): DONE, night(5): NOT_DUE, day(6): LEFT}),
    ("week, not read yet", "week", None, {day(0): LEFT, night(5): LEFT, day(6): LEFT}),
    ("shift, read by day", "shift", day(0), {day(0): DONE, night(0): LEFT}),
]


@pytest.mark.parametrize(("every", "read", "due"), [c[1:] for c in SELDOM], ids=[c[0] for c in SELDOM])
def test_a_motor_is_due_until_read_once_in_its_date_or_week(crew: Crew, every: str, read: object,
                                                            due: dict[object, str]) -> None:
    crew.motor("P-102", checked_every=every)
    if read is not None:
        crew.read(read, tag="P-102")  # type: ignore[arg-type]
    assert {at: crew.sheet(at)["P-102"] for at in due} == due  # type: ignore[arg-type]


def test_a_skip_or_values_by_token_leave_it_due(crew: Crew) -> None:
    crew.motor("P-102", checked_every="week")
    crew.skip(day(0), "P-102")
    crew.by_token(night(0), tag="P-102", current_a=[78.0])
    assert crew.sheet(day(1))["P-102"] == LEFT


def test_not_due_is_not_asked_for_and_complete_means_that_nothing_is_left(crew: Crew) -> None:
    crew.motor("P-102", checked_every="week")
    crew.read(day(0), tag="P-102")
    crew.read(day(1))
    with crew.database.reading() as session:
        opened = rounds.newest_rounds(session, crew.unit.id, 1)[0]
        shown = sheets.sheet_of(session, crew.unit, opened, day(1, hours=1))
        assert (shown.due, shown.complete, shown.count(NOT_DUE)) == (1, True, 1)
        assert shown.of(NOT_DUE)[0].last_done_at == day(0)


# walking ----------------------------------------------------------------------------------------------------


def test_the_next_motor_is_the_next_one_left_in_walking_order_round_the_corner(crew: Crew) -> None:
    for i, tag in enumerate(("P-102", "P-103", "P-104"), start=2):
        crew.motor(tag, route_order=float(i))
    crew.read(day(0), tag="P-103")
    with crew.database.reading() as session:
        opened = rounds.newest_rounds(session, crew.unit.id, 1)[0]
        shown = sheets.sheet_of(session, crew.unit, opened, day(0, hours=1))
        ids = {row.motor.tag: row.motor.id for row in shown.rows}

        def after(tag: str | None) -> str | None:
            found = shown.next_after(ids[tag] if tag else None)
            return found.tag if found else None

        assert [after(t) for t in (None, TAG, "P-102", "P-103", "P-104")] == [TAG, "P-102", "P-104", "P-104", TAG]
        assert shown.place_of(ids["P-103"]) == 3


CELLS = [("bearing_hot", "DE", "DE"), ("bearings_uneven", "ODE", "ODE"), ("winding_hot", "", "winding"),
         ("amps_over_nameplate", "", "amps"), ("off_own_normal_amps", "", "amps"), ("step_bearing", "ODE", "ODE"),
         ("vibration", "DE", "vibration"), ("dirty", "", "clean"), ("smoke", "", "state")]


@pytest.mark.parametrize(("rule", "end", "cell"), CELLS)
def test_a_finding_boxes_the_cell_it_belongs_to(rule: str, end: str, cell: str) -> None:
    assert sheets.cell_of(rule, end) == cell
