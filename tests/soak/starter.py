"""Servers that start at once: the program is loaded in a process of its own, and each server is forked from it.

Loading takes over a second of a core, and a run that kills hundreds of servers would be mostly that. What is forked has
opened nothing and runs `round-sheet serve` as always. As a program, this is that process: a request a line, an answer a
line.
"""

from __future__ import annotations

import json
import os
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.soak.served import ROOT, Ground

#: A server that has not come, or gone, by then never will.
PATIENCE_S = 60


class Starter:
    def __init__(self) -> None:
        self._process = subprocess.Popen([sys.executable, "-m", "tests.soak.starter"], cwd=ROOT, text=True,
                                         stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    def ask(self, **request: Any) -> int:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(request) + "\n")
        self._process.stdin.flush()
        return int(self._process.stdout.readline())

    def serve(self, ground: Ground, **faults: Any) -> Forked:
        """faults: what shall go wrong in it, for `in_process.prepare`."""
        return Forked(self, ground, faults)

    def close(self) -> None:
        self._process.stdin and self._process.stdin.close()
        self._process.stdout and self._process.stdout.close()
        self._process.wait()


@contextmanager
def starting() -> Iterator[Starter]:
    starter = Starter()
    try:
        yield starter
    finally:
        starter.close()


class Forked:
    """A running `round-sheet serve` that was forked; kill it at any moment, then wait for it to be `gone`."""

    def __init__(self, starter: Starter, ground: Ground, faults: dict[str, Any]) -> None:
        self._starter, self._log = starter, ground.folder.with_name(ground.folder.name + ".log")
        log = self._log
        log.write_bytes(b"")
        self.pid = starter.ask(do="serve", environment=ground.environment(), log=str(log), faults=faults)
        self._watched = os.pidfd_open(self.pid)
        end = time.monotonic() + PATIENCE_S
        while (found := re.search(r"Serving on https?://127\.0\.0\.1:(\d+)", log.read_text())) is None:
            if self._is_over(0.005) or time.monotonic() > end:
                raise RuntimeError(f"it did not start ({self.gone() if self._is_over(0) else 0}): {log.read_text()}")
        self.port = int(found[1])

    def signal(self, number: int) -> None:
        os.kill(self.pid, number)

    def gone(self) -> int:
        """Waits for its end: the number of the signal that ended it, or 0 where it ended by itself."""
        if not self._is_over(PATIENCE_S):
            self.signal(signal.SIGUSR1)  # tells where each thread stands
            self._is_over(1)
            self.signal(signal.SIGKILL)
            raise RuntimeError(f"the server did not come to its end: {self._log.read_text()[-8000:]}")
        os.close(self._watched)
        status = self._starter.ask(do="reap", pid=self.pid)
        return os.WTERMSIG(status) if os.WIFSIGNALED(status) else 0

    def errors(self) -> str:
        """What the server said of faults, the last of it."""
        return "\n".join(line for line in self._log.read_text().splitlines() if '"error"' in line)[-4000:]

    def kill(self) -> None:
        """As a power cut of the machine would end it: at once, wherever it is."""
        self.signal(signal.SIGKILL)
        self.gone()

    def stop(self) -> None:
        self.signal(signal.SIGTERM)
        self.gone()

    def _is_over(self, within_s: float) -> bool:
        return bool(select.select([self._watched], [], [], within_s)[0])


# the process the servers are forked from -------------------------------------------------------------------


def _run() -> None:
    from app import cli, create_app, serving  # noqa: F401 # loaded once, for all of them
    from tests.soak import in_process

    living = set()
    for line in sys.stdin:
        request = json.loads(line)
        if request["do"] == "reap":
            print(os.waitpid(request["pid"], 0)[1], flush=True)
            living.remove(request["pid"])
            continue
        pid = os.fork()
        if pid == 0:
            _become(request["environment"], Path(request["log"]))
            in_process.run(request["faults"])
        living.add(pid)
        print(pid, flush=True)
    for pid in living:  # a run that failed left them
        os.kill(pid, signal.SIGKILL)


def _become(environment: dict[str, str], log: Path) -> None:
    nothing, said = os.open(os.devnull, os.O_RDWR), os.open(log, os.O_WRONLY | os.O_APPEND)
    for here, there in ((nothing, 0), (nothing, 1), (said, 2)):
        os.dup2(here, there)
    os.environ.clear()
    os.environ.update(environment)


if __name__ == "__main__":
    _run()
