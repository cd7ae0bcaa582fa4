"""Those who send: tablets and a panel, each of which keeps an entry until the server has repeated its id."""

from __future__ import annotations

import itertools
import json
import threading
import time
import uuid
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http.client import HTTPConnection, HTTPException, HTTPResponse
from typing import Any

from tests.soak.served import Crew, Ground

STORED, REFUSED, GONE = "stored", "refused", "gone"
#: A tablet gives an answer up after 15 s (static/js/offline/sender.js).
TIMEOUT_S = 15
#: After a refusal or a silence a client of these runs tries again so soon; a tablet waits longer.
AGAIN_S = 0.05
#: Entries in a list of the panel's.
LIST = 5


@dataclass
class Ledger:
    """What was sent and what was told of it.

    already: entries told as there before, when they were sent again. refused: how often by which sentence. wrong: every
    answer that should not have been.
    """

    lock: threading.Lock = field(default_factory=threading.Lock)
    sent: dict[str, dict[str, Any]] = field(default_factory=dict)
    acknowledged: set[str] = field(default_factory=set)
    already: set[str] = field(default_factory=set)
    refused: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    def sends(self, entries: list[dict[str, Any]]) -> list[bool]:
        """Notes that these are on their way; for each whether it was before."""
        with self.lock:
            again = [e["id"] in self.sent for e in entries]
            self.sent.update({e["id"]: e for e in entries})
            return again

    def told(self, entry: dict[str, Any], again: bool, answer: dict[str, Any]) -> None:
        with self.lock:
            if answer.get("id") != entry["id"] or "findings" not in answer:
                self.wrong.append(f"of {entry['id']}: {str(answer)[:300]}")
                return
            if not answer["stored"]:
                self.already.add(entry["id"])
                if not again:
                    self.wrong.append(f"{entry['id']} was there before it was sent")
            self.acknowledged.add(entry["id"])

    def refuses(self, answer: HTTPResponse, told: dict[str, Any], about: str | None) -> None:
        """503 is a plain refusal where it says what happened, what to do and when to come again, of the right entry."""
        plain = (answer.status == 503 and told.get("title") and told.get("detail") and answer.getheader("Retry-After")
                 and (about is None or told.get("id") == about))
        with self.lock:
            if plain:
                self.refused[f"{told['title']}. {told['detail']}"] += 1
            else:
                self.wrong.append(f"{answer.status} {str(told)[:300]}")

    @property
    def unplain(self) -> str:
        return "; ".join(self.wrong[:3])


class Sender:
    """One client with what it holds. `at_answer` is called when the first bytes of an answer are there."""

    def __init__(self, ledger: Ledger, path: str, headers: dict[str, str], make: Callable[[], list[dict[str, Any]]],
                 alone: bool) -> None:
        self.ledger, self._path, self._make, self._alone = ledger, path, make, alone
        self._headers = {**headers, "Content-Type": "application/json"}
        self.waiting: list[dict[str, Any]] = []
        self.at_answer: Callable[[], None] | None = None
        self.port, self.unanswered = 0, 0  # where it sent last; refusals and silences so far
        self._connection = HTTPConnection("127.0.0.1", timeout=TIMEOUT_S)

    def send(self, port: int) -> str:
        """Sends what waits, or something new. What is not told as stored waits on."""
        self.waiting = self.waiting or self._make()
        again = self.ledger.sends(self.waiting)
        try:
            answer, told = self._ask(port)
        except (OSError, HTTPException, ValueError):  # ValueError: an answer that broke off
            self.close()
            self.unanswered += 1
            return GONE
        if answer.status not in (200, 201):
            self.ledger.refuses(answer, told, self.waiting[0]["id"] if self._alone else None)
            self.unanswered += 1
            return REFUSED
        for entry, was, one in zip(self.waiting, again, [told] if self._alone else told, strict=True):
            self.ledger.told(entry, was, one)
        self.waiting = []
        return STORED

    def _ask(self, port: int) -> tuple[HTTPResponse, Any]:
        if port != self.port:
            self.close()
            self.port, self._connection = port, HTTPConnection("127.0.0.1", port, timeout=TIMEOUT_S)
        sent: Any = [{**e, "device_now": _now()} for e in self.waiting]
        self._connection.request("POST", self._path, json.dumps(sent[0] if self._alone else sent), {
            **self._headers, **({"Origin": f"http://127.0.0.1:{port}"} if self._alone else {})})
        answer = self._connection.getresponse()
        if self.at_answer:
            self.at_answer()
        return answer, json.loads(answer.read())

    def close(self) -> None:
        self._connection.close()


