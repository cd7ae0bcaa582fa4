"""The totals on the week's page are those that pandas counts from the raw rows, by its own calendar.

For the week in which the clocks go back, the one in which they go forward, and those on either side of an ISO year's
end. Every instant is drawn at random but for those that stand on the edge of a week or in the hour that comes twice.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from random import Random

import pandas as pd
import pytest
import sqlalchemy as sa
from flask.testing import FlaskClient
from sqlalchemy.orm import Session

from app.db import Database
from app.store.base import new_id
from app.store.changes import note_change
from app.store.flags import Finding
from app.store.lubrication import Greasing
from app.store.starts import Start, Trip
from tests import factories
from tests.conftest import Clock, on_both
from tests.export.hand_made import make_flag, utc
from tests.factories import Plant, sign_in

ZONE = "America/Chicago"
WEEKS = {"2026-W44": "clocks go back", "2027-W10": "clocks go forward", "2026-W53": "last of its year",
         "2027-W01": "first of its year"}
#: Midnights between weeks, a second before them, and 01:30 twice.
EDGES = [utc(text) for text in (
    "2026-10-26T00:00:00-05:00", "2026-10-25T23:59:59-05:00", "2026-11-02T00:00:00-06:00", "2026-11-01T23:59:59-06:00",
    "2026-11-01T01:30:00-05:00", "2026-11-01T01:30:00-06:00", "2027-03-08T00:00:00-06:00", "2027-03-07T23:59:59-06:00",
    "2027-03-15T00:00:00-05:00", "2027-03-14T23:59:59-05:00", "2027-03-14T01:59:59-06:00", "2027-03-14T03:00:00-05:00",
    "2026-12-28T00:00:00-06:00", "2026-12-27T23:59:59-06:00", "2027-01-01T00:00:00-06:00", "2027-01-03T23:59:59-06:00",
    "2027-01-04T00:00:00-06:00", "2027-01-10T23:59:59-06:00")]
FIRST, LAST = datetime(2026, 9, 20, tzinfo=UTC), datetime(2027, 3, 25, tzinfo=UTC)
PRIORITIES = ("act now", "this shift", "watch")


@pytest.fixture
def filled(app_database: Database, plant: Plant, clock: Clock) -> None:
    """Half a year of three motors' rows: on every edge, and some hundreds between."""
    clock.set("2027-04-01T12:00:00-05:00")
    dice = Random(20261101)
    with app_database.writing() as session:
        motors = [session.merge(plant.motor, load=False),
                  *(factories.make_motor(session, plant.unit, f"P-2{i}", area="Cooling") for i in range(2))]
        for at in instants(dice, 260):
            motor = dice.choice(motors)
            answer = {"skip_reason": "fog", "state": None} if dice.random() < 0.15 else {"smoke": "none"}
            kept = factories.make_reading(session, motor, plant.operator, at, **answer)
            if kept.skip_reason is None and dice.random() < 0.1:
                factories.make_reading(session, motor, plant.operator, at, smoke="none", replaces_id=kept.id,
                                       replaces_why="slip")
        for week in WEEKS:  # some rounds that are complete
            monday = datetime.fromisocalendar(int(week[:4]), int(week[6:]), 1).replace(hour=14, tzinfo=UTC)
            for motor, half_days in ((m, h) for h in range(dice.randrange(4, 9)) for m in motors):
                factories.make_reading(session, motor, plant.operator, monday + half_days * timedelta(hours=12))
        for at in instants(dice, 120):
            closed = at + timedelta(hours=dice.randrange(1, 900)) if dice.random() < 0.8 else None
            make_flag(session, dice.choice(motors), at, priority=dice.choice(PRIORITIES), closed_at=closed)
        doings(session, plant, dice)
        session.commit()


def instants(dice: Random, count: int) -> Iterator[datetime]:
    yield from EDGES
    for _ in range(count):
        yield FIRST + timedelta(seconds=dice.randrange(int((LAST - FIRST).total_seconds())))


def doings(session: Session, plant: Plant, dice: Random) -> None:
    common = {"content": "x", "unit_id": plant.unit.id, "motor_id": plant.motor.id, "person_id": plant.operator.id}
    for at in instants(dice, 60):
        timed = {"at": at, "at_device": at, "received_at": at, **common}
        start = Start(id=new_id(), outcome=dice.choice(("ran", "automatic", "did not start")), **timed)
        session.add_all([start, Trip(id=new_id(), protection=dice.choice(("fuse", "overload relay")), **timed),
                         Greasing(id=new_id(), end="DE", at=at, received_at=at, grams=dice.choice((0.0, 23.0)),
                                  **common)])
        session.flush()
        if dice.random() < 0.3:
            for rule in ("started_outside_limits", "no_prestart_check"):
                session.add(Finding(cause="start", cause_id=start.id, motor_id=plant.motor.id, at=at, rule=rule, end="",
                                    priority="this shift", source="x", says="x"))
        note_change(session, unit_id=plant.unit.id, at=at, person=None, subject=dice.choice(("limit", "motor")),
                    subject_id=1, label="x", field="y", before=1, after=2)


# what pandas counts ----------------------------------------------------------------------------------------


