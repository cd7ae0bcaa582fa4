"""Shift change: every tablet comes back into the network at once and sends all it holds; pages stay usable."""

from __future__ import annotations

import statistics
import threading
import time
from contextlib import closing
from dataclasses import dataclass
from http.client import HTTPConnection

from tests.soak.served import Ground, Sender, Served, body

AT_ONCE = 20  # entries a request


@dataclass
class Outcome:
    tablets: int
    each: int
    rows: int
    seconds: float
    unanswered: int
    page_median_s: float
    page_worst_s: float


def all_at_once(ground: Ground, tablets: int, each: int) -> Outcome:
    """Each tablet sends its queue twice over: none lost, none doubled, none refused."""
    served = Served(ground)
    queues = [[body(ground, t * each + i) for i in range(each)] for t in range(tablets)]
    unanswered: list[int] = []
    pages: list[float] = []
    done = threading.Event()

    def tablet(queue: list[dict[str, object]]) -> None:
        with closing(Sender(ground, served.port)) as sender:
            for start in [*range(0, each, AT_ONCE), 0]:  # the first part once more: it was there already
                if not sender.post(queue[start:start + AT_ONCE]):
                    unanswered.append(start)

    def reader() -> None:
        while not done.is_set():
            began = time.monotonic()
            connection = HTTPConnection("127.0.0.1", served.port, timeout=60)
            connection.request("GET", "/sign-in")
            assert connection.getresponse().status == 200
            connection.close()
            pages.append(time.monotonic() - began)
            done.wait(0.2)

    began = time.monotonic()
    threads = [threading.Thread(target=tablet, args=(queue,)) for queue in queues]
    looking = threading.Thread(target=reader)
    looking.start()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    seconds = time.monotonic() - began
    done.set()
    looking.join()
    served.stop()
    return Outcome(tablets, each, len(ground.stored()), seconds, len(unanswered), statistics.median(pages), max(pages))
