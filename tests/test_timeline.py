"""One motor's history in one order: nothing twice, nothing left out, whatever shares an instant at a page's edge."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app import timeline
from app.db import Database
from app.timeline import BadKey
from tests import factories
from tests.entering import TAG, Crew, day


@pytest.fixture
def crew(database: Database) -> Crew:
    return Crew(database, greased=True)


def whole(crew: Crew, most: int, shown: str = "") -> list[tuple[str, object]]:
    """Every page one after the other."""
    told: list[tuple[str, object]] = []
    key: str | None = ""
    with crew.database.reading() as session:
        motor = session.merge(crew.motor(TAG))
        while key is not None:
            entries, key = timeline.page(session, motor, shown, key, most)
            assert 0 < len(entries) <= most
            told += [(e.kind.name, e.row.id) for e in entries]
    return told


@pytest.mark.parametrize("most", [1, 2, 3, 5])
def test_the_pages_together_are_the_whole_history(crew: Crew, most: int) -> None:
    """Greasings of both ends, readings and the flags they raise, all in one instant, and some before it."""
    for number in range(3):
        crew.read(day(0) - timedelta(days=number), current_a=[92.0])
    for end in ("DE", "ODE"):
        crew.grease(day(0), end=end)
    all_at_once, paged = whole(crew, 100), whole(crew, most)
    assert paged == all_at_once
    assert len(set(paged)) == len(paged)
    assert {"reading", "greasing", "flag raised", "nameplate"} <= {kind for kind, _ in paged}


def test_a_kind_is_shown_alone(crew: Crew) -> None:
    old = crew.read(day(0))
    crew.correct(old, day(0))
    crew.grease(day(0, hours=1))
    assert {kind for kind, _ in whole(crew, 10, "greasing and oil")} == {"greasing"}
    assert {kind for kind, _ in whole(crew, 10, "corrections")} == {"correction"}


def test_another_motors_history_is_not_in_it(crew: Crew) -> None:
    crew.motor("P-102")
    crew.read(day(0), tag="P-102")
    assert "reading" not in {kind for kind, _ in whole(crew, 100)}


@pytest.mark.parametrize("key", ["x", "2026-11-24T13:12:00~0~1", "2026-11-24T13:12:00+00:00~99~1",
                                 "2026-11-24T13:12:00+00:00~0~1", "2026-11-24T13:12:00+00:00~-1~1", "~~",
                                 f"2026-11-24T13:12:00+00:00~6~{2**40}"])
def test_a_key_that_is_of_no_page_is_refused(crew: Crew, key: str) -> None:
    with crew.database.reading() as session, pytest.raises(BadKey):
        timeline.page(session, session.merge(crew.motor(TAG)), "", key)


def test_a_limit_of_the_whole_unit_is_in_every_motors_history(crew: Crew) -> None:
    from app.store.limits import change_limit

    with crew.writing() as session:
        change_limit(session, session.merge(crew.unit), "bearing_hot_grease_alarm_c", 85.0, None, "procedure 12",
                     crew.supervisor, factories.NOW)
    assert [kind for kind, _ in whole(crew, 10, "limit changes")] == ["limit changed"]