class Raw:
    """The tables as they stand, each instant with the ISO week that pandas says it lies in."""

    def __init__(self, database: Database) -> None:
        self._engine = database.engine

    def table(self, name: str, *instants: str) -> pd.DataFrame:
        with self._engine.connect() as connection:
            frame = pd.read_sql(sa.text(f'SELECT * FROM "{name}"'), connection)
        for column in instants:
            local = pd.to_datetime(frame[column], utc=True, format="ISO8601").dt.tz_convert(ZONE)
            year_week = local.dt.isocalendar()
            frame[f"{column}_week"] = (year_week["year"].astype("string") + "-W"
                                       + year_week["week"].astype("string").str.zfill(2))
        return frame

    def looks(self) -> pd.DataFrame:
        frame = self.table("reading", "taken_at")
        replaced = set(frame["replaces_id"].dropna().map(str))
        return frame[~frame["id"].map(str).isin(replaced)]

    def totals(self, week: str) -> dict[str, int]:
        flags, looks = self.table("flag", "raised_at", "closed_at"), self.looks()
        read = looks[looks["skip_reason"].isna() & (looks["taken_at_week"] == week)]
        raised = flags[flags["raised_at_week"] == week]
        stood = flags[(flags["raised_at_week"] <= week)
                      & (flags["closed_at_week"].isna() | (flags["closed_at_week"] >= week))]
        starts, readings = self.table("start", "at"), self.table("reading", "taken_at")
        started = starts[starts["at_week"] == week]
        broke = set(self.table("finding").query("cause == 'start'")["cause_id"].map(str))
        greased, changes = self.table("greasing", "at"), self.table("change", "at")
        return {
            "Readings": len(read), "Flags that stood": len(stood), "Flags raised": len(raised),
            **{f"Raised as {word}": int((raised["priority"] == word).sum()) for word in PRIORITIES},
            "Flags closed": int((flags["closed_at_week"] == week).sum()), "Starts": len(started),
            "Starts outside limits": int(started["id"].map(str).isin(broke).sum()),
            "Automatic starts": int((started["outcome"] == "automatic").sum()),
            "Trips": int((self.table("trip", "at")["at_week"] == week).sum()),
            "Bearings greased": int(((greased["at_week"] == week) & (greased["grams"] > 0)).sum()),
            "Readings corrected": int((readings["replaces_id"].notna() & (readings["taken_at_week"] == week)).sum()),
            "Limits changed": int(((changes["at_week"] == week) & (changes["subject"] == "limit")).sum())}

    def rounds(self, week: str) -> tuple[int, int]:
        """Rounds complete of three motors due in each of 14 shifts, and motors not seen."""
        rounds, looks = self.table("round"), self.looks()
        days = pd.to_datetime(rounds["shift_date"]).dt.isocalendar()
        here = rounds[(days["year"].astype("string") + "-W" + days["week"].astype("string").str.zfill(2)) == week]
        answered = looks[looks["round_id"].isin(here["id"])].groupby("round_id")["motor_id"].nunique()
        return int((answered == 3).sum()), 14 * 3 - int(answered.sum())


def shown(page: str) -> dict[str, list[str]]:
    """The table of the week against before: each line's figures by its name."""
    table = page.partition('class="sheet against"')[2].partition("</table>")[0]
    return {name: re.findall(r"<td[^>]*>(?:<b>)?([^<]*)", cells)
            for name, cells in re.findall(r'<th scope="row">([^<]+)</th>(.*?)</tr>', table, re.S)}


def week_before(week: str, steps: int) -> str:
    year, number = int(week[:4]), int(week[6:])
    year, number, _ = (datetime.fromisocalendar(year, number, 1) - timedelta(weeks=steps)).isocalendar()
    return f"{year}-W{number:02d}"


@pytest.mark.slow
@on_both
def test_the_pages_totals_are_those_counted_from_the_raw_rows(client: FlaskClient, app_database: Database,
                                                              plant: Plant, filled: None) -> None:
    raw = Raw(app_database)
    sign_in(client, plant.supervisor)
    for week in WEEKS:
        page = client.get(f"/week/{week}").get_data(as_text=True)
        told, counted = shown(page), raw.totals(week)
        before = [raw.totals(week_before(week, steps)) for steps in (1, 2, 3, 4)]
        assert {name: int(told[name][0]) for name in counted} == counted, week
        assert {name: int(told[name][1]) for name in counted} == before[0], week
        assert {name: float(told[name][2]) for name in counted} == {
            name: sum(one[name] for one in before) / 4 for name in counted}, week
        per_100 = round(100 * counted["Flags raised"] / counted["Readings"], 1)
        assert float(told["Flags raised"][3]) == per_100, week
        assert f"<b>{counted['Flags that stood']} flags stood</b>" in page
        complete, not_seen = raw.rounds(week)
        assert f">{complete} of 14</b>" in page
        assert f"<b>{not_seen}</b><span><a href=\"#rounds\">motors not seen</a>" in page
        lines = client.get(f"/week/{week}.csv").get_data(as_text=True).count("\r\n")
        assert lines == counted["Flags that stood"] + 1
    assert min(raw.totals(week)["Flags raised"] for week in WEEKS) > 0
    assert min(raw.rounds(week)[0] for week in WEEKS) > 3