def _now() -> str:
    return datetime.now(UTC).isoformat()


def body(ground: Ground, number: int, by: str = "operator", at: datetime | None = None) -> dict[str, Any]:
    """A reading of a running motor; one in nine has an uneven bearing, one in thirteen too many amps (rated: 87)."""
    return {"id": str(uuid.uuid4()), "tag": ground.tags[number % len(ground.tags)],
            "taken_at": (at or datetime.now(UTC)).isoformat(), "by": by, "state": "running", "smoke": "none",
            "bearing_temp_c": {"DE": 61.0 + (25.0 if number % 9 == 0 else 0.0), "ODE": 58.0}, "method": "contact",
            "current_a": [95.0 if number % 13 == 0 else 80.0]}


def tablet(ground: Ground, ledger: Ledger, who: Crew, numbers: itertools.count[int]) -> Sender:
    """A tablet as it sends what waits on it: one entry a request, with its session and its ticket."""
    return Sender(ledger, "/tablet/readings", {"Cookie": who.cookie, "Ticket": who.ticket},
                  lambda: [body(ground, next(numbers), who.sign_in)], alone=True)


def panel(ground: Ground, ledger: Ledger, numbers: itertools.count[int]) -> Sender:
    """Another system at the JSON door, which sends lists."""
    return Sender(ledger, "/api/v1/readings", {"Authorization": f"Bearer {ground.token}"},
                  lambda: [body(ground, next(numbers)) for _ in range(LIST)], alone=False)


class Load:
    """Clients that send without a pause; `go` and `pause` may be called any number of times."""

    def __init__(self, ground: Ground, tablets: int = 5, panels: int = 1) -> None:
        self.ground, self.ledger, numbers = ground, Ledger(), itertools.count()
        self._tablets = {who.sign_in: tablet(ground, self.ledger, who, numbers) for who in ground.crew[:tablets]}
        self.senders = [*self._tablets.values(), *(panel(ground, self.ledger, numbers) for _ in range(panels))]
        self._stop, self._threads = threading.Event(), list[threading.Thread]()

    def go(self, *ports: int) -> None:
        """Sends to these servers; who is not answered by one turns to the next, as behind a proxy."""
        self._stop.clear()
        self._threads = [threading.Thread(target=self._work, args=(sender, ports[i % len(ports):] + ports))
                         for i, sender in enumerate(self.senders)]
        for thread in self._threads:
            thread.start()

    def _work(self, sender: Sender, ports: tuple[int, ...]) -> None:
        for port in itertools.cycle(ports):
            while not self._stop.is_set():
                came = sender.send(port)
                if came != STORED:
                    self._stop.wait(AGAIN_S)
                if came == GONE:
                    break
            if self._stop.is_set():
                return

    def pause(self) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join()
        for sender in self.senders:
            sender.close()
            sender.at_answer = None

    def at_answer(self, nth: int, do: Callable[[], None]) -> None:
        """Calls this once, when the nth answer from now on begins to arrive."""
        count = itertools.count(1)

        def _arrived() -> None:
            if next(count) == nth:
                with suppress(ProcessLookupError):
                    do()

        for sender in self.senders:
            sender.at_answer = _arrived

    def finish(self, port: int) -> None:
        """Sends what still waits, until each is told as stored; fails after a while."""
        for sender in self.senders:
            for _ in range(200):
                if not sender.waiting or sender.send(port) == STORED:
                    break
                time.sleep(AGAIN_S)
            assert not sender.waiting, f"never told as stored: {sender.waiting}; {self.ledger.unplain}"
            sender.close()

    def once_more(self, port: int, most: int = 300) -> None:
        """Sends what was told as stored again, so many at most, spread over all; each must be told as known."""
        known = sorted(self.ledger.acknowledged)
        chosen = [self.ledger.sent[key] for key in known[::max(1, len(known) // most)]]
        self.ledger.already = set()
        for entry in chosen:
            sender = self._tablets[entry["by"]]
            sender.waiting = [entry]
            assert sender.send(port) == STORED
            sender.close()
        assert self.ledger.already == {e["id"] for e in chosen}, "an entry was told as new when it was sent again"

    def lost(self) -> list[str]:
        """Entries told as stored that are not there; and those there twice, which no key should allow."""
        there = self.ground.stored()
        return [*(self.ledger.acknowledged - set(there)), *(f"{k} twice" for k, n in Counter(there).items() if n > 1)]
