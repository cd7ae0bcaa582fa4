"""Nothing grows with history: the same jobs on the same unit with a short and with a long past, on both databases."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator

from tests import cluster
from tests.benchmarks.ground import Ground, filled
from tests.benchmarks.lines import Line, bests_ms

FLAT = 1.25
#: One unit of 60 motors read three times a day: 278 days are 50,000 readings, 2,778 days 500,000.
MOTORS, SHORT, LONG = 60, 278, 2778
#: PostgreSQL settles on a plan at the eleventh time that a connection asks the same: for five the driver has not
#: prepared it, for five more it is planned for its values. What is measured comes after; the best of so many.
SETTLED, TURNS = 12, 40


def flat(server: cluster.Server | None, full: bool) -> Iterator[Line]:
    """full: ten such units beside each other, 5,000,000 readings; else one, 500,000."""
    for kind in ("SQLite", "PostgreSQL"):
        if kind == "PostgreSQL" and server is None:
            continue

        def url(kind: str = kind) -> str | None:
            return server.make() if kind == "PostgreSQL" and server else None

        units = 10 if full else 1
        with filled(url(), MOTORS, SHORT) as short, filled(url(), MOTORS, LONG, units) as long:
            works = [work for name in JOBS for work in (JOBS[name](short), JOBS[name](long))]
            for work in works * SETTLED:
                work()
            figures = bests_ms(TURNS, *works)
            for name, few, many in zip(JOBS, figures[::2], figures[1::2], strict=True):
                yield Line(f"{name}, {MOTORS * LONG * 3 * units:,} readings beside {MOTORS * SHORT * 3:,}, {kind}",
                           many, "ms", few, FLAT)


def _saving(ground: Ground) -> Callable[[], None]:
    client, who = ground.signed_in(ground.loaded.operator), ground.loaded.operator
    turn = itertools.cycle(zip(ground.loaded.motor_ids, ground.loaded.machines, strict=True))

    def save() -> None:
        motor_id, machine = next(turn)
        ground.clock.advance(seconds=90)
        assert client.post(f"/motors/{motor_id}/entry", data=ground.entry(machine, who)).status_code == 303

    return save


def getting(path: str) -> Callable[[Ground], Callable[[], None]]:
    def prepared(ground: Ground) -> Callable[[], None]:
        client = ground.signed_in(ground.loaded.supervisor)
        at = path.format(motor_id=ground.loaded.motor_ids[0])

        def get() -> None:
            assert client.get(at).status_code == 200, at

        return get

    return prepared


#: What is measured: the four jobs that must not slow down, the answer whether a motor may be started, and the page that
#: looks back over the most weeks.
JOBS: dict[str, Callable[[Ground], Callable[[], None]]] = {
    "save": _saving, "sheet": getting("/sheet"), "review": getting("/review"),
    "motor's page": getting("/motors/{motor_id}"), "start page": getting("/motors/{motor_id}/start"),
    "motors by weeks": getting("/trends?weeks=26")}
