"""kill -9 under load: every entry that was told as stored is there, once, wherever the end came."""

from __future__ import annotations

import random
import signal
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

from tests.soak.in_process import AFTER_COMMIT, BEFORE_COMMIT
from tests.soak.senders import Load
from tests.soak.served import Ground
from tests.soak.starter import Forked, Starter

ANYWHERE, AT_ANSWER = "anywhere", "as the answer arrives"
#: In turn. By the two in the middle the server ends itself, at that very place.
WHERE = (ANYWHERE, BEFORE_COMMIT, AFTER_COMMIT, AT_ANSWER)
#: Rounds between two looks into the database. Not after each: who looks also mends, and the server shall do that.
LOOK_EVERY = 10


@dataclass
class Outcome:
    """rounds: kills by where they hit. stored: told as stored. already: of these, told as there before when they were
    sent again, their first answer having been lost. after_commit: rounds of that kind whose entry was told so."""

    rounds: Counter[str] = field(default_factory=Counter)
    stored: int = 0
    already: int = 0
    after_commit: int = 0
    lost: set[str] = field(default_factory=set)
    rows: int = 0
    sent: int = 0
    wrong: str = ""


def kill_under_load(starter: Starter, ground: Ground, rounds: int, seed: int = 1,
                    say: Callable[[str], None] = lambda _: None) -> Outcome:
    """Starts the server, lets clients send, kills it; so many times. What was not answered is sent to the next one."""
    chance, load, made, began = random.Random(seed), Load(ground), Outcome(), time.monotonic()
    said: list[str] = []
    under_way: list[set[str]] = []  # what was not answered when the server ended after a commit
    for number in range(rounds):
        where = WHERE[number % len(WHERE)]
        _round(starter, ground, load, where, chance, said)
        made.rounds[where] += 1
        if where == AFTER_COMMIT:
            under_way.append({entry["id"] for sender in load.senders for entry in sender.waiting})
        if number % LOOK_EVERY == LOOK_EVERY - 1:
            made.lost |= set(load.lost())
            say(f"{number + 1} of {rounds} kills, {len(load.ledger.acknowledged)} told as stored, "
                f"{len(load.ledger.already)} of these when sent again, lost {len(made.lost)}; "
                f"{time.monotonic() - began:.0f} s")
    _after(starter, ground, load, under_way, made)
    made.wrong = "; ".join([made.wrong, *said]).strip("; ")
    return made


def _round(starter: Starter, ground: Ground, load: Load, where: str, chance: random.Random,
           said: list[str]) -> None:
    nth = chance.randint(3, 30)
    served = starter.serve(ground, **({"end": where, "nth": nth} if where in (BEFORE_COMMIT, AFTER_COMMIT) else {}))
    if where == AT_ANSWER:
        load.at_answer(nth, lambda: served.signal(signal.SIGKILL))
    enough = len(load.ledger.acknowledged) + nth
    load.go(served.port)
    if where == ANYWHERE:
        _kill_after(served, load, enough, chance.uniform(0, 0.03))
    assert served.gone() == signal.SIGKILL
    load.pause()
    if load.ledger.wrong and not said:  # the next server writes over what this one said
        said.append(served.errors())


def _kill_after(served: Forked, load: Load, enough: int, then_s: float) -> None:
    while len(load.ledger.acknowledged) < enough and not load.ledger.wrong:
        time.sleep(0.002)
    time.sleep(then_s)  # anywhere within what is being worked on
    served.signal(signal.SIGKILL)


def _after(starter: Starter, ground: Ground, load: Load, under_way: list[set[str]], made: Outcome) -> None:
    served = starter.serve(ground)
    load.finish(served.port)
    made.already = len(load.ledger.already)
    made.after_commit = sum(not load.ledger.already.isdisjoint(entries) for entries in under_way)
    load.once_more(served.port)
    served.stop()
    made.lost |= set(load.lost())
    made.stored, made.sent, made.rows = len(load.ledger.acknowledged), len(load.ledger.sent), len(ground.stored())
    made.wrong = load.ledger.unplain
