"""Shift change: every tablet comes back into the network at once and sends all it holds; pages stay usable."""

from __future__ import annotations

import itertools
import statistics
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.client import HTTPConnection

from tests.soak.senders import AGAIN_S, STORED, Ledger, Sender, body, tablet
from tests.soak.served import Ground, serving

#: What the head operator has open meanwhile.
PAGES = ("/sheet", "/review", "/motors", "/handover")
PAUSE_S, SAY_EVERY_S = 0.2, 5.0
#: The queue of one tablet was filled over so many hours before it came back.
HOURS = 4


@dataclass
class Outcome:
    """refused: answers that were no "stored", by sentence; silent: no answer in time. A tablet tries both again."""

    rows: int
    stored: int
    seconds: float
    refused: dict[str, int]
    silent: int
    wrong: str
    lost: list[str]
    pages: list[float] = field(default_factory=list)

    @property
    def page_median_s(self) -> float:
        return statistics.median(self.pages)


def all_at_once(ground: Ground, each: int, say: Callable[[str], None] = lambda _: None) -> Outcome:
    """Each of the crew's tablets sends its queue as a tablet does, one entry a request in the order of making, and the
    first three once more."""
    ledger, silent, pages, done = Ledger(), itertools.count(), list[float](), threading.Event()
    queues = [_queue(ground, each, i, who.sign_in) for i, who in enumerate(ground.crew)]
    with serving(ground) as served:
        threads = [threading.Thread(target=_send_all, args=(tablet(ground, ledger, who, itertools.count()), queue,
                                                            served.port, silent))
                   for who, queue in zip(ground.crew, queues, strict=True)]
        looking = threading.Thread(target=_look, args=(ground, served.port, ledger, done, pages))
        began = time.monotonic()
        for thread in (looking, *threads):
            thread.start()
        while any(thread.is_alive() for thread in threads):
            next(thread for thread in threads if thread.is_alive()).join(SAY_EVERY_S)
            say(f"{len(ledger.acknowledged)} of {len(queues) * each} told as stored, {len(pages)} pages; "
                f"{time.monotonic() - began:.0f} s")
        seconds = time.monotonic() - began
        done.set()
        looking.join()
    there = ground.stored()
    return Outcome(len(there), len(ledger.acknowledged), seconds, dict(ledger.refused), next(silent), ledger.unplain,
                   sorted(ledger.acknowledged - set(there)), pages)


def _queue(ground: Ground, each: int, first: int, by: str) -> list[dict[str, object]]:
    """Entries made over the last hours; each tablet began its walk at another motor."""
    now = datetime.now(UTC)
    return [body(ground, first + i, by, now - timedelta(hours=HOURS * (each - i) / each)) for i in range(each)]


def _send_all(sender: Sender, queue: list[dict[str, object]], port: int, silent: itertools.count[int]) -> None:
    for entry in [*queue, *queue[:3]]:
        sender.waiting = [entry]
        while (came := sender.send(port)) != STORED and not sender.ledger.wrong:
            if came != "refused":
                next(silent)
            time.sleep(AGAIN_S)
    sender.close()


def _look(ground: Ground, port: int, ledger: Ledger, done: threading.Event, pages: list[float]) -> None:
    for path in itertools.cycle(PAGES):
        if done.is_set():
            return
        began = time.monotonic()
        connection = HTTPConnection("127.0.0.1", port, timeout=60)
        connection.request("GET", path, headers={"Cookie": ground.head_operator.cookie})
        answer = connection.getresponse()
        told = answer.read()
        connection.close()
        if answer.status != 200:
            ledger.wrong.append(f"{path}: {answer.status} {told[:300]!r}")
        pages.append(time.monotonic() - began)
        done.wait(PAUSE_S)
