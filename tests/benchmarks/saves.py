"""Saving: one entry at a time, sixty after an hour without a network; and what fifty tablets send (servers.py)."""

from __future__ import annotations

import itertools
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlencode

from app.store.people import OPERATOR
from tests import factories
from tests.benchmarks import floors
from tests.benchmarks.ground import Ground, served
from tests.benchmarks.invented import Machine
from tests.benchmarks.lines import Line, bests_ms
from tests.benchmarks.tablets import ID

FORM = {"Content-Type": "application/x-www-form-urlencoded"}
CLIENTS, SECONDS = 50, 6.0


def one_entry(ground: Ground, url: str | None = None) -> Iterator[Line]:
    """All rules included; over the shipped server on both sides, one after the other on a kept connection."""
    floor = floors.bare_save(ground.folder, url)
    with served(ground.app) as port, served(floor) as floor_port:
        ours, theirs = HTTPConnection("127.0.0.1", port), HTTPConnection("127.0.0.1", floor_port)
        turn = itertools.cycle(zip(ground.loaded.motor_ids, ground.loaded.machines, strict=True))
        who = ground.loaded.operator
        cookie = {**FORM, "Cookie": f"rounds={ground.key_of(who)}"}

        def save() -> None:
            motor_id, machine = next(turn)
            ground.clock.advance(seconds=90)
            _post(ours, f"/motors/{motor_id}/entry", ground.entry(machine, who), cookie, 303)

        fields = ground.entry(ground.loaded.machines[0], who)
        figure, least = bests_ms(80, save, lambda: _post(theirs, "/save", fields, FORM, 204))
        ours.close(), theirs.close()
    floor.extensions["database"].close()
    kind = "SQLite" if url is None else "PostgreSQL"
    yield Line(f"save one entry, {kind}", figure, "ms", least, 2.0)


def _post(to: HTTPConnection, path: str, fields: dict[str, str], headers: dict[str, str], wanted: int) -> None:
    to.request("POST", path, urlencode(fields), headers)
    answer = to.getresponse()
    answer.read()
    assert answer.status == wanted, (path, answer.status)


# fifty tablets ---------------------------------------------------------------------------------------------


def jobs_of(ground: Ground, count: int) -> list[tuple[str, str, str]]:
    """Address, cookie and form of so many people, each at a motor of their own. ID stands for each entry's own."""
    return [(f"/motors/{motor_id}/entry", f"rounds={ground.key_of(who)}",
             urlencode({**ground.entry(machine, who), "id": ID}))
            for who, motor_id, machine in _at_motors(ground, count)]


def queued_of(ground: Ground, count: int) -> list[tuple[str, str, str]]:
    """The same as their tablets send it from the queue, made in the moment it is sent by the tablet's clock."""
    return [("/tablet/readings", f"rounds={ground.key_of(who)}", json.dumps({**ground.reading(machine, who), "id": ID}))
            for who, _, machine in _at_motors(ground, count)]


def _at_motors(ground: Ground, count: int) -> list[tuple[str, int, Machine]]:
    return [(who, motor_id, machine) for who, motor_id, machine in zip(
        _crew(ground, count), ground.loaded.motor_ids, ground.loaded.machines, strict=False)]


def _crew(ground: Ground, count: int) -> list[str]:
    from app.store.units import Unit

    names = [f"walker-{i}" for i in range(count)]
    with ground.database.writing() as session:
        unit = session.get_one(Unit, ground.loaded.unit_id)
        for name in names:
            factories.make_person(session, unit, OPERATOR, name)
        session.commit()
    return names


def driven(ports: list[int], jobs: list[tuple[str, str, str]]) -> tuple[float, float]:
    """Saves a second and the slowest hundredth in ms."""
    told = sent(ports, jobs)
    return told["a_second"], told["p99_ms"]


def sent(ports: list[int], jobs: list[tuple[str, str, str]], seconds: float = SECONDS) -> dict[str, float]:
    """What tablets.py tells, driven from a process of its own: job i goes to port i, counted round."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "jobs.json"
        path.write_text(json.dumps(jobs))
        there = ",".join(str(port) for port in ports)
        done = subprocess.run([sys.executable, "-m", "tests.benchmarks.tablets", there, str(path), str(seconds)],
                              capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    told: dict[str, float] = json.loads(done.stdout)
    assert told["refused"] == 0, told
    return told


def sixty_at_once(ground: Ground) -> Iterator[Line]:
    """A tablet that was out of reach sends its round: sixty entries, one request each, as it keeps them."""
    client, who = ground.signed_in(ground.loaded.operator), ground.loaded.operator
    floor = floors.bare_save(ground.folder)
    bare = floor.test_client()
    machines = list(itertools.islice(itertools.cycle(ground.loaded.machines), 60))

    def send() -> None:
        for machine in machines:
            ground.clock.advance(seconds=70)
            answer = client.post("/tablet/readings", json=ground.reading(machine, who))
            assert answer.status_code == 201

    fields = ground.entry(machines[0], who)

    def least() -> None:
        for _ in machines:
            bare.post("/save", data=fields)

    figure, low = bests_ms(3, send, least)
    floor.extensions["database"].close()
    yield Line("60 queued entries one after the other, by the tablet's door", figure, "ms", low, 2.0)
