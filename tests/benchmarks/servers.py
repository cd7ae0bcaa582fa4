"""Fifty tablets at once: on SQLite beside a bare save, on one PostgreSQL with one app server and with two.

As a program, it is one such server: what a run has left in the process that measures is in none that is measured.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from app import create_app
from app.config import Settings
from tests.benchmarks import floors
from tests.benchmarks.ground import Ground, Running, served
from tests.benchmarks.lines import Line
from tests.benchmarks.saves import CLIENTS, driven, jobs_of, queued_of, sent

APP, FLOOR = "app", "floor"
TURNS = 3


def fifty_tablets(ground: Ground) -> Iterator[Line]:
    """Fifty people at fifty motors, each saving the next entry as soon as the last is answered; SQLite, durable. Both
    servers have answered such before: a program does not start with a crew at its door. They are driven in turn, and
    the best of each counts: what else the machine does in those seconds only takes from it."""
    ours = jobs_of(ground, CLIENTS)
    theirs = [("/save", "", body) for _, _, body in ours]
    with workers([ground], FLOOR) as floor, workers([ground]) as app:
        for ports, jobs in ((floor, theirs), (app, ours)):
            sent(ports, jobs, seconds=2.0)
        turns = [(driven(floor, theirs), driven(app, ours)) for _ in range(TURNS)]
    (least_s, least_p99), (figure_s, figure_p99) = (
        (max(a_second for a_second, _ in of_one), min(p99 for _, p99 in of_one)) for of_one in zip(*turns, strict=True))
    yield Line("saves a second, 50 clients, SQLite", figure_s, "/s", least_s, 0.5, at_least=True)
    yield Line("slowest hundredth, 50 clients, SQLite", figure_p99, "ms", least_p99, 3.0)


def one_and_two(ground: Ground) -> Iterator[Line]:
    """The second server's gain is bounded by this machine's cores: database and tablets run on them too."""
    jobs, figures = queued_of(ground, CLIENTS), []
    for count in (1, 2):
        ground.clock.advance(hours=4)
        with workers([ground] * count) as ports:
            figures.append(driven(ports, jobs)[0])
    yield Line("saves a second, 50 clients, two servers on one PostgreSQL beside one", figures[1], "/s", figures[0])


@contextmanager
def workers(grounds: list[Ground], what: str = APP) -> Iterator[list[int]]:
    """A server of its own process for each of these; their ports. what: the app, or the bare save in its folder."""
    started = [_worker(ground, what) for ground in grounds]
    try:
        yield [_port(one) for one in started]
    finally:
        for one in started:
            one.terminate()
            one.wait(timeout=20)


def _worker(ground: Ground, what: str) -> subprocess.Popen[str]:
    url = ground.app.extensions["settings"].url
    command = [sys.executable, "-m", "tests.benchmarks.servers", what, url, str(ground.folder),
               ground.clock.now.isoformat()]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stdin=subprocess.PIPE, text=True)


def _port(started: subprocess.Popen[str]) -> int:
    assert started.stdout is not None
    return int(started.stdout.readline())


if __name__ == "__main__":
    what, url, folder, since = sys.argv[1:]
    settings = Settings(instance=Path(folder), database_url=url, desk_hours=168.0, desk_idle_minutes=1440.0)
    app = floors.bare_save(Path(folder)) if what == FLOOR else create_app(
        settings, clock=Running(datetime.fromisoformat(since)))
    with served(app) as port:
        print(port, flush=True)
        sys.stdin.read()  # until it is ended
