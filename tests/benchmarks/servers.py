"""One PostgreSQL with one app server and with two: saves a second. As a program, it is one such server."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from app import create_app
from app.config import Settings
from tests.benchmarks.ground import Ground, Running, served
from tests.benchmarks.lines import Line
from tests.benchmarks.saves import CLIENTS, driven, queued_of


def one_and_two(ground: Ground) -> Iterator[Line]:
    """The second server's gain is bounded by this machine's cores: database and tablets run on them too."""
    jobs, figures = queued_of(ground, CLIENTS), []
    for count in (1, 2):
        ground.clock.advance(hours=4)
        with workers([ground] * count) as ports:
            figures.append(driven(ports, jobs)[0])
    yield Line("saves a second, 50 clients, two servers on one PostgreSQL beside one", figures[1], "/s", figures[0])


@contextmanager
def workers(grounds: list[Ground]) -> Iterator[list[int]]:
    """An app server of its own process for each of these; their ports."""
    started = [_worker(ground) for ground in grounds]
    try:
        yield [_port(one) for one in started]
    finally:
        for one in started:
            one.terminate()
            one.wait(timeout=20)


def _worker(ground: Ground) -> subprocess.Popen[str]:
    url = ground.app.extensions["settings"].url
    command = [sys.executable, "-m", "tests.benchmarks.servers", url, str(ground.folder), ground.clock.now.isoformat()]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stdin=subprocess.PIPE, text=True)


def _port(started: subprocess.Popen[str]) -> int:
    assert started.stdout is not None
    return int(started.stdout.readline())


if __name__ == "__main__":
    url, folder, since = sys.argv[1:]
    app = create_app(Settings(instance=Path(folder), database_url=url, desk_hours=168.0, desk_idle_minutes=1440.0),
                     clock=Running(datetime.fromisoformat(since)))
    with served(app) as port:
        print(port, flush=True)
        sys.stdin.read()  # until it is ended
