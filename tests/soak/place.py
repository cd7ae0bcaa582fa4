"""Where the long runs happen: a folder, a starter of servers, a PostgreSQL of their own that commits as in earnest."""

from __future__ import annotations

import itertools
import os
import pwd
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from tests import cluster
from tests.conftest import POSTGRES, SQLITE
from tests.soak import faults
from tests.soak.faults import Outcome
from tests.soak.served import Ground, lay_ground
from tests.soak.starter import Starter, starting

#: A commit is answered when it is in the log; a power cut of the machine itself is not tried.
IN_EARNEST = "synchronous_commit=on"
SMALL_MB = {SQLITE: 16, POSTGRES: 64}


class Place:
    def __init__(self, folder: Path, starter: Starter, postgres: cluster.Cluster) -> None:
        self.folder, self.starter, self.postgres = folder, starter, postgres
        self.databases, self._count = cluster.Server(postgres.url), itertools.count()

    def ground(self, kind: str, crew: int = 5) -> Ground:
        url = self.databases.make() if kind == POSTGRES else ""
        return lay_ground(self.folder / f"{kind}-{next(self._count)}", url, crew)

    def second(self, ground: Ground) -> Ground:
        """Another server's own folder on the same database, with the same secret."""
        other = replace(ground, folder=ground.folder.with_name(ground.folder.name + "-second"))
        other.folder.mkdir()
        shutil.copy2(ground.folder / "secret", other.folder)
        return other

    # what is lived through -------------------------------------------------------------------------------

    def disk_full(self, kind: str, times: int = 1) -> Outcome:
        """Without a disk of its own: nothing of it needs to be root."""
        ground = self.ground(kind)
        served = self.starter.serve(ground)
        return faults.lived_through(ground, served, lambda: (
            faults.no_table_may_grow(ground) if kind == POSTGRES else faults.no_file_may_grow(ground, served)), times)

    def small_disk_full(self, kind: str, times: int = 1) -> Outcome:
        """A real small disk, filled to its last byte by another. PostgreSQL has its tables on it, not its log."""
        disk = self.folder / f"small-{next(self._count)}"
        with faults.small_disk(disk, SMALL_MB[kind]), self._data_on(disk, kind) as ground:
            return faults.lived_through(ground, self.starter.serve(ground), lambda: faults.filled(disk), times)

    @contextmanager
    def _data_on(self, disk: Path, kind: str) -> Iterator[Ground]:
        if kind == SQLITE:
            yield lay_ground(disk / "instance", crew=5)
            return
        space = disk / "tables"
        space.mkdir()
        if os.geteuid() == 0:
            who = pwd.getpwnam("postgres")
            os.chown(space, who.pw_uid, who.pw_gid)
        self.databases.do(f"CREATE TABLESPACE small LOCATION '{space}'")
        url = self.databases.make("small")
        try:
            yield lay_ground(self.folder / disk.name.replace("small", "on-small"), url, crew=5)
        finally:
            self.databases.drop(url)
            self.databases.do("DROP TABLESPACE small")

    def read_only(self, kind: str, times: int = 1) -> Outcome:
        ground = self.ground(kind)
        mark = ground.folder.with_name(ground.folder.name + ".read-only")
        if kind == POSTGRES:
            return faults.lived_through(ground, self.starter.serve(ground),
                                        lambda: faults.read_only_cluster(ground), times)
        return faults.lived_through(ground, self.starter.serve(ground, read_only=str(mark)),
                                    lambda: faults.there_is(mark), times)

    def failing_disk(self) -> Outcome:
        return faults.failing_disk(self.starter, self.folder / f"disk-{next(self._count)}")

    def database_away(self, times: int = 1) -> Outcome:
        ground = self.ground(POSTGRES)
        return faults.lived_through(ground, self.starter.serve(ground), lambda: faults.stopped(self.postgres), times)

    def clock_jumps(self, kind: str, times: int = 1) -> Outcome:
        return faults.through_jumps(self.starter, self.ground(kind), times)

    def one_of_two_killed(self, times: int = 1) -> Outcome:
        ground = self.ground(POSTGRES)
        return faults.one_of_two_killed(self.starter, ground, self.second(ground), times)


@contextmanager
def place(folder: Path) -> Iterator[Place]:
    """Raises NoPostgres where it is not installed."""
    with cluster.own(IN_EARNEST) as postgres, starting() as starter:
        yield Place(folder, starter, postgres)
