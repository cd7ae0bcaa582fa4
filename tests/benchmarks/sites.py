"""Many sites, as far as two cores can play them: what instance.example/many-sites.md says of growing, tried.

Several app servers on one PostgreSQL; the readings in partitions by month on a copy, and which of them each hot
statement reads; units on two PostgreSQL clusters, each unit's tablets sent to its own. Both sync to disk, as a
plant's would (tests/cluster.py).
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from app.db import Database
from app.store.rounds import Reading
from tests import cluster
from tests.benchmarks import history
from tests.benchmarks.ground import Ground, filled
from tests.benchmarks.lines import Line, bests_ms
from tests.benchmarks.saves import CLIENTS, jobs_of, sent
from tests.benchmarks.servers import workers

#: Two years of 60 motors: 25 monthly partitions with 131,400 readings.
DAYS = 730


def several_servers(server: cluster.Server) -> Iterator[Line]:
    """One, two and four app servers on one PostgreSQL, fifty tablets; the best of two turns each."""
    counts = (1, 2, 4)
    with filled(server.make()) as ground:
        jobs, best = jobs_of(ground, CLIENTS), dict.fromkeys(counts, 0.0)
        for count in counts * 2:
            ground.clock.advance(hours=4)
            with workers([ground] * count) as ports:
                best[count] = max(best[count], sent(ports, jobs)["a_second"])
    for count in counts:
        yield Line(f"saves a second, {CLIENTS} clients, {count} app servers on one PostgreSQL", best[count], "/s",
                   best[1] if count > 1 else None)


# two clusters ----------------------------------------------------------------------------------------------


def two_clusters(server: cluster.Server) -> Iterator[Line]:
    """Two units on one cluster and on two, an app server for each unit; every entry must be where its unit is."""
    with cluster.running(*cluster.DURABLE) as url, ExitStack() as stack:
        other = cluster.Server(url)
        together = server.make()
        one = [stack.enter_context(filled(together if i == 0 else server.make(), days=90)) for i in range(2)]
        two = [stack.enter_context(filled(where.make(), days=90)) for where in (server, other)]
        crews = [[jobs_of(ground, CLIENTS // 2) for ground in grounds] for grounds in (one, two)]
        figures = [[_routed(*pair) for pair in zip((one, two), crews, strict=True)] for _ in range(2)]
    alone, apart = (max(turns) for turns in zip(*figures, strict=True))
    yield Line("saves a second, two units on one cluster", alone, "/s")
    yield Line("saves a second, two units routed to two clusters", apart, "/s", alone)


def _routed(grounds: list[Ground], crews: list[list[tuple[str, str, str]]]) -> float:
    """Each unit's tablets go to its unit's server. Raises AssertionError where an entry is not stored once, there."""
    before = [_stored(ground.database) for ground in grounds]
    for ground in grounds:
        ground.clock.advance(hours=4)
    with workers(grounds) as ports:
        told = sent(ports, [job for pair in zip(*crews, strict=True) for job in pair])
    stored = sum(_stored(ground.database) for ground in grounds) - sum(before)
    assert stored == told["answered"], (stored, told)
    assert all(_stored(ground.database) > had for ground, had in zip(grounds, before, strict=True))
    return float(told["a_second"])


def _stored(database: Database) -> int:
    with database.reading() as session:
        return session.scalar(sa.select(sa.func.count()).select_from(Reading)) or 0


# partitions by month ---------------------------------------------------------------------------------------


def by_month(server: cluster.Server) -> Iterator[Line]:
    """The same jobs on the table whole and on a copy in monthly partitions, and how many partitions each reads."""
    with filled(server.make(), days=DAYS) as whole, filled(server.make(), days=DAYS) as parted:
        months = partition(parted.database, whole.loaded.last_at)
        jobs = {**history.JOBS, "week": history.getting(f"/week/{whole.loaded.last_at:%G-W%V}")}
        for name, job in jobs.items():
            for wide in _read(parted, job(parted)):
                print(f"  {name}: {wide}")
        figures = bests_ms(15, *(work for job in jobs.values() for work in (job(whole), job(parted))))
        for name, few, many in zip(jobs, figures[::2], figures[1::2], strict=True):
            most = max((wide.scanned for wide in _read(parted, jobs[name](parted))), default=0)
            yield Line(f"{name}, {months} monthly partitions beside one table", many, "ms", few)
            yield Line(f"{name}, most partitions that one of its statements reads", most, f"of {months}")


def partition(database: Database, until: datetime) -> int:
    """Puts the readings into a table parted by the month they were taken in, under the same name; how many parts.

    What PostgreSQL does not give a parted table is left out of the copy: an id that is unique by itself, and the keys
    of other tables that point at it.
    """
    with database.engine.begin() as connection:
        first = connection.scalar(sa.text("SELECT date_trunc('month', min(taken_at) AT TIME ZONE 'UTC') FROM reading"))
        indexes = connection.scalars(sa.text("SELECT indexdef FROM pg_indexes WHERE tablename = 'reading'")).all()
        run = connection.exec_driver_sql
        run("ALTER TABLE reading RENAME TO reading_whole")
        run("CREATE TABLE reading (LIKE reading_whole INCLUDING DEFAULTS) PARTITION BY RANGE (taken_at)")
        months, begins, last = 0, first, until.replace(tzinfo=None) + timedelta(days=31)
        while begins <= last:  # and no part for what is out of range: it would keep the others unordered
            ends = begins.replace(year=begins.year + begins.month // 12, month=begins.month % 12 + 1)
            run(f"CREATE TABLE reading_{begins:%Y_%m} PARTITION OF reading "
                f"FOR VALUES FROM ('{begins} UTC') TO ('{ends} UTC')")
            months, begins = months + 1, ends
        run("INSERT INTO reading SELECT * FROM reading_whole")
        for definition in indexes:
            if "UNIQUE" in definition:
                definition = definition.replace("UNIQUE ", "").replace("CREATE INDEX pk_", "CREATE INDEX by_")
            name = definition.split(" INDEX ")[1].split(" ")[0]
            run(definition.replace(name, f"parted_{name}", 1).replace("ON public.reading ", "ON reading ")
                .replace("ON public.reading_whole ", "ON reading "))
    with database.engine.execution_options(isolation_level="AUTOCOMMIT").connect() as connection:
        connection.exec_driver_sql("VACUUM ANALYZE")
    return months


class Wide:
    """One statement, and how many partitions it read under each of its names for the table."""

    def __init__(self, statement: str, scans: list[tuple[str, str, int]]) -> None:
        self.statement = statement
        self.by_name = {name: len({part for other, part, loops in scans if other == name and loops})
                        for name in dict.fromkeys(name for name, _, _ in scans)}
        self.scanned = max(self.by_name.values())

    def __str__(self) -> str:
        read = ", ".join(f"{name} {count}" for name, count in self.by_name.items())
        return f"{read}: … WHERE {' '.join(self.statement.split('WHERE', 1)[-1].split())[:110]}"


def _read(ground: Ground, work: Callable[[], None]) -> list[Wide]:
    """What the job's statements read of the parted table, by EXPLAIN ANALYZE with the values they were asked with."""
    asked: list[tuple[str, Any]] = []

    def note(connection: object, cursor: object, statement: str, parameters: Any, *rest: object) -> None:
        if "reading" in statement and statement.lstrip().startswith("SELECT"):
            asked.append((statement, parameters))

    work()
    sa.event.listen(ground.database.engine, "before_cursor_execute", note)
    try:
        work()
    finally:
        sa.event.remove(ground.database.engine, "before_cursor_execute", note)
    found = []
    with ground.database.engine.connect() as connection:
        for statement, parameters in asked:
            plan = connection.exec_driver_sql(f"EXPLAIN (ANALYZE, FORMAT JSON) {statement}", parameters).scalar()
            scans = list(_scans((plan if isinstance(plan, list) else json.loads(plan))[0]["Plan"]))
            if scans:
                found.append(Wide(statement, scans))
    return found


def _scans(node: dict[str, Any]) -> Iterator[tuple[str, str, int]]:
    """What the statement calls the table, the partition, and how often it was looked at."""
    if str(node.get("Relation Name", "")).startswith("reading_"):
        yield re.sub(r"_\d+$", "", node["Alias"]), node["Relation Name"], node["Actual Loops"]
    for below in node.get("Plans", ()):
        yield from _scans(below)
