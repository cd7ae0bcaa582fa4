"""kill -9 under load: every entry that was acknowledged is there, once, whenever the end came."""

from __future__ import annotations

import random
import threading
import time
from contextlib import closing
from dataclasses import dataclass

from tests.soak.served import Ground, Sender, Served, body, serving

CLIENTS = 6


@dataclass
class Outcome:
    """What came of it. unanswered: stored, but the answer never arrived; the tablet sends those again."""

    rounds: int
    sent: int
    acknowledged: int
    unanswered: int
    lost: int
    doubled: int


def kill_under_load(ground: Ground, rounds: int, seed: int = 1) -> Outcome:
    """Starts the server, lets clients send, kills it at some instant between entries or within one; so many times."""
    chance = random.Random(seed)
    lost: set[str] = set()
    unanswered = 0
    for number in range(rounds):
        served = Served(ground)
        stop = threading.Event()
        threads = [threading.Thread(target=_send, args=(ground, served.port, stop, number * 1000 + i))
                   for i in range(CLIENTS)]
        for thread in threads:
            thread.start()
        enough = len(ground.acknowledged) + chance.randint(3, 40)
        while len(ground.acknowledged) < enough and any(t.is_alive() for t in threads):
            time.sleep(0.002)
        time.sleep(chance.uniform(0, 0.03))  # anywhere within what is being worked on
        served.kill()
        stop.set()
        for thread in threads:
            thread.join()
        there = set(ground.stored())
        lost |= ground.acknowledged - there
        unanswered += len(there - ground.acknowledged)
        ground.acknowledged |= there  # known to be there from here on; counted once
    there = ground.stored()
    return Outcome(rounds, len(ground.sent), len(ground.acknowledged), unanswered, len(lost),
                   len(there) - len(set(there)))


def _send(ground: Ground, port: int, stop: threading.Event, seed: int) -> None:
    number = seed
    with closing(Sender(ground, port)) as sender:
        while not stop.is_set():
            number += 1
            if not sender.post([body(ground, number)]):
                return


def send_again(ground: Ground) -> int:
    """Everything that was sent goes once more, as a tablet does that never heard; how many rows there are then.

    The same id with another content would be refused, so only what is not there is sent: what is there was proved by
    its acknowledgement.
    """
    with serving(ground) as served, closing(Sender(ground, served.port)) as sender:
        for number, key in enumerate(sorted(ground.sent - set(ground.stored()))):
            entry = body(ground, number, key)
            assert sender.post([entry]) and sender.post([entry])  # and once more: kept once
    return len(ground.stored())
